"""The search for the outline of a face: rough places, settling, and the choice among what was found. START READING HERE.

The best outline is the one with an edge nearly all around, bands just inside and none just outside. Two mistakes lie near: a band that
closes on itself (bands outside it too) and the rim of a larger flat (no bands just inside it).
"""

from __future__ import annotations

import math

import numpy as np

from straightband.photo.figure import Figure, apart
from straightband.photo.judge import Look, change_between, look_at
from straightband.photo.settle import CLOSE, CLOSE_COUNT, NARROW, VERY_NARROW, WIDE, settle, side_variants
from straightband.photo.texture import textured_areas
from straightband.photo.unrolled import Pyramid, Window
from straightband.photo.votes import DIRECTIONS, SQUARE_DIRECTIONS, TURNED_BIN_PX, Edges, edges_of, unlike, vote, vote_rectangles

RATIO_MARGIN = 0.06  # in the logarithm; a view 15 degrees off normal changes it by 0.035, perspective and distortion add a little
VOTING_SIDE, SQUARE_VOTING_SIDE, TEXTURE_SIDE = 490, 300, 640
CLOSER_SHARE = 0.2  # of the longer side: figures with a smaller half axis are looked at again from nearer
ROUND_RATIO = 1.1
COMPARABLE = 0.8  # supports closer than this leave the choice to what lies between two rims
CALM = 0.35
FAINTEST = 0.1  # of the liveliest figure
RIVAL_SUPPORT = 0.85
LIVELIER = 1.3  # how much more the light changes inside than outside, at least


def candidates(pyramid: Pyramid, *, ratio: float, square: bool) -> list[Look]:
    """Settled ellipses or rectangles of about the ratio given (1 for a round face), best supported first."""
    areas = textured(pyramid, square=square)
    voted, rims = _voted(pyramid, pyramid.whole, ratio=ratio, square=square)
    for window in _closer(pyramid, areas[:1] + rims):
        voted += _voted(pyramid, window, ratio=ratio, square=square)[0]
    starts: list[tuple[Figure, tuple[float, ...]]] = [
        (figure, VERY_NARROW if ratio < ROUND_RATIO and not square else NARROW) for figure in voted
    ]
    for figure in areas:
        if abs(math.log(figure.ratio() / ratio)) < 0.35:
            starts += [(figure, WIDE), (figure, NARROW)]
    return _settled(pyramid, starts, ratio=ratio)


def _voted(pyramid: Pyramid, window: Window, *, ratio: float, square: bool) -> tuple[list[Figure], list[Figure]]:
    """Figures voted for in a part of the frame, and the circles seen all around that were met on the way."""
    is_round = ratio < ROUND_RATIO and not square
    view = pyramid.view(window, side_px=SQUARE_VOTING_SIDE if square else VOTING_SIDE)
    edges, circles = _peeled(edges_of(view.picture, most=5000 if is_round or square else 2500), view.picture, rounds=4 if is_round else 2)
    if is_round:
        found = circles + [figure for _, figure in vote(edges, ratio=1.0, directions=1, most=0.52, each=16)]
        found = unlike(found, most=14, alike=0.03)
    elif square:
        directions = SQUARE_DIRECTIONS if ratio > ROUND_RATIO else SQUARE_DIRECTIONS // 2
        found = unlike([figure for _, figure in vote_rectangles(edges, ratio=ratio, directions=directions, each=4)], most=12)
    else:
        found = unlike(
            [figure for _, figure in vote(edges, ratio=ratio, directions=DIRECTIONS, most=0.52, each=4, bin_px=TURNED_BIN_PX)], most=12
        )
    return [view.to_plane(figure) for figure in found], [view.to_plane(circle) for circle in circles]


def _peeled(edges: Edges, picture: np.ndarray, *, rounds: int) -> tuple[Edges, list[Figure]]:
    """Circles seen all around, and the edges without them.

    The arcs of a larger flat's rim look like long ellipses, and its strong rim drowns the outline of a round face inside it.
    """
    small = Pyramid(pictures=(picture * picture,))
    circles = []
    for _ in range(rounds):
        (_, start), *_ = vote(edges, ratio=1.0, directions=1, most=0.75, each=1)
        circle = settle(small, start, windows=VERY_NARROW)
        if circle is None or circle.ratio() > 1.06 or look_at(small, circle).support < 0.6:
            break
        edges = edges.without(circle, margin=0.025)
        circles.append(circle)
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


def textured(pyramid: Pyramid, *, square: bool, within: Figure | None = None) -> list[Figure]:
    """Rough figures around areas full of bands; with `within`, inside the rim of a larger flat."""
    view = pyramid.view(pyramid.whole, side_px=TEXTURE_SIDE)
    rim = None if within is None else Figure(square=within.square, matrix=np.linalg.inv(view.back) @ within.matrix)
    found = textured_areas(view.picture, square=square, within=rim)
    return unlike([view.to_plane(figure) for figure in found], most=6, alike=0.07)


def _settled(pyramid: Pyramid, starts: list[tuple[Figure, tuple[float, ...]]], *, ratio: float) -> list[Look]:
    figures: list[Figure] = []
    for start, windows in starts:
        figure = settle(pyramid, start, windows=windows)
        if figure is None or abs(math.log(figure.ratio() / ratio)) > 2.0 * RATIO_MARGIN:
            continue
        if all(apart(other, figure) > 0.02 for other in figures):
            figures.append(figure)
    looks = sorted((look_at(pyramid, figure) for figure in figures), key=lambda look: -look.support)[:6]
    if looks and looks[0].figure.square:
        looks = _with_other_sides(pyramid, looks, ratio=ratio)
    close = [settle(pyramid, look.figure, windows=CLOSE, count=CLOSE_COUNT) for look in looks]
    settled = [look_at(pyramid, f) for f in close if f is not None and abs(math.log(f.ratio() / ratio)) < RATIO_MARGIN]
    liveliest = max((look.border for look in settled), default=0.0)
    return sorted((look for look in settled if _has_bands(look) and look.border > FAINTEST * liveliest), key=_rank, reverse=True)


def _with_other_sides(pyramid: Pyramid, looks: list[Look], *, ratio: float) -> list[Look]:
    """The best rectangles among those found and those that differ from them in a side or more."""
    for _ in range(2):
        looks = sorted(looks, key=_rank, reverse=True)[:3]
        variants = [variant for look in looks for variant in side_variants(pyramid, look.figure)]
        close = [settle(pyramid, v, windows=VERY_NARROW) for v in variants if abs(math.log(v.ratio() / ratio)) < 2.0 * RATIO_MARGIN]
        looks += [look_at(pyramid, figure) for figure in close if figure is not None]
    return sorted(looks, key=_rank, reverse=True)[:6]


def _has_bands(look: Look) -> bool:
    return look.border > LIVELIER * look.outside or math.isnan(look.outside)


def chosen(pyramid: Pyramid, looks: list[Look]) -> Look:
    """The one of some well-seen figures that is the outline."""
    best = looks[0]
    for other in looks[1:]:
        best = _better(pyramid, best, other)
    return best


def _better(pyramid: Pyramid, one: Look, other: Look) -> Look:
    stronger, weaker = (one, other) if one.support >= other.support else (other, one)
    if weaker.support < COMPARABLE * stronger.support:
        return stronger
    cleaner = max(one, other, key=_rank)
    inner, outer = (one, other) if _lies_in(one.figure, other.figure) else (other, one)
    if not _lies_in(inner.figure, outer.figure) or inner.support < 0.85 * outer.support:
        return cleaner
    # Between the outline and the rim of a larger flat there are no bands.
    return inner if change_between(pyramid, inner=inner.figure, outer=outer.figure) < CALM * inner.border else cleaner


def _rank(look: Look) -> float:
    """Support, and how little the bands go on anywhere outside, as they do beyond a band that closes on itself."""
    return look.support + 0.5 * max(0.0, 1.0 - max(look.worst_outside, 0.0) / max(look.border, 1e-6))


def _lies_in(inner: Figure, outer: Figure) -> bool:
    return float(outer.radius(*inner.rim_pixels(48)).max()) < 1.0


def rivals(pyramid: Pyramid, *, ratio: float, square: bool) -> list[Look]:
    """Well-seen figures around bands that do not have the shape or the ratio given, best first."""
    found = []
    for other_square in (False, True):
        for start in textured(pyramid, square=other_square)[:4]:
            figure = settle(pyramid, start, windows=WIDE)
            figure = figure and settle(pyramid, figure, windows=CLOSE, count=CLOSE_COUNT)
            if figure is not None and not (other_square == square and abs(math.log(figure.ratio() / ratio)) < 2.0 * RATIO_MARGIN):
                found.append(look_at(pyramid, figure))
    return sorted((look for look in found if look.support > RIVAL_SUPPORT and _has_bands(look)), key=_rank, reverse=True)


def is_plain(look: Look) -> bool:
    """True if nothing speaks against a figure, so that no rival needs to be looked for."""
    return look.support > 0.93 and look.worst_outside < 0.35 * look.border


def beats(rival: Look, look: Look, *, pyramid: Pyramid) -> bool:
    """True if a figure of another shape explains the picture better, or is the piece on the larger flat whose rim was taken for it."""
    if _lies_in(look.figure, rival.figure) and change_between(pyramid, inner=look.figure, outer=rival.figure) < CALM * look.border:
        return False  # the rival is the rim of a larger flat
    if _rank(rival) > _rank(look) + 0.05 and rival.border > 0.6 * look.border:
        return True
    return _lies_in(rival.figure, look.figure) and change_between(pyramid, inner=rival.figure, outer=look.figure) < CALM * rival.border
