"""Films, for the commands that take them."""

from straightband.photo.film import frames_of, is_film

__all__ = ["frames_of", "is_film"]
