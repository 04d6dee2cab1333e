"""The outline, found by itself in rendered photographs of known geometry and in real ones."""

import math
from pathlib import Path

import numpy as np
import pytest

from straightband.errors import BadInput, OutlineNotFound
from straightband.face.shapes import ellipse, round_face
from straightband.photo.load import load_photo
from straightband.photo.outline import find_outline, outline_from_text
from straightband.photo.plane import light_plane
from straightband.photo.rectify import face_to_pixels, map_points, square_on
from straightband.synthetic.campaign import Difficulty, random_scene
from straightband.synthetic.render import render
from straightband.synthetic.truth import truth_of

RINGS = Path(__file__).parents[1] / "truth" / "rings"
FACE = ellipse(minor_mm=90.0)


def plane_of(scene, *, seed):
    """The plane of a rendered photograph, through JPEG."""
    data = render(scene, rng=np.random.default_rng(seed)).encode("jpeg")
    return light_plane(load_photo(data, name="bands.jpg"), wavelength_nm=scene.light.wavelength_nm)


@pytest.mark.parametrize("seed", range(2000, 2008))
@pytest.mark.parametrize("difficulty", [Difficulty.PLAIN, Difficulty.ORDINARY])
def test_the_outline_of_a_rendered_photograph_is_found(seed, difficulty):
    """Every pattern, surround, glare and tilt that is drawn: the outline lies where the scene was projected."""
    scene = random_scene(np.random.default_rng(seed), difficulty=difficulty, megapixels=1.5)
    found, truth = find_outline(plane_of(scene, seed=seed), face=scene.face), truth_of(scene)
    true = truth.outline_px
    limit = max(1.0, 0.015 * true.semi_minor)  # a bevel as dark as the table hides the last hundredth of a face
    if found.corners is not None:
        apart = np.linalg.norm(truth.corners_px[:, None, :] - found.corners[None, :, :], axis=2).min(axis=1)
        assert apart.max() < 2.0 * limit  # a corner moves with both of its sides
        return
    assert [found.cx, found.cy, found.semi_major, found.semi_minor] == pytest.approx(
        [true.cx, true.cy, true.semi_major, true.semi_minor], abs=limit
    )


@pytest.mark.parametrize("name", ["newton_rings_raw_01.jpg", "newton_rings_raw_02.jpg"])
def test_the_round_field_of_a_real_photograph_is_found(name):
    """Real telephone photographs (repository AI-Newton-Rings-Lab, tests/truth/rings): the field is round, about 0.41 of the width."""
    plane = light_plane(load_photo((RINGS / name).read_bytes(), name=name), wavelength_nm=589.3)
    found = find_outline(plane, face=round_face(diameter_mm=20.0))
    assert found.semi_minor / found.semi_major == pytest.approx(1.0, abs=0.02)  # seen by a telephone held by hand
    assert found.semi_major / plane.size_px[0] == pytest.approx(0.41, abs=0.02)  # read off the photograph


def test_a_photograph_without_a_face_is_refused():
    """Even grain has no outline, and none is made up."""
    rng = np.random.default_rng(5)
    scene = random_scene(rng, difficulty=Difficulty.PLAIN, megapixels=1.0)
    plane = plane_of(scene, seed=5)
    from dataclasses import replace

    grain = (0.3 + 0.02 * rng.standard_normal(plane.light.shape)).astype(np.float32)
    with pytest.raises(OutlineNotFound) as refusal:
        find_outline(replace(plane, light=grain), face=FACE)
    assert all((refusal.value.found, refusal.value.needed, refusal.value.remedy))


def test_a_told_outline_is_taken_as_told():
    """Five numbers in pixels; the first half axis lies along the angle, whichever is longer."""
    told = outline_from_text("800,600,300,424.3,10", face=FACE)
    assert told.told
    assert (told.cx, told.cy) == (800.0, 600.0)
    assert told.semi_major == pytest.approx(424.3)
    assert told.angle_deg % 180.0 == pytest.approx(100.0)


@pytest.mark.parametrize("text", ["1,2,3", "a,b,c,d,e", "800,600,-3,4,0", "nan,1,2,3,4", ""])
def test_an_outline_that_is_none_is_refused(text):
    """Anything but five usable numbers."""
    with pytest.raises(BadInput):
        outline_from_text(text, face=FACE)


def test_the_ends_of_the_axes_fall_on_the_outline():
    """+v is the upper end of the major axis, or the one nearer the mark; u x v is right-handed as seen in the upright photograph."""
    told = outline_from_text("800,600,424.3,300,-80", face=FACE)
    for hour, sign in ((None, 1.0), (12.0, 1.0), (6.0, -1.0)):
        matrix = face_to_pixels(told, FACE, mark_hour=hour)
        x, y = map_points(matrix, x=np.array([0.0, 1.0]), y=np.array([1.0, 0.0]))
        along = math.radians(-80.0)
        assert (x[0] - 800.0, y[0] - 600.0) == pytest.approx((sign * 424.3 * math.cos(along), sign * 424.3 * math.sin(along)), abs=1e-6)
        assert (x[1] - 800.0) * (y[0] - 600.0) - (y[1] - 600.0) * (x[0] - 800.0) < 0.0  # rows run down


def test_a_mark_beside_the_minor_axis_names_no_end():
    """Which end is meant can't be told, so it is not guessed."""
    with pytest.raises(BadInput):
        face_to_pixels(outline_from_text("800,600,424.3,300,-90", face=FACE), FACE, mark_hour=3.0)


def test_squaring_on_moves_nothing_by_a_fraction_of_a_pixel():
    """A ramp of light resampled through an outline shifted by 0.013 to 0.49 pixel comes back shifted by as much."""
    scene = random_scene(np.random.default_rng(6), difficulty=Difficulty.PLAIN, megapixels=1.0)
    from dataclasses import replace

    plane = plane_of(scene, seed=6)
    rows, columns = plane.light.shape
    ramp = np.broadcast_to(np.linspace(0.0, 1.0, columns, dtype=np.float32), (rows, columns)).copy()
    flat = replace(plane, light=ramp, clipped=np.zeros((rows, columns), dtype=bool))
    level = []
    for shift in (0.0, 0.013, 0.4, 0.49):
        told = outline_from_text(f"{columns / 2 + shift},{rows / 2},200,{200 / math.sqrt(2.0)},90", face=FACE)
        level.append(float(np.mean(square_on(flat, told, face=FACE, samples_across=128).light[60:120, 40:90])))
    moved = (np.array(level[1:]) - level[0]) * (columns - 1)
    assert moved == pytest.approx([0.013, 0.4, 0.49], abs=1e-3)  # single precision of the ramp
