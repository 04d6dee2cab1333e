"""The fast way: a face as rings about its centre, which is all that turning leaves of it.

A plate that turns shows its partner, at each distance from its centre, the mean of what lies there. So a face is kept as one height for each
ring and the share of that ring's circle that the outline holds: 1 up to the shorter half axis, less beyond. Two plates that turn
independently meet at a point as often as the product of their shares. What a turning plate can't know, twist and astigmatism, is not kept.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from straightband.face.shapes import Face

CELLS = 64
_ANGLES = 720  # round a circle, to find how much of it lies on a face
_DEPTHS = 8  # circles to a ring


@dataclass(frozen=True, slots=True, kw_only=True)
class Rings:
    """A face by distance from its centre.

    Attributes
    ----------
    edges_mm
        (n + 1,) radii between the rings, from 0 to the farthest place of the face.
    share
        (n,) of each ring that lies on the face, or that carries contact where pads leave gaps.
    span_mm
        Radius that sags are told at: the longer half axis.
    """

    edges_mm: NDArray
    share: NDArray
    span_mm: float

    @property
    def radii_mm(self) -> NDArray:
        """(n,) middle of each ring."""
        return (self.edges_mm[1:] + self.edges_mm[:-1]) / 2.0

    @property
    def areas_mm2(self) -> NDArray:
        """(n,) area of each ring that lies on the face."""
        return np.pi * np.diff(self.edges_mm**2) * self.share


def rings_of(face: Face, *, cells: int = CELLS) -> Rings:
    """A face as `cells` rings of one width."""
    semi_u, semi_v = face.semi_u_mm, face.semi_v_mm
    farthest = float(np.hypot(semi_u, semi_v)) if face.shape == "rectangle" else face.semi_major_mm
    edges = np.linspace(0.0, farthest, cells + 1)
    depths = (np.arange(cells * _DEPTHS) + 0.5) * farthest / (cells * _DEPTHS)
    turns = (np.arange(_ANGLES) + 0.5) * 2.0 * np.pi / _ANGLES
    inside = face.contains(depths[:, None] * np.cos(turns), depths[:, None] * np.sin(turns)).mean(axis=1)
    # Weighted by radius, so that the rings' areas add up to the face's.
    share = np.sum((inside * depths).reshape(cells, _DEPTHS), axis=1) / np.sum(depths.reshape(cells, _DEPTHS), axis=1)
    return Rings(edges_mm=edges, share=share, span_mm=face.semi_major_mm)


def spherical_rings(rings: Rings, *, sag_um: NDArray | float) -> NDArray:
    """(n,) heights of a sphere with that sag, or (n, draws) for as many sags."""
    curve = -((rings.radii_mm / rings.span_mm) ** 2)
    return np.multiply.outer(curve, sag_um) if np.ndim(sag_um) else curve * sag_um


def sag_of_rings_um(heights_um: NDArray, rings: Rings) -> NDArray:
    """Sag over the longer half axis of the least-squares sphere through (n,) or (n, draws) heights; a hill is positive."""
    weight = np.sqrt(rings.areas_mm2)
    columns = np.stack([weight, weight * (rings.radii_mm / rings.span_mm) ** 2], axis=-1)
    solution = np.linalg.pinv(columns) @ (heights_um.T * weight).T
    return -solution[1]
