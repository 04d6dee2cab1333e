"""How much of a star's light a diagonal catches, counted exactly: every ray of the pupil, the real plane, the real ellipse.

The rays that one star sends through points (X, Y) of the pupil meet the diagonal's plane at u = N1 / M, v = -sqrt(2) N2 / M with N1, N2 and
M linear in X and Y, so along any radius of the pupil the rays that meet the glass lie between two roots of a quadratic. Only the sum over
radii is numerical. The shadow of the diagonal itself is left out: it takes nearly the same light everywhere.

Sources
-------
Derived here; nothing but straight lines and a plane, as in `light_cone`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from straightband.telescope.telescope import Telescope

_RADII = 2048  # of the pupil; the share is then right to 1e-6, or to 1e-4 where half the beam is lost
_DIRECTIONS = 24  # of the field point around the axis


@dataclass(frozen=True, slots=True, kw_only=True)
class Lit:
    """What stars at one distance from the middle of the field get.

    Attributes
    ----------
    fraction
        Share of the light that meets the glass, the mean around the circle of that radius.
    least, most
        In the worst and the best direction.
    """

    fraction: float
    least: float
    most: float


def lit_by_counting(telescope: Telescope, *, minor_axis_mm: float, offset_mm: float, field_radius_mm: float) -> Lit:
    """Light that a 1 : sqrt(2) diagonal catches from stars at that distance, with its centre `offset_mm` off the axis.

    Parameters
    ----------
    telescope
        Its dimensions.
    minor_axis_mm
        Of the reflecting face.
    offset_mm
        Each of: away from the focuser, toward the primary.
    field_radius_mm
        Distance of the star's image from the middle of the field.
    """
    turn = 2.0 * math.pi * np.arange(_DIRECTIONS) / _DIRECTIONS
    field_mm = (field_radius_mm * np.cos(turn), field_radius_mm * np.sin(turn))
    shares = lit_shares(telescope, minor_axis_mm=minor_axis_mm, offset_mm=offset_mm, field_mm=field_mm)
    least, most = float(shares.min()), float(shares.max())
    return Lit(fraction=min(max(float(shares.mean()), least), most), least=least, most=most)


def lit_shares(telescope: Telescope, *, minor_axis_mm: float, offset_mm: float, field_mm: tuple[NDArray, NDArray]) -> NDArray:
    """Share of the pupil (k,) whose rays to the image points (x, y), (k,) each and before folding, meet the glass.

    It is the area between the roots of N1^2 + N2^2 = (minor / 2)^2 M^2 along each radius r of the pupil.
    """
    x, y = (np.asarray(each, dtype=float)[:, None] for each in field_mm)
    f, intercept, semi_mm = telescope.focal_length_mm, telescope.intercept_mm, minor_axis_mm / 2.0
    angle = 2.0 * math.pi * (np.arange(_RADII) + 0.5) / _RADII
    cos, sin = np.cos(angle), np.sin(angle)
    below = f - intercept  # from the stop to the crossing
    # N1 = a1 r + b1 across the tube, N2 = a2 r + b2 in the plane of axis and focuser, M = sin r + b3.
    a1, b1 = (intercept - y) * cos + x * sin, x * below
    b3 = f - y
    a2, b2 = (intercept + offset_mm) * sin, below * y + offset_mm * b3
    square = a1**2 + a2**2 - (semi_mm * sin) ** 2
    half = a1 * b1 + a2 * b2 - semi_mm**2 * sin * b3
    rest = b1**2 + b2**2 - (semi_mm * b3) ** 2
    root = np.sqrt(np.maximum(half**2 - square * rest, 0.0))
    pupil_mm = telescope.aperture_mm / 2.0
    inner, outer = (np.clip((-half + side * root) / square, 0.0, pupil_mm) for side in (-1.0, 1.0))
    return np.minimum(np.mean(outer**2 - inner**2, axis=1) / pupil_mm**2, 1.0)  # which rounding may pass
