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

from straightband.photo.figure import Figure, apart, disc, rectangle_figure

DIRECTIONS = 18
SQUARE_DIRECTIONS, SQUARE_TRIED = 30, 10
OUTWARD = ((1, 0), (-1, 0), (0, 1), (0, -1))  # the sides of a rectangle: ends of the longer axis, then of the shorter
BIN_PX = 3.0
TURNED_BIN_PX = 6.5  # for ellipses: a direction 5 degrees off scatters the votes this far
LEVEL_STEP = 0.002  # root of light per pixel: slopes of single 8-bit levels in an even table stay below it
FAINT_SHARE = 0.15  # of the strong edges: one as weak counts half
LINE_PX, LINE_GAP_PX, LINE_WORTH = 60, 4, 0.2
SHORTEST_PX = 9  # a chain of crests
CALM_PX = 6  # how far behind an edge it is asked to be quiet
SMALLEST_SHARE = 0.07  # smallest half axis, of the longer side of the frame
ALIKE = 0.12
Range = tuple[float, float]
ALONG = 0.96  # cosine: a side may lie 16 degrees off the direction it is sought in


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
        (n, 2): strength over the edges around, times how quiet it is on the far side, for a centre that lies along the normal and against it.
    shape
        Rows and columns of the picture.
    """

    points: NDArray
    normals: NDArray
    weights: NDArray
    shape: tuple[int, int]

    def without(self, figure: Figure, *, margin: float) -> Edges:
        """The edges farther than `margin` (relative radius) from the rim of a figure."""
        return self._only(np.abs(figure.radius(self.points[:, 0], self.points[:, 1]) - 1.0) > margin)

    def outside(self, figure: Figure, *, radius: float) -> Edges:
        """The edges farther out than a relative radius of a figure."""
        return self._only(figure.radius(self.points[:, 0], self.points[:, 1]) > radius)

    def off_lines(self) -> Edges:
        """The edges with little weight left to those along long straight lines: straight bands, and the sides of a plate or a table."""
        mask = np.zeros(self.shape, dtype=np.uint8)
        mask[self.points[:, 1].astype(int), self.points[:, 0].astype(int)] = 255
        lines = cv2.HoughLinesP(mask, 1.0, math.pi / 180.0, 40, minLineLength=LINE_PX, maxLineGap=LINE_GAP_PX)
        mask[:] = 0
        for x1, y1, x2, y2 in np.reshape([] if lines is None else lines, (-1, 4)).tolist():
            cv2.line(mask, (x1, y1), (x2, y2), 1, 3)
        straight = mask[self.points[:, 1].astype(int), self.points[:, 0].astype(int)] > 0
        weights = np.where(straight[:, None], np.float32(LINE_WORTH), np.float32(1.0)) * self.weights
        return Edges(points=self.points, normals=self.normals, weights=weights, shape=self.shape)

    def _only(self, kept: NDArray[np.bool_]) -> Edges:
        return Edges(points=self.points[kept], normals=self.normals[kept], weights=self.weights[kept], shape=self.shape)


def edges_of(picture: NDArray[np.float32], *, most: int) -> Edges:
    """The `most` strongest edges of a picture, each against its neighbourhood."""
    smooth = cv2.GaussianBlur(picture, (0, 0), 1.0)
    gx, gy = cv2.Scharr(smooth, cv2.CV_32F, 1, 0) / 32.0, cv2.Scharr(smooth, cv2.CV_32F, 0, 1) / 32.0
    size = cv2.magnitude(gx, gy)
    ux, uy = gx / (size + 1e-9), gy / (size + 1e-9)
    x, y = np.meshgrid(*(np.arange(n, dtype=np.float32) for n in size.shape[::-1]))
    ahead = cv2.remap(size, x + ux, y + uy, cv2.INTER_LINEAR)
    behind = cv2.remap(size, x - ux, y - uy, cv2.INTER_LINEAR)
    noise = max(float(np.median(size)), LEVEL_STEP)
    crest = (size >= ahead) & (size > behind) & (size > 2.0 * noise)
    crest[:2] = crest[-2:] = crest[:, :2] = crest[:, -2:] = False
    crest = _long_enough(crest)
    strength = size / (cv2.blur(size, (15, 15)) + 0.5 * noise + 1e-6)
    rows, cols = np.nonzero(crest)
    normals = np.column_stack([ux[rows, cols], uy[rows, cols]])
    calm = _calm_beyond(size, np.column_stack([cols, rows]), normals, floor=2.0 * noise + 0.1 * float(np.percentile(size[::2, ::2], 98.0)))
    sizes = size[rows, cols]
    weights = (np.minimum(strength[rows, cols], 3.0) * sizes / (sizes + FAINT_SHARE * np.percentile(size[::2, ::2], 98.0)))[:, None] * calm
    if len(weights) > most:
        kept = np.argpartition(-weights.max(axis=1), most)[:most]
        rows, cols, weights, normals = rows[kept], cols[kept], weights[kept], normals[kept]
    return Edges(points=np.column_stack([cols, rows]).astype(np.float32), normals=normals, weights=weights, shape=size.shape)


def _long_enough(crest: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The crests that hang together over some pixels: those of noise do not."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats(crest.astype(np.uint8), connectivity=8)
    return crest & (stats[:, cv2.CC_STAT_AREA] >= SHORTEST_PX)[labels]


def _calm_beyond(size: NDArray, points: NDArray, normals: NDArray, *, floor: float) -> NDArray:
    """(n, 2), 0 to 1: how little gradient there is behind an edge, seen from a centre along its normal, and from one against it."""
    mean = cv2.blur(size, (5, 5))
    sides = []
    for sign in (-1.0, 1.0):
        place = np.rint(points + sign * CALM_PX * normals).astype(int)
        cols, rows = np.clip(place[:, 0], 0, size.shape[1] - 1), np.clip(place[:, 1], 0, size.shape[0] - 1)
        sides.append(floor**2 / (floor**2 + mean[rows, cols] ** 2))
    return np.column_stack(sides).astype(np.float32)


def vote(
    edges: Edges, *, ratio: float, directions: int, most: float, each: int, bin_px: float = BIN_PX, between_px: Range | None = None
) -> list[tuple[float, Figure]]:
    """Ellipses of a ratio, best first, with the share of their rim that voted.

    The half minor axis is sought within `between_px`, else from a small share of the frame up to `most` of the shorter side.
    """
    low, high = between_px or (SMALLEST_SHARE * max(edges.shape) / math.sqrt(ratio), most * min(edges.shape))
    radii = np.arange(low, high, bin_px, dtype=np.float32)
    found = []
    for k in range(directions):
        found += _vote_direction(edges, ratio=ratio, angle_rad=math.pi * k / directions, radii=radii, each=each)
    return sorted(found, key=lambda pair: -pair[0])


def _vote_direction(edges: Edges, *, ratio: float, angle_rad: float, radii: NDArray, each: int) -> list[tuple[float, Figure]]:
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    bin_px = float(radii[1] - radii[0])
    squeeze = np.array([[c / ratio, s / ratio], [-s, c]], dtype=np.float32)
    frame = np.array([[0, 0], [1, 0], [0, 1], [1, 1]]) * edges.shape[::-1] @ squeeze.T
    low = frame.min(axis=0)
    bins = ((frame.max(axis=0) - low) / bin_px).astype(int) + 1
    points = (edges.points @ squeeze.T - low) / bin_px
    # Normals go with the inverse transpose of what points go with.
    normals = edges.normals @ np.array([[c * ratio, s * ratio], [-s, c]]).T
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    counts = _count(points.astype(np.float32), normals.astype(np.float32), edges.weights, radii=radii / bin_px, bins=bins)
    found = []
    for _ in range(each):
        r, q, p = np.unravel_index(int(counts.argmax()), counts.shape)
        x, y = (p + 0.5) * bin_px + low[0], (q + 0.5) * bin_px + low[1]
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
    votes = np.bincount(
        place[inside], weights=np.repeat(weights.T, radii.size, axis=0)[inside], minlength=radii.size * int(bins[0] * bins[1])
    )
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


def vote_rectangles(
    edges: Edges, *, ratio: float, directions: int, each: int, between_px: Range | None = None
) -> list[tuple[float, Figure]]:
    """Rectangles of a ratio (longer over shorter), best first, with the sum over the sides of the share that has edges along it.

    Half the shorter side is sought within `between_px`, else over all that the frame holds.
    """
    low, high = between_px or (SMALLEST_SHARE * max(edges.shape) / ratio, 0.52 * min(edges.shape))
    shorter = np.arange(low, high, BIN_PX) / BIN_PX
    angles = [math.pi * k / SQUARE_DIRECTIONS for k in range(directions)]
    found = []
    for angle in sorted(angles, key=lambda angle: -_sides_facing(edges, angle_rad=angle))[:SQUARE_TRIED]:
        found += _vote_sides(edges, ratio=ratio, angle_rad=angle, shorter=shorter, each=each)
    return sorted(found, key=lambda pair: -pair[0])


def _sides_facing(edges: Edges, *, angle_rad: float) -> float:
    """How much edge faces all four ways of a rectangle that lies at an angle."""
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    sums = []
    for column, row in OUTWARD:
        facing = edges.normals @ np.array([c * column - s * row, s * column + c * row])
        sums.append(edges.weights[facing > ALONG, 1].sum() + edges.weights[facing < -ALONG, 0].sum())
    return float(np.sqrt(sums).sum() + 2.0 * math.sqrt(min(sums)))


def _vote_sides(edges: Edges, *, ratio: float, angle_rad: float, shorter: NDArray, each: int) -> list[tuple[float, Figure]]:
    """Rectangles whose longer side lies along an angle; `shorter` are the halves of the other side that are tried, in bins."""
    turn = np.array([[math.cos(angle_rad), math.sin(angle_rad)], [-math.sin(angle_rad), math.cos(angle_rad)]], dtype=np.float32)
    frame = np.array([[0, 0], [1, 0], [0, 1], [1, 1]]) * edges.shape[::-1] @ turn.T
    low = frame.min(axis=0)
    bins = ((frame.max(axis=0) - low) / BIN_PX).astype(int) + 1
    place = ((edges.points @ turn.T - low) / BIN_PX).astype(np.int32)
    sides = [_occupied(place, edges.weights, edges.normals @ turn.T, outward=outward, bins=bins) for outward in OUTWARD]
    scores = np.stack([_sides_seen(sides, along=ratio * half, across=half) for half in shorter])
    found = []
    for _ in range(each):
        r, q, p = np.unravel_index(int(scores.argmax()), scores.shape)
        cx, cy = turn.T @ (np.array([p + 0.5, q + 0.5]) * BIN_PX + low)
        half = float(shorter[r]) * BIN_PX
        figure = rectangle_figure(cx=float(cx), cy=float(cy), along=ratio * half, across=half, angle_rad=angle_rad)
        found.append((float(scores[r, q, p]), figure))
        scores[max(r - 2, 0) : r + 3, max(q - 2, 0) : q + 3, max(p - 2, 0) : p + 3] = 0.0
    return found


def _occupied(place: NDArray, weights: NDArray, normals: NDArray, *, outward: tuple[int, int], bins: NDArray) -> NDArray[np.float32]:
    """[row, column], 0 to 1: how surely a bin or one beside it holds an edge of the side that faces `outward`."""
    facing = normals @ np.array(outward)
    # Seen from the centre, the far side of an edge of this side is the one that faces outward.
    held = np.where(facing > ALONG, weights[:, 1], np.where(facing < -ALONG, weights[:, 0], 0.0))
    seen = np.zeros((int(bins[1]), int(bins[0])), dtype=np.float32)
    np.maximum.at(seen, (place[:, 1], place[:, 0]), np.minimum(held, 1.0).astype(np.float32))
    return cv2.dilate(seen, np.ones((3, 3), np.uint8))


def _sides_seen(sides: list[NDArray], *, along: float, across: float) -> NDArray[np.float32]:
    """Sum of the shares of the four sides that are seen, the worst side counted three times, for every centre."""
    a, b = max(1, round(along)), max(1, round(across))
    seen = []
    for side, (column, row) in zip(sides, OUTWARD, strict=True):
        span = (1, 2 * b + 1) if column else (2 * a + 1, 1)
        seen.append(_shifted(cv2.boxFilter(side, cv2.CV_32F, span, borderType=cv2.BORDER_CONSTANT), column * a, row * b))
    return sum(seen[1:], start=seen[0]) + 2.0 * np.minimum.reduce(seen)


def _shifted(array: NDArray, columns: int, rows: int) -> NDArray:
    """The array seen from (row + rows, column + columns), 0 beyond its edge."""
    shift = np.array([[1.0, 0.0, columns], [0.0, 1.0, rows]])
    return cv2.warpAffine(array, shift, array.shape[::-1], flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP)
