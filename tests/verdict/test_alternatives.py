"""Maps that could be true as well, and the spread of a figure over them. Source: JCGM 101:2008 for propagation by draws; no other."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from straightband.errors import BadInput
from straightband.face.polynomials import face_polynomials
from straightband.face.shapes import ellipse
from straightband.heightmap.map import HeightMap
from straightband.uncertainty import COVERAGE_95
from straightband.verdict.alternatives import expanded_loss, expanded_spread, random_alternatives, smooth_alternatives

FACE = ellipse(minor_mm=60)


def a_map(uncertainty=4.0):
    u, v = np.linspace(-30, 30, 61), np.linspace(-43, 43, 87)
    uu, vv = np.meshgrid(u, v)
    heights = np.where(FACE.clear_aperture().contains(uu, vv), 0.01 * uu * vv, np.nan)
    return HeightMap(heights_nm=heights, u_mm=u, v_mm=v, uncertainty_nm=np.full(heights.shape, uncertainty), face=FACE)


def test_smooth_figures_have_the_size_of_the_uncertainty():
    """Each of power and two astigmatisms comes with plus and minus the rms of the map's 95 % uncertainty."""
    made = a_map()
    change = (smooth_alternatives(made).heights_nm - made.heights_nm)[:, made.valid]
    assert change.shape[0] == 6
    np.testing.assert_allclose(np.sqrt(np.mean(change**2, axis=1)), 4.0, rtol=1e-9)
    np.testing.assert_allclose(change[:3], -change[3:])


def test_smooth_figures_are_second_order_and_unlike():
    """They are power and the astigmatisms of the clear aperture, no two alike."""
    made = a_map()
    change = (smooth_alternatives(made).heights_nm - made.heights_nm)[:3, made.valid]
    u, v, _ = made.points()
    second = face_polynomials(u, v, face=made.clear, order=2)[3:6]
    np.testing.assert_allclose(change @ second.T / u.size / 4.0, np.eye(3), atol=0.02)  # steps of the grid at the rim


@given(direction=st.tuples(*[st.floats(-1, 1)] * 3), slope=st.tuples(*[st.floats(-5, 5)] * 3))
def test_no_mixture_of_the_figures_does_more_harm(direction, slope):
    """A figure that answers in a straight line changes by no more than the stated spread for any mixture of the same size."""
    size = np.linalg.norm(direction)
    harm = abs(np.dot(direction, slope)) / size if size > 0 else 0.0
    pairs = np.concatenate([np.array(slope), -np.array(slope)]) + 10.0
    assert expanded_spread(np.array(10.0), pairs, drawn=False) >= harm * (1 - 1e-9) - 1e-12


def test_a_map_that_does_not_say_its_uncertainty_has_none_to_give():
    """Without a single known uncertainty the alternatives are not known either."""
    assert np.all(np.isnan(smooth_alternatives(a_map(np.nan)).heights_nm))


def test_spread_of_draws_is_two_sided_95_percent():
    """For a normal figure the spread is 1.96 standard deviations, and a shift of all draws adds as a square."""
    draws = np.random.default_rng(4).normal(0.0, 2.0, size=200_000)
    assert expanded_spread(np.array(0.0), draws, drawn=True) == pytest.approx(2 * COVERAGE_95, rel=0.01)
    assert expanded_spread(np.array(3.0), draws, drawn=True) == pytest.approx(COVERAGE_95 * np.sqrt(4 + 9), rel=0.01)


@pytest.mark.parametrize("shape", [(29, 87, 61), (40, 61, 87), (87, 61)])
def test_draws_that_do_not_fit_the_map_are_refused(shape):
    """Too few draws, or on another grid, are refused with what is needed."""
    with pytest.raises(BadInput) as refused:
        random_alternatives(a_map(), draws_nm=np.zeros(shape))
    assert str(refused.value) == (
        f"the random maps come as an array of shape {shape}; at least 30 maps on the grid (87, 61) are needed; draw them on the grid of the map."
    )


def loss(figure):
    """A hundredth of the sum of squares."""
    return 0.01 * np.sum(figure**2, axis=-1)


@pytest.mark.parametrize(("ratio", "most"), [(2.0, 0.975), (10.0, 0.96)])
def test_the_interval_of_a_loss_holds_the_truth(ratio, most):
    """Three modes whose figure is `ratio` times their error (JCGM 101:2008): the interval holds the true loss in 93 of 100, and not in nearly all."""
    rng = np.random.default_rng(0)
    held = []
    for _ in range(1500):
        true = rng.standard_normal(3)
        true *= ratio * np.sqrt(3.0) / np.linalg.norm(true)
        seen, draws = true + rng.standard_normal(3), rng.standard_normal((60, 3))
        stated = expanded_loss(float(loss(seen)), loss(seen + draws), mirrored=loss(seen - draws))
        held.append(abs(loss(seen) - loss(true)) <= stated)
    assert 0.93 <= np.mean(held) <= most


def test_a_loss_that_answers_in_a_straight_line_keeps_its_whole_spread():
    """Closed form: changes that only change sign with the error give 1.96 times their rms."""
    change = np.random.default_rng(1).standard_normal(60)
    assert expanded_loss(100.0, 100.0 + change, mirrored=100.0 - change) == pytest.approx(COVERAGE_95 * np.sqrt(np.mean(change**2)))


def test_a_loss_that_is_all_error_is_as_uncertain_as_the_error_alone():
    """Where the mean change is the whole loss, nothing of figure times error is left: only what does not change sign counts."""
    even, odd = np.full(60, 0.5), np.linspace(-3.0, 3.0, 60)
    assert expanded_loss(0.5, 0.5 + even + odd, mirrored=0.5 + even - odd) == pytest.approx(COVERAGE_95 * 0.5)
