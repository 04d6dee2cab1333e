"""Pairs of lines at which the bands jump as a block between them would make them: away at the one and back by as much at the other.

All pairs compete by how much likelier the picture's changes are with a block between the two lines than without one. What is usual in the
picture, its dust and ripples, sets the scale, and heavy tails keep one loud line from speaking for two.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from straightband.fringes.step_edges import FINE_LEANS, LEANS, allowed_pairs
from straightband.fringes.step_field import COLUMNS, Field
from straightband.fringes.step_jumps import SIZES, LineJumps, Telling, jumps_of

COARSE = 2  # columns from pair to pair while all leans are tried
LIKE = 2.0 * np.pi * 0.06  # of the bands: how unlike both edges' jumps may be, where a block is tilted or an edge rolled off
JUMPS, SLOPES = 2.0, 0.7  # of the bands: expected size of a jump (half a band makes 2), and of its growth down half the height
FREEDOM = 4.0  # of Student's distribution
SEAM_SHARE = 0.5  # a seam counts for half: scratches and streaks make such lines, too
SEAM_REACH = 2  # columns from an edge to its seam
SEAM_TURN = 0.055  # lean: two steps either way
EVEN = 0.674  # of a standard error: half of all normal errors stay below
LEAST_STANDARD = 0.02  # of the bands


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """Two parallel lines.

    Attributes
    ----------
    lean, left, right
        Their lean in pixels of the picture, and the columns at which they cross mid-height.
    jumps, seams
        (2,) natural logarithm of the odds that the jump at the left and at the right line gives for a block, and that a seam there gives.
    strength
        That of the two together.
    """

    lean: float
    left: int
    right: int
    jumps: NDArray
    seams: NDArray
    strength: float

    @property
    def weaker(self) -> float:
        """The same for the weaker line alone, a seam counted for less."""
        return float(np.min(self.jumps + SEAM_SHARE * self.seams))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scale:
    """By how much the usual change in the picture exceeds its standard error, for each of SIZES and each coefficient."""

    left: tuple[NDArray, ...]
    right: tuple[NDArray, ...]
    seam: NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What changes at each line of every lean, and what is usual in the picture."""

    field: Field
    lines: tuple[LineJumps, ...]
    scale: _Scale


def tell(field: Field) -> Told:
    """What changes at each line of every lean."""
    lines = tuple(jumps_of(field, lean=float(lean)) for lean in LEANS)
    return Told(field=field, lines=lines, scale=_usual(lines))


def find_pair(told: Told) -> Pair:
    """The likeliest pair of lines, whether or not there is a block."""
    best = max((_best(lines, told.scale, near=None) for lines in told.lines), key=_strength)
    return pair_near(told, lean=best.lean, near=(best.left, best.right))


def pair_near(told: Told, *, lean: float, near: tuple[int, int]) -> Pair:
    """The likeliest pair near two lines."""
    fine = (jumps_of(told.field, lean=lean + float(turn)) for turn in FINE_LEANS)
    return max((_best(lines, told.scale, near=near) for lines in fine), key=_strength)


def seams_near(told: Told, *, lean: float, near: tuple[int, int]) -> NDArray:
    """(2,) logarithm of the odds that a seam near each of two lines gives, whatever its lean there."""
    alike = [lines for lines in told.lines if abs(lines.lean - lean) < SEAM_TURN]
    odds = np.max([_seam_odds(lines.seam, told.scale.seam) for lines in alike], axis=0)
    return np.array([np.max(odds[max(column - SEAM_REACH, 0) : column + SEAM_REACH + 1]) for column in near])


def _strength(pair: Pair) -> float:
    return pair.strength


def _usual(told: tuple[LineJumps, ...]) -> _Scale:
    sizes = range(len(SIZES))
    return _Scale(
        left=tuple(_excess(lines.left[size] for lines in told) for size in sizes),
        right=tuple(_excess(lines.right[size] for lines in told) for size in sizes),
        seam=_excess(lines.seam for lines in told),
    )


def _excess(tellings: Iterable[Telling]) -> NDArray:
    apart = np.concatenate([np.abs(telling.value / telling.standard)[telling.shown] for telling in tellings])
    return np.maximum(np.median(apart, axis=0) / EVEN, 1e-6) if len(apart) else np.ones(apart.shape[1])


def _best(lines: LineJumps, scale: _Scale, *, near: tuple[int, int] | None) -> Pair:
    """The best pair of one lean: of all by steps of COARSE columns, or only of those `near` two columns."""
    left, right = allowed_pairs(near, coarse=COARSE)
    seams = _seam_odds(lines.seam, scale.seam)
    found = []
    for size in range(len(SIZES)):
        jumps = _jump_odds(
            _at(lines.left[size], scale.left[size], left),
            _at(lines.right[size], scale.right[size], right),
        )
        shown = lines.left[size].shown[left] & lines.right[size].shown[right]
        total = np.maximum(jumps.sum(axis=0), 0.0) + SEAM_SHARE * (seams[left] + seams[right])
        total = np.where(shown, total, -np.inf)
        pick = int(np.argmax(total))
        ends = int(left[pick]), int(right[pick])
        found.append(
            Pair(lean=lines.lean, left=ends[0], right=ends[1], jumps=jumps[:, pick], seams=seams[list(ends)], strength=float(total[pick]))
        )
    return max(found, key=_strength)


def _at(telling: Telling, excess: NDArray, columns: NDArray) -> tuple[NDArray, NDArray]:
    """Values and standard errors (pairs, 4) on these lines."""
    return telling.value[columns], np.hypot(telling.standard * excess, LEAST_STANDARD)[columns]


def _jump_odds(left: tuple[NDArray, NDArray], right: tuple[NDArray, NDArray]) -> NDArray:
    """(2, pairs) logarithm of the odds of one jump that both lines share, against none."""
    sides = (left, right)
    wide = [standard**2 + LIKE**2 for _, standard in sides]
    prior = np.array([JUMPS, JUMPS, SLOPES, SLOPES])
    shared = (left[0] / wide[0] + right[0] / wide[1]) / (1.0 / wide[0] + 1.0 / wide[1] + 1.0 / prior**2)
    odds = [
        _odds_against(value / standard) - _odds_against((value - shared) / np.sqrt(both)) - 0.5 * np.log(both / standard**2)
        for (value, standard), both in zip(sides, wide, strict=True)
    ]
    return np.array([each.sum(axis=1) for each in odds])


def _odds_against(errors: NDArray) -> NDArray:
    """Logarithm by which errors so large are less likely than none, in Student's distribution."""
    return (FREEDOM + 1.0) / 2.0 * np.log1p(errors**2 / FREEDOM)


def _seam_odds(seam: Telling, excess: NDArray) -> NDArray:
    """(COLUMNS,) logarithm of the odds that a loss of contrast and of light gives, at the best line in reach."""
    loss = np.minimum(seam.value / (seam.standard * excess), 0.0)
    odds = np.pad(np.where(seam.shown, _odds_against(loss).sum(axis=1), 0.0), SEAM_REACH)
    best: NDArray = np.max([odds[shift : shift + COLUMNS] for shift in range(2 * SEAM_REACH + 1)], axis=0)
    return best
