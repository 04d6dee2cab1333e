"""What runs teach of the laps: true rates that are known, runs gone wrong, laps that change, and whether the interval keeps its word."""

import numpy as np
import pytest

from straightband.advice.strokes.rates import (
    OWN_DRIFT,
    OWN_SPREAD,
    SHARED_DRIFT,
    SHARED_SPREAD,
    STROKE_SPREAD,
    Shown,
    before_any_run,
    interval,
    learnt,
    shown_by_run,
)

NAMES = ("full", "half")


def shown(factor, rng, *, lap=0, noise=0.05):
    """One run with one stroke of one lap."""
    seen = factor * (1.0 + STROKE_SPREAD * rng.standard_normal()) + noise * rng.standard_normal()
    return Shown(
        laps=np.array([lap]),
        factors=np.array([seen]),
        map_covariance=np.array([[noise**2]]),
        stroke_covariance=np.array([[STROKE_SPREAD**2]]),
    )


def after_runs(factors, rng, **said):
    rates = before_any_run(NAMES)
    for factor in factors:
        rates = learnt(rates, shown(factor, rng, **said))
    return rates


@pytest.mark.parametrize("factor", [0.3, 0.6, 1.0, 1.8, 3.0])
def test_five_runs_find_the_rate(factor):
    """Whatever the true rate between 0.3 and 3 times the default, five runs tell it to 15 % in the root mean square of 60 shops."""
    found = np.array([interval(after_runs([factor] * 5, np.random.default_rng(seed), noise=0.05 * factor), 0)[0] for seed in range(60)])
    assert np.sqrt(np.mean((found / factor - 1.0) ** 2)) < 0.15


def test_more_runs_tell_more():
    """The interval narrows with runs, though never below what the wandering of a lap leaves."""
    widths = [float(after_runs([1.0] * count, np.random.default_rng(1)).log_uncertainty[0]) for count in (0, 1, 3, 10)]
    assert widths == sorted(widths, reverse=True)
    assert widths[-1] > np.hypot(SHARED_DRIFT, OWN_DRIFT)


def test_a_run_gone_wrong_does_not_carry_the_estimate_away():
    """After six good runs one that shows six times the rate moves it by less than a fifth, where plain least squares would move it by half."""
    rng = np.random.default_rng(2)
    before = after_runs([1.0] * 6, rng)
    wrong = learnt(before, shown(6.0, rng))
    assert abs(float(wrong.log_mean[0] - before.log_mean[0])) < np.log(1.2)


def test_a_lap_that_slows_is_followed():
    """A rate that falls by 6 % a run over 15 runs is told to 20 % at the end, though the first runs said twice as much."""
    rng = np.random.default_rng(3)
    factors = 1.5 * 0.94 ** np.arange(15)
    assert interval(after_runs(factors, rng), 0)[0] == pytest.approx(factors[-1], rel=0.2)


def test_a_lap_learns_from_its_neighbour():
    """A lap that has not been used takes over part of what another with the same polish showed, and stays less sure of it."""
    rates = after_runs([2.5] * 4, np.random.default_rng(4))
    assert 1.5 < interval(rates, 1)[0] < 2.5
    assert rates.log_uncertainty[0] < rates.log_uncertainty[1] < before_any_run(NAMES).log_uncertainty[1]
    assert rates.runs == (4, 0)


def test_two_laps_of_one_run_are_told_apart():
    """The change of a map made by two laps of different shapes of wear gives each its own factor (least squares, closed form)."""
    x = np.linspace(-1.0, 1.0, 101)
    foretold = np.stack([x**2 - np.mean(x**2), np.cos(6.0 * x) - np.mean(np.cos(6.0 * x))])
    drawn = 1e-3 * np.random.default_rng(5).standard_normal((60, 101))
    found = shown_by_run(2.0 * foretold[0] + 0.5 * foretold[1], foretold_nm=foretold, of_lap=np.array([0, 1]), drawn_nm=drawn)
    assert found.factors == pytest.approx([2.0, 0.5], rel=1e-6)


def test_the_interval_holds_the_truth_as_often_as_it_says():
    """With true rates drawn as assumed, three runs and wandering between them, the 95 % interval holds the last rate in 92 to 98 % of 600 shops."""
    held = 0
    for seed in range(600):
        rng = np.random.default_rng(seed)
        log = SHARED_SPREAD * rng.standard_normal() + OWN_SPREAD * rng.standard_normal()
        rates = before_any_run(NAMES)
        for _ in range(3):
            log += SHARED_DRIFT * rng.standard_normal() + OWN_DRIFT * rng.standard_normal()
            rates = learnt(rates, shown(float(np.exp(log)), rng))
        _, low, high = interval(rates, 0)
        held += low <= np.exp(log) <= high
    assert 0.92 <= held / 600 <= 0.98
