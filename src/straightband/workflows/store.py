"""Writing what a person asked to keep."""

from straightband.shop.files import write_whole

__all__ = ["write_whole"]
