"""Where the face lies in the photograph."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from straightband.errors import BadInput
from straightband.face.shapes import Face, Shape
from straightband.photo.another import shows_another
from straightband.photo.bevel import within_bevel
from straightband.photo.figure import Figure, magnified
from straightband.photo.plane import Plane
from straightband.photo.plate import NEARLY_ROUND, Plate, plate_around
from straightband.photo.refine import Refined, refined
from straightband.photo.refusals import check_inside, why_none, wrong_shape
from straightband.photo.search import beats, is_plain, rivals, searched
from straightband.photo.unrolled import pyramid_of

ANOTHER = "another-face-in-the-photograph"
FEWEST_COVERAGE = 0.5  # of the outline with a sharp edge along it
FAINT_SUPPORT = 0.6
ROUGH_SHARE = 0.01  # of the shorter half axis: what the outline may be off before it is placed finely
WIDEST_RATIO = 0.055  # in the logarithm: 0.035 for a view 15 degrees off normal, the rest for perspective and distortion
TYPED_STANDARD_PX = 1.0  # what an eye on a screen can place: common practice, no source
TYPED_RATIO_MARGIN = 0.08  # a view 15 degrees off normal shortens one axis by 3.4 %; the rest is the eye's


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """The outline of the face, in pixels of the upright full-size photograph (centres of pixels at whole numbers).

    Attributes
    ----------
    shape
        Ellipse, round or rectangle.
    cx, cy
        Centre, column and row.
    semi_major, semi_minor
        Half axes; of a rectangle half the mean length of opposite sides.
    angle_deg
        Direction of the longer axis from +x (right) toward +y (down), in (-90, 90].
    corners
        (4, 2) corners of a rectangle, going round; None for the other shapes.
    standard_px
        Standard uncertainty of the centre and the half axes.
    support
        Share of the perimeter where an edge was seen; 1 if told.
    flags
        Short names of doubts.
    told
        True if a person gave the outline.
    plate
        The rim of the larger flat around an elliptical face, if it was seen; not looked for where the face is nearly round.
    bevel_share
        How far inside the outline the bands end, relative to the shorter half axis; 0 where that was not seen.
    """

    shape: Shape
    cx: float
    cy: float
    semi_major: float
    semi_minor: float
    angle_deg: float
    corners: NDArray | None
    standard_px: float
    support: float
    flags: tuple[str, ...]
    told: bool
    plate: Plate | None = None
    bevel_share: float = 0.0


def find_outline(plane: Plane, *, face: Face) -> Outline:
    """The outline of the face in the photograph; raises OutlineNotFound rather than guess."""
    pyramid = pyramid_of(plane.light)
    ratio, square = face.semi_major_mm / min(face.semi_u_mm, face.semi_v_mm), face.shape is Shape.RECTANGLE
    found = searched(pyramid, ratio=ratio, square=square)
    if found is None or found[0].curve.coverage < FEWEST_COVERAGE:
        raise why_none(pyramid, plane, face=face)
    seen, bevel = found
    if not is_plain(seen):
        for rival in rivals(pyramid, ratio=ratio, square=square):
            if beats(rival, seen, pyramid=pyramid):
                raise wrong_shape(rival.figure, face=face)
    rough = magnified(seen.figure, plane.scale)
    check_inside(rough, plane, slack_px=ROUGH_SHARE * rough.axes()[1])
    best, bevel_share = within_bevel(pyramid, refined(pyramid, seen.figure, bevel=bevel))
    figure = magnified(best.figure, plane.scale)
    if abs(math.log(figure.ratio() / ratio)) > WIDEST_RATIO:
        raise wrong_shape(figure, face=face)
    check_inside(figure, plane)
    hides_view = face.shape is Shape.ELLIPSE and ratio * NEARLY_ROUND > 1.0
    plate = plate_around(pyramid, best.figure, ratio=ratio) if hides_view else None
    outline = _outline(figure, face=face, best=best, scale=plane.scale, support=seen.curve.coverage)
    another = (ANOTHER,) if shows_another(pyramid, seen, ratio=ratio, square=square) else ()
    return replace(
        outline,
        flags=(*outline.flags, *another),
        plate=None if plate is None else plate.magnified(plane.scale),
        bevel_share=bevel_share,
    )


def _outline(figure: Figure, *, face: Face, best: Refined, scale: float, support: float) -> Outline:
    doubts = {"outline-faint": support < FAINT_SUPPORT, "outline-between-two-edges": best.doubtful}
    major, minor, angle = figure.axes()
    cx, cy = figure.centre()
    return Outline(
        shape=face.shape,
        cx=cx,
        cy=cy,
        semi_major=major,
        semi_minor=minor,
        angle_deg=fold_angle_deg(math.degrees(angle)),
        corners=figure.corners() if figure.square else None,
        standard_px=best.standard_px * scale,
        support=support,
        flags=tuple(name for name, holds in doubts.items() if holds),
        told=False,
    )


def fold_angle_deg(angle_deg: float) -> float:
    """The direction of an axis brought into (-90, 90]."""
    folded = (angle_deg + 90.0) % 180.0 - 90.0
    return 90.0 if folded == -90.0 else folded


def outline_from_text(text: str, *, face: Face) -> Outline:
    """The outline a person typed as `cx,cy,semi1,semi2,angle_deg`; semi1 lies along the angle and may be the shorter one.

    Raises BadInput if that is not five sensible numbers or does not have the face's proportions.
    """
    numbers = _five_numbers(text)
    cx, cy, semi1, semi2, angle = numbers
    angle += 90.0 if semi1 < semi2 else 0.0
    major, minor = max(semi1, semi2), min(semi1, semi2)
    expected = face.semi_major_mm / min(face.semi_u_mm, face.semi_v_mm)
    if abs(math.log(major / minor / expected)) > TYPED_RATIO_MARGIN:
        raise BadInput(
            found=f"the outline's axes are as {major / minor:.3f} to 1",
            needed=f"the face's are as {expected:.3f} to 1",
            remedy="check the shape and size of the face, or the outline",
        )
    folded = fold_angle_deg(angle)
    return Outline(
        shape=face.shape,
        cx=cx,
        cy=cy,
        semi_major=major,
        semi_minor=minor,
        angle_deg=folded,
        corners=_corners(numbers=(cx, cy, major, minor, folded)) if face.shape is Shape.RECTANGLE else None,
        standard_px=TYPED_STANDARD_PX,
        support=1.0,
        flags=("outline-told",),
        told=True,
    )


def _five_numbers(text: str) -> tuple[float, float, float, float, float]:
    try:
        cx, cy, semi1, semi2, angle = (float(part) for part in text.split(","))
    except ValueError:
        raise _not_an_outline(text) from None
    if not all(math.isfinite(n) and abs(n) < 1e5 for n in (cx, cy, semi1, semi2, angle)) or min(semi1, semi2) < 1.0:
        raise _not_an_outline(text)
    return cx, cy, semi1, semi2, angle


def _not_an_outline(text: str) -> BadInput:
    return BadInput(
        found=f"the outline is given as '{text}'",
        needed="five numbers with commas are needed: centre column, centre row, two half axes in pixels, angle in degrees",
        remedy="write for instance 2016,1512,900,640,30",
    )


def _corners(*, numbers: tuple[float, float, float, float, float]) -> NDArray:
    cx, cy, major, minor, angle = numbers
    c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    signs = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    return np.array([cx, cy]) + signs * [major, minor] @ np.array([[c, s], [-s, c]])
