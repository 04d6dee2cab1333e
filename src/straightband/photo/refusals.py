"""Why no outline is given: the face is cut off, has another shape, is overexposed, or shows no bands."""

from __future__ import annotations

import math

import numpy as np

from straightband.errors import OutlineNotFound
from straightband.face.shapes import Face, Shape
from straightband.photo.figure import Figure, magnified
from straightband.photo.plane import Plane
from straightband.photo.search import rivals, textured
from straightband.photo.unrolled import Pyramid

OVEREXPOSED = 0.05  # share of the frame at full scale that makes too much light the likely reason
TOUCHING_PX = 1.0
DARKEST = 0.002  # of full scale: a step or two of 8 bits


def check_inside(figure: Figure, plane: Plane, *, slack_px: float = 0.0) -> None:
    """Raise OutlineNotFound if the figure (in photo pixels) reaches more than `slack_px` beyond the frame."""
    x, y = (np.concatenate([a, b]) for a, b in zip(figure.rim_pixels(720), figure.corners().T if figure.square else ([], []), strict=True))
    width, height = plane.size_px
    beyond = {
        "left": TOUCHING_PX - x.min(),
        "right": x.max() - (width - 1 - TOUCHING_PX),
        "upper": TOUCHING_PX - y.min(),
        "lower": y.max() - (height - 1 - TOUCHING_PX),
    }
    side = max(beyond, key=lambda name: beyond[name])
    if beyond[side] > slack_px:
        raise _cut_off(side, f" ({math.ceil(beyond[side])} px missing)")


def _fills_frame(figure: Figure, pyramid: Pyramid) -> bool:
    """True if a figure reaches beyond two opposite sides of the frame: what is there is no face cut off, but there all over."""
    rows, columns = pyramid.pictures[0].shape
    x, y = figure.rim_pixels(96)
    return (x.min() < 0.0 and x.max() > columns - 1.0) or (y.min() < 0.0 and y.max() > rows - 1.0)


def _cut_off(side: str, missing: str) -> OutlineNotFound:
    return OutlineNotFound(
        found=f"the outline touches the photograph's {side} edge{missing}",
        needed="the whole face must show",
        remedy="step back and take it again",
    )


def wrong_shape(figure: Figure, *, face: Face) -> OutlineNotFound:
    """The refusal of a figure that does not have the face's shape or proportions."""
    expected = face.semi_major_mm / min(face.semi_u_mm, face.semi_v_mm)
    return OutlineNotFound(
        found=f"the outline in the photograph is {_described(square=figure.square, ratio=figure.ratio())}",
        needed=f"the face was said to be {_described(square=face.shape is Shape.RECTANGLE, ratio=expected)}",
        remedy="correct the shape and its sizes, or take the photograph from straight above",
    )


def _described(*, square: bool, ratio: float) -> str:
    if square:
        return f"a rectangle with sides as {ratio:.3f} to 1"
    return f"round (axes as {ratio:.3f} to 1)" if ratio < 1.06 else f"an ellipse with axes as {ratio:.3f} to 1"


def why_none(pyramid: Pyramid, plane: Plane, *, face: Face) -> OutlineNotFound:
    """The likeliest reason that no outline was found."""
    ratio = face.semi_major_mm / min(face.semi_u_mm, face.semi_v_mm)
    others = rivals(pyramid, ratio=ratio, square=face.shape is Shape.RECTANGLE)
    if others:
        return wrong_shape(others[0].figure, face=face)
    if float(plane.clipped.mean()) > OVEREXPOSED:
        return OutlineNotFound(
            found=f"{plane.clipped.mean():.0%} of the photograph is overexposed and no outline of the face shows",
            needed="the bands must keep clear of full white",
            remedy="expose less and take it again",
        )
    if float(np.percentile(plane.light, 99.0)) < DARKEST:
        return OutlineNotFound(
            found="the photograph is black nearly all over",
            needed="the face must show, with bands",
            remedy="switch the lamp on, or expose more, and take it again",
        )
    try:
        for figure in textured(pyramid, square=False)[:1]:
            if not _fills_frame(figure, pyramid):
                check_inside(magnified(figure, plane.scale), plane)
    except OutlineNotFound as cut:
        return cut
    return OutlineNotFound(
        found="no outline of a face with bands in it was found",
        needed="the whole face must show, with bands, in front of a plain surround",
        remedy="clear the surround and take the photograph again, or give the outline",
    )
