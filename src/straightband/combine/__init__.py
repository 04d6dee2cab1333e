"""Maps with maps: flats from their pairs, one figure from several photographs."""
