"""How large a diagonal must be, how far it stands off the axis, and how evenly a given one lights the field.

The light that reaches a field of diameter i lies inside a cone of slope k = (D - i) / (2 f) whose radius is r0 = i / 2 + k L where the axis
meets the diagonal. The 45-degree plane cuts it in w^2 + x^2 = (r0 + k x)^2, x across the tube, positive away from the focuser, where the
mirror is nearer the primary and the cone wider.

Sources
-------
Exact cut: derived here from that equation. Classical formulas: usually credited to J. Texereau, How to Make a Telescope, and
J. B. Sidgwick, Amateur Astronomer's Handbook (attribution from memory). Area common to two circles: plane geometry.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from straightband.errors import BadInput
from straightband.telescope.telescope import Telescope


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """The ellipse in which a diagonal cuts the cone of light.

    Attributes
    ----------
    cut_minor_mm, cut_major_mm
        Axes of the cut itself; the major one along the glass. Their ratio is a little over sqrt(2).
    minor_axis_mm
        Minor axis of the smallest 1 : sqrt(2) ellipse that covers the cut.
    offset_mm
        Centre of the cut off the axis, each of: away from the focuser, toward the primary.
    """

    cut_minor_mm: float
    cut_major_mm: float
    minor_axis_mm: float
    offset_mm: float


def _cone(telescope: Telescope, full_field_mm: float) -> tuple[float, float]:
    """Slope k and radius r0 at the crossing."""
    k = (telescope.aperture_mm - full_field_mm) / (2.0 * telescope.focal_length_mm)
    return k, full_field_mm / 2.0 + k * telescope.intercept_mm


def cut_of_cone(telescope: Telescope, *, full_field_mm: float) -> Cut:
    """Axes and offset of the cut that passes all light for a field of that diameter."""
    k, r0 = _cone(telescope, full_field_mm)
    rest = 1.0 - k * k
    return Cut(
        cut_minor_mm=2.0 * r0 / math.sqrt(rest),
        cut_major_mm=2.0 * math.sqrt(2.0) * r0 / rest,
        minor_axis_mm=2.0 * r0 / rest,
        offset_mm=r0 * k / rest,
    )


def full_field_of(telescope: Telescope, *, minor_axis_mm: float) -> float:
    """Diameter in mm of the field that a 1 : sqrt(2) diagonal lights fully when it stands at its exact offset; 0 when there is none.

    Inverse of `cut_of_cone(...).minor_axis_mm`: with s = D - i = 2 f k and g = 1 - L / f, a (1 - k^2) = 2 r0 becomes
    a - a s^2 / (4 f^2) = D - s g, whose smaller root in s is the larger field.
    """
    f, d = telescope.focal_length_mm, telescope.aperture_mm
    g = 1.0 - telescope.intercept_mm / f
    discriminant = g * g - minor_axis_mm * (d - minor_axis_mm) / (f * f)
    if discriminant < 0.0:
        return 0.0
    return max(0.0, d - 2.0 * (d - minor_axis_mm) / (g + math.sqrt(discriminant)))


def classical_minor_mm(telescope: Telescope, *, full_field_mm: float) -> float:
    """The handbook's minor axis i + L (D - i) / f, short of `cut_of_cone` by exactly k^2 of it."""
    return 2.0 * _cone(telescope, full_field_mm)[1]


def classical_offset_mm(telescope: Telescope, *, full_field_mm: float) -> float:
    """The handbook's offset a (D - i) / (4 f), short by exactly k^2 as well."""
    k, r0 = _cone(telescope, full_field_mm)
    return r0 * k


def classical_full_field_mm(telescope: Telescope, *, minor_axis_mm: float) -> float:
    """The handbook's fully lit field (a f - L D) / (f - L); negative when the diagonal is too small for the axis."""
    f, intercept = telescope.focal_length_mm, telescope.intercept_mm
    return (minor_axis_mm * f - intercept * telescope.aperture_mm) / (f - intercept)


def illumination(telescope: Telescope, *, minor_axis_mm: float, field_radius_mm: float) -> float:
    """Share of the axial beam that a field point at that radius gets, paraxially: the area two circles share.

    The beam's circle, of radius D L / (2 f), lies h (1 - L / f) off the circle of the diagonal seen along the axis. The shadow of the
    diagonal itself is left out: it takes nearly the same light everywhere.
    """
    share = telescope.intercept_mm / telescope.focal_length_mm
    beam, diagonal = telescope.aperture_mm * share / 2.0, minor_axis_mm / 2.0
    return _shared_area(beam, diagonal, apart=abs(field_radius_mm) * (1.0 - share)) / (math.pi * beam**2)


def _shared_area(a: float, b: float, *, apart: float) -> float:
    if apart >= a + b:
        return 0.0
    if apart <= abs(a - b):
        return math.pi * min(a, b) ** 2
    sector_a = a * a * math.acos((apart**2 + a * a - b * b) / (2.0 * apart * a))
    sector_b = b * b * math.acos((apart**2 + b * b - a * a) / (2.0 * apart * b))
    kite = (a + b - apart) * (apart + a - b) * (apart - a + b) * (apart + a + b)
    return sector_a + sector_b - 0.5 * math.sqrt(kite)


def loss_mag(fraction: float) -> float:
    """Magnitudes lost when that share of the light is left; infinite when none is."""
    if fraction < 0.0:
        raise BadInput(found=f"a share of light of {fraction:g}", needed="zero or more is needed", remedy="check the dimensions")
    return -2.5 * math.log10(fraction) if fraction > 0.0 else math.inf


def obstruction_of(telescope: Telescope, *, minor_axis_mm: float) -> float:
    """Diameter of the diagonal's shadow over the aperture; the light lost is its square."""
    return minor_axis_mm / telescope.aperture_mm
