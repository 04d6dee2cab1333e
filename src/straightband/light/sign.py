"""Hill or hole: the rules that turn a known change, or the known open side, into the sign of the height.

Every rule holds 2 t cos(theta) = m lambda constant along a band and asks where the band goes.

Sources
-------
Derived here; the directions agree with common practice of contact testing, no source.
"""

from __future__ import annotations

import math


def shift_toward_open_side_mm(*, height_nm: float, wedge_nm_per_mm: float) -> float:
    """How far a band passing over a place `height_nm` high is displaced toward the side where the gap opens."""
    return height_nm / wedge_nm_per_mm


def ring_centre_shift_mm(*, radius_m: float, edge_tilt_urad: float, convex: bool) -> float:
    """How far the centre of rings moves toward the finger that presses the rim: +g R on a convex pair, -g R on a concave pair."""
    shift = edge_tilt_urad * 1e-6 * radius_m * 1000.0
    return shift if convex else -shift


def oblique_shift_mm(*, gap_um: float, view_rad: float, wedge_nm_per_mm: float) -> float:
    """How far a band moves toward larger gap when the eye goes from normal to `view_rad`: t (1/cos - 1) / wedge."""
    return gap_um * 1000.0 * (1.0 / math.cos(view_rad) - 1.0) / wedge_nm_per_mm


def two_colour_shift_mm(*, order: int, longer_nm: float, shorter_nm: float, wedge_nm_per_mm: float) -> float:
    """How far the longer wavelength's band of an order lies on the thick side of the shorter one's: m (l1 - l2) / 2 / wedge."""
    return order * (longer_nm - shorter_nm) / 2.0 / wedge_nm_per_mm


def clock_direction(hour: float) -> tuple[float, float]:
    """Unit vector (right, up) in the upright photograph of a clock hour: 12 is up, 3 is right."""
    angle = math.radians(90.0 - 30.0 * hour)
    return math.cos(angle), math.sin(angle)
