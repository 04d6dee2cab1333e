"""Whole faces: what survives when plates are not turned, and what turning does to it."""

import math
from dataclasses import replace

import numpy as np
import pytest

from straightband.errors import BadInput
from straightband.face.shapes import rectangle, round_face
from straightband.wear.kinematics import Motion, poses_of
from straightband.wear.surface import flat_surface, looked_up
from straightband.wear.whole import Grit, wear_rates, work

DISC = flat_surface(round_face(diameter_mm=100.0), cells=31)
GRIT = Grit(stiffness_kpa_um=2.0, top_per_pa=1.5e-10, bottom_per_pa=1.5e-10)
# Hardly any stroke and no turning: each place meets one place of the other plate, and all wear alike.
STILL = Motion(spindle_rpm=0.0, top_rpm=0.0, stroke_mm=0.02, strokes_per_min=3e5)
U, V = np.meshgrid(DISC.u_mm / 50.0, DISC.v_mm / 50.0)
TWIST, SADDLE, BOWL = U * V, U**2 - V**2, U**2 + V**2


def _content(surface, shape):
    """How much of a shape is in a face, by least squares with the others and the tilts beside it."""
    keep = surface.areas_mm2 > 0.0
    columns = np.stack([TWIST, SADDLE, BOWL, U, V, np.ones_like(U)], axis=-1)[keep]
    found = np.linalg.lstsq(columns, surface.heights_um[keep], rcond=None)[0]
    return {id(TWIST): found[0], id(SADDLE): found[1], id(BOWL): found[2]}[id(shape)]


def _three_plates(shape, *, turns_deg):
    """Content of a shape in three plates that all began with 4 um of it, after four cycles."""
    plates = [replace(DISC, heights_um=4.0 * shape)] * 3
    turns = iter(turns_deg * 12)
    for top, bottom in ((0, 1), (1, 2), (2, 0)) * 4:
        start = math.radians(next(turns))
        plates[top], plates[bottom] = work(
            plates[top], plates[bottom], motion=STILL, grit=GRIT, force_n=20.0, minutes=4.0, top_starts_rad=start, poses_per_step=2
        )
    return max(abs(_content(plate, shape)) for plate in plates)


def test_a_twist_survives_three_plates_that_are_not_turned():
    """Facing plates see each other mirrored, so a twist fits its own like and stays whole (composition of mirrors, closed form)."""
    assert _three_plates(TWIST, turns_deg=[0.0]) == pytest.approx(4.0, rel=0.03)  # cells at the rim are seen between cells


@pytest.mark.parametrize("shape", [SADDLE, BOWL], ids=["saddle", "bowl"])
def test_shapes_that_a_mirror_leaves_alone_go(shape):
    """A saddle along the axes and a bowl don't survive three plates, turned or not (closed form; 0.354 a cycle for each)."""
    assert _three_plates(shape, turns_deg=[0.0]) < 0.4  # 4 x 0.354^4 = 0.06, and what cells at the rim leave


def test_a_quarter_turn_kills_the_twist():
    """Turning the upper plate by 90 degrees at every other meeting turns the twist into its own opposite, and it goes."""
    assert _three_plates(TWIST, turns_deg=[0.0, 90.0]) < 0.4


def test_a_place_without_cover_does_not_wear():
    """Half of the lower plate without pads: nothing goes there, and the rest carries all of the load."""
    half = replace(DISC, cover=np.where(U > 0.0, 1.0, 0.0))
    motion = Motion(spindle_rpm=0.0, top_rpm=30.0, stroke_mm=2.0, strokes_per_min=40.0)
    square = flat_surface(rectangle(width_mm=20.0, length_mm=20.0), cells=21)
    poses = replace(poses_of(motion, count=16), centre_x_mm=np.full(16, 25.0))
    wear = wear_rates(square, half, poses=poses, grit=replace(GRIT, bottom_per_pa=0.0), force_n=5.0)
    assert not wear.bottom_um_min.any()
    assert wear.top_um_min[10, 10] > 0.0
    with pytest.raises(BadInput, match="load stands outside the contact"):
        wear_rates(square, half, poses=replace(poses, centre_x_mm=np.full(16, -5.0)), grit=GRIT, force_n=5.0)


def test_values_off_the_face_are_not_let_in():
    """Between cells a value near the rim is that of the face, never of what lies beyond it; off the face it is 0."""
    values = np.where(DISC.areas_mm2 > 0.0, 3.0, 1e9)
    angles = np.linspace(0.0, 2.0 * np.pi, 200)
    rim = looked_up(values, DISC, u_mm=49.0 * np.cos(angles), v_mm=49.0 * np.sin(angles))
    assert rim == pytest.approx(3.0)
    assert looked_up(values, DISC, u_mm=np.array([50.1]), v_mm=np.array([0.0])) == pytest.approx(0.0)
