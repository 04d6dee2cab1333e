"""How long each pair runs with each abrasive, and in which order.

Every face must lose what the grade before has broken. The minutes of the pairs are the fewest that take that off all faces (a linear program),
with no pair left out. They are cut into rounds; in a round each pair runs both ways, which way first changes from round to round, and the upper
plate is turned on from meeting to meeting, so that a twist meets its opposite.

Sources
-------
Shapes that survive plates which are not turned: mirrors composed, elementary. Steps of five hours of a clock come to all twelve places before one
comes twice, and then leave only shapes that repeat every thirty degrees: C. J. Evans, R. N. Kestner, Appl. Opt. 35, 1015 (1996), abstract.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog

from straightband.advice.pairs import Pairing, Way
from straightband.wear.abrasive import Abrasive

TURN_DEG = 150  # five hours of a clock
LEAST_SHARE = 0.4  # of an even share of time, for every pair: each must wear until it fits
_LEFT_COUNTS = 1.0  # times over
LEAST_MINUTES = 0.5  # of a run; shorter ones are all changing of plates
FEWEST_ROUNDS = 2  # so that each pair has run with either way first
MOST_ROUNDS = 12  # beyond which the changing of plates takes longer than the work


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One plate on another for some minutes.

    Attributes
    ----------
    top, bottom
        Numbers of the plates.
    minutes
        How long.
    turn_deg
        Where the upper plate's mark begins, clockwise from the lower plate's, seen from above.
    stroke_mm
        Travel from end to end.
    """

    top: int
    bottom: int
    minutes: float
    turn_deg: int
    stroke_mm: float


def pair_minutes(pairings: Sequence[Pairing], *, plates: int, abrasive: Abrasive, needed_um: float) -> tuple[float, ...]:
    """Minutes of each pair, both ways together, after which every plate that meets another has lost `needed_um`; flat faces are assumed."""
    rates = np.zeros((plates, len(pairings)))
    for column, pairing in enumerate(pairings):
        for way in pairing.ways:
            rates[way.top, column] += abrasive.preston_per_pa * way.share * way.top_um_min
            rates[way.bottom, column] += abrasive.preston_per_pa * way.share * way.bottom_um_min
    rates = rates[rates.any(axis=1)]
    even = needed_um / rates.sum(axis=1).min()
    found = linprog(
        np.ones(len(pairings)), A_ub=-rates, b_ub=np.full(len(rates), -needed_um), bounds=[(LEAST_SHARE * even, None)] * len(pairings)
    )
    return tuple(float(minutes) for minutes in found.x)


def rounds_of(minutes: Sequence[float], pairings: Sequence[Pairing], *, abrasive: Abrasive, bends_at_most_um: float) -> int:
    """How many rounds the minutes are cut into: so many that no run bends a pair by more than that before the next undoes it."""
    ways = [(time * way.share, way) for time, pairing in zip(minutes, pairings, strict=True) for way in pairing.ways]
    bends_um = max(time * abs(way.bends_um_min) * abrasive.preston_per_pa for time, way in ways)
    # What no stroke undoes is not taken back in the same round but only by the ring: it must stay smaller still.
    left_um = sum(time * pairing.bends_um_min * abrasive.preston_per_pa for time, pairing in zip(minutes, pairings, strict=True))
    shortest = min(time for time, _ in ways)
    wanted = math.ceil(max(bends_um, _LEFT_COUNTS * left_um) / bends_at_most_um)
    return max(1, min(max(FEWEST_ROUNDS, wanted), MOST_ROUNDS, int(shortest / LEAST_MINUTES)))


def round_of_runs(pairings: Sequence[Pairing], *, minutes: Sequence[float], number: int, turns: Iterator[int]) -> tuple[Run, ...]:
    """The runs of one round, with the minutes of each pair in it; odd rounds begin each pair the other way up."""
    runs = []
    for pairing, time in zip(pairings, minutes, strict=True):
        ways = pairing.ways if number % 2 == 0 else pairing.ways[::-1]
        runs += [_run(way, minutes=_rounded(time * way.share), turn_deg=next(turns)) for way in ways]
    return tuple(runs)


def round_of_equal_runs(pairings: Sequence[Pairing], *, each_min: float, number: int, turns: Iterator[int]) -> tuple[Run, ...]:
    """The runs of one round, each as long as the person wants; the way with the lesser share of time is left out of some rounds."""
    runs = []
    for pairing in pairings:
        most = max(way.share for way in pairing.ways)
        for way in pairing.ways if number % 2 == 0 else pairing.ways[::-1]:
            often = way.share / most
            if math.floor((number + 1) * often + 0.5) > math.floor(number * often + 0.5):
                runs.append(_run(way, minutes=each_min, turn_deg=next(turns)))
    return tuple(runs)


def turns_of_clock() -> Iterator[int]:
    """Where the upper plate's mark begins at one meeting after the other."""
    turn = 0
    while True:
        yield turn
        turn = (turn + TURN_DEG) % 360


def _run(way: Way, *, minutes: float, turn_deg: int) -> Run:
    return Run(top=way.top, bottom=way.bottom, minutes=minutes, turn_deg=turn_deg, stroke_mm=way.stroke_mm)


def _rounded(minutes: float) -> float:
    return max(LEAST_MINUTES, round(minutes / LEAST_MINUTES) * LEAST_MINUTES)
