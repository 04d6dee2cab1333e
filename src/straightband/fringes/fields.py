"""Smooth fields over a face as sums of basis functions: polynomials, rim functions and a grid of cubic splines.

Polynomials carry the figure of the whole face; rim functions fall off within a stated distance of the outline and turn with the angle, for
an edge that is turned down or up; the spline grid carries what is left, a local hill or a zone. Coordinates are scaled to the half
extents of the clear aperture.

Sources
-------
Cubic B-splines on even knots: C. de Boor, A Practical Guide to Splines (1978), chapter IX (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from straightband.face.shapes import Face, Shape
from straightband.fringes.whole import polynomials

RIM_WIDTHS = (0.015, 0.035, 0.07, 0.12, 0.2)  # reach of the rim functions, in units of the shorter half extent
RIM_HARMONICS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class SplineGrid:
    """A grid of cubic B-splines on the square -1..1.

    Attributes
    ----------
    columns, rows
        Number of splines along x and y.
    """

    columns: int
    rows: int

    @property
    def size(self) -> int:
        """Number of splines."""
        return self.columns * self.rows

    def matrix(self, x: NDArray, y: NDArray) -> sparse.csr_array:
        """Value of each spline at each point, (n, size), 16 entries a row."""
        ix, wx = _cubic_weights(x, self.columns)
        iy, wy = _cubic_weights(y, self.rows)
        columns = (iy[:, :, None] * self.columns + ix[:, None, :]).reshape(x.size, -1)
        values = (wy[:, :, None] * wx[:, None, :]).reshape(x.size, -1)
        starts = np.arange(0, 16 * x.size + 1, 16)
        return sparse.csr_array((values.ravel(), columns.ravel(), starts), shape=(x.size, self.size))

    def on_grid(self, coefficients: NDArray, x: NDArray, y: NDArray) -> NDArray:
        """The sum [y, x] on a grid from its axes."""
        mx, my = _dense_weights(x, self.columns), _dense_weights(y, self.rows)
        return my @ coefficients.reshape(self.rows, self.columns) @ mx.T

    def bending(self) -> NDArray:
        """Matrix P so that c P c is the sum of squared second differences along both axes and across."""
        dx, dy = np.diff(np.eye(self.columns), 2, axis=0), np.diff(np.eye(self.rows), 2, axis=0)
        sx, sy = np.diff(np.eye(self.columns), axis=0), np.diff(np.eye(self.rows), axis=0)
        eye_x, eye_y = np.eye(self.columns), np.eye(self.rows)
        return np.kron(eye_y, dx.T @ dx) + np.kron(dy.T @ dy, eye_x) + 2.0 * np.kron(sy.T @ sy, sx.T @ sx)


def _cubic_weights(x: NDArray, count: int) -> tuple[NDArray, NDArray]:
    """Index of and weight on the four splines that reach each point, both (n, 4)."""
    position = np.clip((x + 1.0) / 2.0, 0.0, 1.0) * (count - 3)
    first = np.minimum(np.floor(position).astype(np.int32), count - 4)
    t = position - first
    weights = np.stack([(1 - t) ** 3, 3 * t**3 - 6 * t**2 + 4, -3 * t**3 + 3 * t**2 + 3 * t + 1, t**3], axis=1) / 6.0
    return first[:, None] + np.arange(4, dtype=np.int32), weights


def _dense_weights(x: NDArray, count: int) -> NDArray:
    index, weights = _cubic_weights(x, count)
    dense = np.zeros((x.size, count))
    np.put_along_axis(dense, index, weights, axis=1)
    return dense


def distance_from_rim(x: NDArray, y: NDArray, *, clear: Face) -> NDArray:
    """Distance inward from the outline, in units of the shorter half extent; to first order in the distance on an ellipse."""
    a, b = clear.semi_u_mm, clear.semi_v_mm
    short = min(a, b)
    if clear.shape is Shape.RECTANGLE:
        return np.minimum((1.0 - np.abs(x)) * a, (1.0 - np.abs(y)) * b) / short
    rho = np.hypot(x, y)
    slope = np.hypot(x / a, y / b) / np.maximum(rho, 1e-9)
    return (1.0 - rho) / np.maximum(slope, 1e-9) / short


def rim_functions(x: NDArray, y: NDArray, *, clear: Face) -> NDArray:
    """Rim functions (k, *x.shape): (1 - d / w)^2 within w of the outline, times 1, cos m phi, sin m phi.

    Ordered by width, then harmonic; `rim_roughness` gives the prior that goes with the order.
    """
    distance = distance_from_rim(x, y, clear=clear)
    angle = np.arctan2(y, x)
    harmonics = [np.ones_like(angle)]
    for m in range(1, RIM_HARMONICS + 1):
        harmonics += [np.cos(m * angle), np.sin(m * angle)]
    radial = [np.clip(1.0 - distance / w, 0.0, 1.0) ** 2 for w in RIM_WIDTHS]
    return np.stack([r * h for r in radial for h in harmonics])


def rim_roughness() -> NDArray:
    """Relative stiffness of each rim function: rough round the rim is less likely than even."""
    harmonic = np.array([0] + [m for m in range(1, RIM_HARMONICS + 1) for _ in range(2)], dtype=float)
    return np.tile(1.0 + harmonic**2, len(RIM_WIDTHS))


def polynomial_block(x: NDArray, y: NDArray, *, shape: Shape, order: int) -> NDArray:
    """Polynomials as columns, (n, k)."""
    return polynomials(x, y, shape=shape, order=order).reshape(-1, x.size).T
