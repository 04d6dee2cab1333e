"""Strehl by the pupil integral, against closed forms and another optimiser.

Sources: V. N. Mahajan, Strehl ratio for primary aberrations, J. Opt. Soc. Am. 72, 1258 (1982), M. Born, E. Wolf, Principles of Optics, ch. 9; the
integrals are written out in each test and done by scipy.
"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import minimize
from scipy.special import j0

from straightband.face.polynomials import circle_polynomials
from straightband.telescope.light_cone import pupil_points
from straightband.verdict.strehl import best_focus_strehl, exponential_strehl, refocused, strehl_ratio

NM = 550.0
PUPIL = pupil_points(rings=24, spokes=64)
R2 = PUPIL.x**2 + PUPIL.y**2
ANGLE = np.arctan2(PUPIL.y, PUPIL.x)
NOLL = circle_polynomials(PUPIL.x, PUPIL.y, order=6)
COEFFICIENTS = st.lists(st.floats(-30, 30), min_size=len(NOLL), max_size=len(NOLL)).map(np.array)


def best(wavefront, pupil=PUPIL):
    return best_focus_strehl(np.atleast_2d(wavefront), pupil=pupil, wavelength_nm=NM)[0]


def as_it_stands(wavefront):
    return strehl_ratio(wavefront, weights=PUPIL.weights, wavelength_nm=NM)


def test_no_aberration_is_a_strehl_of_one():
    """A flat wavefront has all of its light."""
    assert as_it_stands(0 * R2) == pytest.approx(1.0, abs=1e-14)
    assert best(0 * R2) == pytest.approx(1.0, abs=1e-14)


@pytest.mark.parametrize("waves", [0.1, 0.25, 0.5, 1.3])
def test_defocus_is_sinc_squared(waves):
    """A defocus of PV p waves leaves sinc^2(p) (Born and Wolf 8.8), 0.8106 for a quarter wave; refocused it leaves 1."""
    assert as_it_stands(waves * NM * R2) == pytest.approx(np.sinc(waves) ** 2, abs=1e-12)
    assert best(waves * NM * R2) == pytest.approx(1.0, abs=1e-12)


def test_quarter_wave_of_defocus():
    """The number of the books: 0.8106."""
    assert as_it_stands(0.25 * NM * R2) == pytest.approx(0.8105694691, rel=1e-9)


@pytest.mark.parametrize(
    ("shape", "integrand", "strehl"),
    [
        (R2**2 - R2, lambda t: np.exp(2j * np.pi * (t * t - t)), 0.8003047962),
        (R2 * np.cos(2 * ANGLE) / 8, lambda t: j0(2 * np.pi * t / 8), 0.9020638917),
        ((3 * R2**1.5 - 2 * R2**0.5) * np.cos(ANGLE) / 8, lambda t: j0(2 * np.pi * (3 * t**1.5 - 2 * t**0.5) / 8), 0.9255669913),
    ],
    ids=["balanced spherical", "astigmatism", "balanced coma"],
)
def test_a_quarter_wave_of_each_classical_aberration(shape, integrand, strehl):
    """Quarter-wave PV of each: the angle done by hand leaves an integral over t = r^2 (Bessel's J0 for the others), done by scipy."""
    by_quad = quad(lambda t: np.real(integrand(t)), 0, 1)[0] ** 2 + quad(lambda t: np.imag(integrand(t)), 0, 1)[0] ** 2
    assert by_quad == pytest.approx(strehl, rel=1e-8)
    assert as_it_stands(shape * NM) == pytest.approx(strehl, rel=1e-8)


def test_a_quarter_wave_of_balanced_spherical_has_a_thirteenth_of_a_wave_rms():
    """r^4 - r^2 has rms 1 / (6 sqrt 5) of its coefficient (MAHAJAN 1982)."""
    rms = math.sqrt(refocused(R2**2, pupil=PUPIL) ** 2 @ PUPIL.weights)
    assert rms == pytest.approx(1 / (6 * math.sqrt(5)), rel=1e-12)


@given(coefficients=COEFFICIENTS)
def test_refocusing_leaves_all_noll_terms_but_the_first_four(coefficients):
    """On the filled disc it takes Noll's piston, tilts and defocus, astigmatism and all others stay as they are."""
    left = NOLL @ (refocused(coefficients @ NOLL, pupil=PUPIL) * PUPIL.weights)
    np.testing.assert_allclose(left, np.where(np.arange(len(NOLL)) < 4, 0.0, coefficients), atol=1e-9)


@settings(max_examples=25)
@given(coefficients=COEFFICIENTS, scale=st.floats(0.2, 1.0))
def test_best_focus_is_what_a_general_optimiser_finds(coefficients, scale):
    """No other tilt and focus near the least-squares one gives more, by scipy's Nelder-Mead on the integral as it stands."""
    wavefront = scale * coefficients @ NOLL
    start = refocused(wavefront, pupil=PUPIL)
    found = minimize(
        lambda c: -as_it_stands(start - c[0] * PUPIL.x - c[1] * PUPIL.y - c[2] * R2), [0.0, 0.0, 0.0],
        method="Nelder-Mead", options={"xatol": 1e-3, "fatol": 1e-10, "initial_simplex": [[0, 0, 0], [9, 0, 0], [0, 9, 0], [0, 0, 9]]},
    )  # fmt: skip
    if -found.fun > 0.3:  # below, the largest value near the start need not be the nearest
        assert best(wavefront) == pytest.approx(-found.fun, abs=1e-6)


def test_the_best_focus_beats_the_least_squares_focus():
    """For a sixth of a wave rms of coma and spherical together the brightest focus is far from the one of least squares, and is found."""
    start = 60 * NOLL[7] + 70 * NOLL[10]
    found = minimize(
        lambda c: -as_it_stands(start - c[0] * PUPIL.x - c[1] * PUPIL.y - c[2] * R2),
        [0.0, 0.0, 0.0],
        method="Nelder-Mead",
        options={"xatol": 1e-4, "fatol": 1e-12, "initial_simplex": [[0, 0, 0], [9, 0, 0], [0, 9, 0], [0, 0, 9]]},
    )
    assert best(start) == pytest.approx(-found.fun, abs=1e-6)
    assert best(start) > as_it_stands(refocused(start, pupil=PUPIL)) + 0.05


@given(coefficients=COEFFICIENTS)
def test_hill_or_hole_have_the_same_strehl(coefficients):
    """W and -W are complex conjugates, so a mirror whose sign is not known has one Strehl."""
    wavefront = coefficients @ NOLL
    assert best(-wavefront) == pytest.approx(best(wavefront), abs=1e-12)


@given(coefficients=COEFFICIENTS, tilt=st.floats(-500, 500), focus=st.floats(-500, 500))
def test_tilt_and_focus_of_the_instrument_do_not_count(coefficients, tilt, focus):
    """However far out of focus and off centre the picture was, the best focus is the same."""
    wavefront = coefficients @ NOLL
    assert best(wavefront + 77 + tilt * PUPIL.x + focus * R2) == pytest.approx(best(wavefront), abs=1e-9)


@settings(max_examples=50)
@given(coefficients=COEFFICIENTS, scale=st.floats(0.0, 0.5))
def test_the_exponential_form_stays_near(coefficients, scale):
    """Where the Strehl exceeds 0.6 the exponential form is within 10 % of the integral (MAHAJAN 1982)."""
    residual = refocused(scale * coefficients @ NOLL, pupil=PUPIL)
    integral = best(residual)
    if integral > 0.6:
        assert exponential_strehl(math.sqrt(residual**2 @ PUPIL.weights), wavelength_nm=NM) == pytest.approx(integral, rel=0.1)


def test_a_fourteenth_of_a_wave():
    """Marechal's lambda / 14 is 0.8176 in the exponential form, and a Strehl of 0.8 is 0.0752 waves."""
    assert exponential_strehl(NM / 14, wavelength_nm=NM) == pytest.approx(0.8175685733, rel=1e-9)
    assert exponential_strehl(0.07518172774 * NM, wavelength_nm=NM) == pytest.approx(0.8, rel=1e-9)
    sigma = 2 * math.pi / 14
    assert exponential_strehl(NM / 14, wavelength_nm=NM) > (1 - sigma**2 / 2) ** 2 > 1 - sigma**2  # Marechal's and the first order


def test_astigmatism_on_a_ring():
    """On the ring between e and 1 astigmatism r^2 cos 2phi has rms sqrt((1 + e^2 + e^4) / 6) and is not refocused away (MAHAJAN 1982)."""
    ring = pupil_points(rings=24, spokes=64, obstruction_ratio=0.3)
    wave = 50 * (ring.x**2 - ring.y**2)
    rms = math.sqrt(refocused(wave, pupil=ring) ** 2 @ ring.weights)
    assert rms == pytest.approx(50 * math.sqrt((1 + 0.3**2 + 0.3**4) / 6), rel=1e-12)


def test_many_wavefronts_are_as_each_alone():
    """A stack gives for each what it gives by itself."""
    waves = np.random.default_rng(2).normal(0, 15, size=(5, len(NOLL))) @ NOLL
    together = best_focus_strehl(waves, pupil=PUPIL, wavelength_nm=NM)
    np.testing.assert_allclose(together, [best(wave) for wave in waves], atol=1e-12)
