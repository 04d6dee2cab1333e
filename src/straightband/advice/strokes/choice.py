"""The shortest list of strokes that makes a face flatter: non-negative minutes by least squares, a price on every stroke.

A tolerance on peak to valley lies with the extremes, so places far from the mean weigh more, and where a first list leaves extremes, these are given
more weight still and the list is made anew.

What is made small is the mean square height that is to be expected after the run: what the expected wear leaves, and what the doubt about
the rates and the hand adds, which grows with the minutes and so keeps them back. A stroke is taken up only where it pays its price.

Sources
-------
Non-negative least squares: C. L. Lawson, R. J. Hanson, Solving Least Squares Problems (1974), ch. 23. Taking up one column after another and
fitting anew: Y. C. Pati and others, 27th Asilomar Conference (1993). The largest error made small by least squares with weights that grow by it: C. L.
Lawson's thesis (1961), as J. R. Rice and K. H. Usow tell it, Math. Comp. 22, 118 (1968). All from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls

from straightband.advice.strokes.rates import STROKE_SPREAD

PRICE = 0.003  # of a stroke: share of the mean square height that it must at least take away; our choice
PRICE_MIN = 2e-4  # of a minute: the same
TRIED = 12  # columns that promise most, fitted in full
RIDGE = 1e-9
STRESS, MOST_STRESS = 1.0, 8.0  # weight of a place: 1 + its square height over the mean, up to that
LEAST_STRESS = 0.3  # by which a place that is flat already loses weight


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """What is to be made flat with what.

    Attributes
    ----------
    heights_nm
        (n,) without piston and tilt.
    wear_nm_min
        (m, n) expected wear of each stroke, without piston and tilt.
    log_covariance
        (m, m) of the logarithms of the rates, between strokes by their laps.
    weight
        (n,) of each place.
    most_strokes
        In the list.
    price
        Of a stroke: share of the mean square height that it must at least take away.
    """

    heights_nm: NDArray
    wear_nm_min: NDArray
    log_covariance: NDArray
    weight: NDArray
    most_strokes: int
    price: float = PRICE


def first_weight(heights_nm: NDArray) -> NDArray:
    """(n,) weights from the heights themselves."""
    return np.asarray(1.0 + STRESS * np.minimum((heights_nm / np.std(heights_nm)) ** 2, MOST_STRESS))


def next_weight(weight: NDArray, *, left_nm: NDArray) -> NDArray:
    """(n,) weights that grow where much was left."""
    return np.asarray(weight * (LEAST_STRESS + np.abs(left_nm) / np.std(left_nm)))


def chosen_minutes(problem: Problem, *, flat_enough: Callable[[NDArray], bool]) -> NDArray:
    """(m,) minutes, most of them zero; the list ends when what is left (n,) is flat enough, or nothing more pays."""
    system = _System(problem)
    chosen: list[int] = []
    minutes, cost = np.zeros(0), system.cost_of_nothing
    while len(chosen) < problem.most_strokes:
        if chosen and flat_enough(problem.heights_nm - minutes @ problem.wear_nm_min[chosen]):
            break
        best = system.best_with(chosen, minutes)
        if best is None or cost - best[1] < system.price:
            break
        chosen, cost, minutes = best
        chosen, cost, minutes = system.pruned(chosen, cost=cost, minutes=minutes)
    out = np.zeros(len(problem.wear_nm_min))
    out[chosen] = minutes
    return out


class _System:
    """The normal equations, of which columns are worked out when first needed, and the minutes on a few of them."""

    def __init__(self, problem: Problem) -> None:
        wear, h, weight = problem.wear_nm_min, problem.heights_nm, problem.weight / problem.weight.sum()
        self.weighted, self.wear, self.log_covariance = wear * weight, wear, problem.log_covariance
        alone = np.einsum("mn,mn->m", self.weighted, wear)
        self.by_itself = STROKE_SPREAD**2 * alone + RIDGE * alone.mean()
        self.diagonal = alone * np.exp(np.diag(problem.log_covariance)) + self.by_itself
        self.column_of: dict[int, NDArray] = {}
        self.cost_of_nothing = float(weight @ h**2)
        self.pull = self.weighted @ h - PRICE_MIN * self.cost_of_nothing / 2.0
        self.price = problem.price * self.cost_of_nothing

    def columns(self, chosen: list[int], *, rows: list[int] | slice) -> NDArray:
        """(chosen, rows) of the matrix."""
        self.make(chosen)
        return np.array([self.column_of[k][rows] for k in chosen])

    def make(self, columns: list[int]) -> None:
        """Work out those that are new; several at once is quicker."""
        new = [k for k in columns if k not in self.column_of]
        if new:
            made = (self.weighted @ self.wear[new].T) * np.exp(self.log_covariance[:, new])
            made[new, np.arange(len(new))] += self.by_itself[new]
            self.column_of |= dict(zip(new, made.T, strict=True))

    def fitted(self, chosen: list[int]) -> tuple[NDArray, float]:
        """Minutes of these strokes, and the mean square that is left."""
        lower = np.linalg.cholesky(self.columns(chosen, rows=chosen))
        minutes, _ = nnls(lower.T, np.linalg.solve(lower, self.pull[chosen]))
        return minutes, self.cost_of_nothing + float(np.sum((lower.T @ minutes) ** 2) - 2.0 * self.pull[chosen] @ minutes)

    def best_with(self, chosen: list[int], minutes: NDArray) -> tuple[list[int], float, NDArray] | None:
        """One stroke more: the one that leaves least."""
        slope = self.pull - (minutes @ self.columns(chosen, rows=slice(None)) if chosen else 0.0)
        gain = np.where(slope > 0.0, slope**2 / self.diagonal, 0.0)
        gain[chosen] = 0.0
        tried = [int(k) for k in np.argsort(gain)[::-1][:TRIED] if gain[k] > 0.0]
        self.make(tried)
        found = [([*chosen, k], *self.fitted([*chosen, k])[::-1]) for k in tried]
        return min(found, key=lambda one: one[1], default=None)

    def pruned(self, chosen: list[int], *, cost: float, minutes: NDArray) -> tuple[list[int], float, NDArray]:
        """Without the strokes that no longer pay their price."""
        while len(chosen) > 1:
            shorter = [[*chosen[:k], *chosen[k + 1 :]] for k in range(len(chosen))]
            fits = [self.fitted(one) for one in shorter]
            least = min(range(len(fits)), key=lambda k: fits[k][1])
            if fits[least][1] - cost > self.price:
                break
            chosen, (minutes, cost) = shorter[least], fits[least]
        return chosen, cost, minutes
