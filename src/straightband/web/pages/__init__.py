"""One module per noun of the bench: a frozen page dataclass per template, and the functions that fill it."""
