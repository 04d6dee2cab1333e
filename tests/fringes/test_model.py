"""The model of a picture of bands at the known answer, before any solver is trusted with it."""

import numpy as np
import pytest

from straightband.face.polynomials import circle_polynomials
from straightband.fringes.model import LARGEST_STEP_RAD, USUAL, BandModel, Samples, explained, seed, step

COEFFICIENTS = np.array([0.3, 7.0, -4.0, 0.8, -0.5, 0.6, 0.1, -0.2, 0.15, 0.05])
LIGHT = np.array([0.5, 0.03, -0.02])
FREE = np.full(COEFFICIENTS.size, 1e3)


@pytest.fixture
def points():
    rng = np.random.default_rng(2)
    radius, angle = np.sqrt(rng.uniform(size=3000)), rng.uniform(-np.pi, np.pi, 3000)
    x, y = radius * np.cos(angle), radius * np.sin(angle)
    return circle_polynomials(x, y, order=3)


def picture(basis, *, share=0.6, noise=0.0):
    light = LIGHT @ basis[:3]
    value = light + share * light * np.cos(COEFFICIENTS @ basis)
    return Samples(value=value + noise * np.random.default_rng(3).standard_normal(value.size), weight=np.ones(value.size))


def known_answer(basis, *, share=0.6, noise=0.0):
    samples = picture(basis, share=share, noise=noise)
    light = LIGHT @ basis[:3]
    return samples, BandModel(
        phase_rad=COEFFICIENTS @ basis,
        light=light,
        modulation=share * light,
        coefficients_rad=np.zeros(COEFFICIENTS.size),
        light_coefficients=LIGHT,
        modulation_coefficients=share * LIGHT,
        residual=samples.value - light - share * light * np.cos(COEFFICIENTS @ basis),
    )


def test_seeding_at_the_known_phase_leaves_nothing(points):
    """With the true phase and even light the linear part alone explains the picture to rounding."""
    value = 0.5 + 0.3 * np.cos(COEFFICIENTS @ points)
    samples = Samples(value=value, weight=np.ones(value.size))
    model = seed(samples, phase_rad=COEFFICIENTS @ points, light_basis=points[:3], basis=points)
    assert np.abs(model.residual).max() < 2e-6  # the ridge of 1e-6 that keeps the normal matrix regular
    assert model.light_coefficients == pytest.approx([0.5, 0.0, 0.0], abs=2e-6)  # the same
    assert model.modulation_coefficients == pytest.approx([0.3, 0.0, 0.0], abs=2e-6)  # the same


@pytest.mark.parametrize("piston", [-2.5, -0.7, 0.0, 1.2, 3.0])
def test_seeding_finds_the_piston(points, piston):
    """A phase that is off by a constant is brought home by exactly that constant, round the circle."""
    value = 0.5 + 0.3 * np.cos(COEFFICIENTS @ points)
    samples = Samples(value=value, weight=np.ones(value.size))
    model = seed(samples, phase_rad=COEFFICIENTS @ points + piston, light_basis=points[:3], basis=points)
    turn = np.exp(1j * (model.phase_rad - COEFFICIENTS @ points))
    assert np.abs(turn - 1.0).max() < 1e-5  # the ridge of 1e-6


def test_the_known_answer_is_a_fixed_point(points):
    """At the truth, uneven light with the contrast an even share of it included, a step changes nothing."""
    samples, model = known_answer(points)
    assert np.abs(model.residual).max() < 1e-14  # rounding
    after = step(samples, model, basis=points, light_basis=points[:3], prior_rad=FREE)
    assert np.abs(after.coefficients_rad).max() < 1e-9  # rounding through a solve
    assert after.light_coefficients == pytest.approx(LIGHT, abs=1e-9)  # the same
    assert after.modulation_coefficients == pytest.approx(0.6 * LIGHT, abs=1e-9)  # the same


def test_a_step_takes_a_small_error_to_its_square(points):
    """Gauss-Newton on a picture without noise is quadratic: an error of 1e-3 becomes about 1e-6, of every parameter at once."""
    samples, model = known_answer(points)
    off = 1e-3 * np.random.default_rng(5).standard_normal(COEFFICIENTS.size)
    wrong = seed(samples, phase_rad=(COEFFICIENTS + off) @ points, light_basis=points[:3], basis=points)
    for _ in range(2):
        wrong = step(samples, wrong, basis=points, light_basis=points[:3], prior_rad=FREE)
    assert np.abs(wrong.phase_rad - model.phase_rad).max() < 1e-4  # the light starts even, so the first step is only linear in it
    for _ in range(3):
        wrong = step(samples, wrong, basis=points, light_basis=points[:3], prior_rad=FREE)
    assert np.abs(wrong.phase_rad - model.phase_rad).max() < 1e-8  # rounding and the prior


def test_a_step_is_cut_to_what_stays_in_the_basin(points):
    """However wrong the start, the rms change of the phase in one step is a radian at most."""
    samples, model = known_answer(points, noise=0.01)
    wrong = seed(samples, phase_rad=(COEFFICIENTS + 2.0) @ points, light_basis=points[:3], basis=points)
    moved = step(samples, wrong, basis=points, light_basis=points[:3], prior_rad=FREE).phase_rad - wrong.phase_rad
    assert np.sqrt(np.mean(moved**2)) <= LARGEST_STEP_RAD * (1.0 + 1e-9)  # rounding
    assert model.phase_rad.size == moved.size


def test_a_tight_prior_holds_the_coefficients(points):
    """A coefficient believed to be zero to a millionth stays there although the picture would have it otherwise."""
    samples, _ = known_answer(points, noise=0.01)
    wrong = seed(samples, phase_rad=(COEFFICIENTS * np.r_[np.ones(6), np.zeros(4)]) @ points, light_basis=points[:3], basis=points)
    prior = np.r_[np.full(6, 1e3), np.full(4, 1e-6)]
    for _ in range(3):
        wrong = step(samples, wrong, basis=points, light_basis=points[:3], prior_rad=prior)
    assert np.abs(wrong.coefficients_rad[6:]).max() < 1e-6  # the belief


def test_at_rest_the_picture_pulls_as_hard_as_the_beliefs(points):
    """Where the steps come to rest the gradient of the picture equals that of the prior, for phase, modulation and light alike."""
    light_basis, prior = points[:3], np.full(COEFFICIENTS.size, 0.003)
    light = LIGHT @ light_basis
    value = light + 0.6 * (light + 0.05 * points[2]) * np.cos(COEFFICIENTS @ points)
    samples = Samples(value=value + 0.05 * np.random.default_rng(3).standard_normal(value.size), weight=np.ones(value.size))
    at_rest = seed(samples, phase_rad=(COEFFICIENTS + 0.02) @ points, light_basis=light_basis, basis=points)
    for _ in range(30):
        at_rest = step(samples, at_rest, basis=points, light_basis=light_basis, prior_rad=prior)
    variance = np.mean(at_rest.residual**2)
    cos, sin = np.cos(at_rest.phase_rad), np.sin(at_rest.phase_rad)
    over = at_rest.overtone
    by_phase = (points * (-at_rest.modulation * (sin + 4.0 * over * sin * cos))) @ at_rest.residual
    size = np.abs(by_phase).max()
    assert size > 0.1
    assert by_phase == pytest.approx(variance / prior**2 * at_rest.coefficients_rad, abs=1e-3 * size)  # rounding and the last step
    share = at_rest.modulation_coefficients[0] / at_rest.light_coefficients[0]
    miss = (at_rest.modulation_coefficients - share * at_rest.light_coefficients)[1:]
    hold = variance / (USUAL.contrast_spread * at_rest.modulation_coefficients[0]) ** 2
    by_modulation = ((light_basis * (cos + over * np.cos(2.0 * at_rest.phase_rad))) @ at_rest.residual)[1:]
    size = np.abs(by_modulation).max()
    assert size > 0.1
    assert by_modulation == pytest.approx(hold * miss, abs=1e-3 * size)  # the same
    even = variance / (USUAL.light_spread * at_rest.light_coefficients[0]) ** 2 * at_rest.light_coefficients[1:]
    assert (light_basis @ at_rest.residual)[1:] == pytest.approx(even - hold * share * miss, abs=1e-3 * size)  # the same


def test_pixels_without_weight_do_not_count(points):
    """Half the pixels ruined but without weight change neither the step nor the share explained."""
    samples, model = known_answer(points)
    ruined = samples.value.copy()
    ruined[::2] += 5.0
    weight = np.ones(ruined.size)
    weight[::2] = 0.0
    spoilt = Samples(value=ruined, weight=weight)
    wrong = seed(spoilt, phase_rad=model.phase_rad, light_basis=points[:3], basis=points)
    for _ in range(3):
        wrong = step(spoilt, wrong, basis=points, light_basis=points[:3], prior_rad=FREE)
    assert np.abs(wrong.phase_rad - model.phase_rad).max() < 1e-6  # rounding and the prior
    assert explained(spoilt, wrong) == pytest.approx(1.0, abs=1e-9)  # nothing left where it counts


def test_the_share_explained_is_one_less_noise_over_signal(points):
    """With noise sigma on bands of variance s^2 the true model explains 1 - sigma^2 / (s^2 + sigma^2), in closed form."""
    samples, model = known_answer(points, noise=0.05)
    signal = np.mean((model.modulation * np.cos(model.phase_rad)) ** 2)
    assert explained(samples, model) == pytest.approx(
        1.0 - 0.05**2 / (signal + 0.05**2), abs=0.004
    )  # 3000 pixels: 3 % of the noise's share
