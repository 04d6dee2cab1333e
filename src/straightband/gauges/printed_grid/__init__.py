"""How clear a back is, from a photograph of a printed grid seen through the mirror."""
