"""Budgets of uncertainty: named terms, their sum, and rounding for people.

Terms are expanded values at 95 % unless the name says `standard`. Independent terms add as squares.

Sources
-------
JCGM 100:2008, Evaluation of measurement data - Guide to the expression of uncertainty in measurement (GUM), 5.1.2 and 7.2.6.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

COVERAGE_95 = 1.959964  # two-sided 95 % of a normal distribution (GUM table G.1 rounds it to 1.960)


@dataclass(frozen=True, slots=True, kw_only=True)
class Term:
    """One line of a budget.

    Attributes
    ----------
    name
        Short name of the cause.
    nm
        Expanded uncertainty (95 %) it gives, in nm.
    origin
        Where the number came from, for the reader.
    """

    name: str
    nm: float
    origin: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """The terms behind one reported number.

    Attributes
    ----------
    terms
        The lines, in the order they were thought of.
    """

    terms: tuple[Term, ...]

    @property
    def total_nm(self) -> float:
        """Expanded uncertainty of all terms together: root of the sum of squares (GUM 5.1.2)."""
        return math.hypot(*(term.nm for term in self.terms))


def budget_of(terms: Iterable[Term]) -> Budget:
    """Budget from terms, dropping none: a term of zero says that the cause was thought of."""
    return Budget(terms=tuple(terms))


def round_with_uncertainty(value: float, uncertainty: float, *, unit: str) -> str:
    """Text such as `57.2 +- 0.4 nm`: two figures of the uncertainty when it begins with 1, 2 or 3, else one; the value to the same place.

    Follows GUM 7.2.6 (at most two figures). Zero or missing uncertainty is written as such, never hidden.

    Example
    -------
    >>> round_with_uncertainty(57.234, 0.38, unit="nm")
    '57.23 ± 0.38 nm'
    """
    if not math.isfinite(value):
        return "not known"
    if not math.isfinite(uncertainty) or uncertainty <= 0.0:
        return f"{value:.4g} {unit} (uncertainty not known)"
    exponent = math.floor(math.log10(uncertainty))
    figures = 2 if uncertainty / 10**exponent < 3.95 else 1
    places = figures - 1 - exponent
    if places <= 0:
        step = 10 ** (-places)
        return f"{round(value / step) * step:.0f} ± {round(uncertainty / step) * step:.0f} {unit}"
    shown = round(value, places) + 0.0  # which makes -0 a plain 0
    return f"{shown:.{places}f} ± {uncertainty:.{places}f} {unit}"
