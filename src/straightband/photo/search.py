"""The search for the outline of a face: rough places, settling, and the choice among what was found. START READING HERE.

The best outline is the one with an edge nearly all around, bands just inside and none just outside. Two mistakes lie near: a band that
closes on itself (bands outside it too) and the rim of a larger flat (no bands just inside it).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import cv2
import numpy as np

from straightband.photo.choice import CALM, Seen, bevel_inside, gaps, outline_among
from straightband.photo.curves import CLOSE, WIDE, Curve, curves_near
from straightband.photo.figure import Figure, apart
from straightband.photo.judge import Look, change_between, look_at
from straightband.photo.texture import textured_areas
from straightband.photo.unrolled import Pyramid, Window
from straightband.photo.votes import (
    ALIKE,
    DIRECTIONS,
    SQUARE_DIRECTIONS,
    TURNED_BIN_PX,
    Edges,
    Range,
    edges_of,
    unlike,
    vote,
    vote_rectangles,
)

RATIO_MARGIN = 0.06  # in the logarithm; a view 15 degrees off normal changes it by 0.035, perspective and distortion add a little
VOTING_SIDE, SQUARE_VOTING_SIDE, TEXTURE_SIDE = 490, 300, 640
CLOSER_SHARE = 0.2  # of the longer side: figures with a smaller half axis are looked at again from nearer
ROUND_RATIO = 1.1
ROUGH_RATIO = 2.5 * RATIO_MARGIN  # of a rough figure, before it has settled
LOOSE_RATIO = 0.35  # in the logarithm: rough areas farther off are not looked at
ROUGHLY_SAME = 0.03  # relative radius
LIKELIEST = 4  # of the figures voted for, looked at before the rest
AT_FIRST, AT_FIRST_ROUND, MOST_ROUGH = (
    1,
    4,
    7,
)  # rough curves looked at closely before it is asked whether one is plainly the outline, and in all
MOST_AREAS = 2  # full of bands, that are looked at closely
PEELED_COVERAGE = 0.6
SWING_PX = (5.0, 9.0)
RIVAL_COVERAGE, RIVAL_LEAD = 0.75, 0.1
PLAIN_COVERAGE, PLAIN_CALM, PLAIN_BORDER = 0.88, 0.85, 0.4
SOFT_RADIUS_PX = 100.0  # so small that a rim out of focus is sharp and the finest rings dissolve
SOFT_COVERAGE, SETTLED_COVERAGE, MUCH_SURER = 0.8, 0.86, 0.3
# How far rings found as the outline may reach beyond it, and must stay inside, relative to the shorter half axis.
SOFT_CROSSING, SOFT_APART = 0.05, 0.02
LIVELIER = 1.3  # how much more the light changes inside than outside, at least


def searched(pyramid: Pyramid, *, ratio: float, square: bool) -> tuple[Seen, float] | None:
    """The outline of a face of the proportions given and the width of its bevel relative to its radius; None if there is none."""
    found = _searched(pyramid, ratio=ratio, square=square)
    around = None if found is None or square else _around_rings(pyramid, found[0], ratio=ratio)
    return found if around is None else (around, 0.0)


def _around_rings(pyramid: Pyramid, best: Seen, *, ratio: float) -> Seen | None:
    """The rim around what was taken for the outline, where it shows only as small as dissolves bands: fine rings are sharper than a rim out of focus."""
    side_px = round(SOFT_RADIUS_PX * max(pyramid.pictures[0].shape) / best.figure.axes()[1])
    view = pyramid.view(pyramid.whole, side_px=side_px)
    small = view.pyramid()
    near = curves_near(small, view.from_plane(best.figure), reach=WIDE)
    # a start far off may catch half of the rim, from where the whole of it is seen
    rough = [*near, *(further for start in near for further in curves_near(small, start.figure, reach=WIDE))]
    rough = [one for one in rough if one.coverage > SOFT_COVERAGE and _may_surround(best.figure, view.to_plane(one.figure), ratio=ratio)]
    settled = rough + [curve for start in rough for curve in curves_near(small, start.figure, reach=CLOSE)]
    curves = [replace(one, figure=view.to_plane(one.figure)) for one in settled if one.coverage > SETTLED_COVERAGE]
    seen = [Seen(curve=one, look=look_at(pyramid, one.figure)) for one in curves]
    return max((one for one in seen if _is_around(pyramid, one, best=best)), key=lambda one: one.rank, default=None)


def _is_around(pyramid: Pyramid, one: Seen, *, best: Seen) -> bool:
    """True if bands go on beyond what was taken for the outline and end at this curve, or this one is seen so much more surely."""
    lively = change_between(pyramid, inner=best.figure, outer=one.figure) > CALM * best.look.border
    surer = one.curve.coverage > best.curve.coverage + MUCH_SURER
    return (lively or surer) and one.look.calm >= max(best.look.calm, PLAIN_CALM)


def _may_surround(inner: Figure, outer: Figure, *, ratio: float) -> bool:
    narrow, wide = gaps(inner=inner, outer=outer)
    return narrow > -SOFT_CROSSING and wide > SOFT_APART and off_ratio(outer, ratio) < RATIO_MARGIN


def off_ratio(figure: Figure, ratio: float) -> float:
    """How far a figure's proportions are off, in the logarithm."""
    return abs(math.log(figure.ratio() / ratio))


def _searched(pyramid: Pyramid, *, ratio: float, square: bool) -> tuple[Seen, float] | None:
    """The same, as it shows at full size."""
    rough: list[Curve] = []
    curves: list[Curve] = []
    best = None
    # The rim of a larger flat looks like the plain outline of a round face until what lies inside it has been seen.
    first = AT_FIRST_ROUND if ratio < ROUND_RATIO and not square else AT_FIRST
    for figures in _starts(pyramid, ratio=ratio, square=square):
        fresh = _rough_curves(pyramid, figures, known=rough, ratio=ratio)
        rough += fresh
        for some in (fresh[:first], fresh[first:MOST_ROUGH]):
            near = [curve for start in some for curve in curves_near(pyramid, start.figure, reach=CLOSE)]
            curves += [curve for curve in near if off_ratio(curve.figure, ratio) < RATIO_MARGIN]
            best = outline_among(pyramid, curves) if near else best
            if best is not None and is_plain(best):
                return best, bevel_inside(best, curves)
    curves += _close_to_areas(pyramid, ratio=ratio, square=square)
    last = outline_among(pyramid, curves)
    best = last if last is not None and is_plain(last) else best
    return None if best is None else (best, bevel_inside(best, curves))


def _close_to_areas(pyramid: Pyramid, *, ratio: float, square: bool) -> list[Curve]:
    """Curves close by areas full of bands: from farther off, in wider steps, the edge of a brighter surround looks as soft as a shadow's border."""
    areas = [area for area in textured(pyramid, square=square) if off_ratio(area, ratio) < ROUGH_RATIO]
    rough = [curve for area in areas[:MOST_AREAS] for curve in curves_near(pyramid, area, reach=CLOSE)[:1]]
    near = [curve for start in rough for curve in curves_near(pyramid, start.figure, reach=CLOSE)]
    return [curve for curve in near if off_ratio(curve.figure, ratio) < RATIO_MARGIN]


def _starts(pyramid: Pyramid, *, ratio: float, square: bool) -> Iterator[list[Figure]]:
    """Rough figures, the likeliest first; the caller stops where one of them has led to a plain outline."""
    voted, rims = _voted(pyramid, pyramid.whole, ratio=ratio, square=square)
    yield voted[:LIKELIEST]
    yield voted[LIKELIEST:]
    areas = textured(pyramid, square=square)
    yield [figure for figure in areas if off_ratio(figure, ratio) < LOOSE_RATIO]
    yield [figure for window in _closer(pyramid, areas[:1] + rims) for figure in _voted(pyramid, window, ratio=ratio, square=square)[0]]
    yield _voted_by_swing(pyramid, ratio=ratio, square=square)


def _rough_curves(pyramid: Pyramid, figures: list[Figure], *, known: list[Curve], ratio: float) -> list[Curve]:
    """Curves near rough figures that are unlike those known, best covered first."""
    fresh: list[Curve] = []
    for figure in figures:
        for curve in curves_near(pyramid, figure, reach=WIDE):
            alike = any(apart(other.figure, curve.figure) < ROUGHLY_SAME for other in known + fresh)
            if not alike and off_ratio(curve.figure, ratio) < ROUGH_RATIO:
                fresh.append(curve)
    return sorted(fresh, key=lambda curve: -curve.coverage)


def _voted(pyramid: Pyramid, window: Window, *, ratio: float, square: bool) -> tuple[list[Figure], list[Figure]]:
    """Figures voted for in a part of the frame, and the circles seen all around that were met on the way."""
    is_round = ratio < ROUND_RATIO and not square
    view = pyramid.view(window, side_px=SQUARE_VOTING_SIDE if square else VOTING_SIDE)
    edges = edges_of(view.picture, most=5000 if is_round or square else 2500)
    edges, circles = _peeled(edges if square else edges.off_lines(), view.pyramid(), rounds=4 if is_round else 2)
    found = unlike(circles * is_round + voted_by(edges, ratio=ratio, square=square), most=18, alike=0.03 if is_round else ALIKE)
    return [view.to_plane(figure) for figure in found], [view.to_plane(circle) for circle in circles]


def voted_by(edges: Edges, *, ratio: float, square: bool, between_px: Range | None = None) -> list[Figure]:
    """Figures of the proportions given that edges vote for, best first; of about a size, where that is known (shorter half axis)."""
    if square:
        directions = SQUARE_DIRECTIONS if ratio > ROUND_RATIO else SQUARE_DIRECTIONS // 2
        return [figure for _, figure in vote_rectangles(edges, ratio=ratio, directions=directions, each=4, between_px=between_px)]
    if ratio < ROUND_RATIO:
        return [figure for _, figure in vote(edges, ratio=1.0, directions=1, most=0.52, each=16, between_px=between_px)]
    found = vote(edges, ratio=ratio, directions=DIRECTIONS, most=0.52, each=4, bin_px=TURNED_BIN_PX, between_px=between_px)
    return [figure for _, figure in found]


def _voted_by_swing(pyramid: Pyramid, *, ratio: float, square: bool) -> list[Figure]:
    """Figures around where the light swings: close bands dissolve an outline into dashes, but not the border of their swing."""
    view = pyramid.view(pyramid.whole, side_px=SQUARE_VOTING_SIDE if square else VOTING_SIDE)
    found: list[Figure] = []
    for reach_px in SWING_PX:
        swing = cv2.GaussianBlur((view.picture - cv2.GaussianBlur(view.picture, (0, 0), reach_px)) ** 2, (0, 0), reach_px)
        edges = edges_of(np.minimum(np.sqrt(swing), np.float32(2.0) * np.sqrt(np.median(swing[swing > swing.mean()]))), most=2500)
        if len(edges.points):
            found += voted_by(edges, ratio=ratio, square=square)[:24]
    return [view.to_plane(figure) for figure in unlike(found, most=12)]


def _peeled(edges: Edges, small: Pyramid, *, rounds: int) -> tuple[Edges, list[Figure]]:
    """Circles seen all around, and the edges without them.

    The arcs of a larger flat's rim look like long ellipses, and its strong rim drowns the outline of a round face inside it.
    """
    circles = []
    for _ in range(rounds):
        (_, start), *_ = vote(edges, ratio=1.0, directions=1, most=0.75, each=1)
        near = [curve for curve in curves_near(small, start, reach=WIDE)[:1] if curve.coverage > PEELED_COVERAGE]
        if not near or near[0].figure.ratio() > 1.06:
            break
        edges = edges.without(near[0].figure, margin=0.025)
        circles.append(near[0].figure)
    return edges, circles


def _closer(pyramid: Pyramid, figures: list[Figure]) -> list[Window]:
    """Windows around small figures, for a second look from nearer."""
    rows, cols = pyramid.pictures[0].shape
    windows: list[Window] = []
    for figure in figures:
        longer, _, _ = figure.axes()
        if not 0.0 < longer < CLOSER_SHARE * max(rows, cols):
            continue
        (x, y), reach = figure.centre(), 1.25 * longer
        window = Window(
            left=int(max(0.0, x - reach)), top=int(max(0.0, y - reach)), right=int(min(cols, x + reach)), bottom=int(min(rows, y + reach))
        )
        if min(window.right - window.left, window.bottom - window.top) > longer and not any(_same(window, other) for other in windows):
            windows.append(window)
    return windows[:2]


def _same(one: Window, other: Window) -> bool:
    size = one.right - one.left
    return (
        max(abs(one.left - other.left), abs(one.top - other.top), abs(one.right - other.right), abs(one.bottom - other.bottom))
        < 0.25 * size
    )


def textured(pyramid: Pyramid, *, square: bool) -> list[Figure]:
    """Rough figures around areas full of bands."""
    view = pyramid.view(pyramid.whole, side_px=TEXTURE_SIDE)
    found = textured_areas(view.picture, square=square)
    return unlike([view.to_plane(figure) for figure in found], most=6, alike=0.07)


def rivals(pyramid: Pyramid, *, ratio: float, square: bool) -> list[Seen]:
    """Well-seen figures around bands that do not have the shape or the ratio given, best first."""
    found = []
    for other_square in (False, True):
        starts = [
            curve.figure for start in textured(pyramid, square=other_square)[:4] for curve in curves_near(pyramid, start, reach=WIDE)[:1]
        ]
        curves = [curve for start in unlike(starts, most=2, alike=0.05) for curve in curves_near(pyramid, start, reach=CLOSE)]
        if other_square == square:
            curves = [curve for curve in curves if off_ratio(curve.figure, ratio) > 2.0 * RATIO_MARGIN]
        best = outline_among(pyramid, curves)
        if best is not None and best.curve.coverage > RIVAL_COVERAGE and has_bands(best.look):
            found.append(best)
    return sorted(found, key=lambda one: -one.rank)


def has_bands(look: Look) -> bool:
    """True if the light changes more inside than outside."""
    return look.border > LIVELIER * look.outside or math.isnan(look.outside)


def is_plain(best: Seen) -> bool:
    """True if nothing speaks against a figure, so that no rival needs to be looked for."""
    return best.curve.coverage > PLAIN_COVERAGE and best.look.calm > PLAIN_CALM and best.look.border > PLAIN_BORDER * best.look.inside


def beats(rival: Seen, best: Seen, *, pyramid: Pyramid) -> bool:
    """True if a figure of another shape explains the picture better, or is the piece on the larger flat whose rim was taken for it."""
    if lies_in(best.figure, rival.figure) and change_between(pyramid, inner=best.figure, outer=rival.figure) < CALM * best.look.border:
        return False  # the rival is the rim of a larger flat
    if rival.rank > best.rank + RIVAL_LEAD and rival.look.border > 0.6 * best.look.border:
        return True
    return (
        lies_in(rival.figure, best.figure)
        and change_between(pyramid, inner=rival.figure, outer=best.figure) < CALM * rival.look.border
        and best.look.border < PLAIN_BORDER * rival.look.border
    )


def lies_in(inner: Figure, outer: Figure) -> bool:
    """True if a figure lies wholly inside another."""
    return float(outer.radius(*inner.rim_pixels(48)).max()) < 1.0
