"""The geometry of a spherometer: what the sag within its feet says of the sphere and of the whole face.

A sag is positive when the face is convex: its middle stands above the plane of the feet. "Circle" is always the radius, in mm, of the
circle on which the feet stand, or of the edge on which a ring rests.

Sources
-------
R = r^2 / 2s + s / 2, and l / sqrt(3) for feet at the corners of an equilateral triangle of side l: Encyclopaedia Britannica, 11th ed.
(1911), "Spherometer", and plane geometry. Ball feet: the centres of the balls lie on a sphere of radius R plus or minus theirs.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from straightband.face.shapes import Face

_LOBES = 3  # feet of a three-foot gauge, every 120 degrees


class Feet(StrEnum):
    """What a spherometer stands on."""

    THREE = "three feet"
    RING = "ring"


@dataclass(frozen=True, slots=True, kw_only=True)
class Spherometer:
    """A gauge whose tip touches the middle of a circle of support.

    Attributes
    ----------
    feet
        Three feet or a ring.
    inner_mm, outer_mm
        Radii of the circle of support on a convex and on a concave face; the same for three feet and for a sharp ring.
    ball_mm
        Radius of ball feet; 0 for points and rings.
    """

    feet: Feet
    inner_mm: float
    outer_mm: float
    ball_mm: float

    def circle_mm(self, *, convex: bool) -> float:
        """Radius of the circle that a face touches: a convex one the inner edge of a ring, a concave one the outer."""
        return self.inner_mm if convex else self.outer_mm


def circle_of_triangle_mm(*, side_mm: float) -> float:
    """Radius of the circle through the corners of an equilateral triangle."""
    return side_mm / math.sqrt(3.0)


def sphere_radius_mm(sag_mm: float, *, circle_mm: float, ball_mm: float = 0.0) -> float:
    """Radius of the sphere with that sag (positive: convex) over the circle; infinite for none.

    Balls lengthen it on a concave face and shorten it on a convex one; on a flat of kilometres that is nothing, and the sag is not touched.

    Example
    -------
    >>> round(sphere_radius_mm(-0.4, circle_mm=40.0, ball_mm=3.0), 9)
    2003.2
    """
    if sag_mm == 0.0:
        return math.inf
    size = abs(sag_mm)
    return circle_mm**2 / (2.0 * size) + size / 2.0 - math.copysign(ball_mm, sag_mm)


def sag_of_sphere_mm(radius_mm: float, *, circle_mm: float) -> float:
    """Sag of a sphere within a circle: R - sqrt(R^2 - r^2), written so that a flat loses no figures.

    Example
    -------
    >>> round(sag_of_sphere_mm(2000.0, circle_mm=40.0), 9)
    0.400040008
    """
    return circle_mm**2 / (radius_mm + math.sqrt(radius_mm**2 - circle_mm**2))


def whole_face_factor(*, circle_mm: float, semi_mm: float) -> float:
    """How many times larger the sag over the whole face is than that within the circle: (A / r)^2.

    That of a paraboloid; a sphere's differs by (A / 2R)^2 of it, which is a millionth once R is 500 A.
    """
    return (semi_mm / circle_mm) ** 2


def stands_on(gauge: Spherometer, face: Face) -> bool:
    """Whether the gauge finds room on the middle of the face, three feet turned as fits best."""
    if gauge.feet is Feet.RING:
        return gauge.outer_mm <= min(face.semi_u_mm, face.semi_v_mm)
    turn = np.linspace(0.0, 2.0 * math.pi / _LOBES, 121)[:, None] + 2.0 * math.pi / _LOBES * np.arange(_LOBES)
    return bool(face.contains(gauge.inner_mm * np.cos(turn), gauge.inner_mm * np.sin(turn)).all(axis=1).any())
