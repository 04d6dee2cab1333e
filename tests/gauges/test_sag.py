"""Sag and uncertainty from readings.

Sources: JCGM 100:2008 (GUM), 4.2, 4.3.7 and annex G; three feet on cos(n phi), elementary.
"""

import math

import numpy as np
import pytest
from scipy.stats import t

from straightband.gauges.sag import Readings, sag_from
from straightband.gauges.trend import Trend, trend_of


def readings(values, zeros=(0.0,), *, turned=(), after=(), step=1e-6, **more):
    told = dict(indicator_error_um=0.0, reference_um=0.0, reference_uncertainty_um=0.0) | more
    return Readings(
        values_um=tuple(values), turned_um=tuple(turned), zeros_um=tuple(zeros), zeros_after_um=tuple(after), step_um=step, **told
    )


def test_reading_less_zero_is_the_sag():
    """A face that pushes the tip in by 2.4 um more than the flat did is convex by 2.4 um."""
    assert sag_from(readings([12.5, 12.3], [10.0])).sag_um == pytest.approx(2.4, abs=1e-12)


def test_the_sag_of_the_reference_is_added():
    """Zeroed on a reference that is itself convex, a face reading nothing is as convex as the reference."""
    assert sag_from(readings([10.0], [10.0], reference_um=0.3)).sag_um == pytest.approx(0.3, abs=1e-12)


def test_scatter_is_students():
    """Five readings against an exact zero: t of Student times s over root n (GUM 4.2.3 and G.3)."""
    values = [3.1, 2.9, 3.4, 3.0, 2.6]
    found = sag_from(readings(values, [0.0] * 50))
    # 49 zeros without scatter add degrees of freedom, so the pooled figure is made here from all of them.
    squares = sum((x - np.mean(values)) ** 2 for x in values)
    expected = t.ppf(0.975, 53) * math.sqrt(squares / 53) * math.sqrt(1 / 5 + 1 / 50)
    assert found.uncertainty_um == pytest.approx(expected, rel=1e-5)  # the step is a millionth of it


def test_the_interval_holds_the_truth_as_often_as_it_says():
    """Of 600 gaugings with random scatter the 95 % interval holds the true sag in 92 to 98 %."""
    rng = np.random.default_rng(7)
    held = 0
    for _ in range(600):
        values, turned, zeros, after = (rng.normal(mean, 0.4, size) for mean, size in ((5.0, 3), (5.0, 2), (2.0, 3), (2.0, 2)))
        found = sag_from(readings(values, zeros, turned=turned, after=after, step=0.01))
        # The drift of a zero that does not drift is its scatter, and widens the interval: taken out here, tested below.
        drift = next(term.nm for term in found.budget.terms if term.name == "drift of the zero") / 1000
        held += abs(found.sag_um - 3.0) <= math.sqrt(found.uncertainty_um**2 - drift**2)
    assert 0.92 <= held / 600 <= 0.98


def test_the_step_of_the_dial_counts_though_all_readings_agree():
    """Readings that agree to the last step are no better than that step: rectangular, in reading and zero (GUM 4.3.7)."""
    found = sag_from(readings([12.0] * 5, [10.0] * 5, step=1.0))
    assert found.uncertainty_um == pytest.approx(1.959964 * math.sqrt(2 / 12), rel=1e-6)


def test_a_single_reading_is_trusted_to_a_step():
    """Without repeats each reading may be a step off, and it is said that nothing was repeated."""
    once = sag_from(readings([12.0], [10.0], step=1.0))
    assert not once.repeated
    assert once.uncertainty_um == pytest.approx(math.hypot(math.sqrt(2), 1.959964 * math.sqrt(2 / 12)), rel=1e-6)
    assert sag_from(readings([12.0, 12.5], [10.0], step=1.0)).repeated


def test_a_drifting_zero():
    """The sag is told from the middle of the two zeros; that it may lie anywhere between them counts as rectangular."""
    found = sag_from(readings([12.0, 12.0], [10.0, 10.0], after=[11.0, 11.0]))
    assert found.sag_um == pytest.approx(1.5)
    assert found.drift_um == pytest.approx(1.0)
    assert found.uncertainty_um == pytest.approx(1.959964 * 0.5 / math.sqrt(3), rel=1e-5)
    assert found.drift_um > found.drift_uncertainty_um


@pytest.mark.parametrize(
    ("more", "expected"), [({"indicator_error_um": 3.0}, 1.959964 * 3 / math.sqrt(3)), ({"reference_uncertainty_um": 0.7}, 0.7)]
)
def test_what_is_told_of_dial_and_reference_counts(more, expected):
    """The maker's limit of error is rectangular; the doubt of the reference is taken as it is."""
    assert sag_from(readings([12.0, 12.0], [10.0, 10.0], **more)).uncertainty_um == pytest.approx(expected, rel=1e-5)


def middle_less_feet(lobes, *, height_nm=100.0, at=0.6, turn_deg=0.0):
    """What three feet read on height_nm (r/a)^n cos(n phi), standing at r/a = `at`, in nm."""
    feet = np.radians(turn_deg) + 2 * np.pi * np.arange(3) / 3
    return -np.mean(height_nm * at**lobes * np.cos(lobes * feet))


@pytest.mark.parametrize("turn", [0.0, 17.0, 45.0, 90.0])
def test_three_feet_see_no_astigmatism(turn):
    """On a saddle the middle less the mean of the feet is nothing, however the gauge is turned (SPH-4)."""
    reading = middle_less_feet(2, turn_deg=turn) / 1000
    assert sag_from(readings([10.0 + reading], [10.0])).sag_um == pytest.approx(0.0, abs=1e-12)


def test_three_lobes_read_as_power_that_turning_shows():
    """A three-lobed face reads -21.6 nm one way and +21.6 nm turned by 60 degrees (SPH-4): the mean is none, half the difference is it."""
    plain, turned = middle_less_feet(3), middle_less_feet(3, turn_deg=60.0)
    assert (plain, turned) == pytest.approx((-21.6, 21.6), rel=1e-9)
    assert sag_from(readings([plain / 1000])).sag_um == pytest.approx(-0.0216, rel=1e-9)
    both = sag_from(readings([plain / 1000], turned=[turned / 1000]))
    assert both.sag_um == pytest.approx(0.0, abs=1e-12)
    assert both.three_lobed_um == pytest.approx(-0.0216, rel=1e-9)


def test_the_budget_adds_up():
    """The terms of the budget, as squares, are the uncertainty."""
    found = sag_from(readings([12.1, 12.4], [10.0, 10.2], after=[10.4], step=0.1, indicator_error_um=0.2, reference_uncertainty_um=0.1))
    assert math.hypot(*(term.nm for term in found.budget.terms)) == pytest.approx(1000 * found.uncertainty_um, rel=1e-12)
    assert all(term.nm > 0 for term in found.budget.terms)


@pytest.mark.parametrize(
    ("earlier", "now", "trend"),
    [
        (12.0, 5.0, Trend.TOWARD_FLAT),
        (-12.0, -5.0, Trend.TOWARD_FLAT),
        (5.0, 12.0, Trend.AWAY),
        (5.0, -5.0, Trend.THROUGH),
        (5.0, -0.5, Trend.TOWARD_FLAT),
        (5.0, 4.0, Trend.STILL),
    ],
)
def test_the_trend(earlier, now, trend):
    """Toward flat, away, through it or neither, each known to 1 um."""
    assert trend_of(earlier, now, uncertainty_um=1.0) is trend
