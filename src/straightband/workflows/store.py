"""Writing what a person asked to keep."""

from straightband.shop.files import check_place, write_whole

__all__ = ["check_place", "write_whole"]
