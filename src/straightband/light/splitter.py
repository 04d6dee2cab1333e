"""A plate of glass at an angle in the beam: how far it shifts the light, where its ghost falls, how long it must be.

Sources
-------
Snell's law; the plane cut of a cone. Derived.
"""

from __future__ import annotations

import math


def shift_mm(*, thickness_mm: float, index: float, incidence_rad: float = math.pi / 4.0) -> float:
    """How far light that passes is shifted sideways: d sin th (1 - cos th / sqrt(n^2 - sin^2 th))."""
    sine = math.sin(incidence_rad)
    return thickness_mm * sine * (1.0 - math.cos(incidence_rad) / math.sqrt(index**2 - sine**2))


def ghost_mm(*, thickness_mm: float, index: float, incidence_rad: float = math.pi / 4.0) -> float:
    """Distance between the images sent back by the two faces of the plate: d sin 2 th / sqrt(n^2 - sin^2 th)."""
    sine = math.sin(incidence_rad)
    return thickness_mm * math.sin(2.0 * incidence_rad) / math.sqrt(index**2 - sine**2)


def plate_ends_mm(*, radius_mm: float, slope: float) -> tuple[float, float]:
    """Where a plate at 45 degrees leaves a round beam, measured along the beam from where it crosses the axis.

    `radius_mm` is that of the beam at the crossing, `slope` what it gains for each mm along; first the narrow end, then the wide one. The plate is
    sqrt 2 times their sum long.

    Example
    -------
    >>> round(math.sqrt(2.0) * sum(plate_ends_mm(radius_mm=100.0, slope=0.05)), 4)
    283.5516
    """
    return radius_mm / (1.0 + slope), radius_mm / (1.0 - slope)
