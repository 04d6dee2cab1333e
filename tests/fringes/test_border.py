"""The border of a frosted back: drawn borders are found where they were drawn, and none where there is none."""

import math

import numpy as np
import pytest

from straightband.fringes.border import Border, Strewn, find_border, refine_border

SAMPLES = 6000
LIGHT, MODULATION, NOISE = 1.0, 0.5, 0.02


@pytest.fixture
def face():
    """Points strewn over a round face, and the phase of nine bowed bands across it."""
    rng = np.random.default_rng(11)
    radius, angle = np.sqrt(rng.uniform(0.0, 1.0, SAMPLES)), rng.uniform(-math.pi, math.pi, SAMPLES)
    x, y = radius * np.cos(angle), radius * np.sin(angle)
    return x, y, 2.0 * math.pi * (4.5 * x + 1.0 * y + 0.4 * x * y)


def noise(size, seed=0):
    return NOISE * np.random.default_rng(seed).standard_normal(size)


def strewn(face, value):
    x, y, phase = face
    return Strewn(x=x, y=y, value=value, phase_rad=phase, light=LIGHT, modulation=MODULATION)


def frosted(face, border, *, veil, lost, seed=0):
    """Light under a back frosted beyond a border: a veil added, a share of the contrast lost."""
    x, y, phase = face
    share = border.share(x, y)
    return LIGHT + 0.1 * x + veil * share + MODULATION * (1.0 - lost * share) * np.cos(phase) + noise(x.size, seed)


def mean_difference(face, one, other):
    """Mean difference of two borders' shares over the face, whichever side they call the frosted one."""
    a, b = one.share(*face[:2]), other.share(*face[:2])
    return min(np.mean(np.abs(a - b)), np.mean(np.abs(1.0 - a - b)))


def test_the_share_of_a_line_rises_smoothly_across_it():
    """Closed form: 0.5 on the line, t^2 (3 - 2 t) within the strip, 0 and 1 beyond it; the functions are it times 1, x and y."""
    border = Border(angle_rad=0.5, offset=0.1, curvature=0.0, width=0.2)
    across = np.array([0.0, 0.1, -0.3, 0.9])
    x, y = (0.1 + across) * math.cos(0.5), (0.1 + across) * math.sin(0.5)
    expected = np.array([0.5, 0.75**2 * (3.0 - 1.5), 0.0, 1.0])
    assert border.share(x, y) == pytest.approx(expected, abs=1e-12)  # rounding
    assert border.functions(x, y) == pytest.approx(np.stack([expected, expected * x, expected * y]), abs=1e-12)  # rounding


def test_the_share_of_an_arc_is_that_of_the_distance_from_its_circle():
    """A circle of radius 0.4 about (0.1, -0.2): its curvature is 2.5, and it passes 0.4 beyond its centre in any direction."""
    centre, radius = np.array([0.1, -0.2]), 0.4
    angle = math.atan2(centre[1], centre[0])
    border = Border(angle_rad=angle, offset=float(np.hypot(*centre)) + radius, curvature=1.0 / radius, width=0.3)
    x, y = np.random.default_rng(1).uniform(-1.0, 1.0, (2, 50))
    t = np.clip(0.5 + 0.5 * (np.hypot(x - centre[0], y - centre[1]) - radius) / 0.3, 0.0, 1.0)
    assert border.share(x, y) == pytest.approx(t * t * (3.0 - 2.0 * t), abs=1e-9)  # rounding


@pytest.mark.parametrize("curvature", [0.0, 0.5, -0.5, 2.2])
@pytest.mark.parametrize("width", [0.01, 0.1, 0.35])
@pytest.mark.parametrize(("veil", "lost"), [(0.3, 0.0), (0.0, 0.5), (0.2, 0.6)])
def test_a_drawn_border_is_found_where_it_was_drawn(face, curvature, width, veil, lost):
    """Lines and arcs, sharp and soft, of light, of contrast or of both: the share is right to 0.02 on average."""
    drawn = Border(angle_rad=0.7, offset=0.25, curvature=curvature, width=width)
    found = find_border(strewn(face, frosted(face, drawn, veil=veil, lost=lost)))
    assert found is not None
    assert mean_difference(face, found, drawn) < 0.02  # noise of a hundred samples in the strip moves it by about a hundredth


def test_a_border_is_found_though_the_phase_is_a_little_wrong(face):
    """The phase that the search is given may be off by half a radian, smoothly: the line is still found to 0.03 on average."""
    x, y, phase = face
    drawn = Border(angle_rad=2.0, offset=-0.1, curvature=0.0, width=0.05)
    value = frosted(face, drawn, veil=0.2, lost=0.5)
    found = find_border(strewn((x, y, phase + 0.5 * (x * x - y)), value))
    assert found is not None
    assert mean_difference(face, found, drawn) < 0.03  # as above, and what is left of the phase's error


def test_a_known_border_is_placed_anew(face):
    """From a tenth beside the line and twice as soft, the refinement finds the line itself."""
    drawn = Border(angle_rad=0.7, offset=0.25, curvature=0.0, width=0.1)
    start = Border(angle_rad=0.8, offset=0.15, curvature=0.1, width=0.2)
    found = refine_border(strewn(face, frosted(face, drawn, veil=0.2, lost=0.5)), start)
    assert found is not None
    assert mean_difference(face, found, drawn) < 0.01  # noise


@pytest.mark.parametrize("seed", range(3))
def test_plain_bands_have_no_border(face, seed):
    """Even light, even contrast and noise: nothing stands out."""
    nothing = Border(angle_rad=0.0, offset=0.0, curvature=0.0, width=0.1)
    assert find_border(strewn(face, frosted(face, nothing, veil=0.0, lost=0.0, seed=seed))) is None


def test_a_hill_does_not_pose_as_a_border(face):
    """A hill of a fifth of a band that the phase does not know yet moves the bands and takes no contrast: no border."""
    x, y, phase = face
    moved = phase + 0.4 * math.pi * np.exp(-((x - 0.2) ** 2 + (y + 0.1) ** 2) / 0.25**2)
    assert find_border(strewn(face, LIGHT + MODULATION * np.cos(moved) + noise(x.size))) is None


def test_dust_does_not_pose_as_a_border(face):
    """Sixty specks, as bright as the brightest band, make no border."""
    x, y, phase = face
    value = LIGHT + MODULATION * np.cos(phase) + noise(x.size)
    for left, up in np.random.default_rng(8).uniform(-0.7, 0.7, (60, 2)):
        value[np.hypot(x - left, y - up) < 0.02] = LIGHT + MODULATION
    assert find_border(strewn(face, value)) is None


def test_a_corner_of_the_face_holds_no_border(face):
    """A bright corner of a fiftieth of the face is too small to be what a frosted back leaves."""
    x, y, phase = face
    value = LIGHT + MODULATION * np.cos(phase) + noise(x.size) + 0.6 * (x + y > 1.36)
    assert find_border(strewn(face, value)) is None


def test_a_step_too_small_to_matter_is_left_alone(face):
    """Without noise a step of a hundredth of light and contrast stands out, and is not worth a model of its own."""
    x, y, phase = face
    share = Border(angle_rad=0.7, offset=0.25, curvature=0.0, width=0.05).share(x, y)
    for step, there in ((0.01, False), (0.1, True)):
        value = LIGHT * (1.0 + step * share) + MODULATION * (1.0 - step * share) * np.cos(phase)
        assert (find_border(strewn(face, value)) is not None) is there
