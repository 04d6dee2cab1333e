"""Ellipse, circle and rectangle, and what counts as their clear aperture."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from straightband.errors import BadInput

CLEAR_MARGIN = 0.03  # share of each semi-axis left to the bevel; default of the shop, common practice, no source


class Shape(StrEnum):
    """The outlines a face can have."""

    ELLIPSE = "ellipse"
    ROUND = "round"
    RECTANGLE = "rectangle"


@dataclass(frozen=True, slots=True, kw_only=True)
class Face:
    """The outline of a face, centred on the origin of its frame.

    Attributes
    ----------
    shape
        Ellipse, round or rectangle.
    semi_u_mm, semi_v_mm
        Half extents along u (the minor axis) and v (the major axis), bevel included.
    """

    shape: Shape
    semi_u_mm: float
    semi_v_mm: float

    @property
    def semi_major_mm(self) -> float:
        """The longer of the two half extents."""
        return max(self.semi_u_mm, self.semi_v_mm)

    @property
    def area_mm2(self) -> float:
        """Area inside the outline."""
        share = 4.0 if self.shape is Shape.RECTANGLE else math.pi
        return share * self.semi_u_mm * self.semi_v_mm

    def normalised_radius(self, u_mm: NDArray, v_mm: NDArray) -> NDArray:
        """0 at the centre, 1 on the outline, for broadcastable `u_mm`, `v_mm`."""
        x, y = u_mm / self.semi_u_mm, v_mm / self.semi_v_mm
        return np.maximum(np.abs(x), np.abs(y)) if self.shape is Shape.RECTANGLE else np.hypot(x, y)

    def contains(self, u_mm: NDArray, v_mm: NDArray) -> NDArray:
        """True inside or on the outline, for broadcastable `u_mm`, `v_mm`."""
        return self.normalised_radius(u_mm, v_mm) <= 1.0

    def clear_aperture(self, margin: float = CLEAR_MARGIN) -> Face:
        """The face less `margin` of each semi-axis."""
        return replace(self, semi_u_mm=self.semi_u_mm * (1.0 - margin), semi_v_mm=self.semi_v_mm * (1.0 - margin))


def ellipse(*, minor_mm: float, major_mm: float | None = None) -> Face:
    """An elliptical face; without `major_mm` a diagonal's, whose major axis is sqrt(2) times the minor.

    Raises BadInput when the major axis is shorter than the minor.
    """
    major = minor_mm * math.sqrt(2.0) if major_mm is None else major_mm
    if major < minor_mm:
        raise BadInput(
            found=f"the major axis ({major:g} mm) is shorter than the minor axis ({minor_mm:g} mm)",
            needed="the longer axis is the major one",
            remedy="swap the two",
        )
    return Face(shape=Shape.ELLIPSE, semi_u_mm=minor_mm / 2.0, semi_v_mm=major / 2.0)


def round_face(*, diameter_mm: float) -> Face:
    """A round face."""
    return Face(shape=Shape.ROUND, semi_u_mm=diameter_mm / 2.0, semi_v_mm=diameter_mm / 2.0)


def rectangle(*, width_mm: float, length_mm: float) -> Face:
    """A rectangular face, width along u and length along v."""
    return Face(shape=Shape.RECTANGLE, semi_u_mm=width_mm / 2.0, semi_v_mm=length_mm / 2.0)
