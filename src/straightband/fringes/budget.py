"""The budget of uncertainty of a reading: every cause as departures of the height map, and what each does to every figure.

A cause is one or more modes: departures of the whole map that it would make at its 95 % limit. The fit's noise comes as many random
departures instead. What they do to a figure is found by adding them to the map, so that PV and RMS, which are not linear, come out right: a single
mode is added and taken away, each half the time, several modes are drawn together from normal distributions, since no figure but a linear one feels them one by one.
Where nobody knows which of a few things is so, each is a choice, as likely as the map as it stands.

Sources
-------
JCGM 101:2008 (propagation of distributions) for the draws; JCGM 100:2008, 5.1.2, for the sum; NEWTON-type formulas in `light.bands`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

from straightband.heightmap.figures import NAMES, Points, figures_of_sums, many_figures
from straightband.uncertainty import COVERAGE_95

LINEAR = ("power_nm", "edge_nm")  # in the heights: squares of what each mode does to them add up exactly
PAIRS = 64  # of draws of several modes, each with its opposite
DRAW_SEED = 21  # any number: the draws must be the same each time


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
        (d, c) random departures, or
    choices_nm
        (k, c) departures of which one is so, or none, all as likely. At least two of the three have no rows, as a rule.
    """

    name: str
    origin: str
    modes_nm: NDArray
    draws_nm: NDArray
    choices_nm: NDArray = field(default_factory=lambda: np.zeros((0, 0)))


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
    return ReadingBudget(effects=effects, expanded_nm=total, cells_nm=expanded_at_cells(causes, points=points))


def expanded_at_cells(causes: Sequence[Cause], *, points: Points) -> NDArray:
    """Expanded uncertainty (c,) of the height at each cell from all causes."""
    square = np.zeros_like(points.u_mm)
    for cause in causes:
        square += np.sum(_flat(points, cause.modes_nm) ** 2, axis=0)
        if len(cause.draws_nm):
            square += COVERAGE_95**2 * np.mean(_flat(points, cause.draws_nm) ** 2, axis=0)
        if len(cause.choices_nm):
            square += _of_any(np.abs(_flat(points, cause.choices_nm))) ** 2
    return np.sqrt(square)


def _flat(points: Points, heights: NDArray) -> NDArray:
    """Departures less their plane: piston and tilt are no heights."""
    if not len(heights):
        return heights
    terms = np.stack([np.ones_like(points.u_mm), points.u_mm, points.v_mm])
    weighted = terms * points.area
    return heights - np.linalg.solve(weighted @ terms.T, weighted @ heights.T).T @ terms


def _effect(points: Points, heights: NDArray, cause: Cause, *, base: dict[str, NDArray]) -> CauseEffect:
    expanded = dict.fromkeys(NAMES, 0.0)
    for size in (_of_modes, _of_draws, _of_choices):
        found = size(points, heights, cause, base=base)
        expanded = {name: float(np.hypot(expanded[name], found.get(name, 0.0))) for name in NAMES}
    return CauseEffect(name=cause.name, origin=cause.origin, expanded_nm=expanded)


def _of_modes(points: Points, heights: NDArray, cause: Cause, *, base: dict[str, NDArray]) -> dict[str, float]:
    """What the modes do together: 95 % of the changes by a single one of either sign, the 95 % quantile of draws of several."""
    count = len(cause.modes_nm)
    if not count:
        return {}
    factors = np.array([[1.0], [-1.0]]) if count == 1 else _normal_pairs(count) / COVERAGE_95
    changed = figures_of_sums(points, heights, modes_nm=cause.modes_nm, factors=factors)
    change = {name: np.abs(changed[name] - base[name]) for name in NAMES}
    if count == 1:
        return {name: _two_sided(*change[name]) for name in NAMES}
    return {name: _limit(name, change[name]) for name in NAMES}


def _two_sided(plus: float, minus: float) -> float:
    """The size that 95 % of changes stay within when a normal strength at its limit changes by `plus` one way and by `minus` the other.

    Each way in proportion, so that a change on one side only is exceeded in 5 % of the cases on that side, at 1.645 and not at 1.96 of the strength.
    """
    larger, smaller = max(plus, minus), min(plus, minus)
    if larger == 0.0:
        return 0.0
    return larger * float(np.interp(smaller / larger, *_shares_of_larger()))


@lru_cache(maxsize=1)
def _shares_of_larger() -> tuple[NDArray, NDArray]:
    """Ratios of the smaller change to the larger, and the share of the larger that 95 % of the changes stay within."""
    share = np.linspace(special.ndtri(0.95) / COVERAGE_95, 1.0, 200)
    beyond = 0.05 - special.ndtr(-COVERAGE_95 * share)  # what the other way may exceed
    ratio = COVERAGE_95 * share / -special.ndtri(np.clip(beyond, 1e-300, 0.5))
    return np.concatenate([[0.0], ratio[1:-1], [1.0]]), share


def _of_draws(points: Points, heights: NDArray, cause: Cause, *, base: dict[str, NDArray]) -> dict[str, float]:
    if not len(cause.draws_nm):
        return {}
    drawn = many_figures(points, heights + cause.draws_nm)
    return {name: _limit(name, np.abs(drawn[name] - base[name])) for name in NAMES}


def _of_choices(points: Points, heights: NDArray, cause: Cause, *, base: dict[str, NDArray]) -> dict[str, float]:
    if not len(cause.choices_nm):
        return {}
    chosen = many_figures(points, heights + cause.choices_nm)
    return {name: float(_of_any(np.abs(chosen[name] - base[name]))) for name in NAMES}


def _of_any(change: NDArray) -> NDArray:
    """What holds all of the changes (k, ...) and none, and 95 % of the sums with a normal error where each is as likely: 1.96 of their rms, or the largest."""
    return np.maximum(COVERAGE_95 * np.sqrt(np.sum(change**2, axis=0) / (len(change) + 1)), change.max(axis=0))


def _limit(name: str, change: NDArray) -> float:
    """The 95 % limit of normal changes of a linear figure, else the quantile."""
    return COVERAGE_95 * float(np.sqrt(np.mean(change**2))) if name in LINEAR else float(np.quantile(change, 0.95))


@lru_cache(maxsize=16)
def _normal_pairs(count: int) -> NDArray:
    """Normal factors (2 PAIRS, count) and their opposites, whose second moments are exactly those of independent unit normals."""
    drawn = np.random.default_rng(DRAW_SEED).standard_normal((PAIRS, count))
    whitened = drawn @ np.linalg.inv(np.linalg.cholesky(drawn.T @ drawn / PAIRS)).T
    pairs = np.concatenate([whitened, -whitened])
    pairs.setflags(write=False)
    return pairs
