"""An order of the record in rows for the screen, from the facts that were found when it was taken."""

from __future__ import annotations

import math
from typing import Any

from straightband.workflows.order_report import explain
from straightband.workflows.shown import axes_shown, length_shown, sentence_shown

_ROWS_SHOWN = 8


def size_rows(found: dict[str, Any], *, units: str) -> tuple[tuple[str, str], ...]:
    """What to make and where it goes."""
    glass, mirror, telescope = found["glass"], found["mirror"], found["telescope"]
    return (
        ("Glass", axes_shown(glass["minor_mm"], glass["major_mm"], units=units)),
        ("Thickness", length_shown(found["thickness_mm"], units)),
        ("Offset", f"{length_shown(mirror['offset_mm'], units)} away from the focuser and toward the primary"),
        ("The light needs", f"{length_shown(found['minor_axis_mm'], units)} minor axis"),
        ("Fully lit field", length_shown(mirror["full_field_mm"], units)),
        ("Shadow", f"{100.0 * mirror['obstruction']:.1f} % of the aperture"),
        ("Telescope", f"{length_shown(telescope['aperture_mm'], units)}, f/{telescope['focal_length_mm'] / telescope['aperture_mm']:.3g}"),
    )


def light_rows(found: dict[str, Any], *, units: str) -> tuple[tuple[str, str, str], ...]:
    """Distance from the middle of the field, share of the light, loss."""
    rows = found["illumination"]
    picked = rows[:: max(1, math.ceil(len(rows) / _ROWS_SHOWN))]
    return tuple(
        (length_shown(row["field_radius_mm"], units), f"{100.0 * row['fraction']:.1f} %", _loss(row["loss_mag"])) for row in picked
    )


def _loss(magnitudes: float | None) -> str:
    return "all" if magnitudes is None else f"{magnitudes:.2f} mag"


def tolerance_rows(found: dict[str, Any]) -> tuple[tuple[str, str, str], ...]:
    """What the face must hold to: as the only fault, and all at once."""
    tolerance = found["tolerance"]
    kinds = (("Power", "power"), ("Astigmatism", "astigmatism"), ("Irregularity RMS", "irregularity_rms"))
    return tuple((name, _both(tolerance["alone"], kind), _both(tolerance["together"], kind)) for name, kind in kinds)


def _both(values: dict[str, float], kind: str) -> str:
    return f"{values[f'{kind}_nm']:.1f} nm ({values[f'{kind}_bands']:.3f} bands)"


def quote_rows(found: dict[str, Any]) -> tuple[tuple[str, str], ...]:
    """The lines of the quote, and what to ask."""
    quote = found["quote"]
    lines = tuple((line["name"].capitalize(), f"{line['cost']:.2f} {quote['currency']}") for line in quote["lines"])
    margin = ("Margin", f"{quote['margin']:.2f} {quote['currency']}")
    return (*lines, margin, ("Ask", f"{quote['price']:.0f} {quote['currency']}, give or take {quote['price_spread']:.0f}"))


def order_doubts(found: dict[str, Any]) -> tuple[str, ...]:
    """The doubts of an order as sentences."""
    return tuple(f"{sentence_shown(explain(flag))}." for flag in found["flags"])


def order_in_a_line(found: dict[str, Any], *, units: str) -> str:
    """The size of an order's glass, for lists."""
    return axes_shown(found["glass"]["minor_mm"], found["glass"]["major_mm"], units=units)
