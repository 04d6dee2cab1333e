"""Strehl ratio against the distance from the middle of the field, as a drawing for the screen."""

from __future__ import annotations

import math
from typing import Any

from straightband.plots.trend_sketch import Mark, trend_sketch
from straightband.workflows.shown import length_shown, strehl_of


def strehl_sketch(found: dict[str, Any], *, units: str) -> str:
    """The drawing for a verdict of the record."""
    marks = tuple(
        Mark(
            label=length_shown(at.field_radius_mm, units),
            value=at.strehl,
            uncertainty=at.uncertainty if math.isfinite(at.uncertainty) else 0.0,
        )
        for at in strehl_of(found)
    )
    words = "Strehl ratio by distance from the middle of the field: " + "; ".join(f"{mark.label}: {mark.value:.3f}" for mark in marks)
    return trend_sketch(marks, unit="Strehl", words=words, limit=found["strehl_wanted"])
