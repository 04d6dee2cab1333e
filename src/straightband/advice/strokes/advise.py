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

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from straightband.advice.strokes.doubt import Seen
from straightband.advice.strokes.library import Library, without_level
from straightband.advice.strokes.rates import STROKE_SPREAD, Rates
from straightband.advice.strokes.run import Limits, Task, best_run
from straightband.uncertainty import COVERAGE_95, Budget, Term, budget_of

GUARD = 1.644854 / COVERAGE_95  # of the expanded uncertainty: one-sided 95 %


class Next(StrEnum):
    """What is advised."""

    WORK = "work"
    STOP_WITHIN = "stop: within tolerance"
    STOP_NOISE = "stop: no more than the uncertainty"
    STOP_NO_GAIN = "stop: nothing these laps can take away for certain"
    WITHHELD = "withheld: hill or hole is not known"


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
    goal = limits.tolerance_nm - GUARD * before.pv_uncertainty
    task = Task(
        heights_nm=likely,
        wear_nm_min=wear,
        rates=rates,
        of_lap=of_lap,
        limits=limits,
        goal_nm=goal,
        noise_nm=float(np.sqrt(np.mean(errors**2))),
    )
    if float(np.ptp(likely)) <= goal:  # what is seen beyond the tolerance is likely to be error
        return _without_run(Next.STOP_NOISE, none, before=before)
    run = best_run(task)
    if run is None:
        return _without_run(Next.STOP_NO_GAIN, none, before=before)
    minutes, expected = run.minutes, run.left_nm
    astray = _astray(minutes, wear=wear, rates=rates, of_lap=of_lap, rng=rng, count=len(errors))
    after = Spread.of(expected + seen.left_nm - astray[0] - astray[1], about=None)
    return Advice(
        next=Next.WORK,
        minutes=minutes,
        before=before,
        after=after,
        held_back=run.held_back,
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


def _astray(minutes: NDArray, *, wear: NDArray, rates: Rates, of_lap: NDArray, rng: np.random.Generator, count: int) -> NDArray:
    """(2, count, n) how much more is taken off than expected, drawn from what is not known of the laps, and of the hand."""
    logs = rng.multivariate_normal(rates.log_mean, rates.log_covariance, size=count, method="cholesky")
    worked = minutes > 0.0
    by_rate = np.exp(logs)[:, of_lap[worked]] / rates.factors[of_lap[worked]] - 1.0
    by_hand = STROKE_SPREAD * rng.standard_normal(by_rate.shape)
    return np.stack([(minutes[worked] * more) @ wear[worked] for more in (by_rate, by_hand)])
