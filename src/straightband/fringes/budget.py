"""The budget of uncertainty of a reading: every cause as departures of the height map, and what each does to every figure.

A cause is one or more modes: departures of the whole map that it would make at its 95 % limit. The fit's noise comes as many random
departures instead. What a mode does to a figure is found by adding it and taking it away, so that PV and RMS, which are not linear, come out right.

Sources
-------
JCGM 101:2008 (propagation of distributions) for the draws; JCGM 100:2008, 5.1.2, for the sum; NEWTON-type formulas in `light.bands`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from straightband.heightmap.figures import NAMES, Points, many_figures
from straightband.uncertainty import COVERAGE_95


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """Something that makes a map wrong.

    Attributes
    ----------
    name
        What it is.
    origin
        Where its size comes from.
    modes_nm
        (m, c) departures at the cells at the 95 % limit, or
    draws_nm
        (d, c) random departures; one of the two has no rows.
    """

    name: str
    origin: str
    modes_nm: NDArray
    draws_nm: NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class CauseEffect:
    """What a cause does to the figures, expanded (95 %), by the figure's name."""

    name: str
    origin: str
    expanded_nm: dict[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingBudget:
    """Causes with their effects, their sums, and the uncertainty of each cell.

    Attributes
    ----------
    effects
        One for each cause.
    expanded_nm
        Figure name to expanded uncertainty (95 %).
    cells_nm
        (c,) expanded uncertainty of the height at each cell.
    """

    effects: tuple[CauseEffect, ...]
    expanded_nm: dict[str, float]
    cells_nm: NDArray


def no_rows(points: Points) -> NDArray:
    """An empty set of departures."""
    return np.zeros((0, points.u_mm.size))


def sum_up(causes: Sequence[Cause], *, points: Points, heights_nm: NDArray) -> ReadingBudget:
    """Effects of all causes on the figures of a surface (c,) and on its heights."""
    base = many_figures(points, heights_nm[None])
    effects = tuple(_effect(points, heights_nm, cause, base=base) for cause in causes)
    total = {name: float(np.sqrt(sum(effect.expanded_nm[name] ** 2 for effect in effects))) for name in NAMES}
    square = np.zeros_like(heights_nm)
    for cause in causes:
        square += np.sum(_flat(points, cause.modes_nm) ** 2, axis=0)
        if len(cause.draws_nm):
            square += COVERAGE_95**2 * np.mean(_flat(points, cause.draws_nm) ** 2, axis=0)
    return ReadingBudget(effects=effects, expanded_nm=total, cells_nm=np.sqrt(square))


def _flat(points: Points, heights: NDArray) -> NDArray:
    """Departures less their plane: piston and tilt are no heights."""
    if not len(heights):
        return heights
    terms = np.stack([np.ones_like(points.u_mm), points.u_mm, points.v_mm])
    weighted = terms * points.area
    return heights - np.linalg.solve(weighted @ terms.T, weighted @ heights.T).T @ terms


def _effect(points: Points, heights: NDArray, cause: Cause, *, base: dict[str, NDArray]) -> CauseEffect:
    expanded = dict.fromkeys(NAMES, 0.0)
    if len(cause.modes_nm):
        up, down = many_figures(points, heights + cause.modes_nm), many_figures(points, heights - cause.modes_nm)
        for name in NAMES:
            worst = np.maximum(np.abs(up[name] - base[name]), np.abs(down[name] - base[name]))
            expanded[name] = float(np.sqrt(np.sum(worst**2)))
    if len(cause.draws_nm):
        drawn = many_figures(points, heights + cause.draws_nm)
        for name in NAMES:
            expanded[name] = float(np.hypot(expanded[name], np.quantile(np.abs(drawn[name] - base[name]), 0.95)))
    return CauseEffect(name=cause.name, origin=cause.origin, expanded_nm=expanded)
