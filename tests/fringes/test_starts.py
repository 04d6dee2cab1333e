"""First guesses: the peak a chirp should have, the candidates that must be among them."""

import math

import numpy as np
import pytest

from straightband.fringes import starts
from straightband.fringes.starts import WEAK_SAMPLES, Start, disc_grid, find_starts


def start_of(*waves):
    tilt_x, tilt_y, bow, cross, twist = waves
    return Start(tilt_x=tilt_x, tilt_y=tilt_y, bow=bow, cross=cross, twist=twist, score=0.0)


def vector(start):
    return np.array([start.tilt_x, start.tilt_y, start.bow, start.cross, start.twist])


def bands(start, *, samples):
    x, y = disc_grid(samples)
    return np.where(x * x + y * y <= 1.0, np.cos(start.phase_rad(x, y) + 0.4), 0.0).astype(np.float32)


def starts_for(truth):
    return find_starts(bands(truth, samples=128), coarse=bands(truth, samples=WEAK_SAMPLES))


def test_the_grid_holds_the_middles_of_even_cells():
    """Four cells a side lie at -0.75, -0.25, 0.25 and 0.75, x along the columns and y along the rows."""
    x, y = disc_grid(4)
    assert x[0].tolist() == y[:, 0].tolist() == [-0.75, -0.25, 0.25, 0.75]
    assert np.ptp(x, axis=0).max() == np.ptp(y, axis=1).max() == 0.0


def test_the_phase_of_a_start_is_its_quadratic_in_waves():
    """At (1, 0) the waves are tilt_x + bow + cross, at (0, 1) tilt_y + bow - cross, and the twist is 2xy of it."""
    start = start_of(3.0, -2.0, 1.5, 0.5, 0.25)
    x, y = np.array([1.0, 0.0, 0.6]), np.array([0.0, 1.0, -0.5])
    third = 3.0 * 0.6 + 2.0 * 0.5 + 1.5 * 0.61 + 0.5 * 0.11 + 2.0 * 0.25 * 0.6 * -0.5
    assert start.phase_rad(x, y) / (2.0 * math.pi) == pytest.approx([5.0, -1.0, third], abs=1e-12)  # rounding


def test_the_peak_of_the_right_chirp_is_a_quarter_of_pi():
    """Bands that lie exactly on the grid of tilts score sum cos^2 over sum |cos| = (1/2) / (2/pi), in closed form."""
    best = starts_for(start_of(6.0, -3.5, 0.0, 0.0, 0.0))[0]
    assert best.score == pytest.approx(math.pi / 4.0, rel=0.02)  # means over a finite number of bands
    assert min(np.abs(vector(best) - sign * np.array([6.0, -3.5, 0, 0, 0])).max() for sign in (1, -1)) == 0.0


@pytest.mark.parametrize(
    "waves",
    [
        (1.1, 0.0, 0.2, 0.0, 0.0),
        (0.3, -0.2, 1.7, 0.4, -0.3),
        (2.0, 5.0, -0.6, 0.3, 0.4),
        (0.4, 0.6, 0.1, 2.2, -1.3),
        (0.0, 0.0, 9.0, 0.0, 0.0),
        (4.0, -6.0, 5.0, -2.0, 3.0),
        (14.0, 12.0, 1.0, 0.5, -0.5),
    ],
    ids=["two bands", "rings", "bowed", "saddle", "many rings", "strongly bowed", "forty bands"],
)
def test_a_start_near_the_truth_is_among_the_first(waves):
    """For every kind of pattern one of the sixteen starts that are tried lies within half a wave of the truth at every point."""
    truth = start_of(*waves)
    x, y = disc_grid(64)
    inside = x * x + y * y <= 1.0
    x, y = x[inside], y[inside]
    wanted = truth.phase_rad(x, y) / (2.0 * np.pi)
    away = []
    for start in starts_for(truth)[:16]:  # as many as the whole fit takes up
        found = start.phase_rad(x, y) / (2.0 * np.pi)
        away += [np.std(found - wanted), np.std(found + wanted)]
    assert min(away) < 0.25  # rms in waves: beyond a quarter the gradient of most pixels points to a neighbouring band


@pytest.mark.parametrize("waves", [(0.3, -0.2, 1.7, 0.4, -0.3), (0.9, 0.4, -0.6, 1.9, 1.2), (0.0, 0.6, 3.2, 0.1, 0.0)])
def test_weak_curvature_is_found_by_trying_all(waves):
    """Where few bands leave no tone to read the curvature from, the brute-force grid has a start within half a step of it."""
    truth = np.array(waves)
    weak = np.array([vector(start) for start in starts._weak_starts(bands(start_of(*waves), samples=WEAK_SAMPLES))])
    away = np.minimum(np.abs(weak - truth), np.abs(weak + truth))[:, 2:].max(axis=1)
    assert away.min() <= starts.WEAK_STEP_WAVES / 2.0 + 1e-6  # single precision of the grid


def test_no_two_starts_are_the_same_or_mirror_images():
    """Cosines are even, so a start and its negative are one; each is tried once."""
    found = [vector(start) for start in starts_for(start_of(2.0, 5.0, -0.6, 0.3, 0.4))]
    assert len(found) > 5
    for i, one in enumerate(found):
        for other in found[:i]:
            assert np.abs(one - other).max() > 0.3
            assert np.abs(one + other).max() > 0.3


def test_starts_come_best_first():
    """The list is in falling order of the peak."""
    scores = [start.score for start in starts_for(start_of(0.3, -0.2, 1.7, 0.4, -0.3))]
    assert scores == sorted(scores, reverse=True)


def test_a_blank_picture_gives_starts_of_no_height():
    """Without bands nothing is divided by zero, and no start scores."""
    nothing = np.zeros((128, 128), dtype=np.float32)
    assert max(start.score for start in find_starts(nothing, coarse=nothing[:WEAK_SAMPLES, :WEAK_SAMPLES])) == 0.0
