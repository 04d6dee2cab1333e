"""The dimensions of a Newtonian telescope that decide what its diagonal sees, and how the diagonal sits in it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum

from straightband.errors import BadInput


class WideEnd(StrEnum):
    """The end of the mirror's v axis that sits nearer the primary, where the cone is wider and the mirror stands off the axis."""

    PLUS_V = "+v"
    MINUS_V = "-v"
    EITHER = "either"


@dataclass(frozen=True, slots=True, kw_only=True)
class Telescope:
    """A primary mirror, its focus, and the place where the diagonal crosses the axis.

    Attributes
    ----------
    aperture_mm
        Clear diameter of the primary, which is the aperture stop.
    focal_length_mm
        From the plane of the stop to the focus.
    intercept_mm
        From the crossing of the axis on the diagonal to the focus.
    full_field_mm
        Diameter of the field, in the focal plane, that is to get all the light; 0 for a star on the axis only. None: the field that the
        mirror at hand can light fully.
    obstruction_ratio
        Diameter of the hole in the beam over the aperture; 0 for the filled disc on which published Strehl figures stand.
    """

    aperture_mm: float
    focal_length_mm: float
    intercept_mm: float
    full_field_mm: float | None = None
    obstruction_ratio: float = 0.0

    def __post_init__(self) -> None:
        lengths = {"aperture": self.aperture_mm, "focal length": self.focal_length_mm, "intercept": self.intercept_mm}
        for name, value in lengths.items():
            if not (math.isfinite(value) and value > 0.0):
                raise BadInput(
                    found=f"the {name} is {value:g} mm",
                    needed="a length above zero is needed",
                    remedy="measure it and give it with its unit",
                )
        if self.intercept_mm >= self.focal_length_mm:
            raise BadInput(
                found=f"the intercept ({self.intercept_mm:g} mm) is not shorter than the focal length ({self.focal_length_mm:g} mm)",
                needed="the diagonal must stand between the primary and the focus",
                remedy="give the distance from the diagonal to the focus",
            )
        if self.aperture_mm >= self.focal_length_mm:
            raise BadInput(
                found=f"the aperture ({self.aperture_mm:g} mm) is not smaller than the focal length ({self.focal_length_mm:g} mm)",
                needed="a telescope slower than f/1 is needed",
                remedy="check the two lengths",
            )
        self._check_field()

    def _check_field(self) -> None:
        field = self.full_field_mm
        if field is not None and not 0.0 <= field < self.aperture_mm:
            raise BadInput(
                found=f"the fully lit field is {field:g} mm across",
                needed=f"a diameter from 0 to less than the aperture ({self.aperture_mm:g} mm) is needed",
                remedy="give the diameter of the field at the focus",
            )
        if not 0.0 <= self.obstruction_ratio < 1.0:
            raise BadInput(
                found=f"the obstruction is {self.obstruction_ratio:g} of the aperture",
                needed="a share from 0 to less than 1 is needed",
                remedy="divide its diameter by the aperture",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Mounting:
    """How the mirror sits in the telescope.

    Attributes
    ----------
    offset_mm
        How far its centre stands off the axis, each of: away from the focuser, toward the primary (sqrt(2) times this along the glass).
        None: by the exact formula for the field.
    wide_end
        The end of v nearer the primary. None: what the map's own mark allows, which is `either` when it has none.
    """

    offset_mm: float | None = None
    wide_end: WideEnd | None = None


def with_rim_as_stop(telescope: Telescope) -> Telescope:
    """The telescope whose stop is the rim of its parabolic primary, which stands D^2 / (16 f) above the vertex."""
    rim_mm = telescope.aperture_mm**2 / (16.0 * telescope.focal_length_mm)
    return replace(telescope, focal_length_mm=telescope.focal_length_mm - rim_mm)
