"""The rim of a larger flat around an elliptical face shows the view that the face's own outline hides: closed form, then drawn photographs."""

import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from benchmarks.photographs import photograph, seen_mark_hour
from straightband.face.shapes import Shape, ellipse
from straightband.photo.foreshortening import foreshortening
from straightband.photo.load import load_photo
from straightband.photo.outline import Outline, find_outline
from straightband.photo.plane import light_plane
from straightband.photo.plate import Plate
from straightband.photo.rectify import face_to_pixels
from straightband.synthetic.campaign import Difficulty
from straightband.synthetic.projection import apply_homography

FACE = ellipse(minor_mm=90.0)
PX_PER_MM, PLATE_MM = 8.0, 110.0


def shortened(*, tilt_deg, azimuth_deg):
    """The plane of the face from far away, (2, 2) pixels per millimetre: shorter by the cosine along one direction."""
    azimuth = math.radians(azimuth_deg)
    side = np.array([math.cos(azimuth), math.sin(azimuth)])
    return PX_PER_MM * (np.eye(2) - (1.0 - math.cos(math.radians(tilt_deg))) * np.outer(side, side))


def seen(view):
    """The outline of a face that stands upright, with the rim of a larger flat around it, turned by an angle that no circle shows."""
    turn, sizes, _ = np.linalg.svd(view @ np.diag([FACE.semi_u_mm, FACE.semi_v_mm]))
    any_turn = np.array([[math.cos(0.7), -math.sin(0.7)], [math.sin(0.7), math.cos(0.7)]])
    return Outline(
        shape=Shape.ELLIPSE,
        cx=0.0,
        cy=0.0,
        semi_major=float(sizes[0]),
        semi_minor=float(sizes[1]),
        angle_deg=math.degrees(math.atan2(turn[1, 0], turn[0, 0])),
        corners=None,
        standard_px=0.05,
        support=1.0,
        flags=(),
        told=False,
        plate=Plate(matrix=PLATE_MM * view @ any_turn, standard_px=0.05),
    )


@pytest.mark.parametrize("tilt_deg", [0.0, 5.0, 14.0])
@pytest.mark.parametrize("azimuth_deg", [0.0, 40.0, 90.0, 130.0])
def test_every_point_of_the_face_is_found_where_it_lies(tilt_deg, azimuth_deg):
    """The view is a known matrix: with the circle the map from face to picture is that matrix; without it points are off by pixels."""
    view = shortened(tilt_deg=tilt_deg, azimuth_deg=azimuth_deg)
    outline = seen(view)
    true = view @ np.array([[1.0, 0.0], [0.0, -1.0]]) @ np.diag([FACE.semi_u_mm, FACE.semi_v_mm])  # rows of a picture run down
    assert face_to_pixels(outline, FACE)[:2, :2] == pytest.approx(true, abs=1e-6 * PX_PER_MM * FACE.semi_v_mm)
    if tilt_deg == 14.0 and azimuth_deg in (40.0, 130.0):
        alone = face_to_pixels(replace(outline, plate=None), FACE)[:2, :2]
        assert np.abs(alone - true).max() > 5.0


@pytest.mark.parametrize("azimuth_deg", [10.0, 45.0])
def test_the_height_per_band_is_that_of_the_view(azimuth_deg):
    """1 / cos(tilt), with a small uncertainty, where the outline alone leaves a wide one."""
    outline = seen(shortened(tilt_deg=12.0, azimuth_deg=azimuth_deg))
    view, alone = foreshortening(outline, FACE), foreshortening(replace(outline, plate=None), FACE)
    assert view.height_scale == pytest.approx(1.0 / math.cos(math.radians(12.0)), abs=1e-3)
    assert view.height_scale_standard < 0.6 * alone.height_scale_standard
    assert view.turn_standard_rad < 0.3 * alone.turn_standard_rad


@pytest.mark.parametrize(("difficulty", "seed"), [(Difficulty.HARD, 848), (Difficulty.HARD, 853)])
def test_the_rim_is_found_in_drawn_photographs(difficulty, seed):
    """Ten degrees off normal, the rim of the second partly outside the frame: the face's own axis within a twentieth of a degree."""
    shot = photograph(seed, difficulty=difficulty)
    plane = light_plane(load_photo(shot.rendered.encode(), name="bands.jpg"), wavelength_nm=shot.scene.light.wavelength_nm)
    outline = find_outline(plane, face=shot.scene.face)
    found = face_to_pixels(outline, shot.scene.face, mark_hour=seen_mark_hour(shot.rendered.truth))
    columns, rows = apply_homography(shot.rendered.truth.homography, x=np.zeros(2), y=np.array([-1.0, 1.0]))
    across, along = np.linalg.solve(found[:2, :2], [columns[1] - columns[0], rows[1] - rows[0]])
    assert math.degrees(math.atan2(across, along)) == pytest.approx(0.0, abs=0.05)
    view = foreshortening(outline, shot.scene.face)
    assert math.degrees(view.tilt_rad) == pytest.approx(shot.scene.view.tilt_deg, abs=0.5)


def test_no_circle_is_seen_where_there_is_none():
    """A face on a plain table has no plate."""
    shot = next(
        each
        for each in (photograph(seed, difficulty=Difficulty.PLAIN, near=Shape.ELLIPSE) for seed in range(30))
        if each.scene.surround.plate is None
    )
    plane = light_plane(load_photo(shot.rendered.encode(), name="bands.jpg"), wavelength_nm=shot.scene.light.wavelength_nm)
    assert find_outline(plane, face=shot.scene.face).plate is None


@pytest.mark.parametrize("longer", [1.0, 1.02])
def test_a_nearly_round_ellipse_asks_no_circle(longer):
    """Its axes can't be told by its outline, so no circle can turn them; a round face of the campaign on a flat, told as an ellipse."""
    shots = (photograph(seed, difficulty=Difficulty.PLAIN, near=Shape.ROUND) for seed in range(40))
    shot = next(each for each in shots if each.scene.surround.plate is not None)
    size_mm = 2.0 * shot.scene.face.semi_u_mm
    face = ellipse(minor_mm=size_mm, major_mm=longer * size_mm)
    plane = light_plane(load_photo(shot.rendered.encode(), name="bands.jpg"), wavelength_nm=shot.scene.light.wavelength_nm)
    outline = find_outline(plane, face=face)
    assert outline.plate is None
    assert foreshortening(outline, face).turn_standard_rad == 0.0
