"""From repeated readings of a dial to a sag with its uncertainty.

A reading less the zero on a flat is the sag, positive for a convex face; whoever reads a dial that falls on a hill turns its sign first.
With the gauge turned by 60 degrees between two sets of readings, the three-lobed part of the face, which three feet read as a false sag,
changes its sign: the mean is free of it and half the difference is it.

Sources
-------
JCGM 100:2008 (GUM): 4.2 for repeated readings, pooled, with Student's t (annex G); 4.3.7 for the rectangular distributions of a step
that the dial cannot divide, of a drift that is not known in between, and of a maker's limit of error.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from straightband.uncertainty import COVERAGE_95, Budget, Term, budget_of

_HALF_TAIL = 0.975


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """What was read, in um.

    Attributes
    ----------
    values_um
        On the face.
    turned_um
        On the face with the gauge turned by 60 degrees; may be empty.
    zeros_um, zeros_after_um
        On the reference before and after; the second may be empty.
    step_um
        Smallest step that was read.
    indicator_error_um
        The maker's limit of error; 0 where it is not told.
    reference_um, reference_uncertainty_um
        Sag of the reference itself within the feet, and its expanded uncertainty; 0 where it is taken as flat.
    """

    values_um: tuple[float, ...]
    turned_um: tuple[float, ...]
    zeros_um: tuple[float, ...]
    zeros_after_um: tuple[float, ...]
    step_um: float
    indicator_error_um: float
    reference_um: float
    reference_uncertainty_um: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Sag:
    """A sag within the feet, with what is behind it.

    Attributes
    ----------
    sag_um, uncertainty_um
        Positive for convex; expanded (95 %).
    drift_um, drift_uncertainty_um
        Zero afterwards less zero before; 0 where there was one zero only.
    three_lobed_um, three_lobed_uncertainty_um
        Half of what turning the gauge by 60 degrees changed; 0 where it was not turned.
    repeated, repeat_um
        Whether anything was read twice, so that scatter is known, and the expanded uncertainty that comes from it.
    budget
        Terms behind the uncertainty, in nm.
    """

    sag_um: float
    uncertainty_um: float
    drift_um: float
    drift_uncertainty_um: float
    three_lobed_um: float
    three_lobed_uncertainty_um: float
    repeated: bool
    repeat_um: float
    budget: Budget


def sag_from(readings: Readings) -> Sag:
    """The sag that the readings tell."""
    faces = [group for group in (readings.values_um, readings.turned_um) if group]
    zeros = [group for group in (readings.zeros_um, readings.zeros_after_um) if group]
    each_um, freedom = _scatter([*faces, *zeros], step_um=readings.step_um)
    face_um, zero_um = (float(np.mean([np.mean(group) for group in groups])) for groups in (faces, zeros))
    drift = float(np.mean(zeros[-1]) - np.mean(zeros[0]))
    repeat = each_um * math.hypot(_of_mean(faces), _of_mean(zeros))
    budget = _budget(readings, repeat_um=repeat, freedom=freedom, drift_um=drift, zeros=len(zeros))
    return Sag(
        sag_um=face_um - zero_um + readings.reference_um,
        uncertainty_um=budget.total_nm / 1000.0,
        drift_um=drift,
        drift_uncertainty_um=_of_difference(zeros, each_um=each_um, step_um=readings.step_um),
        three_lobed_um=float(np.mean(faces[0]) - np.mean(faces[-1])) / 2.0,
        three_lobed_uncertainty_um=_of_difference(faces, each_um=each_um, step_um=readings.step_um) / 2.0,
        repeated=freedom > 0,
        repeat_um=repeat,
        budget=budget,
    )


def _scatter(groups: Sequence[tuple[float, ...]], *, step_um: float) -> tuple[float, int]:
    """Expanded uncertainty of a single reading, from the scatter of all groups pooled, and its degrees of freedom.

    Where nothing was repeated it is taken to be one step: common practice, no source.
    """
    freedom = sum(len(group) - 1 for group in groups)
    if freedom == 0:
        return step_um, 0
    squares = sum(float(np.sum((np.array(group) - np.mean(group)) ** 2)) for group in groups)
    return float(stdtrit(freedom, _HALF_TAIL)) * math.sqrt(squares / freedom), freedom


def _of_mean(groups: Sequence[tuple[float, ...]]) -> float:
    """Uncertainty of the mean of the groups' means, over that of one reading."""
    return math.sqrt(sum(1.0 / len(group) for group in groups)) / len(groups)


def _of_difference(groups: Sequence[tuple[float, ...]], *, each_um: float, step_um: float) -> float:
    """Expanded uncertainty of the difference of two groups' means; 0 for one group."""
    if len(groups) < 2:
        return 0.0
    return math.hypot(each_um * math.sqrt(sum(1.0 / len(group) for group in groups)), _rectangular(step_um / 2.0) * math.sqrt(2.0))


def _rectangular(half_width: float) -> float:
    """Expanded uncertainty of what lies anywhere within plus and minus that."""
    return COVERAGE_95 * half_width / math.sqrt(3.0)


def _budget(readings: Readings, *, repeat_um: float, freedom: int, drift_um: float, zeros: int) -> Budget:
    step = f"step of {readings.step_um:g} um, in reading and zero"
    told = readings.indicator_error_um > 0.0
    reference = "as told" if readings.reference_uncertainty_um > 0.0 else "not told: taken as known"
    terms = (
        ("repeatability", repeat_um, f"scatter, {freedom} degrees of freedom" if freedom else "not repeated: one step, common practice"),
        ("step of the dial", _rectangular(readings.step_um / 2.0) * math.sqrt(2.0), step),
        ("drift of the zero", _rectangular(abs(drift_um) / 2.0), "zero before and after" if zeros > 1 else "one zero only: not known"),
        ("error of the dial", _rectangular(readings.indicator_error_um), "the maker's limit" if told else "not told: taken as none"),
        ("reference", readings.reference_uncertainty_um, reference),
    )
    return budget_of(Term(name=name, nm=1000.0 * um, origin=origin) for name, um, origin in terms)
