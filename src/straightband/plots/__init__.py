"""Pictures for people: maps, profiles, budgets and the bands that were read, as PNG bytes."""
