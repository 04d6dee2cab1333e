import math

import numpy as np
import pytest

from straightband.face.shapes import ellipse, rectangle, round_face
from straightband.synthetic.projection import picture_direction, projection_of
from straightband.synthetic.scene import Scene, View
from straightband.synthetic.surfaces import Surface
from straightband.synthetic.truth import ellipse_of_conic, mark_hour, outline_of, outline_points, thicker_hour, truth_of

FACE = ellipse(minor_mm=90.0)
SQUARE_ON = View(width_px=800, height_px=600, scale_px_per_mm=4.0, centre_x_px=410.0, centre_y_px=290.0)
SLANTED = View(
    width_px=1600,
    height_px=1200,
    scale_px_per_mm=7.0,
    centre_x_px=780.0,
    centre_y_px=620.0,
    rotation_deg=35.0,
    tilt_deg=14.0,
    tilt_azimuth_deg=-130.0,
    camera_distance_mm=600.0,
    mirrored=1,
)


def _pinhole(view, u, v):
    """Ray by ray: turn the piece in space about its centre, project, as a check that shares nothing with the homography."""
    u = -u if view.mirrored % 2 else u
    turn, tilt, azimuth = (math.radians(a) for a in (view.rotation_deg, view.tilt_deg, view.tilt_azimuth_deg))
    point = np.array([u * math.cos(turn) - v * math.sin(turn), u * math.sin(turn) + v * math.cos(turn), 0.0])
    camera = view.camera_distance_mm * np.array([math.sin(tilt) * math.cos(azimuth), math.sin(tilt) * math.sin(azimuth), math.cos(tilt)])
    # Camera axes: the picture's right and up axes carried along the arc that takes the normal into the line of sight.
    axis = np.array([-math.sin(azimuth), math.cos(azimuth), 0.0])
    cross = np.array([[0.0, -axis[2], axis[1]], [axis[2], 0.0, -axis[0]], [-axis[1], axis[0], 0.0]])
    carry = np.eye(3) + math.sin(tilt) * cross + (1.0 - math.cos(tilt)) * cross @ cross
    right, up, toward = carry.T
    offset = point - camera
    depth = -offset @ toward
    gain = view.scale_px_per_mm * view.camera_distance_mm / depth
    cosine = camera[2] / np.linalg.norm(offset)
    return view.centre_x_px + gain * (offset @ right), view.centre_y_px - gain * (offset @ up), cosine


def test_square_on_the_frame_of_the_face_lies_u_right_and_v_up():
    """Without turn or tilt u grows to the right and v upward, at the scale given: closed form."""
    x, y = projection_of(SQUARE_ON, face=FACE).to_pixels(np.array([0.0, 10.0, 0.0]), np.array([0.0, 0.0, 10.0]))
    assert x == pytest.approx([410.0, 450.0, 410.0], abs=1e-9)  # rounding
    assert y == pytest.approx([290.0, 290.0, 250.0], abs=1e-9)  # rounding


def test_one_reflection_puts_u_on_the_left_and_two_put_it_back():
    """An odd number of reversals flips the picture left to right, an even number does not."""
    for mirrored, expected in ((0, 450.0), (1, 370.0), (2, 450.0)):
        view = View(width_px=800, height_px=600, scale_px_per_mm=4.0, centre_x_px=410.0, centre_y_px=290.0, mirrored=mirrored)
        x, _ = projection_of(view, face=FACE).to_pixels(np.array(10.0), np.array(0.0))
        assert x == pytest.approx(expected, abs=1e-9)  # rounding


@pytest.mark.parametrize("view", [SLANTED, View(camera_distance_mm=400.0, tilt_deg=9.0, tilt_azimuth_deg=70.0)])
def test_homography_agrees_with_rays_traced_in_space(view):
    """Pixels and angles of incidence agree with a pinhole camera worked out point by point in space: independent implementation."""
    projection = projection_of(view, face=FACE)
    for u, v in ((0.0, 0.0), (30.0, 10.0), (-45.0, 0.0), (12.0, -60.0)):
        x, y, cosine = _pinhole(view, u, v)
        found_x, found_y = projection.to_pixels(np.array(u), np.array(v))
        assert (found_x, found_y) == (pytest.approx(x, abs=1e-8), pytest.approx(y, abs=1e-8))  # rounding
        assert projection.cos_incidence(np.array(u), np.array(v)) == pytest.approx(cosine, abs=1e-12)  # rounding


@pytest.mark.parametrize("distortion", [0.0, 2.0, -2.0])
def test_pixels_go_back_to_the_points_they_came_from(distortion):
    """Face to pixel to face is the identity, lens distortion included."""
    view = View(tilt_deg=10.0, camera_distance_mm=500.0, distortion_percent=distortion)
    projection = projection_of(view, face=FACE)
    u, v = np.array([0.0, 40.0, -20.0]), np.array([0.0, 10.0, -60.0])
    assert np.stack(projection.to_face(*projection.to_pixels(u, v))) == pytest.approx(np.stack([u, v]), abs=1e-9)  # rounding


def test_barrel_distortion_draws_the_corner_in_by_its_share():
    """With 2 % at the corner, the pixel of the corner shows what belongs 1.02 times as far out: the definition."""
    view = View(width_px=801, height_px=601, scale_px_per_mm=1.0, centre_x_px=400.0, centre_y_px=300.0, distortion_percent=2.0)
    u, v = projection_of(view, face=FACE).to_face(np.array(800.0), np.array(0.0))
    assert (float(u), float(v)) == (pytest.approx(1.02 * 400.0), pytest.approx(1.02 * 300.0))


def test_far_camera_foreshortens_a_round_face_by_the_cosine_of_the_tilt():
    """A circle seen by parallel rays is an ellipse with the ratio cos(tilt), its long axis across the tilt: closed form."""
    view = View(scale_px_per_mm=5.0, tilt_deg=12.0, tilt_azimuth_deg=30.0)
    outline = outline_of(projection_of(view, face=round_face(diameter_mm=100.0)))
    assert outline.semi_major == pytest.approx(250.0, rel=1e-12)  # rounding
    assert outline.semi_minor == pytest.approx(250.0 * math.cos(math.radians(12.0)), rel=1e-12)  # rounding
    # Across 30 degrees counter-clockwise is 120 degrees; with y down that is -120, which is 60 as an axis.
    assert outline.angle_deg == pytest.approx(60.0, abs=1e-9)  # rounding


def test_outline_ellipse_passes_through_the_projected_rim():
    """Points of the rim, projected one by one, lie on the ellipse reported, perspective included."""
    projection = projection_of(SLANTED, face=FACE)
    outline = outline_of(projection)
    x, y = outline_points(projection, count=50)
    turn = math.radians(outline.angle_deg)
    along = (x - outline.cx) * math.cos(turn) + (y - outline.cy) * math.sin(turn)
    across = (y - outline.cy) * math.cos(turn) - (x - outline.cx) * math.sin(turn)
    assert np.hypot(along / outline.semi_major, across / outline.semi_minor) == pytest.approx(np.ones(50), abs=1e-9)  # rounding


def test_outline_of_a_distorted_picture_is_the_closest_ellipse():
    """Under 1 % barrel distortion the ellipse reported stays within a fifth of a pixel of the rim and is smaller than without."""
    plain = outline_of(projection_of(View(), face=FACE))
    view = View(distortion_percent=1.0)
    projection = projection_of(view, face=FACE)
    outline = outline_of(projection)
    x, y = outline_points(projection, count=90)
    radius = np.hypot((x - outline.cx) / outline.semi_minor, (y - outline.cy) / outline.semi_major)
    assert outline.semi_major < plain.semi_major
    assert np.abs(radius - 1.0).max() * outline.semi_major < 0.2  # the bend left over is a few parts in 10^4 of the radius


def test_conic_gives_back_the_ellipse_it_was_made_from():
    """The conic of the ellipse with semi-axes 5 and 3 about (7, -2) gives these numbers back: closed form."""
    a, b, turn = 5.0, 3.0, math.radians(25.0)
    rotation = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    shape = rotation @ np.diag([1.0 / a**2, 1.0 / b**2]) @ rotation.T
    centre = np.array([7.0, -2.0])
    conic = np.block([[shape, (-shape @ centre)[:, None]], [(-shape @ centre)[None, :], np.array([[centre @ shape @ centre - 1.0]])]])
    found = ellipse_of_conic(-3.0 * conic)
    assert [found.cx, found.cy, found.semi_major, found.semi_minor, found.angle_deg] == pytest.approx(
        [7.0, -2.0, 5.0, 3.0, 25.0], abs=1e-9
    )  # rounding


def test_truth_of_a_rectangle_gives_its_corners():
    """Corners of a rectangle seen square on lie half its sides from its centre, in the order named: closed form."""
    scene = Scene(surface=Surface(face=rectangle(width_mm=40.0, length_mm=60.0)), view=SQUARE_ON)
    expected = [[330.0, 410.0], [490.0, 410.0], [490.0, 170.0], [330.0, 170.0]]
    assert truth_of(scene).corners_px == pytest.approx(np.array(expected), abs=1e-9)  # rounding


@pytest.mark.parametrize(
    ("rotation", "mirrored", "mark", "thicker"), [(0.0, 0, 0.0, 3.0), (-90.0, 0, 3.0, 6.0), (0.0, 1, 0.0, 9.0), (90.0, 1, 9.0, 6.0)]
)
def test_clock_hours_follow_the_turn_of_the_piece(rotation, mirrored, mark, thicker):
    """The mark follows +v and the open side of a wedge along +u follows +u round the clock: worked out by hand."""
    view = View(rotation_deg=rotation, mirrored=mirrored)
    scene = Scene(surface=Surface(face=FACE), bands_u=5.0, bands_v=0.0, view=view)
    assert (mark_hour(scene) - mark + 6.0) % 12.0 == pytest.approx(6.0, abs=1e-9)  # rounding
    assert (thicker_hour(scene) - thicker + 6.0) % 12.0 == pytest.approx(6.0, abs=1e-9)  # rounding
    assert picture_direction(view, u=0.0, v=1.0)[1] == pytest.approx(math.cos(math.radians(rotation)), abs=1e-12)  # rounding
