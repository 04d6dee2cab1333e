"""Flats measured against each other in rows and sentences for the screen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from straightband.shop.entries import FlatTest
from straightband.workflows.report_reading import LABELS
from straightband.workflows.shown import budget_shown, nm_shown, sentence_shown, worth_showing
from straightband.workflows.threeflat_report import explain

TERMS_SHOWN = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatShown:
    """One flat of a test.

    Attributes
    ----------
    name, sure
        Its name, and how sure its heights are.
    figures
        Name and value with uncertainty.
    undetermined
        What the pairs can't show of it, or nothing.
    budget
        Cause, size, origin, length of its bar.
    """

    name: str
    sure: str
    figures: tuple[tuple[str, str], ...]
    undetermined: str
    budget: tuple[tuple[str, str, str, str], ...]


def flats_shown(entry: FlatTest) -> tuple[FlatShown, ...]:
    """Each flat of a test by itself."""
    return tuple(_shown(flat) for flat in entry.found["flats"])


def _shown(flat: dict[str, Any]) -> FlatShown:
    terms = [term["term"] for term in flat["undetermined"]]
    rest = f" and {len(terms) - TERMS_SHOWN} more" if len(terms) > TERMS_SHOWN else ""
    return FlatShown(
        name=flat["name"],
        sure=f"Heights sure to {flat['uncertainty_nm']:.2g} nm (95 %).",
        figures=tuple((label, _figure(flat[name], flat["uncertainty"][name])) for name, label in LABELS.items()),
        undetermined=f"Not shown by these pairs: {', '.join(terms[:TERMS_SHOWN])}{rest}." if terms else "",
        budget=budget_shown(flat),
    )


def _figure(value: float, doubt: float) -> str:
    return nm_shown(value, doubt) if worth_showing(value) or worth_showing(doubt) else "0.00 nm"


def pairs_shown(entry: FlatTest) -> tuple[tuple[str, str], ...]:
    """Each pair, and what the flats leave of its map."""
    return tuple((each["label"], f"{worth_showing(each['misfit_rms_nm']):.2g} nm rms not explained") for each in entry.found["pairs"])


def undetermined_shown(entry: FlatTest) -> str:
    """What all the pairs together leave undetermined."""
    return str(entry.found["undetermined"])


def flats_doubts(entry: FlatTest) -> tuple[str, ...]:
    """Doubts as sentences."""
    return tuple(f"{sentence_shown(explain(flag))}." for flag in entry.found["flags"])
