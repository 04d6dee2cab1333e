"""The plan itself: for each abrasive, from coarse to fine, the rounds of runs after which every face is deep enough and flat enough for the next."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from straightband.advice.forecast import Course, as_planned
from straightband.advice.pairs import Bench, Pairing, Plate
from straightband.advice.schedule import (
    FEWEST_ROUNDS,
    MOST_ROUNDS,
    Run,
    pair_minutes,
    round_of_equal_runs,
    round_of_runs,
    rounds_of,
    turns_of_clock,
)
from straightband.wear.abrasive import SQUEEZE_SHARE, Abrasive, Depth, abrasive_of, damage_depth

MOST_ROUNDS_FIXED = 30  # where the person said how long a run is
FLAT_WITHIN = 2.0  # times the give of the last layer: common practice, no source
COARSER_BEFORE = 2.0  # what the blanks were worked with before, over the first abrasive: sizes fall by 1.5 to 2.5, common practice
_GETS_FLATTER = 0.9  # of the sag a round before, at most, for another round to be worth while
_DEEP_ENOUGH = 0.98  # of the depth needed, on the worst face


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """One abrasive.

    Attributes
    ----------
    abrasive
        Its size, rate and give.
    before_um, needed
        Grain of the grade before, and the depth of damage it leaves.
    rounds, runs, round_of_run
        How often the pairs go round, all runs in turn, and in which round each is, from 0.
    sags_um
        (runs, plates) planned sags after each run.
    removed_um
        (plates,) mean depth this abrasive takes off each.
    """

    abrasive: Abrasive
    before_um: float
    needed: Depth
    rounds: int
    runs: tuple[Run, ...]
    round_of_run: tuple[int, ...]
    sags_um: NDArray
    removed_um: NDArray

    @property
    def minutes(self) -> float:
        """Time of all its runs."""
        return sum(run.minutes for run in self.runs)

    @property
    def deep_enough(self) -> bool:
        """Whether every face loses what the grade before may have broken."""
        worn = self.removed_um[self.removed_um > 0.0]
        return bool(len(worn) > 0 and worn.min() >= _DEEP_ENOUGH * self.needed.upper_um)


def flat_enough_um(abrasive: Abrasive) -> float:
    """Sag that the next grade takes off in passing: the give of this layer, below which plates hardly tell the difference."""
    return SQUEEZE_SHARE * abrasive.size_um


def ends_flat(stages: Sequence[Stage]) -> bool:
    """Whether the forecast ends with sags that the layer of the last abrasive can hardly tell from flat."""
    last = stages[-1]
    return bool(np.abs(last.sags_um[-1]).max() <= FLAT_WITHIN * flat_enough_um(last.abrasive))


def make_stages(
    plates: Sequence[Plate], pairings: Sequence[Pairing], *, bench: Bench, sizes_um: Sequence[float], fixed_min: float | None
) -> tuple[Stage, ...]:
    """The stages for abrasives of those sizes, coarse to fine; every run `fixed_min` long if that is given."""
    if not pairings:
        return tuple(_nothing(size, before_um=before, plates=len(plates)) for size, before in _with_the_grade_before(sizes_um))
    course = Course(plates, bench=bench, luck=as_planned(plates, grades=len(sizes_um)))
    turns = turns_of_clock()
    stages = []
    for grade, (size, grit_before) in enumerate(_with_the_grade_before(sizes_um)):
        abrasive, needed = abrasive_of(size), damage_depth(grit_before)
        minutes = pair_minutes(pairings, plates=len(plates), abrasive=abrasive, needed_um=needed.upper_um)
        least, most, each = _rounds(minutes, pairings, abrasive=abrasive, fixed_min=fixed_min)
        began, runs, in_round, sags, ends = course.removed_um[:, 0], list[Run](), list[int](), list[NDArray](), list[float]()
        for number in range(most):
            if number >= least and _done(course, began, ends, pairings, abrasive=abrasive, needed=needed):
                break
            more = (
                round_of_runs(pairings, minutes=each, number=number, turns=turns)
                if fixed_min is None
                else round_of_equal_runs(pairings, each_min=fixed_min, number=number, turns=turns)
            )
            for run in more:
                course.follow(run, abrasive=abrasive, grade=grade)
                sags.append(course.sags_um[:, 0])
            runs += more
            in_round += [number] * len(more)
            ends.append(_worst_um(course, pairings))
        stages.append(
            Stage(
                abrasive=abrasive,
                before_um=grit_before,
                needed=needed,
                rounds=len(ends),
                runs=tuple(runs),
                round_of_run=tuple(in_round),
                sags_um=np.array(sags).reshape(len(sags), len(plates)),
                removed_um=course.removed_um[:, 0] - began,
            )
        )
    return tuple(stages)


def _with_the_grade_before(sizes_um: Sequence[float]) -> list[tuple[float, float]]:
    return list(zip(sizes_um, [COARSER_BEFORE * sizes_um[0], *sizes_um], strict=False))


def _nothing(size_um: float, *, before_um: float, plates: int) -> Stage:
    """A stage in which no plate can meet another."""
    return Stage(
        abrasive=abrasive_of(size_um),
        before_um=before_um,
        needed=damage_depth(before_um),
        rounds=0,
        runs=(),
        round_of_run=(),
        sags_um=np.zeros((0, plates)),
        removed_um=np.zeros(plates),
    )


def _rounds(
    minutes: Sequence[float], pairings: Sequence[Pairing], *, abrasive: Abrasive, fixed_min: float | None
) -> tuple[int, int, list[float]]:
    """Fewest and most rounds, and the minutes of each pair in one."""
    if fixed_min is None:
        cut = rounds_of(minutes, pairings, abrasive=abrasive, bends_at_most_um=flat_enough_um(abrasive))
        return cut, cut + MOST_ROUNDS, [time / cut for time in minutes]
    in_a_round = fixed_min * sum(1.0 / max(way.share for way in pairing.ways) for pairing in pairings)
    least = math.ceil(sum(minutes) / in_a_round)
    return min(max(FEWEST_ROUNDS, least), MOST_ROUNDS_FIXED), MOST_ROUNDS_FIXED, list(minutes)


def _done(course: Course, began: NDArray, ends: list[float], pairings: Sequence[Pairing], *, abrasive: Abrasive, needed: Depth) -> bool:
    """Whether the faces that meet others are deep enough, and flat enough or no longer getting flatter."""
    if (course.removed_um[:, 0] - began)[_met(pairings)].min() < _DEEP_ENOUGH * needed.upper_um:
        return False
    return ends[-1] <= flat_enough_um(abrasive) or (len(ends) > 1 and ends[-1] > _GETS_FLATTER * ends[-2])


def _worst_um(course: Course, pairings: Sequence[Pairing]) -> float:
    return float(np.abs(course.sags_um[_met(pairings), 0]).max())


def _met(pairings: Sequence[Pairing]) -> list[int]:
    """The plates that meet others."""
    return sorted(set(itertools.chain.from_iterable(pairing.link for pairing in pairings)))
