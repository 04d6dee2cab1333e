"""Relative velocity against closed forms and against numerical derivatives of the positions themselves."""

import math

import numpy as np
import pytest

from straightband.errors import BadInput
from straightband.wear.kinematics import Motion, Poses, from_bottom, from_top, poses_of, relative_speed_mm_s, to_bottom, to_top


def _pose(*, centre=(0.0, 0.0), velocity=0.0, bottom=0.0, top=0.0, bottom_rad_s=0.0, top_rad_s=0.0):
    return Poses(
        centre_x_mm=np.array([centre[0]]),
        centre_y_mm=np.array([centre[1]]),
        velocity_x_mm_s=np.array([velocity]),
        bottom_rad=np.array([bottom]),
        top_rad=np.array([top]),
        bottom_rad_s=bottom_rad_s,
        top_rad_s=top_rad_s,
    )


def test_plates_that_turn_alike_rub_alike_everywhere():
    """Equal turning rates give one speed, rate times distance of the axes: 60 rpm and 80 mm give 0.50265 m/s (closed form)."""
    rate = 60.0 * 2.0 * math.pi / 60.0
    points = np.random.default_rng(1).uniform(-50.0, 50.0, (2, 1, 40))
    speeds = relative_speed_mm_s(_pose(centre=(80.0, 0.0), bottom_rad_s=rate, top_rad_s=rate), x_mm=80.0 + points[0], y_mm=points[1])
    assert speeds == pytest.approx(502.6548246, rel=1e-9)


def test_mean_speed_on_a_lap_that_alone_turns():
    """Lap at 60 rpm, work still at 80 mm: at 50 mm from the work's centre the mean over a turn is 0.55308 m/s (elliptic integral)."""
    turns = (np.arange(720) + 0.5) * 2.0 * np.pi / 720.0
    x, y = (80.0 + 50.0 * np.cos(turns))[None, :], (50.0 * np.sin(turns))[None, :]
    speeds = relative_speed_mm_s(_pose(centre=(80.0, 0.0), bottom_rad_s=2.0 * math.pi), x_mm=x, y_mm=y)
    assert speeds.mean() == pytest.approx(553.0799407, rel=1e-6)  # smooth and periodic: the mean of 720 points is exact to rounding


def test_speed_is_the_derivative_of_position():
    """A grain fixed to the upper plate moves over the lower one at the speed that differences of its positions give."""
    motion = Motion(spindle_rpm=31.0, top_rpm=-7.0, stroke_mm=40.0, strokes_per_min=23.0, side_mm=12.0)
    bottom, top, stroke = (rate * 2.0 * math.pi / 60.0 for rate in (31.0, -7.0, 23.0))

    def at(seconds):
        return Poses(
            centre_x_mm=np.array([20.0 * math.sin(stroke * seconds)]),
            centre_y_mm=np.array([motion.side_mm]),
            velocity_x_mm_s=np.array([20.0 * stroke * math.cos(stroke * seconds)]),
            bottom_rad=np.array([bottom * seconds]),
            top_rad=np.array([top * seconds]),
            bottom_rad_s=bottom,
            top_rad_s=top,
        )

    grain = {"u_mm": np.array([[13.0]]), "v_mm": np.array([[-27.0]])}
    step = 1e-5
    places = [to_bottom(pose, x_mm=x, y_mm=y) for pose in (at(2.0 - step), at(2.0 + step)) for x, y in [from_top(pose, **grain)]]
    moved = math.hypot(*(float((after - before)[0, 0]) for before, after in zip(*places, strict=True)))
    x, y = from_top(at(2.0), **grain)
    assert relative_speed_mm_s(at(2.0), x_mm=x, y_mm=y)[0, 0] == pytest.approx(moved / (2.0 * step), rel=1e-6)  # central differences


def test_frames_go_there_and_back():
    """A point taken from either plate to the bench and back is where it was; the upper face looks mirrored."""
    poses = poses_of(Motion(spindle_rpm=30.0, top_rpm=5.0, stroke_mm=30.0, strokes_per_min=40.0, side_mm=4.0), count=9)
    u, v = np.array([[3.0, -8.0]]), np.array([[5.0, 1.0]])
    for there, back in ((from_bottom, to_bottom), (from_top, to_top)):
        x, y = there(poses, u_mm=u, v_mm=v)
        assert np.allclose(back(poses, x_mm=x, y_mm=y), (np.broadcast_to(u, (9, 2)), np.broadcast_to(v, (9, 2))))
    assert from_top(_pose(), u_mm=u, v_mm=v) == (pytest.approx(-u), pytest.approx(v))


def test_poses_cover_all_phases_evenly():
    """Means over the poses are those of independent phases: no offset, half the square of the stroke's half, no favoured angle."""
    poses = poses_of(Motion(spindle_rpm=30.0, top_rpm=5.0, stroke_mm=20.0, strokes_per_min=40.0), count=4096)
    assert poses.centre_x_mm.mean() == pytest.approx(0.0, abs=0.02)  # the even sequence errs as log(n)^3 / n
    assert np.mean(poses.centre_x_mm**2) == pytest.approx(50.0, rel=0.005)
    for angle in (poses.bottom_rad, poses.top_rad, poses.top_rad - poses.bottom_rad):
        assert abs(np.mean(np.exp(1j * angle))) < 0.005
    assert np.mean(poses.centre_x_mm * np.cos(poses.bottom_rad)) == pytest.approx(0.0, abs=0.05)


def test_a_plate_that_does_not_turn_keeps_its_angle():
    """Without turning the lower plate stays at 0 and the upper where it was put; the next poses go on where the first ended."""
    motion = Motion(spindle_rpm=0.0, top_rpm=0.0, stroke_mm=20.0, strokes_per_min=40.0)
    poses = poses_of(motion, count=8, top_starts_rad=1.5)
    assert not poses.bottom_rad.any()
    assert set(poses.top_rad) == {1.5}
    later = poses_of(motion, count=4, first=4)
    assert later.centre_x_mm == pytest.approx(poses.centre_x_mm[4:])


def test_a_stroke_below_nothing_is_refused():
    """A negative stroke is refused with a sentence."""
    with pytest.raises(
        BadInput, match=r"^a stroke of -1 mm at 40 per minute was asked for; numbers of zero or more are needed; correct the stroke\.$"
    ):
        Motion(spindle_rpm=0.0, top_rpm=0.0, stroke_mm=-1.0, strokes_per_min=40.0)
