"""What a band is worth, and what spoils it: each value derived from 2 t cos(theta) = m lambda, with the derivation in the test.

Sources: two-beam interference of a thin film (M. Born, E. Wolf, Principles of Optics, section 7.6, from memory); Fourier transform of a
Gaussian spectrum for lamps of some width.
"""

import math

import numpy as np
import pytest

from straightband.light.bands import (
    false_sag_nm,
    gap_for_contrast_um,
    height_per_band_nm,
    led_contrast,
    relative_radius_m,
    wedge_rad,
)

HG = 546.074
ARCSEC = math.pi / 180 / 3600


@pytest.mark.parametrize(("wavelength", "nm"), [(HG, 273.037), (589.2938, 294.6469), (632.8, 316.4), (630.0, 315.0)])
def test_a_band_is_half_a_wavelength_of_gap(wavelength, nm):
    """Seen squarely, neighbouring bands are half a wavelength apart in gap: the path is 2 t."""
    assert height_per_band_nm(wavelength_nm=wavelength) == pytest.approx(nm, abs=1e-6)


@pytest.mark.parametrize(("degrees", "nm"), [(5, 274.079957), (15, 282.6687025), (30, 315.2759709), (45, 386.1326284)])
def test_a_band_is_worth_more_seen_obliquely(degrees, nm):
    """The path of a plane-parallel film is 2 t cos(theta), so a band is lambda / (2 cos theta)."""
    assert height_per_band_nm(wavelength_nm=HG, incidence_rad=math.radians(degrees)) == pytest.approx(nm, rel=1e-8)


@pytest.mark.parametrize(
    ("t_um", "r_mm", "camera_mm", "nm"), [(5, 100, 1000, 24.81404895), (5, 100, 2000, 6.238305611), (20, 75, 600, 154.4424657)]
)
def test_a_near_camera_sees_a_hollow_that_is_not_there(t_um, r_mm, camera_mm, nm):
    """A uniform gap seen at angle atan(r / L) has the path of a smaller one, by t (1 - cos): the apparent sag."""
    assert false_sag_nm(gap_um=t_um, radius_mm=r_mm, camera_mm=camera_mm) == pytest.approx(nm, rel=1e-6)


def test_the_false_hollow_is_what_counting_bands_along_the_radius_gives():
    """Orders 2 t cos(theta) / lambda at centre and rim, turned back to height at normal view, differ by the stated sag."""
    t_nm, r, camera = 5000.0, 100.0, 1000.0
    centre, rim = 2 * t_nm / HG, 2 * t_nm * camera / math.hypot(r, camera) / HG
    assert (centre - rim) * HG / 2 == pytest.approx(false_sag_nm(gap_um=5, radius_mm=r, camera_mm=camera), rel=1e-9)


@pytest.mark.parametrize(
    ("bow", "spacing", "wavelength", "nm"), [(3, 12, HG, 68.25925), (1, 20, 632.8, 15.82), (0.1, 1, 589.2938, 29.46469)]
)
def test_height_from_the_bow_of_a_band(bow, spacing, wavelength, nm):
    """One spacing of bow is one band of height, so bow / spacing bands."""
    assert bow / spacing * height_per_band_nm(wavelength_nm=wavelength) == pytest.approx(nm, rel=1e-9)


@pytest.mark.parametrize(("a", "bands", "wavelength", "metres"), [(100, 1, HG, 18312.5364), (50, 3, 589.2938, 1414.122011)])
def test_radius_of_a_pair_from_its_rings(a, bands, wavelength, metres):
    """N rings over the semi-diameter a mean a sag of N lambda / 2 = a^2 / (2 R)."""
    assert relative_radius_m(radius_mm=a, bands=bands, wavelength_nm=wavelength) == pytest.approx(metres, rel=1e-8)


def test_radius_from_two_rings():
    """Between dark rings k and m the gap grows by (m - k) lambda / 2, so only the difference of the squared radii counts."""
    between = math.sqrt(40.0**2 - 20.0**2)
    assert relative_radius_m(radius_mm=between, bands=4, wavelength_nm=632.8) == pytest.approx(474.0834387, rel=1e-9)


def test_sag_of_one_ring_is_one_band():
    """The radius that one ring over the semi-diameter gives has a sag of half a wavelength (a^2 / 2 R, NEWTON's rings)."""
    radius_m = relative_radius_m(radius_mm=100, bands=1, wavelength_nm=HG)
    assert 0.1**2 / (2 * radius_m) * 1e9 == pytest.approx(273.037, rel=1e-9)


@pytest.mark.parametrize(("n", "chord", "bow"), [(1.0, 1.0, 1.0), (1.0, math.sqrt(1 - 0.6**2), 0.64), (0.5, math.sqrt(1 - 0.5**2), 0.375)])
def test_bow_of_a_wedge_band_of_a_pair_with_power(n, chord, bow):
    """Along a chord of half-length c the gap changes by c^2 / (2 R): N (c / a)^2 spacings when N bands are the sag over a."""
    radius_m = relative_radius_m(radius_mm=100, bands=n, wavelength_nm=HG)
    rise_nm = (chord * 0.1) ** 2 / (2 * radius_m) * 1e9
    assert rise_nm / height_per_band_nm(wavelength_nm=HG) == pytest.approx(bow, rel=1e-9)


@pytest.mark.parametrize("spacing", [20.0, 100.0 / 5])
def test_wedge_from_the_spacing_of_bands(spacing):
    """20 mm per band, or 5 bands on 100 mm, is a wedge of lambda / (2 p) = 2.816 arc seconds."""
    assert wedge_rad(spacing_mm=spacing, wavelength_nm=HG) / ARCSEC == pytest.approx(2.815896192, rel=1e-6)


@pytest.mark.parametrize(
    ("wavelength", "fwhm", "contrast", "um"),
    [(630, 20, 0.5, 4.378513485), (630, 20, 0.1, 7.980347547), (620, 15, 0.5, 5.65415498), (660, 25, 0.5, 3.844354697)],
)
def test_gap_at_which_an_led_fades(wavelength, fwhm, contrast, um):
    """Gap for a contrast from the Fourier transform of a Gaussian line; half contrast at (ln 2 / pi) l^2 / dl."""
    assert gap_for_contrast_um(contrast=contrast, wavelength_nm=wavelength, fwhm_nm=fwhm) == pytest.approx(um, rel=1e-6)


@pytest.mark.parametrize(("gap", "contrast", "within"), [(3.0, 0.722240003, 1e-6), (10.0, 0.02690263875, 1e-6)])
def test_contrast_of_an_led_at_a_gap(gap, contrast, within):
    """Contrast left at 3 and 10 micrometres of gap under a 630 nm lamp 20 nm wide, by the same transform."""
    assert led_contrast(gap_um=gap, wavelength_nm=630, fwhm_nm=20) == pytest.approx(contrast, rel=within)


def test_bands_to_half_contrast():
    """A red 20 nm wide lamp shows 13.9 bands between contact and half contrast."""
    gap_nm = 1000 * gap_for_contrast_um(contrast=0.5, wavelength_nm=630, fwhm_nm=20)
    assert gap_nm / height_per_band_nm(wavelength_nm=630) == pytest.approx(13.90004281, rel=1e-6)


def test_contrast_is_that_of_bands_summed_over_the_spectrum():
    """Adding up cos(4 pi t / lambda) over a Gaussian spectrum, numerically, leaves the contrast of the closed form."""
    fwhm, mean, gap_nm = 20.0, 630.0, 3000.0
    wave_number = np.linspace(-6, 6, 4001) * fwhm / mean**2 + 1 / mean
    spread = fwhm / mean**2 / (2 * math.sqrt(2 * math.log(2)))
    power = np.exp(-((wave_number - 1 / mean) ** 2) / (2 * spread**2))
    seen = abs(np.sum(power * np.exp(4j * np.pi * gap_nm * wave_number)) / power.sum())
    assert led_contrast(gap_um=3, wavelength_nm=mean, fwhm_nm=fwhm) == pytest.approx(seen, rel=1e-6)


@pytest.mark.parametrize(("true", "assumed", "percent"), [(589.2938, 546.074, -7.334168457), (630.0, 632.8, 0.4444444)])
def test_a_wrong_lamp_scales_every_height(true, assumed, percent):
    """Heights go with the wavelength taken: sodium read as mercury green is 7.3 % low, a red LED read as a laser 1.4 nm a band high."""
    ratio = height_per_band_nm(wavelength_nm=assumed) / height_per_band_nm(wavelength_nm=true)
    assert 100 * (ratio - 1) == pytest.approx(percent, abs=1e-6)
