"""A lamp's image over bands: what it adds is told apart from them, whatever the bands do under it, and they are read through it."""

import math

import numpy as np
import pytest

from straightband.face.shapes import round_face
from straightband.fringes.frame import Fields, make_frame
from straightband.fringes.reading import read_phase
from straightband.fringes.veil import WINDOW_BANDS, lifted_veil

ROUND = round_face(diameter_mm=80.0)


def tilted(u, _v, *, bands=16.0):
    return 2.0 * math.pi * bands * u / 80.0


def image(u, v, *, height=0.3, radius_mm=9.0):
    """A lamp's image a little off the middle."""
    return height * np.exp(-((u - 5.0) ** 2 + (v + 4.0) ** 2) / (2.0 * radius_mm**2))


def under_the_image(picture, *, phase_off_rad, bands=16.0):
    """What `lifted_veil` makes of a picture whose phase is known but for so much, and the image that is there."""
    frame = make_frame(clear=ROUND, x=picture.u_mm / 40.0, y=picture.v_mm / 40.0)
    u, v = (grid[frame.inside] for grid in np.meshgrid(picture.u_mm, picture.v_mm))
    phase = tilted(u, v, bands=bands) + phase_off_rad
    fields = Fields(light=np.full(u.size, 0.5), modulation=np.full(u.size, 0.3), phase_rad=phase, overtone=0.0)
    bright = image(u, v) > 0.03
    value = 0.5 + 0.3 * np.cos(tilted(u, v, bands=bands)) + image(u, v)
    return lifted_veil(value, fields, bright=bright, present=np.ones(u.size, bool), frame=frame), image(u, v), bright


@pytest.mark.parametrize("phase_off_rad", [0.0, 1.0, math.pi])
def test_the_image_is_found_whatever_the_phase_under_it(picture_of, phase_off_rad):
    """A bell of known height comes back to a fiftieth of the bands' swing, also where the bands are shifted by half of one."""
    veil, truth, bright = under_the_image(picture_of(ROUND, tilted, samples=240), phase_off_rad=phase_off_rad)
    # a Gaussian window of 0.7 bands with a parabola in it leaves q^2 / (1 + q)^2 of a bell, q the ratio of the variances
    q = (WINDOW_BANDS * 80.0 / 16.0 / 9.0) ** 2
    assert np.abs(veil - truth)[bright].max() < 0.3 * q**2 / (1.0 + q) ** 2
    assert 0.3 * q**2 / (1.0 + q) ** 2 < 0.006


def test_wide_bands_are_not_told_from_an_image(picture_of):
    """With three bands across the face an image bends as they do, and nothing is taken away."""
    veil, _, _ = under_the_image(picture_of(ROUND, tilted, samples=240), phase_off_rad=0.0, bands=3.0)
    assert not veil.any()


def test_a_zone_is_read_through_an_image(picture_of):
    """A trough that lies under a lamp's image comes out where it was only guessed from its surroundings before."""

    def phase(u, v):
        return tilted(u, v) + 0.9 * np.exp(-((u - 5.0) ** 2 + (v + 4.0) ** 2) / (2.0 * 7.0**2))

    picture = picture_of(
        ROUND, phase, samples=240, noise=0.004, light=lambda u, v: 0.5 + image(u, v), contrast=lambda u, v: 0.3 / (0.5 + image(u, v))
    )
    reading = read_phase(picture, clear=ROUND)
    u, v = np.meshgrid(reading.u_mm, reading.v_mm)
    known = np.isfinite(reading.phase_rad)
    off = min(np.std((reading.phase_rad - sign * phase(u, v))[known]) for sign in (1.0, -1.0))
    assert off < 0.035  # 1.5 nm of green light; 0.12 while the image was only set aside
