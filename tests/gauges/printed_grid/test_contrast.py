"""Pitch and local contrast of a grid drawn by formula.

Sources: contrast of a printed mark by definition (Weber, Michelson); a veil v divides contrast by 1 + v.
"""

import numpy as np
import pytest

from straightband.errors import GridNotFound
from straightband.gauges.printed_grid.contrast import local_contrast
from straightband.gauges.printed_grid.pattern import pitch_of

SIDE = 400


def stripes(pitch, *, depth=0.4, turn=0.3):
    y, x = np.mgrid[:SIDE, :SIDE]
    return (0.5 * (1.0 + depth * np.cos(2.0 * np.pi * (x * np.cos(turn) + y * np.sin(turn)) / pitch))).astype(np.float32)


def everywhere(light):
    return np.ones(light.shape, dtype=bool)


@pytest.mark.parametrize("pitch", [6.3, 12.0, 25.0, 38.0])
def test_the_pitch_is_found(pitch):
    """The pitch of stripes at any turn, to a twentieth: neighbouring frequencies of 400 samples lie that close."""
    light = stripes(pitch)
    assert pitch_of(light, missing=~everywhere(light)) == pytest.approx(pitch, rel=0.05)


@pytest.mark.parametrize("width", [2, 4, 7])
def test_thin_lines_have_their_own_pitch_and_not_a_multiple(width):
    """Thin lines put more power into multiples of their frequency; the pitch stays that from line to line."""
    y, x = np.mgrid[:SIDE, :SIDE]
    light = np.where((x % 20 < width) | (y % 20 < width), 0.1, 0.9).astype(np.float32)
    assert pitch_of(light, missing=~everywhere(light)) == pytest.approx(20.0, rel=0.05)


def test_noise_and_blank_paper_are_no_grid():
    """Where no period stands out the photograph is refused in a sentence."""
    noise = np.random.default_rng(1).normal(0.5, 0.05, (SIDE, SIDE)).astype(np.float32)
    with pytest.raises(GridNotFound, match="no printed grid shows in the photograph; a grid that is at least ten periods wide"):
        pitch_of(noise, missing=~everywhere(noise))


@pytest.mark.parametrize("depth", [0.8, 0.4, 0.1, 0.02])
def test_contrast_is_proportional_to_modulation(depth):
    """The mean size of a cosine is 2/pi of its height: contrast is 2/pi x modulation, less the tenth that smoothing takes."""
    light = stripes(16.0, depth=depth)
    seen = local_contrast(light, use=everywhere(light), pitch=16.0).contrast[100:-100, 100:-100]
    smoothing = np.exp(-2.0 * np.pi**2 * 0.08**2)
    assert seen.mean() == pytest.approx(2.0 / np.pi * depth * smoothing, rel=0.02)  # the local mean keeps a thousandth of the stripes
    assert seen.std() < 0.01 * seen.mean()


def test_a_veil_divides_contrast():
    """A veil of twice the mean light leaves a third of the contrast (SCAT-3)."""
    light = stripes(16.0)
    plain, veiled = (local_contrast(each, use=everywhere(each), pitch=16.0).contrast[200, 200] for each in (light, light + 1.0))
    assert veiled == pytest.approx(plain / 3.0, rel=1e-3)  # the mean keeps a thousandth of the stripes


def test_the_border_of_a_grey_place_lies_half_way():
    """Across a sharp border between full and faint contrast the map crosses the middle at the border, to a tenth of the pitch."""
    light = np.where(np.arange(SIDE)[None, :] < 200, stripes(16.0, depth=0.1), stripes(16.0, depth=0.9))
    row = local_contrast(light, use=everywhere(light), pitch=16.0).contrast[150:250].mean(axis=0)
    middle = 0.5 * (row[100] + row[300])
    assert np.interp(middle, row[150:250], np.arange(150, 250)) == pytest.approx(199.5, abs=1.6)


def test_noise_is_no_contrast():
    """On blank, noisy paper next to nothing is left."""
    noise = np.random.default_rng(2).normal(0.5, 0.03, (SIDE, SIDE)).astype(np.float32)
    assert np.median(local_contrast(noise, use=everywhere(noise), pitch=16.0).contrast) < 0.01
