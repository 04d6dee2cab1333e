"""Settling a rough figure on the edge that runs all around it.

Bands end at the outline, so most edges near it lie inside; an edge with nothing going on just outside counts most. The window narrows from
a twelfth of the radius to under a hundredth, and each step solves the few motions of the rim by weighted least squares (mean shift).
"""

from __future__ import annotations

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


def settle(pyramid: Pyramid, figure: Figure, *, windows: tuple[float, ...], count: int = RIM_COUNT) -> Figure | None:
    """The figure settled through windows (relative radius), or None if it ran away."""
    for window in windows:
        radii, shares = _edges_around(pyramid, figure, window=window, count=count)
        figure = moved(figure, _pull(radii - 1.0, shares * _quiet_outside(shares, step=radii[1] - radii[0]), window=window, square=figure.square))
        longer, shorter, _ = figure.axes()
        if not (8.0 < shorter and longer < 2.0 * max(pyramid.pictures[0].shape)):
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
