"""The next run: of several lists of strokes, each shortened until it is safe, the one that leaves least from peak to valley.

Lists are tried several times with more weight on what the time before left high or low, and at lower prices of a stroke where at the higher ones
too little comes off. The first that brings the face inside is taken.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from straightband.advice.strokes.choice import PRICE, Problem, chosen_minutes, first_weight, next_weight
from straightband.advice.strokes.rates import STROKE_SPREAD, Rates
from straightband.uncertainty import COVERAGE_95

LEAST_MIN = 0.5  # a shorter stroke is not timed by hand
LEAST_GAIN = 0.01  # of rms or PV: a run that is to take away less of both is not worth setting up; our choice
ROUNDS = 3  # of weights
ENOUGH = {
    PRICE: 0.6,
    PRICE / 4.0: 1.0,
    PRICE / 16.0: 1.0,
}  # of the peak to valley, by price: a run that leaves no more needs no longer list
MOST_STROKES = 16
LONGEST_RUN_MIN = 240.0
_EASED = 0.85  # step by which a run is shortened


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What is wanted, and what a session may be.

    Attributes
    ----------
    tolerance_nm
        Peak to valley that the face is to keep.
    most_strokes, longest_min
        Of one run.
    """

    tolerance_nm: float
    most_strokes: int = MOST_STROKES
    longest_min: float = LONGEST_RUN_MIN


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """What a run is to do.

    Attributes
    ----------
    heights_nm
        (n,) likely heights without piston and tilt.
    wear_nm_min
        (m, n) expected wear of each stroke, without piston and tilt.
    rates
        What is known of the laps.
    of_lap
        (m,) number of each stroke's lap in them.
    limits
        Of the run.
    goal_nm
        Peak to valley that is inside the tolerance for certain.
    noise_nm
        Standard error of the map, below which nothing is worked at.
    """

    heights_nm: NDArray
    wear_nm_min: NDArray
    rates: Rates
    of_lap: NDArray
    limits: Limits
    goal_nm: float
    noise_nm: float

    def flat_enough(self, left_nm: NDArray) -> bool:
        """Inside the tolerance with its guard band, or as flat as the map can tell."""
        return float(np.ptp(left_nm)) <= self.goal_nm or float(np.std(left_nm)) <= self.noise_nm


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One run.

    Attributes
    ----------
    minutes
        (m,) of each stroke.
    left_nm
        (n,) heights that it is expected to leave.
    held_back
        Share of the minutes wanted that was left after it was shortened.
    """

    minutes: NDArray
    left_nm: NDArray
    held_back: float


def best_run(task: Task) -> Run | None:
    """The first run that is enough, else the one that leaves least from peak to valley; None where no run is worth while."""
    log_covariance = task.rates.log_covariance[np.ix_(task.of_lap, task.of_lap)]
    best, least = None, float("inf")
    for price, enough in ENOUGH.items():
        for run in _runs(task, log_covariance=log_covariance, price=price):
            if task.flat_enough(run.left_nm):
                return run
            left = float(np.ptp(run.left_nm))
            if left < least:
                best, least = run, left
        if least <= enough * float(np.ptp(task.heights_nm)):
            break
    return best


def _runs(task: Task, *, log_covariance: NDArray, price: float) -> Iterator[Run]:
    """Runs at one price that are worth while."""
    weight = first_weight(task.heights_nm)
    for _ in range(ROUNDS):
        problem = Problem(
            heights_nm=task.heights_nm,
            wear_nm_min=task.wear_nm_min,
            log_covariance=log_covariance,
            weight=weight,
            most_strokes=task.limits.most_strokes,
            price=price,
        )
        wanted = chosen_minutes(problem, flat_enough=task.flat_enough)
        if not wanted.any():
            return
        minutes = _rounded(_held_back(wanted, task=task))
        left = task.heights_nm - minutes @ task.wear_nm_min
        if minutes.any() and _worth_it(left, before=task.heights_nm):
            yield Run(minutes=minutes, left_nm=left, held_back=float(minutes.sum() / wanted.sum()))
        weight = next_weight(weight, left_nm=task.heights_nm - wanted @ task.wear_nm_min)


def _held_back(minutes: NDArray, *, task: Task) -> NDArray:
    """The minutes, shortened to a session and until the fast end of the rates leaves the face no worse than it is."""
    rates, h = task.rates, task.heights_nm
    share = min(1.0, task.limits.longest_min / float(minutes.sum()))
    fastest = np.exp(rates.log_mean + rates.log_uncertainty) / rates.factors * (1.0 + COVERAGE_95 * STROKE_SPREAD / 2.0)
    deep = (minutes * fastest[task.of_lap]) @ task.wear_nm_min
    while share > 0.05 and _worse(h - share * deep, than=h):
        share *= _EASED
    return minutes * share


def _worse(after: NDArray, *, than: NDArray) -> bool:
    return float(np.std(after)) > float(np.std(than)) or float(np.ptp(after)) > float(np.ptp(than))


def _worth_it(after: NDArray, *, before: NDArray) -> bool:
    return any(float(size(after)) <= (1.0 - LEAST_GAIN) * float(size(before)) for size in (np.std, np.ptp))


def _rounded(minutes: NDArray) -> NDArray:
    return np.where(minutes < LEAST_MIN, 0.0, np.round(2.0 * minutes) / 2.0)
