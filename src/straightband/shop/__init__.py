"""The shop's own folder, and how anything gets written to a disk."""
