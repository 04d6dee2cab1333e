"""A gauging of the record in rows for the screen."""

from __future__ import annotations

from typing import Any

from straightband.uncertainty import round_with_uncertainty
from straightband.workflows.gauge_report import NEXT
from straightband.workflows.shop_clock import time_shown


def gauging_rows(found: dict[str, Any], *, told: dict[str, str], at: str) -> tuple[tuple[str, str], ...]:
    """Name and value: form, sag, what it comes to over the whole face."""
    bands = round_with_uncertainty(found["bands"], found["bands_uncertainty"], unit=f"bands of {found['light']}")
    rows = (
        ("Form", found["form"]),
        ("Sag within the feet", round_with_uncertainty(found["sag_um"], found["sag_uncertainty_um"], unit="um")),
        ("Over the whole face", round_with_uncertainty(found["edge_sag_um"], found["edge_sag_uncertainty_um"], unit="um")),
        ("In bands", bands),
        ("Radius of curvature", f"at least {found['radius_at_least_m']:.3g} m"),
        ("After abrasive", told.get("after_abrasive", "")),
        ("Trend", found["trend"] or ""),
        ("Readings", told.get("reading", "")),
        ("On the flat", told.get("zero", "")),
        ("Entered", time_shown(at)),
    )
    return tuple(row for row in rows if row[1])


def next_sentence(found: dict[str, Any]) -> str:
    """Which plate goes on top next."""
    return NEXT[found["next_on"]]


def gauging_budget(found: dict[str, Any]) -> tuple[tuple[str, str, str], ...]:
    """Cause, size and origin of each part of the uncertainty."""
    return tuple((term["term"].capitalize(), f"{term['nm'] / 1000.0:.3g} um", term["origin"]) for term in found["budget"])
