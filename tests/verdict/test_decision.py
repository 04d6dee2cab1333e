"""Guard-banded decisions. Source: ISO 14253-1:2017 (95 % conformance probability, one limit: 1.65 u; from memory), JCGM 106:2012, 8.3."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from straightband.uncertainty import COVERAGE_95
from straightband.verdict.decision import Decision, all_of, decide_at_least, decide_at_most, guard_band

MEETS, FAILS, CANNOT_TELL = Decision.MEETS, Decision.FAILS, Decision.CANNOT_TELL
VALUES = st.floats(-1e3, 1e3)


def test_the_words_are_those_of_the_contract():
    """A decision reads as one of three phrases."""
    assert [str(decision) for decision in Decision] == ["meets", "fails", "cannot tell yet"]


def test_the_guard_band_is_one_sided():
    """It is 1.645 standard uncertainties when the expanded one is 1.960 of them."""
    assert guard_band(COVERAGE_95) == pytest.approx(norm.ppf(0.95), rel=1e-6)


@pytest.mark.parametrize(
    ("value", "uncertainty", "decision"),
    [
        (0.95, 0.0, MEETS),
        (0.9499, 0.0, FAILS),
        (0.99, 0.02, MEETS),
        (0.95, 0.02, CANNOT_TELL),
        (0.9668, 0.02, MEETS),
        (0.9667, 0.02, CANNOT_TELL),
        (0.9333, 0.02, CANNOT_TELL),
        (0.9332, 0.02, FAILS),
        (0.99, math.inf, CANNOT_TELL),
        (0.99, math.nan, CANNOT_TELL),
        (math.nan, 0.01, CANNOT_TELL),
    ],
)
def test_edges_of_the_zones(value, uncertainty, decision):
    """For a limit of 0.95 the zones end 0.01678 from it when the expanded uncertainty is 0.02; on the limit with no doubt it is met."""
    assert decide_at_least(value, limit=0.95, uncertainty=uncertainty) is decision


@given(value=VALUES, limit=VALUES, uncertainty=st.floats(0, 100))
def test_at_most_mirrors_at_least(value, limit, uncertainty):
    """An upper limit is a lower limit seen from the other side."""
    assert decide_at_most(value, limit=limit, uncertainty=uncertainty) is decide_at_least(-value, limit=-limit, uncertainty=uncertainty)


@given(value=VALUES, limit=VALUES, small=st.floats(0, 50), more=st.floats(0, 50))
def test_more_doubt_never_decides_more(value, limit, small, more):
    """What is decided with some doubt can only become undecided with more, never the opposite."""
    before = decide_at_least(value, limit=limit, uncertainty=small)
    after = decide_at_least(value, limit=limit, uncertainty=small + more)
    assert after in {before, CANNOT_TELL}


@pytest.mark.parametrize(
    ("decisions", "whole"),
    [([MEETS, MEETS], MEETS), ([MEETS, CANNOT_TELL], CANNOT_TELL), ([CANNOT_TELL, FAILS, MEETS], FAILS), ([], MEETS)],
)
def test_the_whole_is_as_good_as_its_parts(decisions, whole):
    """One failure fails the whole, otherwise one doubt leaves it in doubt."""
    assert all_of(decisions) is whole


def test_five_in_a_hundred_at_the_limit_are_let_pass():
    """Of 20,000 pieces that lie exactly on the limit, measured with normal errors, 5 % are said to meet and 5 % to fail."""
    errors = norm.ppf((np.arange(20_000) + 0.5) / 20_000)  # every quantile once, no luck
    said = [decide_at_least(error, limit=0.0, uncertainty=COVERAGE_95) for error in errors]
    assert said.count(MEETS) / 20_000 == pytest.approx(0.05, abs=1e-4)
    assert said.count(FAILS) / 20_000 == pytest.approx(0.05, abs=1e-4)
