"""The light cone of a reflecting telescope, where it falls on the diagonal, and how large the diagonal must be."""
