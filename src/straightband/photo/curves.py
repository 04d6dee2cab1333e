"""Closed curves of sharp edge that run near a rough figure: the outline of the glass, the inner edge of its bevel, bands, rims, shadows.

In the picture unrolled around the figure an ellipse close to it is a sum of five known motions, and a straight side one of two, so that a
few edge points taken at random give a curve that all others can vote on (random sample consensus: M. A. Fischler, R. C. Bolles, Comm. ACM
24, 381 (1981)). What each curve is, is decided elsewhere: a curve only says along how much of it there is an edge.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations, product

import cv2
import numpy as np
from numpy.typing import NDArray

from straightband.photo.figure import Figure, moved, rim_motions
from straightband.photo.unrolled import Pyramid, slopes, unroll

LEAST_STEP_PX = 0.5
AVERAGED = 5  # rim points: more would smear edges that run across the figure's rim
CREST_PX = 3.0  # an edge is no wider than this: the slope has fallen off on both sides
FAINT_RATIO = 8.0  # a crest stands this far above the lower quartile, which holds no edge: 2.5 standard deviations of even noise
FAINTEST = 0.06  # of the strongest edges around: what a JPEG writes beside an edge stays below
SHARP = 0.5  # share of its height that a crest stands above its sides; a shadow's border does not
PEAK_PX, PEAK = 2.0, 0.75  # slope beside a rising edge, relative to its own, at most: 0.6 where the blur has a standard deviation of 2 px
MOST_CRESTS = 8  # along one row
DRAW_SEED = 4  # any number: the same photograph must give the same outline
SURE_VOTES, MORE_DRAWS = 0.7, 3
OUTER_FIRST = 0.3  # crests are drawn less often by exp(-this) for each crest outside them: bands lie inside the outline
LARGEST_CHANGE = np.array([1.0, 1.0, 1.0, 0.4, 0.4])  # of size, place and form, in units of the reach
LEAST_COVERAGE = 0.35
STEEPEST_TURN = 0.1  # of a side, radians: perspective and a rough start
LINES_KEPT, LEAST_LINE = 5, 0.4
WIDEST_BEVEL = 0.045  # of the half side across it
FAIR_LINE, FAIR_STRENGTH = 0.55, 0.06  # share and strength of an outer edge, of those of the inner one


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """How far and how closely curves are looked for.

    Attributes
    ----------
    share
        How far from the figure, relative to its shorter half axis.
    step_share
        Step across the rim, in the same unit.
    count
        Points of the rim.
    tries
        Curves drawn at random.
    different
        Relative radius by which two curves differ.
    kept
        Curves returned, at most.
    """

    share: float
    step_share: float
    count: int
    tries: int
    different: float
    kept: int


WIDE = Reach(share=0.2, step_share=0.006, count=96, tries=600, different=0.03, kept=2)
CLOSE = Reach(share=0.085, step_share=0.0015, count=192, tries=1000, different=0.004, kept=7)


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """A closed curve.

    Attributes
    ----------
    figure
        The curve.
    coverage
        Share of it along which there is a sharp edge; of a rectangle the mean of that and its worst side's.
    strength
        Median height of that edge, linear light per sample.
    """

    figure: Figure
    coverage: float
    strength: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """Edges in the picture unrolled around a rim.

    Attributes
    ----------
    offsets
        Distances from the rim, pixels, outward, evenly spaced.
    slope
        [rim point, offset], light per sample, averaged along the rim.
    height
        How far the slope stands out above the slopes on both sides.
    sure
        How surely there is the top of an edge, 0 to 1.
    glass
        True where it can be an edge of glass, not the soft border of a shadow.
    """

    offsets: NDArray
    slope: NDArray
    height: NDArray
    sure: NDArray
    glass: NDArray

    @property
    def step(self) -> float:
        """Pixels from one offset to the next."""
        return float(self.offsets[1] - self.offsets[0])


def edge_strip(pyramid: Pyramid, figure: Figure, *, offsets: NDArray, count: int, averaged: int) -> Strip:
    """Edges around the rim, with slopes averaged over `averaged` neighbouring rim points."""
    radii = 1.0 + offsets / figure.depths(count)[:, None]
    slope = np.nan_to_num(slopes(unroll(pyramid, figure, radii=radii, count=count)))
    half = averaged // 2
    slope = cv2.blur(cv2.copyMakeBorder(slope, half, half, 0, 0, cv2.BORDER_WRAP), (1, averaged))[half : half + count]
    size = np.abs(slope)
    away = max(1, round(CREST_PX / (offsets[1] - offsets[0])))
    wide = np.pad(size, ((0, 0), (away, away)), mode="edge")
    height = size - 0.5 * (wide[:, : size.shape[1]] + wide[:, 2 * away :])
    noise = FAINT_RATIO * np.percentile(np.abs(height[:, offsets > 0.0]), 25.0, axis=1, keepdims=True) + 1e-7
    height = np.maximum(height, 0.0)
    noise = np.maximum(noise, FAINTEST * np.percentile(height[::2], 97.0))
    top = np.pad((height[:, 1:-1] >= height[:, :-2]) & (height[:, 1:-1] > height[:, 2:]), ((0, 0), (1, 1))).astype(np.uint8)
    # A shadow beside the outline falls off smoothly: light that rises outward is an edge of the glass only if it does so at once.
    glass = (slope < 0.0) | (height > SHARP * size)
    sure = height * height / (height * height + noise * noise) * cv2.dilate(top, np.ones((1, 3), np.uint8))
    return Strip(offsets=offsets, slope=slope, height=height, sure=sure, glass=glass)


def curves_near(pyramid: Pyramid, figure: Figure, *, reach: Reach, rising: bool | None = None) -> list[Curve]:
    """Curves within reach of the figure, best covered first; only of light that rises outward, or that falls, where that is said."""
    shorter = figure.axes()[1]
    step = max(LEAST_STEP_PX, reach.step_share * shorter)
    far = reach.share * shorter + CREST_PX
    strip = edge_strip(pyramid, figure, offsets=np.arange(-far, far + step, step), count=reach.count, averaged=AVERAGED)
    if rising is not None:
        strip = replace(strip, sure=np.where((strip.slope > 0.0) == rising, strip.sure, 0.0), glass=np.ones_like(strip.glass))
    found = _rectangles(figure, strip, reach=reach) if figure.square else _ellipses(figure, strip, reach=reach)
    return sorted(found, key=lambda curve: -curve.coverage)


def _ellipses(figure: Figure, strip: Strip, *, reach: Reach) -> list[Curve]:
    motions = rim_motions(square=False, count=reach.count) * figure.depths(reach.count)[:, None]
    voters = cv2.dilate(np.where(strip.glass, strip.sure, 0.0), np.ones((1, 3), np.uint8))
    rng = np.random.default_rng(DRAW_SEED)
    tried = _tried(strip, motions, reach=reach, rng=rng)
    votes = _votes(voters, strip, tried @ motions.T)
    if votes.max() < SURE_VOTES:
        # Cluttered: few draws hit, so draw more.
        more = np.concatenate([_tried(strip, motions, reach=reach, rng=rng) for _ in range(MORE_DRAWS)])
        tried, votes = np.concatenate([tried, more]), np.concatenate([votes, _votes(voters, strip, more @ motions.T)])
    ranked = tried[np.argsort(-votes)[: 12 * reach.kept]]
    places = ranked @ motions.T
    different = reach.different * figure.axes()[1]
    kept: list[int] = []
    settled: list[NDArray] = []
    curves: list[Curve] = []
    for k, place in enumerate(places):
        if kept and np.abs(places[kept] - place).max(axis=1).min() < 2.0 * different:
            continue
        kept.append(k)
        curve, amounts = _curve(figure, strip, motions=motions, amounts=ranked[k])
        if curve.coverage > LEAST_COVERAGE and all(np.abs(motions @ (amounts - other)).max() > different for other in settled):
            settled.append(amounts)
            curves.append(curve)
        if len(kept) == 2 * reach.kept:
            break
    return sorted(curves, key=lambda curve: -curve.coverage)[: reach.kept]


def _tried(strip: Strip, motions: NDArray, *, reach: Reach, rng: np.random.Generator) -> NDArray:
    """(n, 5) motions through five edge points each, spread around the rim."""
    place, odds = _crests(strip)
    count = reach.count
    sector = np.arange(5) * count / 5.0
    rows = (rng.integers(0, count, (reach.tries, 1)) + sector + rng.uniform(0.0, 0.8 * count / 5.0, (reach.tries, 5))).astype(int) % count
    total = np.cumsum(odds, axis=1)[rows]
    picked = np.minimum((total < rng.random((reach.tries, 5, 1)) * total[:, :, -1:]).sum(axis=2), MOST_CRESTS - 1)
    seen = total[:, :, -1].min(axis=1) > 0.0
    amounts = np.linalg.solve(motions[rows[seen]] + 1e-9 * np.eye(5), place[rows, picked][seen][:, :, None])[:, :, 0]
    near = (np.abs(amounts) < reach.share * LARGEST_CHANGE).all(axis=1)
    # The figure itself, larger and smaller, in case no draw is lucky.
    sizes = np.zeros((17, 5))
    sizes[:, 0] = np.linspace(-0.7, 0.7, 17) * reach.share
    return np.concatenate([amounts[near], sizes])


def _crests(strip: Strip) -> tuple[NDArray, NDArray]:
    """Offsets of the surest crests of each row and the odds of drawing them, (rows, MOST_CRESTS); odds 0 where there are fewer."""
    top = np.zeros(strip.sure.shape, dtype=bool)
    top[:, 1:-1] = (strip.height[:, 1:-1] >= strip.height[:, :-2]) & (strip.height[:, 1:-1] > strip.height[:, 2:])
    worth = np.where(top & strip.glass & (strip.sure > 0.2), strip.sure, 0.0)
    best = np.argsort(-worth, axis=1)[:, :MOST_CRESTS]
    worth = np.take_along_axis(worth, best, axis=1)
    place = strip.offsets[best]
    outside = ((place[:, None, :] > place[:, :, None]) & (worth[:, None, :] > 0.3)).sum(axis=2)
    return place, worth * np.exp(-OUTER_FIRST * outside)


def _votes(voters: NDArray, strip: Strip, places: NDArray) -> NDArray:
    """Mean of the voters along each of (n, rows) curves."""
    columns = np.rint((places - strip.offsets[0]) / strip.step).astype(np.int32)
    columns = np.clip(columns, 0, voters.shape[1] - 1) + np.arange(voters.shape[0], dtype=np.int32) * voters.shape[1]
    return voters.ravel()[columns].mean(axis=1)


def _curve(figure: Figure, strip: Strip, *, motions: NDArray, amounts: NDArray) -> tuple[Curve, NDArray]:
    """The curve settled on the edges along it, and its motion."""
    rows = np.arange(len(motions))[:, None]
    for reach in (5, 3, 2):
        window = np.arange(-reach, reach + 1)
        columns = np.clip(
            np.rint((motions @ amounts - strip.offsets[0]) / strip.step).astype(int)[:, None] + window, 0, strip.offsets.size - 1
        )
        weight = strip.sure[rows, columns] * strip.glass[rows, columns] * np.exp(-0.5 * (1.5 * window / reach) ** 2)
        mass = weight.sum(axis=1)
        target = (strip.offsets[columns] * weight).sum(axis=1) / (mass + 1e-9)
        trust = mass / (mass + 0.5)
        normal = motions.T @ (trust[:, None] * motions) + 1e-6 * np.eye(motions.shape[1])
        amounts = np.linalg.solve(normal, motions.T @ (trust * target))
    columns = np.clip(
        np.rint((motions @ amounts - strip.offsets[0]) / strip.step).astype(int)[:, None] + [-1, 0, 1], 0, strip.offsets.size - 1
    )
    seen = (strip.sure[rows, columns] * strip.glass[rows, columns]).max(axis=1)
    curve = Curve(
        figure=moved(figure, amounts),
        coverage=float((seen > 0.5).mean()),
        strength=float(np.median(strip.height[rows, columns].max(axis=1))),
    )
    return curve, amounts


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """A straight edge beside a side: shift and turn in units of the figure, share of the side it is seen on, strength, and whether glass makes it."""

    shift: float
    turn: float
    share: float
    strength: float
    glass: bool


def _rectangles(figure: Figure, strip: Strip, *, reach: Reach) -> list[Curve]:
    """The rectangles that can be put together from the lines beside each side."""
    sides = [_glass_ends(_lines(strip, side, figure=figure, reach=reach)) for side in range(4)]
    found = []
    for four in product(*sides):
        shares = np.array([line.share for line in four])
        amounts = np.array([value for line in four for value in (line.shift, line.turn)])
        coverage = 0.5 * float(shares.mean() + shares.min())
        found.append((coverage, amounts, float(np.median([line.strength for line in four]))))
    found.sort(key=lambda one: -one[0])
    return [
        Curve(figure=moved(figure, amounts), coverage=coverage, strength=strength)
        for coverage, amounts, strength in found[: 6 * reach.kept]
    ]


def _glass_ends(lines: list[_Line]) -> list[_Line]:
    """The lines, those with a fair one a bevel's width outside them left out."""
    return [line for line in lines if not any(_is_outer(other, of=line) for other in lines)]


def _is_outer(other: _Line, *, of: _Line) -> bool:
    near = 0.0 < other.shift - of.shift < WIDEST_BEVEL
    return near and other.glass and other.share > FAIR_LINE * of.share and other.strength > FAIR_STRENGTH * of.strength


def _lines(strip: Strip, side: int, *, figure: Figure, reach: Reach) -> list[_Line]:
    """Straight edges beside one side, best first."""
    n = reach.count // 4
    rows = slice(side * n, (side + 1) * n)
    depths = figure.depths(reach.count)
    depth, half_side = float(depths[side * n]), float(depths[(side + 1) % 4 * n])
    along = rim_motions(square=True, count=reach.count)[rows, 2 * side + 1]
    worth = np.where(strip.glass[rows], strip.sure[rows], 0.0)
    voters = cv2.dilate(worth, np.ones((1, 3), np.uint8))
    place, odds = _crests(
        Strip(offsets=strip.offsets, slope=strip.slope[rows], height=strip.height[rows], sure=strip.sure[rows], glass=strip.glass[rows])
    )
    pairs = [(i, j) for i, j in combinations(range(0, n, 3), 2) if j - i > n // 3]
    first, second = (np.array(index) for index in zip(*pairs, strict=True))
    a, b = place[first][:, :, None], place[second][:, None, :]
    turn = (b - a) / (along[second] - along[first])[:, None, None]
    shift = a - turn * along[first][:, None, None]
    real = (odds[first][:, :, None] * odds[second][:, None, :] > 0.0) & (np.abs(turn) < STEEPEST_TURN * half_side)
    shift, turn = shift[real], turn[real]
    if not shift.size:
        return []
    share = _votes(voters, strip, shift[:, None] + turn[:, None] * along)
    kept: list[_Line] = []
    for k in np.argsort(-share)[:400]:
        if share[k] < LEAST_LINE or len(kept) == LINES_KEPT:
            break
        ends = np.array([shift[k] - turn[k], shift[k] + turn[k]])
        away = [ends - depth * np.array([line.shift - line.turn, line.shift + line.turn]) for line in kept]
        # A line that crosses a better one is put together from edges on both sides of it.
        if any(np.abs(off).max() < 3.0 * strip.step or off[0] * off[1] <= 0.0 for off in away):
            continue
        columns = np.clip(np.rint((shift[k] + turn[k] * along - strip.offsets[0]) / strip.step).astype(int), 0, strip.offsets.size - 1)
        at = (np.arange(n), columns)
        line = _Line(
            shift=float(shift[k]) / depth,
            turn=float(turn[k]) / depth,
            share=float((voters[at] > 0.5).mean()),
            strength=float(np.median(strip.height[rows][at])),
            glass=_is_glass(strip.slope[rows], columns, step_px=strip.step),
        )
        kept.append(line)
    return kept


def _is_glass(slope: NDArray, columns: NDArray, *, step_px: float) -> bool:
    """False for the border of a shadow: along it light rises outward, and hardly faster there than a little farther in and out."""
    away = max(1, round(PEAK_PX / step_px))
    near = np.clip(columns[:, None] + [-away, 0, away], 0, slope.shape[1] - 1)
    inner, here, outer = np.median(np.take_along_axis(slope, near, axis=1), axis=0)
    return bool(here < 0.0 or inner + outer < 2.0 * PEAK * here)
