"""The fade of wide lines taken out of the contrast: the transform of a Gaussian line is the yardstick."""

import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from benchmarks.drawn_setups import drawn_setup
from benchmarks.setups import STREAM, setup_of
from straightband.errors import BandsUnreadable
from straightband.fringes.fade import without_fade
from straightband.light.lines import LAMPS
from straightband.synthetic.render import render
from straightband.synthetic.truth import thicker_hour, truth_map
from straightband.workflows.read import read_photo

COHERENT_BANDS = 15.0
ORDERS = np.linspace(3.0, 11.0, 400)  # from contact, in bands


def line_contrast(orders):
    """Contrast of a Gaussian line at a path of so many wavelengths, by summing its cosines over the spectrum."""
    frequency = np.linspace(0.6, 1.4, 4001)
    spectrum = np.exp(-4.0 * math.log(2.0) * ((frequency - 1.0) * COHERENT_BANDS) ** 2)
    wave = np.exp(2j * np.pi * orders[:, None] * frequency) @ spectrum
    return np.abs(wave) / spectrum.sum()


@pytest.mark.parametrize("sense", [1.0, -1.0])
def test_the_fade_of_a_gaussian_line_leaves_a_constant_contrast(sense):
    """Closed form: whichever way the phase counts and wherever the gap starts, what is left is even to a part in ten thousand."""
    left = without_fade(0.6 * line_contrast(ORDERS), sense * 2.0 * np.pi * ORDERS + 1.0, coherent_bands=COHERENT_BANDS)
    assert np.ptp(left) / np.mean(left) < 1e-4
    assert np.ptp(line_contrast(ORDERS)) / np.mean(line_contrast(ORDERS)) > 1.0


def test_a_narrow_line_has_no_fade():
    """Contrast stays as it is, and hardly changes for the doublet of sodium."""
    contrast = np.linspace(0.2, 0.8, ORDERS.size)
    assert without_fade(contrast, 2.0 * np.pi * ORDERS, coherent_bands=math.inf) is contrast
    sodium = without_fade(contrast, 2.0 * np.pi * ORDERS, coherent_bands=LAMPS["sodium"].coherent_bands)
    assert sodium / sodium.mean() == pytest.approx(contrast / contrast.mean(), rel=0.03)


def test_no_fade_is_steeper_than_the_line_allows():
    """A contrast that falls to nothing within one band is frost, not the lamp."""
    bands = np.linspace(0.0, 1.0, 100)
    left = without_fade(np.exp(-6.0 * bands), 2.0 * np.pi * bands, coherent_bands=COHERENT_BANDS)
    assert left[0] / left[-1] > 100.0


def first_of(seed):
    """A set-up drawn at random, its first photograph, and what is said of that one."""
    rng = np.random.default_rng([seed, STREAM])
    drawn = drawn_setup(rng)
    rendered = render(drawn.scenes[0], rng=rng)
    return drawn, rendered.encode(), replace(setup_of(drawn, rendered=[rendered]), thicker=thicker_hour(drawn.scenes[0]))


def test_bands_that_fade_toward_one_side_are_read_to_the_end():
    """A drawn photograph under a green LED: of two phases the one with a fold where the bands are faintest was once taken, 19 nm off."""
    drawn, data, setup = first_of(20005)
    found = read_photo(data, name="bands.jpg", setup=setup, reference=drawn.reference).height_map
    truth = truth_map(replace(drawn.scenes[0], surface=drawn.glass), u_mm=found.u_mm, v_mm=found.v_mm)
    assert np.nanstd(found.heights_nm - truth.heights_nm) < 4.0


def test_bands_faded_nearly_away_are_refused_in_a_sentence():
    """Bands of a green LED far from contact: one try trusted no pixel at all, explained that perfectly, and what set out from it once ended the program."""
    drawn, data, setup = first_of(60679)
    with pytest.raises(BandsUnreadable, match="bands"):
        read_photo(data, name="bands.jpg", setup=setup, reference=drawn.reference)
