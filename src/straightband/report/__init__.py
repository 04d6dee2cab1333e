"""Papers that leave the shop."""
