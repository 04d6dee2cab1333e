"""What people type for lengths, wavelengths and angles, turned into plain numbers.

A bare number is refused: the unit is asked for rather than guessed. No expression is ever evaluated.
"""

from __future__ import annotations

import math
import re
from decimal import Decimal

from straightband.errors import BadInput

MM_PER_UNIT = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "um": 1e-3, "µm": 1e-3, "μm": 1e-3, "nm": 1e-6, "in": 25.4, '"': 25.4, "″": 25.4}
BYTES_READ_AT_MOST = 400_000_000  # larger than any photograph of 50 megapixels, smaller than what would fill the memory
SECONDS_PER_UNIT = {"s": 1.0, "min": 60.0, "h": 3600.0}
_LONGEST_TEXT = 40
MOST_DIGITS = 9  # of a count or an entry's number: no shop has more, and a database takes no more than 18
_NUMBER = r"[+-]?(?:\d{1,12}(?:[.,]\d{1,25})?|[.,]\d{1,25})(?:e[+-]\d{1,2})?"  # as a program writes a float, too
_THOUSANDS = re.compile(r"^[+-]?[1-9]\d{0,2},\d{3}$")
_QUANTITY = re.compile(
    rf"^(?:(?P<whole>\d{{1,6}})[ -]+)?(?:(?P<top>\d{{1,6}})/(?P<bottom>\d{{1,6}})|(?P<number>{_NUMBER}))\s*(?P<unit>[^\d\s.,]*)$"
)


def _parse(text: str, *, units: dict[str, float], what: str, example: str) -> float:
    shown = text if len(text) <= _LONGEST_TEXT else text[:_LONGEST_TEXT] + "..."
    match = _QUANTITY.match(text.strip()) if len(text) <= _LONGEST_TEXT else None
    if match is None or (match["whole"] is not None and match["number"] is not None):
        raise BadInput(found=f"{what} was given as '{shown}'", needed="a number with its unit is needed", remedy=f"write it like {example}")
    unit = match["unit"]
    if not unit:
        raise BadInput(
            found=f"{what} was given as '{shown}' without a unit",
            needed=f"one of {', '.join(sorted(units))} is needed",
            remedy=f"write it like {example}",
        )
    if unit not in units:
        raise BadInput(
            found=f"{what} was given as '{shown}' with the unit '{unit}'",
            needed=f"one of {', '.join(sorted(units))} is needed",
            remedy=f"write it like {example}",
        )
    return _number(match, what=what, example=example) * units[unit]


def _number(match: re.Match[str], *, what: str, example: str) -> float:
    if match["top"] is None:
        number = match["number"]
        if _THOUSANDS.match(number):
            raise BadInput(
                found=f"{what} was given as '{number}', where the comma could stand for thousands or for decimals",
                needed="one meaning is needed",
                remedy="write the decimals after a point and thousands without a sign",
            )
        return float(number.replace(",", "."))
    if int(match["bottom"]) == 0:
        raise BadInput(
            found=f"{what} divides by zero",
            needed="a fraction with a whole number below the line is needed",
            remedy=f"write it like {example}",
        )
    return int(match["whole"] or 0) + int(match["top"]) / int(match["bottom"])


def parse_length_mm(text: str, *, what: str) -> float:
    """Length in mm from text such as `90mm`, `2.6in` or `2 5/8 in`; raises BadInput unless it is positive with a unit.

    Example
    -------
    >>> parse_length_mm("2 5/8 in", what="the minor axis")
    66.675
    """
    value = _parse(text, units=MM_PER_UNIT, what=what, example="90mm or 2 5/8 in")
    if not (value > 0.0 and math.isfinite(value)):
        raise BadInput(
            found=f"{what} was given as '{text}'", needed="a length above zero is needed", remedy="write it like 90mm or 2 5/8 in"
        )
    return value


def parse_coordinate_mm(text: str, *, what: str) -> float:
    """A place along an axis, in mm, that may be zero or negative, such as `-30mm` or `0mm`; raises BadInput unless it has a unit.

    Example
    -------
    >>> parse_coordinate_mm("-3cm", what="an end of the line")
    -30.0
    """
    return _parse(text.replace("−", "-"), units=MM_PER_UNIT, what=what, example="-30mm")


def parse_wavelength_nm(text: str, *, what: str = "the wavelength") -> float:
    """Wavelength in nm from text such as `632.8nm`; raises BadInput outside 350 to 1100 nm, where cameras see nothing.

    Example
    -------
    >>> round(parse_wavelength_nm("0.6328um"), 1)
    632.8
    """
    value = _parse(text, units=MM_PER_UNIT, what=what, example="632.8nm") * 1e6
    if not 350.0 <= value <= 1100.0:
        raise BadInput(
            found=f"{what} was given as '{text}'", needed="light between 350 nm and 1100 nm is needed", remedy="write it like 632.8nm"
        )
    return value


def half_last_figure_nm(text: str) -> float:
    """Half a unit of the last figure typed in a wavelength, in nm: 0.05 for `632.8nm`, 0.5 for `633nm`; it must have been parsed before.

    Example
    -------
    >>> half_last_figure_nm("632.8nm")
    0.05
    """
    match = _QUANTITY.match(text.strip())
    number = "0" if match is None else match["number"] or "0"
    scale_nm = MM_PER_UNIT["nm" if match is None else match["unit"]] * 1e6
    last = Decimal(number.replace(",", ".")).as_tuple().exponent
    return round(0.5 * scale_nm * 10.0 ** int(last), 9)


def whole_number(text: str) -> int | None:
    """The whole number from zero that plain digits spell, at most nine of them; None for anything else.

    Example
    -------
    >>> whole_number("12"), whole_number("²"), whole_number("9" * 30)
    (12, None, None)
    """
    bare = text.strip()
    return int(bare) if bare.isascii() and bare.isdecimal() and len(bare) <= MOST_DIGITS else None


def whole_numbers(text: str) -> tuple[int, ...]:
    """The whole numbers between commas; what is none is left out.

    Example
    -------
    >>> whole_numbers("3,1,x,")
    (3, 1)
    """
    found = (whole_number(part) for part in text.split(","))
    return tuple(number for number in found if number is not None)


def parse_duration_s(text: str, *, what: str) -> float:
    """Duration in seconds from text such as `4min`; raises BadInput unless it is zero or more with a unit."""
    value = _parse(text, units=SECONDS_PER_UNIT, what=what, example="4min or 90s")
    if not value >= 0.0:
        raise BadInput(found=f"{what} was given as '{text}'", needed="a time of zero or more is needed", remedy="write it like 4min or 90s")
    return value
