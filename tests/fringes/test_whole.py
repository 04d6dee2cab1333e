"""The fit of the whole face: every kind of pattern, from nothing to the phase."""

import math

import numpy as np
import pytest

from straightband.face.polynomials import noll_count
from straightband.face.shapes import Shape, ellipse, rectangle, round_face
from straightband.fringes.grow import expected_size_rad, polynomials, shrink
from straightband.fringes.whole import fit_whole

ELLIPSE, ROUND, PLATE = ellipse(minor_mm=90.0), round_face(diameter_mm=80.0), rectangle(width_mm=60.0, length_mm=90.0)

# Tilts, second order (power and astigmatisms), and some of the third and fourth, in bands.
PATTERNS = {
    "two bands and a bit": (ELLIPSE, {2: 0.5, 3: 0.15, 4: 0.1, 5: 0.05}),
    "ten bands": (ELLIPSE, {2: 1.0, 3: 2.3, 4: 0.15, 6: -0.1, 7: 0.05, 11: 0.03}),
    "rings": (ROUND, {2: 0.1, 3: -0.05, 4: 0.8, 5: 0.1, 8: 0.06, 11: -0.08}),
    "saddle": (ROUND, {2: 0.1, 3: 0.05, 5: 0.4, 6: 0.6, 7: 0.04}),
    "forty bands": (ELLIPSE, {2: 2.0, 3: 9.7, 4: 0.2, 5: -0.1, 9: 0.05}),
    # once part of it was mirrored at a broad dark band, 25 nm rms off
    "a broad fold": (ELLIPSE, {2: -0.39, 3: 0.5, 5: 0.05, 6: 0.23, 7: -0.06, 8: -0.08, 9: 0.07, 10: 0.07, 11: 0.07, 12: -0.07, 14: 0.05}),
    "a rectangle": (PLATE, {2: 0.4, 3: 1.5, 4: 0.2, 5: 0.1, 6: -0.15, 8: 0.04}),
}


def pattern(name):
    face, bands = PATTERNS[name]
    coefficients = np.zeros(noll_count(4))
    coefficients[[j - 1 for j in bands]] = list(bands.values())

    def phase(u, v):
        x, y = u / face.semi_u_mm, v / face.semi_v_mm
        return 2.0 * math.pi * np.tensordot(coefficients, polynomials(x, y, shape=face.shape, order=4), axes=1) + 0.6

    return face, phase


def fitted(picture):
    return fit_whole(picture.light, picture.missing, shape=picture.face.shape)


def off_rad(fit, phase, picture):
    """Rms departure from the truth inside the outline, the better of the two signs, whole bands taken off."""
    u, v = np.meshgrid(picture.u_mm, picture.v_mm)
    inside = ~picture.missing
    found = fit.phase_rad(u[inside] / picture.face.semi_u_mm, v[inside] / picture.face.semi_v_mm, shape=picture.face.shape)
    return min(np.std(found - sign * phase(u[inside], v[inside])) for sign in (1.0, -1.0))


@pytest.mark.parametrize("name", PATTERNS)
def test_every_pattern_is_read_from_nothing(picture_of, name):
    """Few bands, many bands, rings, saddles and rectangles: the phase comes out right all over the face, up to its sign."""
    face, phase = pattern(name)
    picture = picture_of(face, phase, samples=256 if name == "forty bands" else 128)
    fit = fitted(picture)
    # A fortieth of a band; noise through 28 terms is 0.003 rad, coarse cells and few bands add the rest, and the local stage goes on from here.
    assert off_rad(fit, phase, picture) < 0.15
    assert fit.explained > 0.95
    assert 1.0 - fit.runner_up > 5.0 * (1.0 - fit.explained)


def test_light_and_modulation_come_with_the_phase(picture_of):
    """The mean light and the mean swing of the bands are those the picture was made with."""
    face, phase = pattern("ten bands")
    levels = fitted(picture_of(face, phase, light=0.4, contrast=0.5)).levels
    assert levels[0][0] == pytest.approx(0.4, rel=0.01)  # noise is 2e-4; the background takes up some of the bands
    assert levels[1][0] == pytest.approx(0.2, rel=0.12)  # coarse cells average some of the swing away


def test_uneven_light_does_not_bend_the_bands(picture_of):
    """Light that halves across the face, and glare that adds to it, leave the phase where it was."""
    face, phase = pattern("ten bands")
    picture = picture_of(
        face,
        phase,
        samples=128,
        light=lambda u, _v: 0.4 * (1.0 - 0.33 * u / 45.0),
        contrast=lambda u, v: 0.7 - 0.15 * (u * u + v * v) / 63.6**2,
    )
    assert off_rad(fitted(picture), phase, picture) < 0.15  # as above


def test_a_third_of_the_face_hidden_is_no_hindrance(picture_of):
    """What is missing is left out, and the polynomials carry the phase across."""
    face, phase = pattern("ten bands")
    picture = picture_of(face, phase, samples=128)
    u, v = np.meshgrid(picture.u_mm, picture.v_mm)
    hidden = picture.missing | (np.hypot(u - 10.0, v + 20.0) < 22.0)
    light = np.where(hidden, np.float32(7.0), picture.light)
    fit = fit_whole(light, hidden, shape=face.shape)
    assert off_rad(fit, phase, picture) < 0.15  # as above


def test_many_bands_of_which_the_bright_halves_are_clipped(picture_of):
    """Where half the face is white, what is left holds little of the bands' own tone, and where it is white holds it all."""
    face, phase = pattern("forty bands")
    picture = picture_of(face, phase, samples=300)
    white = picture.light > np.quantile(picture.light[~picture.missing], 0.5)
    fit = fit_whole(picture.light, picture.missing | white, shape=face.shape)
    assert off_rad(fit, phase, picture) < 0.15  # as above


def test_the_same_picture_gives_the_same_fit(picture_of):
    """Nothing is left to chance: two runs agree to the last bit."""
    face, phase = pattern("rings")
    picture = picture_of(face, phase)
    assert fitted(picture).coefficients_rad.tolist() == fitted(picture).coefficients_rad.tolist()


def test_noise_alone_is_not_explained():
    """A face without bands leaves three quarters and more of its variance unexplained."""
    noise = 0.5 + 0.02 * np.random.default_rng(1).standard_normal((96, 96)).astype(np.float32)
    fit = fit_whole(noise, np.zeros((96, 96), dtype=bool), shape=Shape.ROUND)
    assert fit is None or fit.explained < 0.25  # 28 terms on 6000 cells of noise


def test_a_face_of_a_few_cells_is_no_face():
    """With nearly everything missing there is no fit, rather than a bad one."""
    missing = np.ones((96, 96), dtype=bool)
    missing[40:50, 40:50] = False
    assert fit_whole(np.full((96, 96), 0.5, dtype=np.float32), missing, shape=Shape.ROUND) is None


def test_shrinking_keeps_means_and_leaves_out_what_is_missing():
    """Constant light stays that constant next to missing pixels of any value, and cells mostly missing are dropped."""
    light = np.full((96, 96), 0.7, dtype=np.float32)
    missing = np.zeros((96, 96), dtype=bool)
    missing[:, :22] = True
    light[missing] = 99.0
    small = shrink(light, missing, samples=24, shape=Shape.RECTANGLE, half_extent=(1.0, 1.0))
    assert small.samples.value == pytest.approx(0.7, rel=1e-5)  # single precision
    assert small.x.min() == pytest.approx(-1.0 + 2.0 * 6.5 / 24.0)  # cell 5 is half missing: dropped; the next one's middle
    assert np.abs(small.grid).max() < 1e-5  # single precision


def test_shrinking_takes_a_slope_of_light_off_the_spectra():
    """A smooth background of second order leaves no trace in the grid that the starts are looked for in."""
    y, x = (np.indices((96, 96)) - 47.5) / 48.0
    light = (0.5 + 0.2 * x - 0.1 * y + 0.1 * x * y).astype(np.float32)
    small = shrink(light, np.hypot(x, y) > 1.0, samples=32, shape=Shape.ROUND, half_extent=(1.0, 1.0))
    assert np.abs(small.grid).max() < 0.005  # cells at the rim stand where their middle is, not their pixels


def test_low_orders_are_free_and_high_ones_expected_small():
    """The prior has one entry for each polynomial: 100 rad up to the second order, then 12 / (n - 1)^2."""
    size = expected_size_rad(4)
    assert size.tolist() == [100.0] * 6 + [3.0] * 4 + [12.0 / 9.0] * 5
