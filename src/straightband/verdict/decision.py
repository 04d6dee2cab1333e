"""Meets, fails, or cannot tell yet: a decision that keeps clear of the limit by the doubt in the value.

Sources
-------
ISO 14253-1:2017, Decision rules for verifying conformity or nonconformity with specifications: acceptance and rejection zones each stand off
the limit by a guard band; for one limit and 95 % conformance probability the band is 1.65 standard uncertainties (from memory, the text
was not seen). JCGM 106:2012, 8.3, gives the same rule.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from enum import StrEnum

from straightband.uncertainty import COVERAGE_95

ONE_SIDED_95 = 1.644854  # 95 % of a normal distribution lies below this many standard uncertainties


class Decision(StrEnum):
    """What can be said of a piece against a limit."""

    MEETS = "meets"
    FAILS = "fails"
    CANNOT_TELL = "cannot tell yet"


def guard_band(uncertainty: float) -> float:
    """Distance to keep from a one-sided limit, from the expanded (two-sided 95 %) uncertainty: 1.645 / 1.960 of it."""
    return uncertainty * ONE_SIDED_95 / COVERAGE_95


def decide_at_least(value: float, *, limit: float, uncertainty: float) -> Decision:
    """Decision on a value that must reach `limit`; with an uncertainty that is not known nothing can be told."""
    if not (math.isfinite(value) and math.isfinite(uncertainty)):
        return Decision.CANNOT_TELL
    guard = guard_band(uncertainty)
    if value - guard >= limit:
        return Decision.MEETS
    return Decision.FAILS if value + guard < limit else Decision.CANNOT_TELL


def decide_at_most(value: float, *, limit: float, uncertainty: float) -> Decision:
    """Decision on a value that must not pass `limit`."""
    return decide_at_least(-value, limit=-limit, uncertainty=uncertainty)


def all_of(decisions: Iterable[Decision]) -> Decision:
    """One failure fails the whole; otherwise one doubt leaves the whole in doubt."""
    found = set(decisions)
    if Decision.FAILS in found:
        return Decision.FAILS
    return Decision.CANNOT_TELL if Decision.CANNOT_TELL in found else Decision.MEETS
