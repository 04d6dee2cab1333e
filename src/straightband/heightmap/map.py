"""The hub noun: heights of a surface over a face."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from straightband.face.shapes import CLEAR_MARGIN, Face


@dataclass(frozen=True, slots=True, kw_only=True)
class HeightMap:
    """Heights over a face, positive where glass stands proud, as seen looking at the face.

    Attributes
    ----------
    heights_nm
        [v, u], NaN off the clear aperture.
    u_mm, v_mm
        Coordinates of the columns and rows, ascending and evenly spaced.
    uncertainty_nm
        Expanded uncertainty (95 %) of each height, same shape.
    face
        The outline of the whole face, bevel included.
    clear_margin
        Share of each semi-axis left out.
    meta
        What is known of the map, as plain JSON values.
    """

    heights_nm: NDArray
    u_mm: NDArray
    v_mm: NDArray
    uncertainty_nm: NDArray
    face: Face
    clear_margin: float = CLEAR_MARGIN
    meta: dict[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for array in (self.heights_nm, self.u_mm, self.v_mm, self.uncertainty_nm):
            array.setflags(write=False)

    @property
    def clear(self) -> Face:
        """The clear aperture."""
        return self.face.clear_aperture(self.clear_margin)

    @property
    def valid(self) -> NDArray:
        """True where there is a height inside the clear aperture, [v, u]."""
        inside = self.clear.contains(self.u_mm[None, :], self.v_mm[:, None] + 0.0 * self.u_mm[None, :])
        return inside & np.isfinite(self.heights_nm)

    def points(self) -> tuple[NDArray, NDArray, NDArray]:
        """`u_mm`, `v_mm`, `heights_nm` of the valid points, each (n,)."""
        valid = self.valid
        rows, cols = np.nonzero(valid)
        return self.u_mm[cols], self.v_mm[rows], self.heights_nm[valid]
