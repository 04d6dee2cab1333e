"""Hills where a band is brightest, which no linear step tells from something laid over the bands; frost that leads the search astray."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import ndimage

from straightband.face.shapes import round_face
from straightband.fringes.bumps import find_bumps
from straightband.fringes.frame import Fields, make_frame
from straightband.fringes.frame import picture as picture_said
from straightband.fringes.reading import read_phase
from straightband.fringes.trust import far_off

ROUND = round_face(diameter_mm=80.0)


def saddle(u, v):
    """Three bands of saddle, brightest and level in the middle."""
    return 2.0 * math.pi * 1.6 * (u * u - v * v) / 40.0**2


def hill(u, v, *, height_rad, radius_mm=4.0):
    """A bell in the middle of the saddle."""
    return height_rad * np.exp(-(u * u + v * v) / (2.0 * radius_mm**2))


def seen(face, picture):
    """Frame, value and the fields of a model that knows all but the bump."""
    frame = make_frame(clear=face, x=picture.u_mm / face.semi_u_mm, y=picture.v_mm / face.semi_v_mm)
    u, v = (grid[frame.inside] for grid in np.meshgrid(picture.u_mm, picture.v_mm))
    value = picture.light[frame.inside].astype(float)
    fields = Fields(light=np.full(u.size, 0.5), modulation=np.full(u.size, 0.35), phase_rad=saddle(u, v), overtone=0.0)
    return frame, value, fields, (u, v)


@pytest.mark.parametrize("height_rad", [1.1, -1.1])
def test_a_bump_at_the_top_of_a_band_is_found_and_sized(picture_of, height_rad):
    """A bell put into the phase by hand comes back, its sign apart: at the very top of a band hill and hole look alike."""
    picture = picture_of(ROUND, lambda u, v: saddle(u, v) + hill(u, v, height_rad=height_rad), samples=200, noise=0.003)
    frame, value, fields, (u, v) = seen(ROUND, picture)
    found = find_bumps(
        value,
        fields,
        patches=far_off(value - picture_said(fields), np.ones(u.size, bool), frame=frame),
        present=np.ones(u.size, bool),
        frame=frame,
    )
    middle = np.argmin(np.hypot(u, v))
    assert found.where[middle]
    assert abs(found.phase_rad[middle]) == pytest.approx(1.1, abs=0.05)
    assert np.abs(found.phase_rad[np.hypot(u, v) > 20.0]).max() < 0.01


def test_light_laid_over_a_band_is_no_bump(picture_of):
    """The same bell added to the light, where the band is half bright, is left to be set aside."""
    phase = lambda u, v: saddle(u, v) + 1.2  # noqa: E731  half way down the band, where light can be added
    picture = picture_of(ROUND, phase, samples=200, noise=0.003, light=lambda u, v: 0.5 + 0.4 * hill(u, v, height_rad=1.0), contrast=0.7)
    frame, value, fields, (u, v) = seen(ROUND, picture)
    fields = Fields(light=fields.light, modulation=fields.modulation, phase_rad=phase(u, v), overtone=0.0)
    found = find_bumps(
        value,
        fields,
        patches=far_off(value - picture_said(fields), np.ones(u.size, bool), frame=frame),
        present=np.ones(u.size, bool),
        frame=frame,
    )
    assert not np.any(found.where)


@pytest.mark.parametrize("at_mm", [12.0, 17.0])
def test_dust_on_the_flank_of_a_band_is_no_hill(picture_of, at_mm):
    """A dark speck 3 mm across on bands 9 mm apart: a shift of the bands explains it nearly as well, as a hill of a third of a band."""

    def phase(u, v):
        return 2.0 * math.pi * 8.5 * (0.8 * u + 0.6 * v) / 80.0 + 0.3 * saddle(u, v)

    def light(u, v):
        return 0.5 * ndimage.gaussian_filter(np.where(np.hypot(u - at_mm, v - 3.0) < 1.6, 0.1, 1.0), 1.0)

    reading = read_phase(picture_of(ROUND, phase, samples=256, noise=0.004, light=light, contrast=0.7), clear=ROUND.clear_aperture(0.03))
    true = phase(*np.meshgrid(reading.u_mm, reading.v_mm))
    sign = np.sign(np.nansum((reading.phase_rad - np.nanmean(reading.phase_rad)) * true))
    off = sign * reading.phase_rad - true
    assert np.nanmax(np.abs(off - np.nanmedian(off))) / (2.0 * math.pi) < 0.03


def test_a_long_hill_is_as_high_as_it_is(picture_of):
    """A bell 1.6 times as long as wide, a quarter of a band high: a round one in its place would be a fifth too high."""

    def phase(u, v):
        along, across = 0.8 * (u - 6.0) + 0.6 * (v + 5.0), 0.8 * (v + 5.0) - 0.6 * (u - 6.0)
        return saddle(u, v) + 1.7 * np.exp(-0.5 * ((along / 3.6) ** 2 + (across / 2.25) ** 2))

    reading = read_phase(picture_of(ROUND, phase, samples=256, noise=0.004, contrast=0.7), clear=ROUND.clear_aperture(0.03))
    u, v = np.meshgrid(reading.u_mm, reading.v_mm)
    near = np.where(np.hypot(u - 6.0, v + 5.0) < 10.0, reading.phase_rad, np.nan)
    assert off_bands(replace(reading, phase_rad=near), phase(u, v)) < 1.0 / 200.0


def off_bands(reading, true):
    """Rms departure of a reading from the phase put in, sign and piston apart."""
    ok = np.isfinite(reading.phase_rad)
    return min(float(np.std((sign * reading.phase_rad - true)[ok])) for sign in (1.0, -1.0)) / (2.0 * math.pi)


def test_a_hill_at_the_still_point_of_a_saddle_is_read(picture_of):
    """A bell of a sixth of a band, small and at the very top of a band, is height and not dust: read to a two-hundredth of a band around it."""

    def phase(u, v):
        return saddle(u, v) + 0.4 * (u / 40.0) + hill(u, v, height_rad=1.2, radius_mm=2.5)

    reading = read_phase(picture_of(ROUND, phase, samples=256, noise=0.004, contrast=0.87), clear=ROUND.clear_aperture(0.03))
    u, v = np.meshgrid(reading.u_mm, reading.v_mm)
    near = np.where(np.hypot(u, v) < 12.0, reading.phase_rad, np.nan)
    assert off_bands(replace(reading, phase_rad=near), phase(u, v)) < 1.0 / 200.0


@pytest.mark.parametrize(
    ("left", "veil", "wedge", "bow", "across_rad"), [(0.2, 0.1, 1.4, 1.2, 1.2), (0.2, 0.35, 2.2, 0.3, 0.3), (0.35, 0.35, 1.4, 1.2, 1.2)]
)
def test_a_back_half_frosted_through_and_through_does_not_lead_astray(picture_of, left, veil, wedge, bow, across_rad):
    """Four bands, beyond a border a veil and as little as a fifth of their contrast, light uneven: read to a hundredth of a band."""

    def phase(u, v):
        return 2.0 * math.pi * (wedge * (0.8 * u + 0.6 * v) / 40.0 + bow * (u * u - v * v) / 40.0**2)

    def frosted(u, v):
        return math.cos(across_rad) * u + math.sin(across_rad) * v > -3.0

    picture = picture_of(
        ROUND,
        phase,
        samples=200,
        noise=0.004,
        light=lambda u, v: np.where(frosted(u, v), 0.4 + veil, 0.4) * (1.0 - 0.2 * u / 40.0),
        contrast=lambda u, v: np.where(frosted(u, v), 0.8 * left, 0.8),
    )
    reading = read_phase(picture, clear=ROUND.clear_aperture(0.03))
    assert off_bands(reading, phase(*np.meshgrid(reading.u_mm, reading.v_mm))) < 0.01
