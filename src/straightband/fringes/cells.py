"""Pixels gathered into small cells over which every smooth field is constant, so that a step of the fit costs by the cell.

Within a cell the picture changes only through the phase; what a least-squares step needs of it are the sums of products of the four
channels (light, modulation, phase, overtone) and of each with the residual. Cells are small squares inside and, near the rim,
where an edge may turn within a millimetre, slivers one pixel deep along the outline; in the corners of a rectangle, squares of two pixels.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from straightband.face.shapes import Face, Shape
from straightband.fringes.fields import distance_from_rim

CELL_PIXELS = 4
RIM_SLIVER_PIXELS = 8
RIM_DEPTH = 0.13  # of the shorter half extent: beyond the narrow rim functions
CORNER_PIXELS = 2
CHANNELS = 4  # light, modulation, phase, overtone


@dataclass(frozen=True, slots=True, kw_only=True)
class Cells:
    """Which pixel belongs to which cell.

    Attributes
    ----------
    label
        [v, u] cell number, -1 off the face.
    x, y
        (c,) mean position of each cell's pixels.
    """

    label: NDArray
    x: NDArray
    y: NDArray


def divide(x: NDArray, y: NDArray, *, clear: Face) -> Cells:
    """Cells for a grid of pixels with axes x (columns) and y (rows) in coordinates scaled to the clear aperture."""
    xx, yy = np.meshgrid(x, y)
    inside = clear.contains(xx * clear.semi_u_mm, yy * clear.semi_v_mm)
    pixel = (x[1] - x[0]) * clear.semi_u_mm / min(clear.semi_u_mm, clear.semi_v_mm)
    depth = distance_from_rim(xx, yy, clear=clear)
    rows, columns = np.indices(xx.shape)
    key = (rows // CELL_PIXELS) * (x.size // CELL_PIXELS + 1) + columns // CELL_PIXELS
    sliver = np.floor(depth / pixel).astype(np.int64)
    around = np.arctan2(yy * clear.semi_v_mm, xx * clear.semi_u_mm)
    turn = max(8, int(2.0 * np.pi / (RIM_SLIVER_PIXELS * pixel)))
    rim_key = int(key.max()) + 1 + sliver * turn + np.floor((around + np.pi) / (2.0 * np.pi) * turn * 0.999999).astype(np.int64)
    key = np.where(depth < RIM_DEPTH, rim_key, key)
    if clear.shape is Shape.RECTANGLE:
        # where two edges that are turned meet, the light changes from pixel to pixel along both
        corner_key = int(key.max()) + 1 + (rows // CORNER_PIXELS) * (x.size // CORNER_PIXELS + 1) + columns // CORNER_PIXELS
        key = np.where(_in_corner(xx, yy, clear=clear), corner_key, key)
    _, label = np.unique(key[inside], return_inverse=True)
    count = np.bincount(label)
    full = np.full(xx.shape, -1, dtype=np.int32)
    full[inside] = label
    return Cells(label=full, x=np.bincount(label, xx[inside]) / count, y=np.bincount(label, yy[inside]) / count)


def _in_corner(x: NDArray, y: NDArray, *, clear: Face) -> NDArray:
    """True within the depth of the rim of two sides at once."""
    a, b = clear.semi_u_mm, clear.semi_v_mm
    return np.maximum((1.0 - np.abs(x)) * a, (1.0 - np.abs(y)) * b) < RIM_DEPTH * min(a, b)


@dataclass(frozen=True, slots=True, kw_only=True)
class Moments:
    """Sums over the pixels of each cell, weighted.

    Attributes
    ----------
    products
        [channel, channel, cell].
    with_residual
        [channel, cell].
    """

    products: NDArray
    with_residual: NDArray


def gather(cells: Cells, *, channels: NDArray, residual: NDArray, weight: NDArray) -> Moments:
    """Moments of the channels (CHANNELS, n) and residual (n,) at the pixels of the face, in the order of `cells.label`."""
    label = cells.label[cells.label >= 0]
    size = cells.x.size
    products = np.empty((CHANNELS, CHANNELS, size))
    with_residual = np.empty((CHANNELS, size))
    for i in range(CHANNELS):
        weighted = channels[i] * weight
        with_residual[i] = np.bincount(label, weighted * residual, minlength=size)
        for j in range(i, CHANNELS):
            products[i, j] = products[j, i] = np.bincount(label, weighted * channels[j], minlength=size)
    return Moments(products=products, with_residual=with_residual)
