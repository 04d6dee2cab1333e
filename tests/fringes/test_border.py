"""The border of a frosted back: drawn borders are found where they were drawn, and none where there is none."""

import math

import numpy as np
import pytest

from straightband.fringes.border import SOFTNESS_PIXELS, Border, find_border

SIDE = 200


@pytest.fixture
def pixels():
    """Coordinates from the middle of a round face, and the cosine of nine bands across it."""
    y, x = np.indices((SIDE, SIDE)) - (SIDE - 1) / 2.0
    inside = np.hypot(x, y) < SIDE / 2.0
    x, y = x[inside], y[inside]
    return x, y, np.cos(2.0 * np.pi * (4.5 * x + 1.0 * y) / 100.0)


def noise(size, seed=0):
    return np.random.default_rng(seed).standard_normal(size)


def beyond(x, y, *, angle, offset):
    return x * math.cos(angle) + y * math.sin(angle) > offset


def turned_half(angle, offset):
    """The same line with its angle in 0 .. pi."""
    return (angle, offset) if 0.0 <= angle < math.pi else ((angle + math.pi) % (2.0 * math.pi), -offset)


def test_the_step_of_a_border_is_a_soft_step_and_its_slopes():
    """0.5 on the line, tanh across it, and the step times x and y in units of the largest coordinate."""
    border = Border(angle_rad=0.5, offset_px=7.0)
    x, y = np.array([7.0 * math.cos(0.5), 60.0, -60.0]), np.array([7.0 * math.sin(0.5), 40.0, -40.0])
    step, along_x, along_y = border.step(x, y)
    across = 60.0 * math.cos(0.5) + 40.0 * math.sin(0.5) - 7.0
    assert step == pytest.approx([0.5, 0.5 + 0.5 * math.tanh(across / SOFTNESS_PIXELS), 0.0], abs=1e-9)  # rounding
    assert along_x == pytest.approx(step * x / 60.0, abs=1e-12)  # rounding
    assert along_y == pytest.approx(step * y / 60.0, abs=1e-12)  # rounding


@pytest.mark.parametrize(("angle_deg", "offset"), [(0.0, 20.0), (37.0, -33.0), (90.0, 5.0), (141.0, 51.0), (-60.0, 12.0)])
@pytest.mark.parametrize("what", ["light", "contrast"])
def test_a_drawn_border_is_found_where_it_was_drawn(pixels, angle_deg, offset, what):
    """A jump of the light, or of the contrast of the bands, a third of the noise high tells the line to 3 degrees and 2 pixels."""
    x, y, cosine = pixels
    angle = math.radians(angle_deg)
    # What a smooth field leaves of a step: up before the border, down behind it, fading within some 30 pixels.
    across = x * math.cos(angle) + y * math.sin(angle) - offset
    jump = np.where(across > 0.0, 1.0, -1.0) * np.exp(-np.abs(across) / 30.0)
    residual = noise(x.size) + 0.6 * jump * (1.0 if what == "light" else 1.6 * cosine)
    border = find_border(residual, cosine, weight=np.ones(x.size), x_px=x, y_px=y, least=0.1)
    assert border is not None
    wanted_angle, wanted_offset = turned_half(angle, offset)
    away = (border.angle_rad - wanted_angle + math.pi / 2.0) % math.pi - math.pi / 2.0
    assert abs(math.degrees(away)) <= 3.0  # directions are tried every 3 degrees: half a step, and one more for noise
    same_way = math.cos(border.angle_rad - wanted_angle) > 0.0
    assert (border.offset_px if same_way else -border.offset_px) == pytest.approx(wanted_offset, abs=2.5)  # whole pixels, and the turn


def test_plain_noise_has_no_border(pixels):
    """Three draws of noise alone show no border: twelve standard errors over all lines tried is never reached by chance."""
    x, y, cosine = pixels
    for seed in range(3):
        assert find_border(noise(x.size, seed), cosine, weight=np.ones(x.size), x_px=x, y_px=y, least=0.1) is None


def test_dust_does_not_pose_as_a_border(pixels):
    """Sixty specks of a hundred sigma strewn over the face, clipped, make no border."""
    x, y, cosine = pixels
    residual = noise(x.size)
    for left, up in np.random.default_rng(8).uniform(-70.0, 70.0, (60, 2)):
        residual[(np.abs(x - left) < 1.0) & (np.abs(y - up) < 1.0)] = 100.0
    assert find_border(residual, cosine, weight=np.ones(x.size), x_px=x, y_px=y, least=0.1) is None


def test_pixels_without_weight_make_no_border(pixels):
    """A jump in a part that was left out is not seen."""
    x, y, cosine = pixels
    right = beyond(x, y, angle=0.0, offset=20.0)
    residual = noise(x.size) + 5.0 * right
    assert find_border(residual, cosine, weight=np.where(right, 0.0, 1.0), x_px=x, y_px=y, least=0.1) is None


def test_a_corner_of_the_face_holds_no_border():
    """A bright corner of a square, ten pixels deep, every fourth pixel taken as the local stage does: too few to be a border."""
    y, x = (each.ravel()[::4] for each in np.indices((SIDE, SIDE)) - (SIDE - 1) / 2.0)
    residual = noise(x.size) + 5.0 * beyond(x, y, angle=math.pi / 4.0, offset=SIDE / math.sqrt(2.0) - 10.0)
    assert find_border(residual, np.cos(0.3 * x), weight=np.ones(x.size), x_px=x, y_px=y, least=0.1) is None


def test_a_step_too_small_to_matter_is_left_alone(pixels):
    """A jump of a fifth of the noise stands out of so many pixels, but below the size asked for it is not worth a model."""
    x, y, cosine = pixels
    jump = 0.6 * np.sign(x - 20.0) * np.exp(-np.abs(x - 20.0) / 30.0)
    found = [find_border(noise(x.size) + jump, cosine, weight=np.ones(x.size), x_px=x, y_px=y, least=least) for least in (0.5, 3.0)]
    assert found[0] is not None
    assert found[1] is None
