"""A disc or a square laid into the picture: the candidates for the outline of a face.

Every outline sought here is the unit disc or the unit square seen through a 3 x 3 map, so that one way of unrolling the picture around a
rim, of moving the rim and of judging it serves ellipses, round faces and rectangles alike.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

CORNER_SHARE = 0.97  # of a side that is looked at: light from both sides meets at a corner


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A disc or square in the plane.

    Attributes
    ----------
    square
        True for the unit square -1..1, False for the unit disc.
    matrix
        (3, 3), from unit coordinates to plane pixels (column, row).
    """

    square: bool
    matrix: NDArray

    def pixels(self, x: NDArray, y: NDArray) -> tuple[NDArray, NDArray]:
        """Columns and rows of unit coordinates (x, y)."""
        h = self.matrix
        w = h[2, 0] * x + h[2, 1] * y + h[2, 2]
        return (h[0, 0] * x + h[0, 1] * y + h[0, 2]) / w, (h[1, 0] * x + h[1, 1] * y + h[1, 2]) / w

    def radius(self, columns: NDArray, rows: NDArray) -> NDArray:
        """0 at the centre, 1 on the rim, at pixels."""
        h = np.linalg.inv(self.matrix)
        w = h[2, 0] * columns + h[2, 1] * rows + h[2, 2]
        x, y = (h[0, 0] * columns + h[0, 1] * rows + h[0, 2]) / w, (h[1, 0] * columns + h[1, 1] * rows + h[1, 2]) / w
        return np.maximum(np.abs(x), np.abs(y)) if self.square else np.hypot(x, y)

    def rim_pixels(self, count: int) -> tuple[NDArray, NDArray]:
        """Columns and rows of `count` points of the rim."""
        unit = rim_points(square=self.square, count=count)
        return self.pixels(unit[:, 0], unit[:, 1])

    def unit_rim(self, count: int) -> NDArray:
        """(count, 2) points of the rim in unit coordinates."""
        return rim_points(square=self.square, count=count)

    def corners(self) -> NDArray:
        """(4, 2) pixels of (-1, -1), (1, -1), (1, 1), (-1, 1)."""
        square = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
        return np.column_stack(self.pixels(square[:, 0], square[:, 1]))

    def depths(self, count: int) -> NDArray:
        """Distances (count,) in pixels from the centre to the tangents at the rim's points: the rim moves by these times a relative radius."""
        if not self.square:
            normals = rim_points(square=False, count=count) @ np.linalg.inv(self.matrix[:2, :2])
            return 1.0 / np.linalg.norm(normals, axis=1)
        corners, middle = self.corners(), self.corners().mean(axis=0)
        sides = [(corners[1], corners[2]), (corners[2], corners[3]), (corners[3], corners[0]), (corners[0], corners[1])]
        far = [abs((b - a)[0] * (middle - a)[1] - (b - a)[1] * (middle - a)[0]) / np.linalg.norm(b - a) for a, b in sides]
        return np.repeat(far, count // 4)

    def axes(self) -> tuple[float, float, float]:
        """Longer and shorter half axis in pixels, and the direction of the longer one in radians (x right, y down).

        Of a rectangle half the mean length of opposite sides.
        """
        if not self.square:
            turn, sizes, _ = np.linalg.svd(self.matrix[:2, :2])
            return float(sizes[0]), float(sizes[1]), math.atan2(turn[1, 0], turn[0, 0])
        a, b, c, d = self.corners()
        across, along = (b + c - a - d) / 4.0, (c + d - a - b) / 4.0
        longer, shorter = (across, along) if np.hypot(*across) >= np.hypot(*along) else (along, across)
        return float(np.hypot(*longer)), float(np.hypot(*shorter)), math.atan2(longer[1], longer[0])

    def centre(self) -> tuple[float, float]:
        """Pixel of the middle of the figure."""
        if not self.square:
            return float(self.matrix[0, 2]), float(self.matrix[1, 2])
        return tuple(self.corners().mean(axis=0).tolist())

    def ratio(self) -> float:
        """Longer over shorter half axis."""
        longer, shorter, _ = self.axes()
        return longer / max(shorter, 1e-9)


@lru_cache(maxsize=16)
def rim_points(*, square: bool, count: int) -> NDArray:
    """(count, 2) points of the unit circle, or of the four sides x = 1, y = 1, x = -1, y = -1 of the unit square in turn."""
    if not square:
        t = 2.0 * np.pi * np.arange(count) / count
        points = np.column_stack([np.cos(t), np.sin(t)])
    else:
        along = CORNER_SHARE * (2.0 * (np.arange(count // 4) + 0.5) / (count // 4) - 1.0)
        one = np.ones_like(along)
        points = np.concatenate([np.column_stack(p) for p in ((one, along), (-along, one), (-one, -along), (along, -one))])
    points.setflags(write=False)
    return points


@lru_cache(maxsize=16)
def rim_motions(*, square: bool, count: int) -> NDArray:
    """(count, k): how far the rim moves outward, relative to its radius, at `rim_points`, for each of the k ways it can change.

    Disc: size, shift along x and y, stretch and shear (k = 5). Square: shift and turn of each side (k = 8).
    """
    points = rim_points(square=square, count=count)
    if not square:
        x, y = points.T
        motions = np.column_stack([np.ones_like(x), x, y, x * x - y * y, 2.0 * x * y])
    else:
        motions = np.zeros((count, 8))
        n = count // 4
        for side in range(4):
            rows = slice(side * n, (side + 1) * n)
            motions[rows, 2 * side] = 1.0
            motions[rows, 2 * side + 1] = points[rows, 1 - side % 2]
    motions.setflags(write=False)
    return motions


def moved(figure: Figure, amounts: NDArray) -> Figure:
    """The figure after its rim has moved by `rim_motions @ amounts`."""
    if figure.square:
        return Figure(square=True, matrix=figure.matrix @ _sides_moved(amounts))
    size, x, y, stretch, shear = amounts
    step = np.array([[1.0 + size + stretch, shear, x], [shear, 1.0 + size - stretch, y], [0.0, 0.0, 1.0]])
    return Figure(square=False, matrix=figure.matrix @ step)


def grown(figure: Figure, pixels: float) -> Figure:
    """The figure whose rim lies a distance in pixels farther out all around, as nearly as its kind allows."""
    motions = rim_motions(square=figure.square, count=96)
    return moved(figure, np.linalg.lstsq(motions, pixels / figure.depths(96), rcond=None)[0])


def _sides_moved(amounts: NDArray) -> NDArray:
    """Map of the unit square onto the one whose sides are x = 1 + a0 + a1 y, y = 1 + a2 + a3 x, and so on round."""
    a = amounts
    # Sides as x - s1 y = p1 (right), y - s2 x = p2 (upper), -x - s3 y = p3 (left), -y - s4 x = p4 (lower).
    lines = np.array([[1.0, -a[1], 1.0 + a[0]], [-a[3], 1.0, 1.0 + a[2]], [-1.0, -a[5], 1.0 + a[4]], [-a[7], -1.0, 1.0 + a[6]]])
    corners = [np.linalg.solve(lines[[i, j], :2], lines[[i, j], 2]) for i, j in ((2, 3), (3, 0), (0, 1), (1, 2))]
    unit = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], dtype=np.float32)
    return cv2.getPerspectiveTransform(unit, np.array(corners, dtype=np.float32))


def disc(*, cx: float, cy: float, along: float, across: float, angle_rad: float) -> Figure:
    """An ellipse from its centre, the half axis that lies along the angle, the other, and the angle from +x toward +y."""
    return Figure(square=False, matrix=_placed(cx, cy, along, across, angle_rad))


def rectangle_figure(*, cx: float, cy: float, along: float, across: float, angle_rad: float) -> Figure:
    """A rectangle from its centre, the half side that lies along the angle, the other, and the angle from +x toward +y."""
    return Figure(square=True, matrix=_placed(cx, cy, along, across, angle_rad))


def _placed(cx: float, cy: float, along: float, across: float, angle_rad: float) -> NDArray:
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    return np.array([[c * along, -s * across, cx], [s * along, c * across, cy], [0.0, 0.0, 1.0]])


def magnified(figure: Figure, factor: float) -> Figure:
    """The same figure in a picture whose pixels are `factor` times smaller (block corners kept in place)."""
    scale = np.array([[factor, 0.0, 0.5 * factor - 0.5], [0.0, factor, 0.5 * factor - 0.5], [0.0, 0.0, 1.0]])
    return Figure(square=figure.square, matrix=scale @ figure.matrix)


def apart(one: Figure, other: Figure) -> float:
    """Greatest distance between two rims, relative to the radius of the first."""
    return float(np.abs(one.radius(*other.rim_pixels(16)) - 1.0).max())
