"""Photographs of bands rendered from a surface that is known, to try the reading of photographs on.

Knows nothing of how photographs are read: an error made the same way on both sides would cancel and never be seen.
"""
