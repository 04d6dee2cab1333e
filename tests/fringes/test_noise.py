"""What the fit leaves over: white noise is white, blurred noise is blurred, specks go and hills stay."""

import numpy as np
import pytest
from scipy import ndimage

from straightband.fringes.noise import (
    LOCAL_WINDOW,
    MISFIT_PIXELS,
    PLAIN_NOISE,
    correlation_area,
    evened,
    glare,
    local_confidence,
    soft_weight,
    spread,
    things,
)

SIDE = 256


def noise(seed=0, *, sigma=1.0):
    return sigma * np.random.default_rng(seed).standard_normal((SIDE, SIDE))


def everywhere():
    return np.ones((SIDE, SIDE), dtype=bool)


def bands(*, across=8.0):
    """Phase of so many bands over the picture, and the change of the picture with it for a modulation of 1."""
    phase = 2.0 * np.pi * across * np.indices((SIDE, SIDE))[1] / SIDE
    return phase, -np.sin(phase)


def bump(*, radius, height):
    """A bell in the middle with this 1/e radius in pixels."""
    y, x = np.indices((SIDE, SIDE)) - SIDE / 2.0
    return height * np.exp(-(x * x + y * y) / radius**2)


def test_spread_is_the_standard_deviation_of_noise():
    """1.4826 times the median of the size estimates the sigma of a normal distribution."""
    assert spread(noise(sigma=0.3), everywhere().astype(float)) == pytest.approx(0.3, rel=0.02)  # 4 standard errors of 65536 medians


def test_spread_does_not_see_a_tenth_of_wild_pixels():
    """A tenth of the pixels off by a hundred sigma moves the spread by the shift of the median only."""
    wild = noise()
    wild[::10] += 100.0
    # The median of the good 90 % at rank 0.5 / 0.9 of theirs: 1.4826 * 0.765 = 1.134.
    assert spread(wild, everywhere().astype(float)) == pytest.approx(1.134, rel=0.03)  # 26 rows of 256 instead of a tenth; noise


def test_spread_counts_only_what_has_weight_and_is_zero_of_nothing():
    """Pixels of weight 0 are not looked at; without any there is no spread."""
    residual = np.r_[np.full(50, 7.0), np.full(50, 1.0)]
    assert spread(residual, np.r_[np.zeros(50), np.ones(50)]) == pytest.approx(1.4826)
    assert spread(residual, np.zeros(100)) == 0.0


def test_noise_that_grows_with_the_light_is_evened_out():
    """Closed form: a variance of 1 + 24 L for light from 0 to 1 comes out alike at every level, and as large as the middle of it was; specks have no say."""
    light = 0.5 + 0.5 * np.cos(bands()[0])
    residual = noise() * np.sqrt(1.0 + 24.0 * light)
    specks = noise(1, sigma=1.0) > 1.6
    even = evened(np.where(specks, 1e3, residual), everywhere().astype(float), level=light)
    dark, bright = (spread(even, (each & ~specks).astype(float)) for each in (light < 0.1, light > 0.9))
    assert dark == pytest.approx(bright, rel=0.08)
    assert spread(even, everywhere().astype(float)) == pytest.approx(spread(residual, everywhere().astype(float)), rel=0.15)


def test_even_noise_stays_as_it_is():
    """Noise that does not grow is not changed, and neither is what a few pixels leave over."""
    light = 0.5 + 0.5 * np.cos(bands()[0])
    assert evened(noise(), everywhere().astype(float), level=light) == pytest.approx(noise(), abs=0.1)
    few = np.zeros((SIDE, SIDE))
    few[0, :5] = 1.0
    assert np.array_equal(evened(noise(), few, level=light), noise())
    assert np.array_equal(evened(0.0 * noise(), everywhere().astype(float), level=light), 0.0 * noise())


def test_white_noise_shares_nothing():
    """Every pixel of white noise is a reading of its own: area 1."""
    assert correlation_area(noise(), everywhere()) == pytest.approx(1.0, abs=0.35)  # 441 lags of standard error 1/256 each: 4 x 0.08


def test_noise_averaged_over_three_by_three_shares_nine_pixels():
    """The autocorrelation of a 3 x 3 mean is a pyramid of volume 9, in closed form."""
    blurred = ndimage.uniform_filter(noise(3), 3, mode="wrap")
    assert correlation_area(blurred, everywhere()) == pytest.approx(9.0, rel=0.25)  # as above, nine times correlated: 3 x 0.08


def test_pixels_left_out_do_not_change_the_area():
    """With two thirds of the picture missing, at random and in one piece, the pairs that are there give the same."""
    blurred = ndimage.uniform_filter(noise(3), 3, mode="wrap")
    present = np.random.default_rng(1).uniform(size=blurred.shape) > 0.55
    present[:, :60] = False
    spoilt = np.where(present, blurred, 99.0)
    assert correlation_area(spoilt, present) == pytest.approx(9.0, rel=0.35)  # as above with fewer pairs


def test_sharpened_noise_never_counts_as_more_than_white():
    """Noise whose neighbours cancel has an area below 1, and 1 is what is said."""
    sharpened = noise() - ndimage.uniform_filter(noise(), 3)
    assert correlation_area(sharpened, everywhere()) == 1.0


def test_a_picture_without_residual_shares_nothing():
    """No residual at all is no reason to divide by zero."""
    assert correlation_area(np.zeros((40, 40)), np.ones((40, 40), dtype=bool)) == 1.0


@pytest.mark.parametrize("radius", [0, 1, 2, 4])
def test_a_speck_is_distrusted_with_its_neighbours(radius):
    """Dust of one to nine pixels across, far off the noise, is set aside whole; hardly anything else is."""
    y, x = np.indices((SIDE, SIDE)) - SIDE // 2
    speck = x * x + y * y <= radius * radius
    found = things(noise() - 20.0 * speck, everywhere(), by_phase=bands()[1]).specks
    assert found[speck].all()
    grown = ndimage.binary_dilation(speck, np.ones((7, 7)))
    assert found[~grown].mean() < 1e-3  # 65536 normal pixels leave at most a few beyond 4.5 sigma that touch


def test_a_scratch_is_distrusted():
    """A line two pixels wide across the face is narrow however long it is."""
    line = np.zeros((SIDE, SIDE), dtype=bool)
    line[120:122, 30:220] = True
    assert things(noise() + 15.0 * line, everywhere(), by_phase=bands()[1]).specks[line].all()


def test_a_hill_not_fitted_yet_is_spared():
    """A wide bump of many sigma is no dust: nine tenths of what stands out stay in the fit."""
    hill = bump(radius=20.0, height=12.0)
    found = things(noise() + hill, everywhere(), by_phase=bands()[1]).specks
    assert found[hill > 6.0].mean() < 0.1  # its ragged rim where noise breaks it into specks


def test_what_moves_the_bands_is_no_dust_however_narrow():
    """A small hill leaves a residual that turns its sign with the bands under it: it stays, where dust as strong would go."""
    y, x = np.indices((SIDE, SIDE)) - SIDE // 2
    _, by_phase = bands(across=20.0)
    hill = things(noise() + bump(radius=7.0, height=25.0) * by_phase, everywhere(), by_phase=by_phase).specks
    dust = things(noise() - bump(radius=3.5, height=25.0), everywhere(), by_phase=by_phase).specks
    middle = x * x + y * y <= 9
    assert not hill[middle].any()
    assert dust[middle].all()


def test_a_hill_that_dust_lies_beside_is_no_dust():
    """Darker specks at the foot of a small hill do not take it with them; they go, and most of the hill is known to have moved the bands."""
    y, x = np.indices((SIDE, SIDE)) - SIDE // 2
    _, by_phase = bands(across=20.0)
    hill = bump(radius=7.0, height=25.0) * by_phase
    specks = ((x - 9) ** 2 + (y - 5) ** 2 <= 4) | ((x + 10) ** 2 + (y + 4) ** 2 <= 4)
    found = things(noise() + hill - 60.0 * specks, everywhere(), by_phase=by_phase)
    flank = (np.abs(hill) > 8.0) & ~ndimage.binary_dilation(specks, np.ones((5, 5)))
    assert found.moved[flank].mean() > 0.8  # where the bell has fallen off, its share of the shift is another
    assert not found.moved[specks].any()
    alone = things(noise() - 60.0 * specks, everywhere(), by_phase=by_phase)
    assert not alone.moved.any()
    assert alone.specks[specks].all()


def test_missing_pixels_are_not_things_on_the_glass():
    """Values where nothing is present are not looked at."""
    present = everywhere()
    present[100:140, 100:140] = False
    spoilt = np.where(present, noise(), 1e6)
    assert things(spoilt, present, by_phase=bands()[1]).specks.mean() < 1e-3  # as above


def test_the_soft_weight_is_cauchys():
    """1 / (1 + (r / c)^2) with c so many spreads, and 0 where nothing is present."""
    residual = np.r_[-np.ones(50), np.ones(50), 30.0, 1.0]
    present = np.r_[np.ones(101), 0.0]
    c = 3.0 * 1.4826
    wanted = np.r_[np.full(100, 1.0 / (1.0 + 1.0 / c**2)), 1.0 / (1.0 + 900.0 / c**2), 0.0]
    assert soft_weight(residual, present, sigmas=3.0) == pytest.approx(wanted, rel=1e-12)  # one formula


def test_plain_noise_has_full_confidence():
    """White noise alone keeps its weight almost everywhere, and what is missing has none."""
    present = everywhere()
    present[:, :20] = False
    weight = local_confidence(noise(), present, across=LOCAL_WINDOW)
    assert (weight[:, :20] == 0.0).all()
    assert (weight[:, 20:] > 0.999).mean() > 0.99  # chi-square of 81 exceeds 1.5 times its mean in 0.3 % of windows


def test_confidence_falls_as_the_formula_where_the_model_misses():
    """In a patch of constant residual e the weight is 1 / (1 + 20 (e^2 / sigma^2 - 1.5)), sigma the spread of the whole."""
    residual = np.where((np.indices((SIDE, SIDE)).sum(axis=0) % 2).astype(bool), 1.0, -1.0)
    residual[100:130, 100:130] = 3.0
    sigma = 1.4826
    expected = 1.0 / (1.0 + MISFIT_PIXELS * (9.0 / sigma**2 - PLAIN_NOISE))
    inner = slice(100 + LOCAL_WINDOW // 2, 130 - LOCAL_WINDOW // 2)
    assert local_confidence(residual, everywhere(), across=LOCAL_WINDOW)[inner, inner] == pytest.approx(
        expected, rel=1e-4
    )  # single precision of the box


def test_no_residual_leaves_confidence_alone():
    """A perfect fit keeps the weight of every pixel present."""
    present = everywhere()
    present[3, 4] = False
    assert np.array_equal(local_confidence(np.zeros((SIDE, SIDE)), present, across=LOCAL_WINDOW), present.astype(float))


def glared(*, added):
    """Bands of light 1 and modulation 0.5, a little noisy, with light added in a disc of 12 pixels, and that disc."""
    phase, _ = bands()
    y, x = np.indices((SIDE, SIDE)) - SIDE // 2
    disc = x * x + y * y <= 144
    return 1.0 + 0.5 * np.cos(phase) + noise(sigma=0.02) + added * disc, disc


def test_light_added_to_the_bands_is_glare():
    """Where lamp light is thrown back on top the picture is brighter than the brightest band, and that place is given up whole."""
    value, disc = glared(added=1.2)
    one = np.ones_like(value)
    found = glare(value, light=one, modulation=0.5 * one, present=everywhere(), missing=~everywhere())
    assert found[disc].all()
    y, x = np.indices((SIDE, SIDE)) - SIDE // 2
    assert not found[np.hypot(x, y) > 60.0].any()


def test_bands_themselves_are_no_glare():
    """Bands that only move, as over a hill of a band's height, stay between their darkest and their brightest."""
    phase, _ = bands()
    value = 1.0 + 0.5 * np.cos(phase + bump(radius=30.0, height=6.0)) + noise(sigma=0.02)
    one = np.ones_like(value)
    assert not glare(value, light=one, modulation=0.5 * one, present=everywhere(), missing=~everywhere()).any()


def test_a_contrast_that_is_not_settled_is_no_glare():
    """Where bands are deeper than the model has it so far they exceed it on both sides: nothing is given up."""
    phase, _ = bands()
    value = 1.0 + (0.5 + bump(radius=40.0, height=0.4)) * np.cos(phase)
    one = np.ones_like(value)
    assert not glare(value, light=one, modulation=0.5 * one, present=everywhere(), missing=~everywhere()).any()


def test_no_glare_is_seen_where_nothing_is_present():
    """Clipped pixels are left out already: their values say nothing."""
    value, disc = glared(added=1.2)
    one = np.ones_like(value)
    assert not glare(value, light=one, modulation=0.5 * one, present=~disc, missing=disc).any()


def test_a_washed_out_core_belongs_to_the_glare_around_it():
    """A bell of light whose core is clipped is given up with its skirt: all places where it still adds a hundredth of the light."""
    phase, _ = bands()
    y, x = np.indices((SIDE, SIDE)) - SIDE // 2
    bell = 6.0 * np.exp(-(x * x + y * y) / 12.0**2)
    value = 1.0 + 0.5 * np.cos(phase) + noise(sigma=0.02) + bell
    core = value > 2.5
    one = np.ones_like(value)
    found = glare(value, light=one, modulation=0.5 * one, present=~core, missing=core)
    assert found[bell > 0.01].all()
    assert not found[np.hypot(x, y) > 60.0].any()
