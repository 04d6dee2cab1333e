"""Budgets and rounding. Source: JCGM 100:2008 (GUM), 5.1.2 for the sum of independent terms, 7.2.6 for at most two figures."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from straightband.uncertainty import COVERAGE_95, Term, budget_of, round_with_uncertainty


def budget(*sizes):
    return budget_of(Term(name=f"cause {k}", nm=nm, origin="made up") for k, nm in enumerate(sizes))


def test_independent_terms_add_as_squares():
    """3, 4 and 12 make 13 (GUM 5.1.2)."""
    assert budget(3.0, 4.0, 12.0).total_nm == pytest.approx(13.0, rel=1e-15)


def test_a_term_of_zero_stays_in_the_budget():
    """A cause that was thought of and found to give nothing is still told."""
    assert [term.nm for term in budget(2.0, 0.0).terms] == [2.0, 0.0]


@given(sizes=st.lists(st.floats(0, 1e3), max_size=8))
def test_the_total_is_no_less_than_any_term_and_no_more_than_their_sum(sizes):
    """However terms are chosen, their root sum of squares lies between the largest and the plain sum."""
    total = budget(*sizes).total_nm
    assert max(sizes, default=0.0) <= total * (1 + 1e-12)
    assert total <= sum(sizes) * (1 + 1e-12)


def test_coverage_is_two_sided_95_percent():
    """The factor leaves 2.5 % of a normal distribution on either side."""
    assert pytest.approx(norm.ppf(0.975), rel=1e-6) == COVERAGE_95


@pytest.mark.parametrize(
    ("value", "uncertainty", "text"),
    [
        (57.234, 0.38, "57.23 ± 0.38 nm"),
        (57.234, 0.42, "57.2 ± 0.4 nm"),
        (57.234, 0.394, "57.23 ± 0.39 nm"),
        (57.234, 0.396, "57.2 ± 0.4 nm"),
        (57.234, 1.94, "57.2 ± 1.9 nm"),
        (57.234, 0.996, "57.2 ± 1.0 nm"),
        (57.234, 12.3, "57 ± 12 nm"),
        (1234.5, 123.0, "1230 ± 120 nm"),
        (1234.5, 456.0, "1200 ± 500 nm"),
        (-0.001, 1.0, "0.0 ± 1.0 nm"),
        (-57.25, 5.0, "-57 ± 5 nm"),
        (0.0, 2.5, "0.0 ± 2.5 nm"),
        (57.234, 0.0, "57.23 nm (uncertainty not known)"),
        (57.234, math.nan, "57.23 nm (uncertainty not known)"),
        (57.234, math.inf, "57.23 nm (uncertainty not known)"),
        (math.nan, 1.0, "not known"),
    ],
)
def test_values_are_written_to_the_place_of_their_uncertainty(value, uncertainty, text):
    """At most two figures of the uncertainty (GUM 7.2.6), two when it begins with 1 to 3; what is not known is said."""
    assert round_with_uncertainty(value, uncertainty, unit="nm") == text


@given(value=st.floats(-1e5, 1e5), uncertainty=st.floats(1e-4, 1e5))
def test_rounding_hides_less_than_a_seventh_of_the_uncertainty(value, uncertainty):
    """What is written lies within 13 % of the uncertainty of what was meant, and the uncertainty itself within 13 %."""
    written, doubt = map(float, re.fullmatch(r"(\S+) ± (\S+) nm", round_with_uncertainty(value, uncertainty, unit="nm")).groups())
    assert abs(written - value) <= 0.13 * uncertainty  # half a unit of one figure that is 4 or more
    assert abs(doubt - uncertainty) <= 0.13 * uncertainty
