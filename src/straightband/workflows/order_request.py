"""What a customer asks for: from what a person writes of an order to what its sizes and its price need."""

from __future__ import annotations

import re
from dataclasses import dataclass

from straightband.errors import BadInput
from straightband.face.shapes import CLEAR_MARGIN
from straightband.glass import Glass, glass_from_text
from straightband.light.lines import Lamp, lamp_from_text
from straightband.quantities import parse_length_mm
from straightband.telescope.telescope import Telescope
from straightband.workflows.order_prices import DEFAULT_PRICES, Prices
from straightband.workflows.requirement import DEFAULT_LIGHT, DEFAULT_STREHL, requirement_from_text

DEFAULT_GLASS = "borosilicate"
DEFAULT_TEST_LIGHT = "mercury-green"  # whose half wavelength is the band of drawings after ISO 10110-5:2007
DEFAULTS = {
    "strehl": DEFAULT_STREHL,
    "light_judged": DEFAULT_LIGHT,
    "light": DEFAULT_TEST_LIGHT,
    "glass": DEFAULT_GLASS,
    "margin": f"{100 * CLEAR_MARGIN:g}%",
    "tube": "",
    "thickness": "",
}  # empty: none
SMALLEST_APERTURE_MM, LARGEST_APERTURE_MM = 40.0, 3000.0  # from a finder to the largest that are ground by hand; outside: a wrong unit
STREHL_RANGE = (0.5, 0.999)  # below, the rule from rms to Strehl fails; above, no face can be told to keep it
LARGEST_MARGIN = 0.2
SIZE_RANGE_MM = (5.0, 1000.0)
THICKNESS_RANGE_MM = (2.0, 200.0)
MOST_SIZES = 50
_PERCENT = re.compile(r"(\d{1,2}(?:\.\d{1,25})?)\s*%")


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderRequest:
    """An order, read and checked.

    Attributes
    ----------
    telescope
        Its `full_field_mm` is None where only the size of the diagonal was given.
    minor_mm
        Minor axis asked for, or None.
    have_mm
        Minor axes of the sizes the shop has, smallest first; some may be of no use in this telescope.
    strehl_wanted, wavelength_nm
        What the face must hold to, and in which light.
    lamp
        The lamp of the test, in whose bands tolerances are told.
    glass
        What the mirror is made of.
    margin
        Share of each semi-axis left to the bevel.
    tube_mm
        Inner diameter of the tube, or None.
    thickness_mm
        Thickness asked for, or None.
    prices
        The shop's figures or our defaults.
    """

    telescope: Telescope
    minor_mm: float | None
    have_mm: tuple[float, ...]
    strehl_wanted: float
    wavelength_nm: float
    lamp: Lamp
    glass: Glass
    margin: float
    tube_mm: float | None
    thickness_mm: float | None
    prices: Prices


def order_from_text(
    *,
    aperture: str | None,
    intercept: str | None,
    focal_length: str | None = None,
    focal_ratio: str | None = None,
    full_field: str | None = None,
    minor: str | None = None,
    have: str | None = None,
    prices: Prices = DEFAULT_PRICES,
    **wishes: str | None,
) -> OrderRequest:
    """The order from its texts, `wishes` being those of `DEFAULTS`; raises BadInput with the first that can't be used."""
    wish = {name: wishes.get(name) or default for name, default in DEFAULTS.items()}
    asked = requirement_from_text(
        aperture=aperture,
        intercept=intercept,
        focal_length=focal_length,
        focal_ratio=focal_ratio,
        full_field=full_field,
        strehl=wish["strehl"],
        light_judged=wish["light_judged"],
    )
    _check_what_is_asked(full_field=full_field, minor=minor, have=have)
    telescope = asked.telescope
    _check_range(telescope.aperture_mm, what="the aperture", lowest=SMALLEST_APERTURE_MM, highest=LARGEST_APERTURE_MM)
    _check_strehl(asked.strehl_wanted)
    return OrderRequest(
        telescope=telescope,
        minor_mm=None if minor is None else _minor(minor, telescope=telescope),
        have_mm=() if have is None else tuple(sorted({_size(text) for text in _listed(have)})),
        strehl_wanted=asked.strehl_wanted,
        wavelength_nm=asked.wavelength_nm,
        lamp=lamp_from_text(wish["light"]),
        glass=glass_from_text(wish["glass"]),
        margin=_margin(wish["margin"]),
        tube_mm=None if wish["tube"] == "" else _tube(wish["tube"], telescope=telescope),
        thickness_mm=None if wish["thickness"] == "" else _thickness(wish["thickness"]),
        prices=prices,
    )


def _check_what_is_asked(*, full_field: str | None, minor: str | None, have: str | None) -> None:
    if minor is not None and have is not None:
        raise BadInput(
            found="both a minor axis and sizes at hand were given",
            needed="either one size to look at or several to choose from are needed",
            remedy="leave --minor or --have out",
        )
    if full_field is None and minor is None:
        raise BadInput(
            found="neither a fully lit field nor a minor axis was given",
            needed="what the mirror must light, or how large it is, must be known",
            remedy="add --full-field like 15mm, or --minor like 65mm",
        )


def _check_range(value_mm: float, *, what: str, lowest: float, highest: float) -> None:
    if not lowest <= value_mm <= highest:
        raise BadInput(
            found=f"{what} comes to {value_mm:g} mm",
            needed=f"a length from {lowest:g} mm to {highest:g} mm is needed",
            remedy="check number and unit",
        )


def _check_strehl(strehl: float) -> None:
    lowest, highest = STREHL_RANGE
    if not lowest <= strehl <= highest:
        raise BadInput(
            found=f"the Strehl wanted is {strehl:.10g}",
            needed=f"a number from {lowest:g} to {highest:g} is needed to tell what the face must hold to",
            remedy="write it like 0.95",
        )


def _size(text: str) -> float:
    value = parse_length_mm(text, what="a size at hand")
    lowest, highest = SIZE_RANGE_MM
    _check_range(value, what="a size at hand", lowest=lowest, highest=highest)
    return value


def _minor(text: str, *, telescope: Telescope) -> float:
    value = parse_length_mm(text, what="the minor axis")
    least = 0.5 * telescope.aperture_mm * telescope.intercept_mm / telescope.focal_length_mm
    most = min(telescope.aperture_mm, 2.0 * telescope.intercept_mm)
    if not least <= value < most:
        raise BadInput(
            found=f"a minor axis was given as '{text.strip()[:40]}'",
            needed=f"this telescope can use {least:.3g} mm, which loses most of the light, to less than {most:.4g} mm, where it shades all",
            remedy="check number and unit",
        )
    return value


def _listed(text: str) -> list[str]:
    parts = [part.strip() for part in text.split(",")]
    if not all(parts) or len(parts) > MOST_SIZES:
        raise BadInput(
            found=f"the sizes at hand were given as '{text[:40]}'",
            needed=f"1 to {MOST_SIZES} lengths with commas between them are needed",
            remedy="write them like 63mm,75mm,2.6in",
        )
    return parts


def _margin(text: str) -> float:
    match = _PERCENT.fullmatch(text.strip())
    if match is None or float(match[1]) / 100.0 > LARGEST_MARGIN:
        raise BadInput(
            found=f"the margin was given as '{text[:40]}'",
            needed=f"a percentage up to {100 * LARGEST_MARGIN:g} % is needed",
            remedy="write it like 3%",
        )
    return float(match[1]) / 100.0


def _tube(text: str, *, telescope: Telescope) -> float:
    value = parse_length_mm(text, what="the tube")
    if value < telescope.aperture_mm or value > 3.0 * telescope.aperture_mm:
        raise BadInput(
            found=f"the tube is {value:g} mm wide inside",
            needed=f"the aperture ({telescope.aperture_mm:g} mm) to three times that is needed",
            remedy="check number and unit",
        )
    return value


def _thickness(text: str) -> float:
    value = parse_length_mm(text, what="the thickness")
    lowest, highest = THICKNESS_RANGE_MM
    _check_range(value, what="the thickness", lowest=lowest, highest=highest)
    return value
