"""Two parallel edges that cut the field into a block and the platen on both sides of it.

Each face holds a phase of its own: the platen's runs on from one side to the other, the block's may be tilted and bowed. Sought are the
edges that leave most of the tone when the two are summed apart; a seam, where the bands are weak all along a line, speaks for an edge too.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from straightband.fringes.step_field import COLUMNS, Field, Lines, by_groups, centred, lines_of
from straightband.fringes.step_seams import seams_of

LEANS = np.arange(-0.3, 0.301, 0.025)  # sideways lean of the edges, 17 degrees either way
FINE_LEANS = np.arange(-0.025, 0.0251, 0.0125)
COARSE = 3  # columns taken together while all leans are tried
NARROWEST, WIDEST, LEAST_SIDE = 0.2, 0.8, 0.05  # of the field's width
PLATEN_DRIFTS, PLATEN_BOWS = np.arange(-1.0, 1.01, 1.0 / 8.0), np.array([-0.15, 0.0, 0.15])  # bands over half the field
BLOCK_DRIFTS, BLOCK_BOWS = np.arange(-1.75, 1.76, 1.0 / 8.0), np.arange(-1.5, 1.51, 0.75)  # a block covers a third of it or so
WHOLE_DRIFTS, WHOLE_BOWS = np.arange(-1.0, 1.01, 1.0 / 8.0), np.arange(-1.5, 1.51, 0.125)
LEAST_LOST = 1e-3  # of the tone: less is not told apart
DEEPEST = 0.3  # of the contrast: a deeper seam speaks no louder
SEAM_WEIGHT = 0.2  # of the tone for a whole loss of contrast at both edges


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """The phase of a face across the field: `drift` x + `bow` x^2 bands ahead of the even tone, x from -1 to 1."""

    drift: float
    bow: float

    @property
    def against(self) -> NDArray:
        """(COLUMNS,) phasors that take it out."""
        x = centred(COLUMNS)
        return np.exp(-2j * np.pi * (self.drift * x + self.bow * x * x))


@dataclass(frozen=True, slots=True, kw_only=True)
class Edges:
    """Two parallel edges.

    Attributes
    ----------
    lines
        The field along lines that lean as the edges do.
    left, right
        Columns at which they cross mid-height.
    kept
        Share of the tone that is kept when block and platen are summed apart.
    score
        The same with what the seams add.
    platen, block
        The phases with which it is kept.
    """

    lines: Lines
    left: int
    right: int
    kept: float
    score: float
    platen: Run
    block: Run


def _runs(drifts: NDArray, bows: NDArray) -> tuple[Run, ...]:
    return tuple(Run(drift=float(drift), bow=float(bow)) for bow in bows for drift in drifts)


PLATEN_RUNS, BLOCK_RUNS, WHOLE_RUNS = _runs(PLATEN_DRIFTS, PLATEN_BOWS), _runs(BLOCK_DRIFTS, BLOCK_BOWS), _runs(WHOLE_DRIFTS, WHOLE_BOWS)


@cache
def _waves(runs: tuple[Run, ...]) -> NDArray:
    """(runs, COLUMNS) phasors that take each of them out, the same for every photograph."""
    return np.array([run.against for run in runs]).astype(np.complex64)


def find_edges(field: Field) -> Edges:
    """The likeliest two edges, whether or not there is a block."""
    best = max((best_cut(lines_of(field, lean=float(lean)), near=None) for lean in LEANS), key=_score)
    fine = (lines_of(field, lean=best.lines.lean + float(turn)) for turn in FINE_LEANS)
    return max((best_cut(lines, near=(best.left, best.right)) for lines in fine), key=_score)


def _score(edges: Edges) -> float:
    return edges.score


def kept_uncut(lines: Lines) -> float:
    """Share of the tone that one face over the whole field keeps, however it is tilted and bowed."""
    sums = by_groups(lines.phasor).astype(np.complex64)
    return float(np.abs(sums @ _waves(WHOLE_RUNS).T).sum(axis=0).max()) / _pixels(lines)


def _pixels(lines: Lines) -> float:
    return max(float(by_groups(np.abs(lines.phasor) > 0.0).sum()), 1.0)


def best_cut(lines: Lines, *, near: tuple[int, int] | None) -> Edges:
    """The best two edges along these lines: all of them by steps of COARSE columns, or only those `near` two columns."""
    return _best_of(lines, *allowed_pairs(near))


def cut_at(lines: Lines, *, left: int, right: int) -> Edges:
    """These two edges and what is kept with them."""
    return _best_of(lines, np.array([left]), np.array([right]))


def _best_of(lines: Lines, left: NDArray, right: NDArray) -> Edges:
    sums = by_groups(lines.phasor).astype(np.complex64)
    inside, blocks = _kept(sums, _waves(BLOCK_RUNS), left, right, inside=True)
    outside, platens = _kept(sums, _waves(PLATEN_RUNS), left, right, inside=False)
    kept = (inside + outside) / _pixels(lines)
    depth = np.clip(seams_of(lines).sure_depth, 0.0, DEEPEST)
    seams = np.append(depth, 0.0)
    score = kept + SEAM_WEIGHT * np.minimum(seams[left], seams[right])
    best = int(np.argmax(score))
    return Edges(
        lines=lines,
        left=int(left[best]),
        right=int(right[best]),
        kept=float(kept[best]),
        score=float(score[best]),
        platen=PLATEN_RUNS[int(platens[best])],
        block=BLOCK_RUNS[int(blocks[best])],
    )


def lost_with_fewer(edges: Edges) -> float:
    """Natural logarithm by how much more of the tone is lost with one of the edges alone or with neither, whichever loses least."""
    one_edge = (cut_at(edges.lines, left=edges.left, right=COLUMNS).kept, cut_at(edges.lines, left=0, right=edges.right).kept)
    fewer = max(kept_uncut(edges.lines), *one_edge)
    return float(np.log((1.0 - fewer + LEAST_LOST) / (1.0 - edges.kept + LEAST_LOST)))


def allowed_pairs(near: tuple[int, int] | None, *, coarse: int = COARSE) -> tuple[NDArray, NDArray]:
    """Left and right columns of all pairs that can be the edges of a block, by steps of `coarse`, or only of those `near` two columns."""
    if near is None:
        cuts = (np.arange(0, COLUMNS, coarse),) * 2
    else:
        steps = np.arange(-2 * coarse, 2 * coarse + 1)
        cuts = (near[0] + steps, near[1] + steps)
    left, right = (grid.ravel() for grid in np.meshgrid(*cuts, indexing="ij"))
    return _allowed(left, right)


def _allowed(left: NDArray, right: NDArray) -> tuple[NDArray, NDArray]:
    width = (right - left) / COLUMNS
    allowed = (width > NARROWEST) & (width < WIDEST) & (left > LEAST_SIDE * COLUMNS) & (right < (1.0 - LEAST_SIDE) * COLUMNS)
    return left[allowed], right[allowed]


def _kept(sums: NDArray, waves: NDArray, left: NDArray, right: NDArray, *, inside: bool) -> tuple[NDArray, NDArray]:
    """(pairs,) tone kept between the edges, or beside them, under the best of `waves` [run, column], and the number of that run.

    Each group of rows has its own phase, so that a tilt or a bow of a face along its length does no harm.
    """
    best, run = np.full(left.size, -1.0, dtype=np.float32), np.zeros(left.size, dtype=int)
    running = np.zeros((len(sums), COLUMNS + 1), dtype=np.complex64)
    for number, wave in enumerate(waves):
        np.cumsum(sums * wave, axis=1, out=running[:, 1:])
        part = running.take(right, axis=1) - running.take(left, axis=1)
        if not inside:
            part = running[:, -1:] - part
        kept = np.sqrt(part.real**2 + part.imag**2).sum(axis=0)  # much faster than np.abs, and nothing overflows here
        better = kept > best
        best[better], run[better] = kept[better], number
    return best, run
