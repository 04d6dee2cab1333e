"""What to do next: which face runs on which, for how long, in which order."""
