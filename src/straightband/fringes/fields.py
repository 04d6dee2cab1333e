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
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from straightband.face.shapes import Face, Shape
from straightband.fringes.grow import polynomials

RIM_WIDTHS = (0.015, 0.035, 0.07, 0.12, 0.2)  # reach of the rim functions, in units of the shorter half extent
RIM_HARMONICS = 6
SIDE_ORDER = 2  # of the polynomials along a straight side


@dataclass(frozen=True, slots=True, kw_only=True)
class SplineGrid:
    """A grid of cubic B-splines on the square -1..1, those left out that nowhere reach the face.

    Attributes
    ----------
    columns, rows
        Number of splines along x and y.
    kept
        Sorted numbers (row * columns + column) of the splines that reach the face.
    """

    columns: int
    rows: int
    kept: NDArray

    @property
    def size(self) -> int:
        """Number of splines kept."""
        return int(self.kept.size)

    def matrix(self, x: NDArray, y: NDArray) -> sparse.csr_array:
        """Value of each spline at each point of the face, (n, size), at most 16 entries a row."""
        ix, wx = _cubic_weights(x, self.columns)
        iy, wy = _cubic_weights(y, self.rows)
        columns = (iy[:, :, None] * self.columns + ix[:, None, :]).reshape(x.size, -1)
        values = (wy[:, :, None] * wx[:, None, :]).reshape(x.size, -1)
        starts = np.arange(0, 16 * x.size + 1, 16)
        return sparse.csr_array((values.ravel(), columns.ravel(), starts), shape=(x.size, self.columns * self.rows))[:, self.kept]

    def on_grid(self, coefficients: NDArray, *, x: NDArray, y: NDArray) -> NDArray:
        """The sum [y, x] on a grid from its axes."""
        every = np.zeros(self.columns * self.rows)
        every[self.kept] = coefficients
        return _dense_weights(y, self.rows) @ every.reshape(self.rows, self.columns) @ _dense_weights(x, self.columns).T

    def bending(self) -> NDArray:
        """Matrix P so that c P c is the sum of squared second differences along both axes and across, of neighbours all kept."""
        eye_x, eye_y = sparse.eye_array(self.columns), sparse.eye_array(self.rows)
        once_x, once_y = _differences(self.columns, 1), _differences(self.rows, 1)
        parts = [
            sparse.kron(eye_y, _differences(self.columns, 2)),
            sparse.kron(_differences(self.rows, 2), eye_x),
            np.sqrt(2.0) * sparse.kron(once_y, once_x),
        ]
        operator = sparse.vstack(parts).tocsr()
        dropped = np.ones(self.columns * self.rows)
        dropped[self.kept] = 0.0
        whole = operator[np.abs(operator) @ dropped == 0.0][:, self.kept]
        return (whole.T @ whole).toarray()


@lru_cache(maxsize=8)
def spline_grid(*, columns: int, rows: int, shape: Shape) -> SplineGrid:
    """The grid of `columns` x `rows` splines, less those that do not reach a face of this shape."""
    if shape is Shape.RECTANGLE:
        return SplineGrid(columns=columns, rows=rows, kept=np.arange(columns * rows))
    axis = np.linspace(-1.0, 1.0, 16 * max(columns, rows))
    x, y = np.meshgrid(axis, axis)
    on_face = np.hypot(x, y) <= 1.0
    everything = SplineGrid(columns=columns, rows=rows, kept=np.arange(columns * rows))
    reach = np.asarray(everything.matrix(x[on_face], y[on_face]).sum(axis=0)).ravel()
    kept = np.flatnonzero(reach > 0.0)
    kept.setflags(write=False)
    return SplineGrid(columns=columns, rows=rows, kept=kept)


def _differences(count: int, order: int) -> sparse.csr_array:
    return sparse.csr_array(np.diff(np.eye(count), order, axis=0))


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
    radial = [_falling(distance, w) for w in RIM_WIDTHS]
    return np.stack([r * h for r in radial for h in harmonics])


def _falling(distance: NDArray, reach: float) -> NDArray:
    """From 1 on the outline to 0 at its reach, as a parabola."""
    return np.clip(1.0 - distance / reach, 0.0, 1.0) ** 2


def side_functions(x: NDArray, y: NDArray, *, clear: Face) -> NDArray:
    """The rim functions (k, *x.shape) of each side of a rectangle by itself, times Legendre polynomials along it; none for other shapes.

    An edge worked down on one side ends at the corner, where no function of the angle stops, and two of them add up there.
    """
    if clear.shape is not Shape.RECTANGLE:
        return np.zeros((0, *x.shape), dtype=x.dtype)
    a, b = clear.semi_u_mm, clear.semi_v_mm
    short = min(a, b)
    sides = [(place * half / short, along) for across, along, half in ((x, y, a), (y, x, b)) for place in (1.0 - across, 1.0 + across)]
    orders = np.eye(SIDE_ORDER + 1)
    return np.stack(
        [
            _falling(distance, w) * np.polynomial.legendre.legval(along, order)
            for w in RIM_WIDTHS
            for distance, along in sides
            for order in orders
        ]
    ).astype(x.dtype)


def side_roughness(count: int) -> NDArray:
    """Relative stiffness of `count` side functions: rough along a side is less likely than even."""
    return np.resize(1.0 + np.square(np.arange(SIDE_ORDER + 1.0)), count)


def rim_roughness() -> NDArray:
    """Relative stiffness of each rim function: rough round the rim is less likely than even."""
    harmonic = np.array([0] + [m for m in range(1, RIM_HARMONICS + 1) for _ in range(2)], dtype=float)
    return np.tile(1.0 + harmonic**2, len(RIM_WIDTHS))


def polynomial_block(x: NDArray, y: NDArray, *, shape: Shape, order: int) -> NDArray:
    """Polynomials as columns, (n, k)."""
    return polynomials(x, y, shape=shape, order=order).reshape(-1, x.size).T
