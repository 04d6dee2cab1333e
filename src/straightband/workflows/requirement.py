"""What a mirror is wanted for: from what a person writes of a telescope to what the verdict needs."""

from __future__ import annotations

import re
from dataclasses import dataclass

from straightband.errors import BadInput
from straightband.quantities import MM_PER_UNIT, parse_length_mm, parse_wavelength_nm
from straightband.telescope.telescope import Mounting, Telescope, WideEnd
from straightband.verdict.iso10110 import parse_tolerance

DEFAULT_STREHL = "0.95"  # a star then keeps 95 % of the brightness that a perfect flat would leave it; our choice
DEFAULT_LIGHT = "550nm"  # where the eye sees best by day
FASTEST_RATIO, SLOWEST_RATIO = 1.0, 100.0
_NOTHING = re.compile(r"0+(?:[.,]0+)?\s*(?P<unit>\S*)")
_NUMBER = re.compile(r"\d{1,4}(?:\.\d{1,25})?")


@dataclass(frozen=True, slots=True, kw_only=True)
class Requirement:
    """What a mirror must be good enough for.

    Attributes
    ----------
    telescope, mounting
        Where it is to work and how it sits there.
    strehl_wanted
        Least Strehl ratio at every point of the field.
    iso
        A tolerance such as `3/0.5(0.2)` to be kept as well, or None.
    wavelength_nm
        Of the light the Strehl is stated for.
    """

    telescope: Telescope
    mounting: Mounting
    strehl_wanted: float
    iso: str | None
    wavelength_nm: float


def requirement_from_text(
    *,
    aperture: str | None,
    intercept: str | None,
    focal_length: str | None = None,
    focal_ratio: str | None = None,
    full_field: str | None = None,
    strehl: str = DEFAULT_STREHL,
    iso: str | None = None,
    light_judged: str = DEFAULT_LIGHT,
    mounting: Mounting | None = None,
) -> Requirement:
    """The requirement from its texts; raises BadInput with the first that can't be used."""
    aperture_mm = _length(aperture, "aperture")
    telescope = Telescope(
        aperture_mm=aperture_mm,
        focal_length_mm=_focal_length(focal_length, focal_ratio, aperture_mm=aperture_mm),
        intercept_mm=_length(intercept, "intercept"),
        full_field_mm=None if full_field is None else _length_or_nothing(full_field, what="the full field"),
    )
    if iso is not None:
        parse_tolerance(iso)  # refused here, before a photograph is read for nothing
    return Requirement(
        telescope=telescope,
        mounting=mounting or Mounting(),
        strehl_wanted=_strehl(strehl),
        iso=iso,
        wavelength_nm=round(parse_wavelength_nm(light_judged, what="the light to judge in"), 6),
    )


def mounting_from_text(*, offset: str | None = None, wide_end: str | None = None) -> Mounting:
    """How the mirror sits, from an offset such as `2.4mm` or `0mm` and the end nearer the primary, `+v` or `-v`; raises BadInput."""
    if wide_end is not None and wide_end not in (WideEnd.PLUS_V, WideEnd.MINUS_V):
        raise BadInput(
            found=f"the end nearer the primary was given as '{wide_end[:40]}'",
            needed="+v or -v is needed, +v being the end with the mark",
            remedy="write it like +v, or leave it out",
        )
    return Mounting(
        offset_mm=None if offset is None else _length_or_nothing(offset, what="the offset"),
        wide_end=None if wide_end is None else WideEnd(wide_end),
    )


def _length(text: str | None, name: str) -> float:
    if text is None:
        raise BadInput(
            found=f"the {name} is missing",
            needed="aperture, focal length or focal ratio, and intercept of the telescope are needed",
            remedy=f"add --{name} like 200mm",
        )
    return parse_length_mm(text, what=f"the {name}")


def _length_or_nothing(text: str, *, what: str) -> float:
    """A length that may be zero, which other lengths may not."""
    nothing = _NOTHING.fullmatch(text.strip())
    return 0.0 if nothing and nothing["unit"] in MM_PER_UNIT else parse_length_mm(text, what=what)


def _focal_length(length: str | None, ratio: str | None, *, aperture_mm: float) -> float:
    if (length is None) == (ratio is None):
        raise BadInput(
            found="both a focal length and a focal ratio were given" if length else "neither focal length nor focal ratio was given",
            needed="one of the two is needed",
            remedy="give --focal-length like 1500mm or --focal-ratio like 5",
        )
    if length is not None:
        return parse_length_mm(length, what="the focal length")
    shown = str(ratio).strip()
    number = shown.lower().removeprefix("f/").strip()
    if not _NUMBER.fullmatch(number) or not FASTEST_RATIO < float(number) <= SLOWEST_RATIO:
        raise BadInput(
            found=f"the focal ratio was given as '{shown[:40]}'",
            needed=f"a number above {FASTEST_RATIO:g} and up to {SLOWEST_RATIO:g} is needed",
            remedy="write it like 5 or f/5",
        )
    return float(number) * aperture_mm


def _strehl(text: str) -> float:
    if not _NUMBER.fullmatch(text.strip()) or not 0.0 < float(text) <= 1.0:
        raise BadInput(
            found=f"the Strehl wanted was given as '{text[:40]}'",
            needed="a number above 0 and up to 1 is needed",
            remedy="write it like 0.95",
        )
    return float(text)
