"""Settling a rough figure on the edge that runs all around it.

Bands end at the outline, so most edges near it lie inside; an edge with nothing going on just outside counts most. The window narrows from
a twelfth of the radius to under a hundredth, and each step solves the few motions of the rim by weighted least squares (mean shift).
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from straightband.photo.figure import Figure, moved, rim_motions
from straightband.photo.unrolled import Pyramid, edge_shares, slopes, unroll

WIDE = (0.08, 0.05, 0.03, 0.02)
NARROW = (0.03, 0.02)
VERY_NARROW = (0.02,)
CLOSE = (0.012, 0.008)
OUTSIDE_REACH = 0.06  # how far outside an edge is asked to be quiet, relative radius
QUIET = 0.15  # edge share outside at which an edge counts 1/e
RIM_COUNT = 96
CLOSE_COUNT = 192
RIM_MARGIN = 0.025  # relative radius
SIDE_REACH = 0.3  # relative radius beyond a side where another is looked for
SIDE_SEEN = 0.45
SIDE_TURN = 0.14


def settle(
    pyramid: Pyramid, figure: Figure, *, windows: tuple[float, ...], count: int = RIM_COUNT, rims: tuple[Figure, ...] = ()
) -> Figure | None:
    """The figure settled through windows (relative radius), or None if it ran away; edges on `rims` are known to be others."""
    for window in windows:
        radii, shares = _edges_around(pyramid, figure, window=window, count=count)
        unit = figure.unit_rim(count)
        for rim in rims:
            away = rim.radius(*figure.pixels(unit[:, :1] * radii, unit[:, 1:] * radii))
            shares[np.abs(away - 1.0) < RIM_MARGIN] = 0.0
        figure = moved(
            figure, _pull(radii - 1.0, shares * _quiet_outside(shares, step=radii[1] - radii[0]), window=window, square=figure.square)
        )
        longer, shorter, _ = figure.axes()
        if not (shorter > 8.0 and longer < 2.0 * max(pyramid.pictures[0].shape)):
            return None
    return figure


def _edges_around(pyramid: Pyramid, figure: Figure, *, window: float, count: int) -> tuple[NDArray, NDArray]:
    half, step = max(2.5 * window, 0.05), max(window / 4.0, 0.002)
    radii = np.arange(1.0 - half - 0.04, 1.0 + half + 0.12, step)
    return radii, edge_shares(slopes(np.sqrt(unroll(pyramid, figure, radii=radii, count=count))))


def _quiet_outside(shares: NDArray, *, step: float) -> NDArray:
    """Weight of each place by how little edge lies just outside it."""
    reach, gap = max(2, round(OUTSIDE_REACH / step)), max(2, round(max(0.012, 2.0 * step) / step))
    sums = np.cumsum(np.pad(shares, ((0, 0), (1, reach + gap))), axis=1)
    n = shares.shape[1]
    return np.exp((sums[:, gap : gap + n] - sums[:, gap + reach : gap + reach + n]) / (reach * QUIET))


def _pull(offsets: NDArray, weights: NDArray, *, window: float, square: bool) -> NDArray:
    """The motion of the rim toward the weighted edges within the window."""
    motions = rim_motions(square=square, count=weights.shape[0])
    # Changes of form are held back a little, size and place are free.
    stiffness = np.array([0.0, 1.0] * 4) if square else np.array([0.0, 0.0, 0.0, 1.0, 1.0])
    amounts = np.zeros(motions.shape[1])
    for _ in range(4):
        near = weights * np.exp(-0.5 * ((offsets[None, :] - (motions @ amounts)[:, None]) / window) ** 2)
        mass = near.sum(axis=1)
        place = near @ offsets / (mass + 1e-9)
        trust = mass / (mass + np.median(mass) + 1e-9)
        normal = motions.T @ (trust[:, None] * motions) + np.diag(0.05 * trust.sum() * stiffness + 1e-9)
        amounts = np.linalg.solve(normal, motions.T @ (trust * place))
    return amounts


def side_variants(pyramid: Pyramid, figure: Figure) -> list[Figure]:
    """Rectangles with sides moved and turned to other edges, one at a time and all outward at once.

    Bands nearly parallel to a side are easily taken for it.
    """
    step = 0.006
    radii = np.arange(1.0 - SIDE_REACH / 2.0, 1.0 + SIDE_REACH, step)
    shares = edge_shares(slopes(np.sqrt(unroll(pyramid, figure, radii=radii, count=CLOSE_COUNT))))
    along = figure.unit_rim(CLOSE_COUNT)
    found, outermost = [], np.zeros(8)
    for side, rows in enumerate(np.split(np.arange(CLOSE_COUNT), 4)):
        lines = _lines_along(cv2.dilate(shares[rows], np.ones((1, 3), np.uint8)), along[rows, 1 - side % 2], step=step)
        for place, turn in lines:
            amounts = np.zeros(8)
            amounts[2 * side : 2 * side + 2] = radii[place] - 1.0, turn
            outermost[2 * side : 2 * side + 2] = amounts[2 * side : 2 * side + 2]
            found.append(moved(figure, amounts))
    return [*found[-8:], moved(figure, outermost)]


def _lines_along(shares: NDArray, along: NDArray, *, step: float) -> list[tuple[int, float]]:
    """Straight edges in the strip beside one side, innermost first: column at the middle of the side, and turn."""
    turns = np.linspace(-SIDE_TURN, SIDE_TURN, 15)
    columns = np.arange(shares.shape[1])
    seen = np.empty((turns.size, columns.size))
    for k, turn in enumerate(turns):
        place = np.rint(columns + turn * along[:, None] / step).astype(int)
        inside = (place >= 0) & (place < columns.size)
        seen[k] = np.where(inside, np.take_along_axis(shares, np.clip(place, 0, columns.size - 1), axis=1), 0.0).mean(axis=0)
    best = seen.max(axis=0)
    top = np.flatnonzero((best[1:-1] >= best[:-2]) & (best[1:-1] > best[2:]) & (best[1:-1] > SIDE_SEEN)) + 1
    return [(int(place), float(turns[int(seen[:, place].argmax())])) for place in top]
