"""Rough places of ellipses and circles of known proportions, by letting edges vote for the centres they are consistent with.

For each direction of the major axis the picture is squeezed until the ellipse is a circle; an edge then votes for the two points one
radius away along its normal (the transform of P. V. C. Hough, US patent 3 069 654 (1962), in the gradient form that is common practice).
Candidates only need to be within a sixth of the radius: settling does the rest.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from straightband.photo.figure import Figure, apart, disc

DIRECTIONS = 15
BIN_PX = 3.0
SMALLEST_SHARE = 0.07  # smallest half axis, of the longer side of the frame
ALIKE = 0.12


@dataclass(frozen=True, slots=True, kw_only=True)
class Edges:
    """Thinned edges of a small picture.

    Attributes
    ----------
    points
        (n, 2), column and row.
    normals
        (n, 2), unit vectors across the edge.
    weights
        (n,), strength over the edges around.
    shape
        Rows and columns of the picture.
    """

    points: NDArray
    normals: NDArray
    weights: NDArray
    shape: tuple[int, int]

    def without(self, figure: Figure, *, margin: float) -> Edges:
        """The edges farther than `margin` (relative radius) from the rim of a figure."""
        far = np.abs(figure.radius(self.points[:, 0], self.points[:, 1]) - 1.0) > margin
        return Edges(points=self.points[far], normals=self.normals[far], weights=self.weights[far], shape=self.shape)


def edges_of(picture: NDArray[np.float32], *, most: int) -> Edges:
    """The `most` strongest edges of a picture, each against its neighbourhood."""
    smooth = cv2.GaussianBlur(picture, (0, 0), 1.0)
    gx, gy = cv2.Scharr(smooth, cv2.CV_32F, 1, 0) / 32.0, cv2.Scharr(smooth, cv2.CV_32F, 0, 1) / 32.0
    size = cv2.magnitude(gx, gy)
    ux, uy = gx / (size + 1e-9), gy / (size + 1e-9)
    x, y = np.meshgrid(*(np.arange(n, dtype=np.float32) for n in size.shape[::-1]))
    ahead = cv2.remap(size, x + ux, y + uy, cv2.INTER_LINEAR)
    behind = cv2.remap(size, x - ux, y - uy, cv2.INTER_LINEAR)
    noise = float(np.median(size))
    crest = (size >= ahead) & (size > behind) & (size > 2.0 * noise)
    crest[:2] = crest[-2:] = crest[:, :2] = crest[:, -2:] = False
    strength = size / (cv2.blur(size, (15, 15)) + 0.5 * noise + 1e-6)
    rows, cols = np.nonzero(crest)
    weights = strength[rows, cols]
    if weights.size > most:
        kept = np.argpartition(-weights, most)[:most]
        rows, cols, weights = rows[kept], cols[kept], weights[kept]
    normals = np.column_stack([ux[rows, cols], uy[rows, cols]])
    return Edges(points=np.column_stack([cols, rows]).astype(np.float32), normals=normals, weights=np.minimum(weights, 3.0), shape=size.shape)


def vote(edges: Edges, *, ratio: float, directions: int, most: float, each: int) -> list[tuple[float, Figure]]:
    """Ellipses of a ratio, best first, with the share of their rim that voted; half minor axis up to `most` of the shorter side."""
    smallest = SMALLEST_SHARE * max(edges.shape) / math.sqrt(ratio)
    radii = np.arange(smallest, most * min(edges.shape), BIN_PX, dtype=np.float32)
    found = []
    for k in range(directions):
        found += _vote_direction(edges, ratio=ratio, angle_rad=math.pi * k / directions, radii=radii, each=each)
    return sorted(found, key=lambda pair: -pair[0])


def _vote_direction(edges: Edges, *, ratio: float, angle_rad: float, radii: NDArray, each: int) -> list[tuple[float, Figure]]:
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    squeeze = np.array([[c / ratio, s / ratio], [-s, c]], dtype=np.float32)
    frame = np.array([[0, 0], [1, 0], [0, 1], [1, 1]]) * edges.shape[::-1] @ squeeze.T
    low = frame.min(axis=0)
    bins = ((frame.max(axis=0) - low) / BIN_PX).astype(int) + 1
    points = (edges.points @ squeeze.T - low) / BIN_PX
    # Normals go with the inverse transpose of what points go with.
    normals = edges.normals @ np.array([[c * ratio, s * ratio], [-s, c]]).T
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    counts = _count(points.astype(np.float32), normals.astype(np.float32), edges.weights, radii=radii / BIN_PX, bins=bins)
    found = []
    for _ in range(each):
        r, q, p = np.unravel_index(int(counts.argmax()), counts.shape)
        x, y = (p + 0.5) * BIN_PX + low[0], (q + 0.5) * BIN_PX + low[1]
        radius = float(radii[r])
        figure = disc(cx=c * x * ratio - s * y, cy=s * x * ratio + c * y, along=radius * ratio, across=radius, angle_rad=angle_rad)
        found.append((float(counts[r, q, p]), figure))
        counts[max(r - 2, 0) : r + 3, max(q - 3, 0) : q + 4, max(p - 3, 0) : p + 4] = 0.0
    return found


def _count(points: NDArray, normals: NDArray, weights: NDArray, *, radii: NDArray, bins: NDArray) -> NDArray:
    """Votes [radius, row, column] over bins, smoothed, per radius."""
    signed = np.concatenate([radii, -radii]).astype(np.float32)[:, None]
    x, y = points[:, 0] + normals[:, 0] * signed, points[:, 1] + normals[:, 1] * signed
    inside = (x >= 0) & (x < bins[0]) & (y >= 0) & (y < bins[1])
    place = y.astype(np.int32) * np.int32(bins[0]) + x.astype(np.int32)
    place += (np.arange(2 * radii.size, dtype=np.int32) % radii.size)[:, None] * np.int32(bins[0] * bins[1])
    votes = np.bincount(place[inside], weights=np.broadcast_to(weights, place.shape)[inside], minlength=radii.size * int(bins[0] * bins[1]))
    counts = votes.reshape(radii.size, int(bins[1]), int(bins[0])).astype(np.float32)
    for k, layer in enumerate(counts):
        counts[k] = cv2.blur(layer, (3, 3)) / radii[k]
    return counts


def unlike(figures: list[Figure], *, most: int, alike: float = ALIKE) -> list[Figure]:
    """The first figures that differ from those before them by more than `alike` of the radius, at most `most`."""
    kept: list[Figure] = []
    for figure in figures:
        if all(apart(other, figure) > alike for other in kept):
            kept.append(figure)
        if len(kept) == most:
            break
    return kept
