"""Contrast of bands, factor by factor.

Sources: Fresnel at normal incidence and two-beam contrast (Born and Wolf, Principles of Optics, sections 1.5.2 and 7.3); beats of lines, fading of a
Gaussian line and of a round pupil: each derived, and summed here over the spectrum or the disc by quadrature. Lines of sodium: university tables.
"""

import math

import numpy as np
import pytest

from straightband.light.contrast import (
    doublet_contrast,
    doublet_minimum_um,
    lamp_contrast,
    lamp_gap_um,
    pair_contrast,
    pupil_contrast,
    reflectance,
)
from straightband.light.lines import LAMPS, Lamp
from straightband.light.splitter import ghost_mm, plate_ends_mm, shift_mm

SODIUM = {"longer_nm": 589.5924, "shorter_nm": 588.995}


def contrast_by_sum(wavelengths_nm, weights, gap_um):
    """Contrast as the modulus of the mean phasor over a spectrum, at the path of twice the gap."""
    phase = 2.0 * np.pi * 2000.0 * gap_um / np.asarray(wavelengths_nm)
    return abs(np.sum(weights * np.exp(1j * phase)) / np.sum(weights))


@pytest.mark.parametrize(("index", "share"), [(1.5168, 0.04216456259), (1.473, 0.03658255623)])
def test_reflectance_of_bare_glass(index, share):
    """Two glasses by Fresnel's formula (NEWTON-9)."""
    assert reflectance(index) == pytest.approx(share, rel=1e-6)


@pytest.mark.parametrize(("test", "contrast"), [(0.04216456259454582, 0.9990728042), (0.88, 0.434372888)], ids=["bare", "aluminised"])
def test_contrast_of_a_pair(test, contrast):
    """A bare pair gives nearly full contrast, an aluminised face less than half of it (NEWTON-9)."""
    assert pair_contrast(reference=0.04216456259454582, test=test) == pytest.approx(contrast, rel=1e-6)


def test_the_outer_face_takes_a_third():
    """An outer face that sends back as much again without bands leaves two thirds (NEWTON-9: 2R / 3R), the loss in passing aside."""
    assert pair_contrast(reference=1e-6, test=1e-6, stray=1e-6) == pytest.approx(2.0 / 3.0, rel=1e-5)


def test_the_two_lines_of_sodium_beat():
    """They fall out of step at 0.1453 mm and are in step again at twice that; at 2 to 1 a third of the contrast is left between (LIGHT-5)."""
    least = doublet_minimum_um(**SODIUM)
    assert least / 1000.0 == pytest.approx(0.1453243119, rel=1e-4)
    assert doublet_contrast(gap_um=least, ratio=2.0, **SODIUM) == pytest.approx(1 / 3, abs=1e-9)
    assert doublet_contrast(gap_um=2.0 * least, ratio=2.0, **SODIUM) == pytest.approx(1.0, abs=1e-9)
    assert doublet_contrast(gap_um=10.0, **SODIUM) > 0.993  # LIGHT-5: under 0.7 %
    by_sum = contrast_by_sum([589.5924, 588.995], np.array([1.0, 2.0]), 60.0)
    assert lamp_contrast(LAMPS["sodium"], gap_um=60.0) == pytest.approx(by_sum, rel=1e-9)


@pytest.mark.parametrize(
    ("wavelength", "fwhm", "contrast", "gap"),
    [(630, 20, 0.5, 4.378513485), (630, 20, 0.1, 7.980347547), (620, 15, 0.5, 5.65415498), (660, 25, 0.5, 3.844354697)],
)
def test_the_largest_gap_an_led_allows(wavelength, fwhm, contrast, gap):
    """Four LEDs (LIGHT-6), and the same by summing a Gaussian spectrum."""
    led = Lamp(name="LED", wavelength_nm=wavelength, wavelength_uncertainty_nm=10.0, fwhm_nm=fwhm)
    assert lamp_gap_um(led, contrast=contrast) == pytest.approx(gap, rel=2e-3)
    over = np.linspace(wavelength - 4 * fwhm, wavelength + 4 * fwhm, 4001)
    weights = np.exp(-4.0 * math.log(2.0) * ((over - wavelength) / fwhm) ** 2)
    assert contrast_by_sum(over, weights, gap) == pytest.approx(contrast, rel=0.02)  # the formula takes the spectrum as narrow


@pytest.mark.parametrize("name", ["sodium", "red-led"])
def test_gap_and_contrast_of_a_lamp_undo_each_other(name):
    """The gap for half the contrast has half the contrast."""
    gap = lamp_gap_um(LAMPS[name], contrast=0.5)
    assert lamp_contrast(LAMPS[name], gap_um=gap) == pytest.approx(0.5, rel=1e-9)


def test_sodium_never_falls_below_a_third():
    """Asked for less contrast than its lines ever leave, sodium's gap ends at their first minimum."""
    assert lamp_gap_um(LAMPS["sodium"], contrast=0.1) == pytest.approx(doublet_minimum_um(**SODIUM), rel=1e-9)


def test_a_wide_pupil_takes_contrast():
    """Sin u / u: 0.9003 at a quarter wave of spread, 0.5612 at 10 um and 10 degrees (COH-1), and by quadrature over the disc."""
    assert pupil_contrast(gap_um=10.0, half_angle_rad=math.radians(6.694503706), wavelength_nm=546.074) == pytest.approx(
        0.9003163162, rel=1e-8
    )
    assert pupil_contrast(gap_um=10.0, half_angle_rad=math.radians(10.0), wavelength_nm=546.074) == pytest.approx(0.5612279491, rel=1e-6)
    square = (np.arange(4000) + 0.5) / 4000 * math.radians(10.0) ** 2
    phasors = np.exp(4j * np.pi * 10_000.0 * (1.0 - square / 2.0) / 546.074)
    assert abs(phasors.mean()) == pytest.approx(0.5612279491, rel=1e-4)  # the sum's step
    assert pupil_contrast(gap_um=0.0, half_angle_rad=0.1, wavelength_nm=546.0) == 1.0


def test_factors_multiply():
    """Two beams 0.667, source 0.9 and spectrum 0.405 leave 0.243 (COH-3)."""
    led = Lamp(name="LED", wavelength_nm=630.0, wavelength_uncertainty_nm=10.0, fwhm_nm=20.0)
    spectrum = lamp_contrast(led, gap_um=5.0)
    assert spectrum == pytest.approx(0.4049941219833219, rel=3e-3)
    assert 0.667 * 0.9 * spectrum == pytest.approx(0.2431179714, rel=3e-3)


@pytest.mark.parametrize(("thickness", "index", "shift"), [(3.0, 1.5168, 1.003498174), (1.1, 1.518, 0.3683631685)])
def test_shift_of_a_plate_at_45_degrees(thickness, index, shift):
    """Sideways shift by Snell's law (COH-2), and by following the ray."""
    assert shift_mm(thickness_mm=thickness, index=index) == pytest.approx(shift, rel=1e-9)
    inside = math.asin(math.sin(math.pi / 4) / index)
    assert thickness / math.cos(inside) * math.sin(math.pi / 4 - inside) == pytest.approx(shift, rel=1e-9)


def test_ghost_of_a_plate_at_45_degrees():
    """The second face's image lies 2.2356 mm beside that of the first at 3 mm (COH-2), and by following the ray."""
    assert ghost_mm(thickness_mm=3.0, index=1.5168) == pytest.approx(2.235644338, rel=1e-9)
    inside = math.asin(math.sin(math.pi / 4) / 1.5168)
    assert 2.0 * 3.0 * math.tan(inside) * math.cos(math.pi / 4) == pytest.approx(2.235644338, rel=1e-9)


@pytest.mark.parametrize(("slope", "length"), [(0.0, 282.8427125), (0.05, 283.5515915), (-0.05, 283.5515915)])
def test_length_of_a_plate_across_a_beam(slope, length):
    """A collimated beam 200 mm wide takes 282.84 mm of plate, one that narrows or widens by 0.05 takes 283.55 mm (COH-2)."""
    assert math.sqrt(2.0) * sum(plate_ends_mm(radius_mm=100.0, slope=slope)) == pytest.approx(length, rel=1e-9)
