"""The rim of a larger round flat that the piece lies on: a circle in the plane of the face, which shows the view that an ellipse hides.

A view off normal across the axes of an ellipse only turns its outline; a circle beside it is shortened by as much, and shows it. Any circle
in the plane will do, of whatever size: the rim of the flat, or the inner edge of its bevel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from straightband.photo.curves import Reach, curves_near
from straightband.photo.figure import Figure
from straightband.photo.refine import on_one_edge
from straightband.photo.unrolled import Pyramid
from straightband.photo.votes import edges_of, vote

VOTING_SIDE, MOST_EDGES = 490, 2500
LARGEST_SHARE = 0.75  # half axis, of the shorter side of the frame: part of the rim may lie outside
ROUNDS = 2  # circles tried: the first may be a shadow or the rim of a lamp
LEAST_COVERAGE, LEAST_IN_FRAME = (
    0.7,
    0.5,
)  # of the part of the rim in the frame; of the rim: a shorter arc does not tell a circle from an ellipse
# Narrow, so that arcs of something else are not joined to one long ellipse: votes for a circle are good to a few hundredths.
NEAR = Reach(share=0.07, step_share=0.002, count=192, tries=1200, different=0.004, kept=5)
LONGEST = 1.06  # of the axes, one to the other: a view 15 degrees off normal makes 1.035, the lens a little more
CLEAR_OF_FACE = 1.05  # relative radius: nearer edges belong to the piece
NEARLY_ROUND = 0.97  # shorter over longer axis of a face: from there on its axes can't be told by its outline
LARGEST_MISFIT = 0.008  # in the logarithm, of the ratio of the face as the circle shows it


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate:
    """A circle around the face.

    Attributes
    ----------
    matrix
        (2, 2), from the unit disc to pixels of the photograph, but for its place.
    standard_px
        Standard uncertainty of its half axes.
    """

    matrix: NDArray
    standard_px: float

    def axes_px(self) -> tuple[float, float]:
        """Longer and shorter half axis."""
        longer, shorter = np.linalg.svd(self.matrix, compute_uv=False)
        return float(longer), float(shorter)

    def magnified(self, factor: float) -> Plate:
        """The same plate in a picture whose pixels are `factor` times smaller."""
        return Plate(matrix=factor * self.matrix, standard_px=factor * self.standard_px)


def plate_around(pyramid: Pyramid, face: Figure, *, ratio: float) -> Plate | None:
    """The circle around an elliptical face of the proportions given, in plane pixels; None where none is seen that shows it so."""
    view = pyramid.view(pyramid.whole, side_px=VOTING_SIDE)
    edges = edges_of(view.picture, most=MOST_EDGES).off_lines()
    edges = edges.outside(Figure(square=False, matrix=np.linalg.inv(view.back) @ face.matrix), radius=CLEAR_OF_FACE)
    for _ in range(ROUNDS):
        if len(edges.points) == 0:
            return None
        (_, start), *_ = vote(edges, ratio=1.0, directions=1, most=LARGEST_SHARE, each=1)
        circle = _settled(pyramid, view.to_plane(start), face=face)
        if circle is not None:
            fine = on_one_edge(pyramid, circle)
            plate = Plate(matrix=fine.figure.matrix[:2, :2], standard_px=fine.standard_px)
            if abs(_misfit(plate, face=face, ratio=ratio)) < LARGEST_MISFIT:
                return plate
        edges = edges.without(start, margin=0.03)
    return None


def _settled(pyramid: Pyramid, start: Figure, *, face: Figure) -> Figure | None:
    """The circle near a rough one with most of an edge along what the frame shows of it, if the face lies in it."""
    # A rim has two edges; of one sign each, so that no curve runs along both in turn.
    curves = [curve for rising in (False, True) for curve in curves_near(pyramid, start, reach=NEAR, rising=rising)]
    near = [(curve.coverage / max(_in_frame(pyramid, curve.figure), LEAST_IN_FRAME), curve.figure) for curve in curves]
    near = [(share, figure) for share, figure in near if share > LEAST_COVERAGE and figure.ratio() < LONGEST]
    if not near:
        return None
    best = max(near, key=lambda one: one[0])[1]
    return best if float(best.radius(*face.rim_pixels(48)).max()) < 1.0 else None


def _in_frame(pyramid: Pyramid, figure: Figure) -> float:
    """Share of a rim that lies within the photograph."""
    rows, columns = pyramid.pictures[0].shape
    x, y = figure.rim_pixels(96)
    return float(np.mean((x > 0.0) & (x < columns - 1.0) & (y > 0.0) & (y < rows - 1.0)))


def as_seen_square_on(matrix: NDArray, *, plate: Plate) -> tuple[NDArray, NDArray]:
    """Half axes (2,), the longer first, and their unit vectors (2, 2) by columns, of an ellipse where the plate is the unit circle.

    `matrix` takes the unit disc to the ellipse in pixels. The vectors stand in the plate's own frame, which `root_of` takes to pixels.
    """
    back = np.linalg.inv(root_of(plate)) @ matrix
    turn, sizes, _ = np.linalg.svd(back)
    return sizes, turn


def root_of(plate: Plate) -> NDArray:
    """The symmetric (2, 2) that takes the unit circle to the plate, pixels: the foreshortening itself."""
    turn, sizes, _ = np.linalg.svd(plate.matrix)
    return turn @ np.diag(sizes) @ turn.T


def _misfit(plate: Plate, *, face: Figure, ratio: float) -> float:
    sizes, _ = as_seen_square_on(face.matrix[:2, :2], plate=plate)
    return math.log(sizes[0] / sizes[1] / ratio)
