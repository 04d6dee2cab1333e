"""How far off normal the camera stood: exact where a circle tells, a distribution where an ellipse does not."""

import math

import numpy as np
import pytest

from straightband.face.shapes import Shape, ellipse, rectangle, round_face
from straightband.photo.foreshortening import LARGEST_TILT_DEG, foreshortening
from straightband.photo.outline import Outline

DIAGONAL = ellipse(minor_mm=90.0)


def seen(face, *, tilt_deg=0.0, azimuth_deg=0.0, standard_px=0.05, noise_px=(0.0, 0.0)):
    """The outline of a face from far away and its turn within it: the foreshortened ellipse by its singular values."""
    azimuth = math.radians(azimuth_deg)
    side = np.array([math.cos(azimuth), math.sin(azimuth)])
    shorten = np.eye(2) - (1.0 - math.cos(math.radians(tilt_deg))) * np.outer(side, side)
    left, sizes, right = np.linalg.svd(shorten @ np.diag([face.semi_u_mm, face.semi_v_mm]))
    # The major axis of the outline is taken as +v; the point of the face that really lies there is a turn away.
    turn = math.atan2(right[0, 0], right[0, 1])
    turn = (turn + math.pi / 2.0) % math.pi - math.pi / 2.0
    outline = Outline(
        shape=face.shape,
        cx=0.0,
        cy=0.0,
        semi_major=10.0 * sizes[0] + noise_px[0],
        semi_minor=10.0 * sizes[1] + noise_px[1],
        angle_deg=math.degrees(math.atan2(-left[1, 0], left[0, 0])),
        corners=None,
        standard_px=standard_px,
        support=1.0,
        flags=(),
        told=False,
    )
    return outline, turn


@pytest.mark.parametrize("tilt_deg", [4.0, 7.3, 10.0, 14.0])
@pytest.mark.parametrize("azimuth_deg", [0.0, 33.0, 90.0])
def test_a_circle_tells_its_tilt_exactly(tilt_deg, azimuth_deg):
    """A circle off normal is an ellipse of ratio cos(tilt) whichever way it leans: height per band is 1 / cos(tilt) larger."""
    outline, _ = seen(round_face(diameter_mm=100.0), tilt_deg=tilt_deg, azimuth_deg=azimuth_deg)
    view = foreshortening(outline, round_face(diameter_mm=100.0))
    assert view.height_scale == pytest.approx(1.0 / math.cos(math.radians(tilt_deg)), abs=4e-4)  # tilts are tried every sixth of a degree
    assert view.height_scale_standard < 5e-4  # the same
    assert math.degrees(view.tilt_rad) == pytest.approx(tilt_deg, abs=0.2)  # the same
    assert view.turn_standard_rad == 0.0


def test_a_circle_seen_round_was_seen_square_on():
    """No shortening: the height per band is that of a square-on view to what the outline can tell."""
    outline, _ = seen(round_face(diameter_mm=100.0))
    view = foreshortening(outline, round_face(diameter_mm=100.0))
    assert view.height_scale == pytest.approx(1.0, abs=4e-4)  # a ratio of 1 +- 2e-4 leaves tilts up to a degree


def test_a_coarse_outline_leaves_the_tilt_of_a_circle_open():
    """With axes placed to two pixels in 500 the tilt is unsure, and the uncertainty of the scale says so."""
    face = round_face(diameter_mm=100.0)
    sharp = foreshortening(seen(face, tilt_deg=6.0)[0], face)
    coarse = foreshortening(seen(face, tilt_deg=6.0, standard_px=2.0)[0], face)
    assert coarse.height_scale_standard > 5.0 * sharp.height_scale_standard
    assert abs(coarse.height_scale - 1.0 / math.cos(math.radians(6.0))) < 2.0 * coarse.height_scale_standard


def test_on_an_ellipse_the_truth_lies_within_what_is_left_open():
    """Over 400 views, tilt and direction drawn evenly, scale and turn lie within 1.96 standard uncertainties in 92 to 100 %."""
    rng = np.random.default_rng(12)
    scale_held = turn_held = 0
    for tilt_deg, azimuth_deg, *noise in np.column_stack(
        [rng.uniform(0.0, LARGEST_TILT_DEG, 400), rng.uniform(0.0, 180.0, 400), 0.1 * rng.standard_normal((400, 2))]
    ):
        outline, turn = seen(DIAGONAL, tilt_deg=tilt_deg, azimuth_deg=azimuth_deg, standard_px=0.1, noise_px=noise)
        view = foreshortening(outline, DIAGONAL)
        scale = 1.0 / math.cos(math.radians(tilt_deg))
        scale_held += abs(view.height_scale - scale) <= 1.96 * view.height_scale_standard + 2e-4  # tilts are tried every sixth of a degree
        turn_held += abs(turn) <= 1.96 * view.turn_standard_rad + 1e-4  # the same
    assert scale_held / 400 >= 0.92  # a binomial of 95 % falls to 92 % at 2.8 standard errors
    assert turn_held / 400 >= 0.92  # the same


def test_an_ellipse_of_its_own_proportions_may_still_have_been_seen_obliquely():
    """A tilt at 45 degrees to the axes leaves the ratio alone, so a true ratio doesn't prove a square-on view."""
    view = foreshortening(seen(DIAGONAL)[0], DIAGONAL)
    assert view.height_scale_standard > 0.002  # a tilt of 5 degrees is 0.004
    assert view.turn_standard_rad > 0.003


def test_an_ellipse_shortened_along_an_axis_was_tilted_at_least_that_far():
    """A minor axis 1.5 % short needs ten degrees; the largest tilt allowed bounds it from above."""
    view = foreshortening(seen(DIAGONAL, tilt_deg=10.0, azimuth_deg=0.0)[0], DIAGONAL)
    assert 1.0 / math.cos(math.radians(9.9)) < view.height_scale < 1.0 / math.cos(math.radians(LARGEST_TILT_DEG))


def test_a_rectangle_shows_its_turn():
    """The corners of a rectangle tell how it lies, so no turn is left open."""
    face = rectangle(width_mm=60.0, length_mm=90.0)
    assert face.shape is Shape.RECTANGLE
    assert foreshortening(seen(face, tilt_deg=5.0, azimuth_deg=45.0)[0], face).turn_standard_rad == 0.0


@pytest.mark.parametrize("factor", [0.8, 1.5])
def test_an_outline_that_no_tilt_explains_gets_the_nearest_one(factor):
    """A ratio off by far more than 15 degrees can do gives a finite answer within the range of tilts."""
    outline, _ = seen(ellipse(minor_mm=90.0, major_mm=90.0 * math.sqrt(2.0) * factor), tilt_deg=0.0)
    view = foreshortening(outline, DIAGONAL)
    assert 1.0 <= view.height_scale <= 1.0 / math.cos(math.radians(LARGEST_TILT_DEG)) + 1e-9  # rounding
    assert math.degrees(view.tilt_rad) == pytest.approx(LARGEST_TILT_DEG, abs=0.5)  # the grid of directions
