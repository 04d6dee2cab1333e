"""What to do next: stop, wait, or the strokes and minutes of the next run, with what is to be expected of it.

A run is held back in two ways. The minutes come from the mean square height to be *expected*, doubts included. Then the whole run is shortened
until, were the laps to cut as fast as the upper end of their interval, the face would still not be worse for it. What a map can't tell from
its own uncertainty is not worked at.

Sources
-------
Stopping where what is left is no larger than the error of the measurement: V. A. Morozov, Methods for Solving Incorrectly Posed Problems (1984),
from memory. Guard band: ISO 14253-1, as `verdict.decision` has it (from public summaries).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from straightband.advice.strokes.choice import PRICE, Problem, chosen_minutes
from straightband.advice.strokes.doubt import Seen
from straightband.advice.strokes.library import Library, without_level
from straightband.advice.strokes.rates import STROKE_SPREAD, Rates
from straightband.uncertainty import COVERAGE_95, Budget, Term, budget_of

GUARD = 1.644854 / COVERAGE_95  # of the expanded uncertainty: one-sided 95 %
LEAST_MIN = 0.5  # a shorter stroke is not timed by hand
LEAST_GAIN = 0.01  # of rms or PV: a run that is to take away less of both is not worth setting up; our choice
PRICES = (
    PRICE,
    PRICE / 4.0,
    PRICE / 16.0,
)  # the lower ones where at the higher nothing is worth while: the last nanometres take more strokes
MOST_STROKES = 16
LONGEST_RUN_MIN = 240.0
_EASED = 0.85  # step by which a run is shortened


class Next(StrEnum):
    """What is advised."""

    WORK = "work"
    STOP_WITHIN = "stop: within tolerance"
    STOP_NOISE = "stop: no more than the uncertainty"
    STOP_NO_GAIN = "stop: nothing these laps can take away for certain"
    WITHHELD = "withheld: hill or hole is not known"


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
class Spread:
    """Size of a face that is known with some doubt, after piston and tilt.

    Attributes
    ----------
    pv, rms
        In nm.
    pv_uncertainty, rms_uncertainty
        Expanded (95 %), in nm.
    """

    pv: float
    rms: float
    pv_uncertainty: float
    rms_uncertainty: float

    @classmethod
    def of(cls, drawn_nm: NDArray, *, about: NDArray | None) -> Spread:
        """From random faces (d, n): their spread, about a face (n,) or about their own mean sizes."""
        pvs, sizes = np.ptp(drawn_nm, axis=1), np.std(drawn_nm, axis=1)
        return cls(
            pv=float(np.mean(pvs) if about is None else np.ptp(about)),
            rms=float(np.mean(sizes) if about is None else np.std(about)),
            pv_uncertainty=_half_width(pvs),
            rms_uncertainty=_half_width(sizes),
        )


def _half_width(drawn: NDArray) -> float:
    """Half width of the interval about their mean that holds 95 % of the draws; sizes near zero have a long tail on one side."""
    return float(np.quantile(np.abs(drawn - np.mean(drawn)), 0.95, method="weibull"))  # unbiased for few draws


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """What to do and what to expect.

    Attributes
    ----------
    next
        Work, or why not.
    minutes
        (m,) of each stroke of the library.
    before, after
        The face as the map has it, and as it is to be after the run; the same where there is none.
    held_back
        Share of the run that was left after it was shortened to be safe and to fit into a session.
    within
        Whether the run, if it goes as expected, brings the face inside its tolerance.
    budget
        Behind the uncertainty of `after.rms`.
    """

    next: Next
    minutes: NDArray
    before: Spread
    after: Spread
    held_back: float
    within: bool
    budget: Budget


def advise(seen: Seen, *, library: Library, rates: Rates, of_lap: NDArray, limits: Limits, rng: np.random.Generator) -> Advice:
    """The next run from a map, the wear of the strokes and what is known of the laps; `of_lap` (m,) are their numbers in `rates`."""
    h, errors = seen.heights_nm, seen.errors_nm
    before = Spread.of(h + errors, about=h)
    none = np.zeros(len(library.strokes))
    stop = _stop_already(h, errors=errors, pv_uncertainty=before.pv_uncertainty, limits=limits)
    if stop is None and not seen.sign_known:
        stop = Next.WITHHELD
    if stop is not None:
        return _without_run(stop, none, before=before)
    wear = without_level(library.rates_nm_min * rates.factors[of_lap][:, None], library.level)
    likely = seen.likely_nm
    flat_enough = _flat_enough(errors=errors, pv_uncertainty=before.pv_uncertainty, limits=limits)
    for price in PRICES:
        problem = Problem(
            heights_nm=likely,
            wear_nm_min=wear,
            log_covariance=rates.log_covariance[np.ix_(of_lap, of_lap)],
            most_strokes=limits.most_strokes,
            price=price,
        )
        wanted = chosen_minutes(problem, flat_enough=flat_enough)
        minutes = _rounded(_held_back(wanted, h=likely, wear=wear, rates=rates, of_lap=of_lap, limits=limits))
        expected = likely - minutes @ wear
        if minutes.any() and _worth_it(expected, before=likely):
            break
    else:
        return _without_run(Next.STOP_NO_GAIN, none, before=before)
    astray = _astray(minutes, wear=wear, rates=rates, of_lap=of_lap, rng=rng, count=len(errors))
    after = Spread.of(expected + seen.left_nm - astray[0] - astray[1], about=None)
    goal = limits.tolerance_nm - GUARD * before.pv_uncertainty
    return Advice(
        next=Next.WORK,
        minutes=minutes,
        before=before,
        after=after,
        held_back=float(minutes.sum() / wanted.sum()),
        within=float(np.ptp(expected)) <= goal,
        budget=_budget(expected, errors=seen.left_nm, astray=-astray),
    )


def _without_run(why: Next, none: NDArray, *, before: Spread) -> Advice:
    budget = budget_of([Term(name="height map", nm=before.rms_uncertainty, origin="the map's own uncertainty, as smooth figures")])
    return Advice(next=why, minutes=none, before=before, after=before, held_back=1.0, within=why is Next.STOP_WITHIN, budget=budget)


def _budget(expected: NDArray, *, errors: NDArray, astray: NDArray) -> Budget:
    """What makes the foretold rms uncertain, each cause by itself."""
    causes = (
        ("height map", errors, "the map's own uncertainty, as smooth figures"),
        ("rates of the laps", astray[0], "what earlier runs have left unknown of them"),
        (
            "hand and model",
            astray[1],
            f"each stroke takes off {100.0 * STROKE_SPREAD:.0f} % (standard) more or less than foretold, our estimate",
        ),
    )
    return budget_of(
        Term(name=name, nm=Spread.of(expected + drawn, about=None).rms_uncertainty, origin=origin) for name, drawn, origin in causes
    )


def _stop_already(h: NDArray, *, errors: NDArray, pv_uncertainty: float, limits: Limits) -> Next | None:
    if float(np.ptp(h)) + GUARD * pv_uncertainty <= limits.tolerance_nm:
        return Next.STOP_WITHIN
    if float(np.std(h)) <= COVERAGE_95 * float(np.sqrt(np.mean(errors**2))):
        return Next.STOP_NOISE
    return None


def _flat_enough(*, errors: NDArray, pv_uncertainty: float, limits: Limits) -> Callable[[NDArray], bool]:
    """Inside the tolerance with its guard band, or as flat as the map can tell."""
    noise_nm = float(np.sqrt(np.mean(errors**2)))
    goal_nm = limits.tolerance_nm - GUARD * pv_uncertainty

    def is_so(left_nm: NDArray) -> bool:
        return float(np.ptp(left_nm)) <= goal_nm or float(np.std(left_nm)) <= noise_nm

    return is_so


def _held_back(minutes: NDArray, *, h: NDArray, wear: NDArray, rates: Rates, of_lap: NDArray, limits: Limits) -> NDArray:
    """The minutes, shortened to a session and until the fast end of the rates leaves the face no worse than it is."""
    total = float(minutes.sum())
    share = min(1.0, limits.longest_min / total) if total > 0.0 else 0.0
    fastest = np.exp(rates.log_mean + rates.log_uncertainty) / rates.factors * (1.0 + COVERAGE_95 * STROKE_SPREAD / 2.0)
    deep = (minutes * fastest[of_lap]) @ wear
    while share > 0.05 and _worse(h - share * deep, than=h):
        share *= _EASED
    return minutes * share


def _worse(after: NDArray, *, than: NDArray) -> bool:
    return float(np.std(after)) > float(np.std(than)) or float(np.ptp(after)) > float(np.ptp(than))


def _worth_it(after: NDArray, *, before: NDArray) -> bool:
    return any(float(size(after)) <= (1.0 - LEAST_GAIN) * float(size(before)) for size in (np.std, np.ptp))


def _rounded(minutes: NDArray) -> NDArray:
    return np.where(minutes < LEAST_MIN, 0.0, np.round(2.0 * minutes) / 2.0)


def _astray(minutes: NDArray, *, wear: NDArray, rates: Rates, of_lap: NDArray, rng: np.random.Generator, count: int) -> NDArray:
    """(2, count, n) how much more is taken off than expected, drawn from what is not known of the laps, and of the hand."""
    logs = rng.multivariate_normal(rates.log_mean, rates.log_covariance, size=count, method="cholesky")
    worked = minutes > 0.0
    by_rate = np.exp(logs)[:, of_lap[worked]] / rates.factors[of_lap[worked]] - 1.0
    by_hand = STROKE_SPREAD * rng.standard_normal(by_rate.shape)
    return np.stack([(minutes[worked] * more) @ wear[worked] for more in (by_rate, by_hand)])
