"""How fast this shop's laps really cut, learnt from maps before and after its runs.

What is sought is the logarithm of the factor between a lap's true rate and the default. Before any run the factors of all laps are drawn
from one normal law: a part that they share (polish, warmth, hands) and a part of each one's own. From run to run both wander a little. A run
shows, for each lap in it, the factor by which the foretold wear fits the change of the map; its error has long tails, so that one run gone
wrong (a map mistaken, a lap that went dry) does not carry the estimate away.

Sources
-------
Bayesian filtering: S. Särkkä, Bayesian Filtering and Smoothing (2013), ch. 4 and 5. Student's t by weights: K. L. Lange and others, J. Am. Stat.
Assoc. 84, 881 (1989). Both from memory. The spreads below are our choice: two standard deviations reach from 0.3 to 3.3 times the default.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from straightband.uncertainty import COVERAGE_95

SHARED_SPREAD, OWN_SPREAD = 0.55, 0.25  # standard, of the logarithm, before any run
SHARED_DRIFT, OWN_DRIFT = 0.06, 0.07  # standard, from one run to the next
STROKE_SPREAD = 0.15  # standard, of what one stroke takes off beside what was foretold: the hand and the model
FREEDOM = 4.0  # degrees of Student's t
_STEPS = 60
_LONGEST_STEP = 0.7
_CLOSE_ENOUGH = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Rates:
    """What is known of the factors of some laps.

    Attributes
    ----------
    names
        Of the laps, with their polish.
    log_mean, log_covariance
        (k,) and (k, k) of the logarithms.
    runs
        (k,) how many runs each was in.
    """

    names: tuple[str, ...]
    log_mean: NDArray
    log_covariance: NDArray
    runs: tuple[int, ...]

    @property
    def factors(self) -> NDArray:
        """(k,) mean factors."""
        return np.exp(self.log_mean + np.diag(self.log_covariance) / 2.0)

    @property
    def log_uncertainty(self) -> NDArray:
        """(k,) expanded uncertainty (95 %) of the logarithms."""
        return COVERAGE_95 * np.sqrt(np.diag(self.log_covariance))


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """What a run shows of the factors of the laps in it.

    Attributes
    ----------
    laps
        (j,) their numbers in `Rates`.
    factors
        (j,) that fit the change of the map best.
    map_covariance
        (j, j) of these, from the maps.
    stroke_covariance
        (j, j) of these for factors of 1, from strokes that take off more or less than foretold.
    """

    laps: NDArray
    factors: NDArray
    map_covariance: NDArray
    stroke_covariance: NDArray


def before_any_run(names: tuple[str, ...]) -> Rates:
    """What is known of laps that have done nothing yet."""
    count = len(names)
    covariance = SHARED_SPREAD**2 * np.ones((count, count)) + OWN_SPREAD**2 * np.eye(count)
    return Rates(names=names, log_mean=np.zeros(count), log_covariance=covariance, runs=(0,) * count)


def shown_by_run(change_nm: NDArray, *, foretold_nm: NDArray, of_lap: NDArray, drawn_nm: NDArray) -> Shown:
    """Factors by least squares from the fall of heights (n,) and what each stroke was to take off at the default rate.

    Parameters
    ----------
    change_nm
        (n,) map before less map after, without piston and tilt.
    foretold_nm
        (s, n) of each stroke of the run, without piston and tilt.
    of_lap
        (s,) number of each stroke's lap in `Rates`.
    drawn_nm
        (d, n) random errors of the change, without piston and tilt.
    """
    laps = np.unique(of_lap)
    sums = np.array([foretold_nm[of_lap == lap].sum(axis=0) for lap in laps])
    fit = np.linalg.pinv(sums.T, rcond=1e-3)
    noise = drawn_nm @ fit.T
    each = foretold_nm @ fit.T
    return Shown(
        laps=laps,
        factors=fit @ change_nm,
        map_covariance=noise.T @ noise / len(noise) + 1e-8 * np.eye(len(laps)),
        stroke_covariance=STROKE_SPREAD**2 * each.T @ each,
    )


def learnt(rates: Rates, shown: Shown) -> Rates:
    """What is known after one more run."""
    count = len(rates.names)
    before = rates.log_covariance + SHARED_DRIFT**2 * np.ones((count, count)) + OWN_DRIFT**2 * np.eye(count)
    trust = np.linalg.inv(before)
    x = rates.log_mean.copy()
    grown = trust
    for _ in range(_STEPS):
        at = np.exp(x[shown.laps])
        spread = shown.map_covariance + shown.stroke_covariance * np.outer(at, at)
        known = np.linalg.inv(spread)
        off = shown.factors - at
        weight = (FREEDOM + len(at)) / (FREEDOM + float(off @ known @ off))
        slope = np.zeros((len(at), count))
        slope[np.arange(len(at)), shown.laps] = at
        grown = trust + weight * slope.T @ known @ slope
        step = np.linalg.solve(grown, weight * slope.T @ known @ off - trust @ (x - rates.log_mean))
        longest = float(np.abs(step).max())
        x = x + step * min(1.0, _LONGEST_STEP / max(longest, _CLOSE_ENOUGH))
        if longest < _CLOSE_ENOUGH:
            break
    runs = tuple(done + (number in shown.laps) for number, done in enumerate(rates.runs))
    return replace(rates, log_mean=x, log_covariance=np.linalg.inv(grown), runs=runs)


def of_some(rates: Rates, numbers: list[int]) -> Rates:
    """What is known of some of the laps, the rest forgotten."""
    return Rates(
        names=tuple(rates.names[number] for number in numbers),
        log_mean=rates.log_mean[numbers],
        log_covariance=rates.log_covariance[np.ix_(numbers, numbers)],
        runs=tuple(rates.runs[number] for number in numbers),
    )


def interval(rates: Rates, number: int) -> tuple[float, float, float]:
    """Median factor of one lap and the ends of its 95 % interval."""
    middle, width = float(rates.log_mean[number]), float(rates.log_uncertainty[number])
    return math.exp(middle), math.exp(middle - width), math.exp(middle + width)
