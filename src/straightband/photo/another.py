"""Whether a second face like the one that was found lies beside it in the photograph: nobody said which of the two is meant."""

from __future__ import annotations

import math

import numpy as np

from straightband.photo.choice import Seen
from straightband.photo.curves import CLOSE, WIDE, curves_near
from straightband.photo.figure import Figure
from straightband.photo.judge import look_at
from straightband.photo.search import (
    PLAIN_CALM,
    PLAIN_COVERAGE,
    RATIO_MARGIN,
    SQUARE_VOTING_SIDE,
    off_ratio,
    voted_by,
)
from straightband.photo.unrolled import Pyramid
from straightband.photo.votes import TURNED_BIN_PX, edges_of, unlike

VOTING_SIDE, MOST_EDGES = 320, 1500
FEWEST_EDGES = 0.6  # of the length of the smaller circle in the face: what a rim leaves at the least
ROUGH_COVERAGE = 0.6
LIKE_SIZE = 0.2  # in the logarithm of the shorter half axis; a smaller piece of glass beside the face is not taken for it
LIVELY = 0.5  # of the change of light just inside the rim of the face that was found: bands as strong as that, or half
BESIDE = 1.03  # relative radius, beyond which edges are no part of the face that was found
LOOKED_AT = 2
RIM_COUNT = 48


def shows_another(pyramid: Pyramid, best: Seen, *, ratio: float, square: bool) -> bool:
    """True if an outline of the same proportions and about the size, with bands in it, is seen plainly beside the one found."""
    if not _has_room(pyramid, best.figure):
        return False
    view = pyramid.view(pyramid.whole, side_px=SQUARE_VOTING_SIDE if square else VOTING_SIDE)
    small = view.from_plane(best.figure)
    half_px = small.axes()[1]
    between = half_px * math.exp(-LIKE_SIZE), half_px * math.exp(LIKE_SIZE) + TURNED_BIN_PX
    edges = edges_of(view.picture, most=MOST_EDGES).outside(small, radius=BESIDE)
    if len(edges.points) < FEWEST_EDGES * 2.0 * math.pi * half_px:
        return False
    figures = [view.to_plane(figure) for figure in voted_by(edges, ratio=ratio, square=square, between_px=between)]
    beside = unlike([figure for figure in figures if _is_like(figure, best.figure, spread=2.0)], most=LOOKED_AT)
    rough = (curve for start in beside for curve in curves_near(pyramid, start, reach=WIDE)[:1] if curve.coverage > ROUGH_COVERAGE)
    settled = (curve for start in rough for curve in curves_near(pyramid, start.figure, reach=CLOSE)[:1])
    plain = (curve for curve in settled if curve.coverage > PLAIN_COVERAGE and off_ratio(curve.figure, ratio) < RATIO_MARGIN)
    return any(_has_its_bands(pyramid, curve.figure, best=best) for curve in plain if _is_like(curve.figure, best.figure))


def _has_room(pyramid: Pyramid, figure: Figure) -> bool:
    """True if a figure nearly as large would fit into the frame beside this one."""
    rows, cols = pyramid.pictures[0].shape
    x, y = figure.rim_pixels(RIM_COUNT)
    widest = max(float(x.min()), cols - float(x.max()), float(y.min()), rows - float(y.max()))
    return widest > 2.0 * math.exp(-LIKE_SIZE) * figure.axes()[1]


def _is_like(figure: Figure, found: Figure, *, spread: float = 1.0) -> bool:
    """True if a figure is about as large as the one found and lies wholly beside it."""
    alike = abs(math.log(figure.axes()[1] / found.axes()[1])) < spread * LIKE_SIZE
    return (
        alike
        and bool(np.all(found.radius(*figure.rim_pixels(RIM_COUNT)) > 1.0))
        and bool(found.radius(*map(np.asarray, figure.centre())) > 1.0)
    )


def _has_its_bands(pyramid: Pyramid, figure: Figure, *, best: Seen) -> bool:
    look = look_at(pyramid, figure)
    lively = look.border > LIVELY * best.look.border and look.inside > LIVELY * best.look.inside
    return lively and look.off_frame == 0.0 and look.calm > PLAIN_CALM
