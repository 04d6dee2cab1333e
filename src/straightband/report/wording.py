"""Numbers turned into the words of the certificate; everything rounded here, nothing on the page."""

from __future__ import annotations

import math
from collections.abc import Iterable

from straightband.heightmap.figures import Figures
from straightband.uncertainty import Budget, round_with_uncertainty
from straightband.verdict.decision import Decision, decide_at_least, guard_band
from straightband.verdict.field import FieldStrehl

_WITHIN = "no more than its uncertainty"
_UNKNOWN = "not known"


def number_rows(figures: Figures, *, uncertainty: Figures, sign_known: bool) -> tuple[tuple[str, str, str], ...]:
    """Figure, value with its expanded uncertainty (95 %), and remark.

    `uncertainty` holds the uncertainty of each figure under its own name. Without the sign no hill is told from a hole.
    """
    power, edge = figures.power_nm, figures.edge_nm
    return (
        ("Peak to valley", _nm(figures.pv_nm, uncertainty.pv_nm), ""),
        ("RMS", _nm(figures.rms_nm, uncertainty.rms_nm), ""),
        ("Power", *_signed(power, uncertainty.power_nm, ways=("convex, a hill", "concave, a hole"), sign_known=sign_known)),
        ("Astigmatism", _nm(figures.astigmatism_nm, uncertainty.astigmatism_nm), _axis(figures, uncertainty, sign_known=sign_known)),
        ("Irregularity", _nm(figures.irregularity_pv_nm, uncertainty.irregularity_pv_nm), "peak to valley without power"),
        ("", _nm(figures.irregularity_rms_nm, uncertainty.irregularity_rms_nm), "RMS without power"),
        (f"Edge, {figures.edge_zone_mm:.1f} mm", *_signed(edge, uncertainty.edge_nm, ways=("turned up", "turned down"), sign_known=sign_known)),
    )  # fmt: skip


def _nm(value: float, uncertainty: float) -> str:
    return round_with_uncertainty(value, uncertainty, unit="nm")


def _signed(value: float, uncertainty: float, *, ways: tuple[str, str], sign_known: bool) -> tuple[str, str]:
    """The value and which way it goes, as far as sign and uncertainty allow it to be said."""
    if not sign_known:
        return _nm(abs(value), uncertainty), f"{' or '.join(ways)}: {_UNKNOWN}"
    if not abs(value) > uncertainty:
        return _nm(value, uncertainty), _WITHIN
    return _nm(value, uncertainty), ways[0] if value > 0.0 else ways[1]


def _axis(figures: Figures, uncertainty: Figures, *, sign_known: bool) -> str:
    if not figures.astigmatism_nm > uncertainty.astigmatism_nm:
        return _WITHIN
    axis = figures.astigmatism_axis_deg
    doubt = uncertainty.astigmatism_axis_deg
    spread = f" ± {math.ceil(doubt)}°" if math.isfinite(doubt) and doubt > 0.0 else ""
    if not sign_known:
        return f"highest at the rim along {axis:.0f}° or {(axis + 90.0) % 180.0:.0f}°{spread} from u: {_UNKNOWN} which"
    return f"highest at the rim along {axis:.0f}°{spread} from u toward v"


def strehl_rows(strehl: Iterable[FieldStrehl]) -> tuple[tuple[str, str], ...]:
    """Distance from the middle of the field, Strehl with its expanded uncertainty (95 %)."""
    return tuple((f"{at.field_radius_mm:.4g} mm", _ratio(at.strehl, at.uncertainty)) for at in strehl)


def _ratio(value: float, uncertainty: float) -> str:
    return " ".join(round_with_uncertainty(value, uncertainty, unit="").split())  # a ratio has no unit to leave a space for


def budget_rows(budget: Budget) -> tuple[tuple[str, str], ...]:
    """Cause and expanded uncertainty (95 %) in the budget's order, the total last."""
    rows = [(term.name, f"{term.nm:.2g} nm") for term in budget.terms]
    return (*rows, ("Together", f"{budget.total_nm:.2g} nm"))


def verdict_sentence(least: FieldStrehl, *, strehl_wanted: float, wavelength_nm: float, decision: Decision, away: str = "") -> str:
    """What was asked, what was found and how the guard band decides it; `decision` is that on everything that was asked.

    `away` is the distance of the least from the middle of the field in words, where it is not to be told in mm.
    """
    own = decide_at_least(least.strehl, limit=strehl_wanted, uncertainty=least.uncertainty)
    asked = f"The Strehl ratio is to reach {strehl_wanted:.10g} all over the field, in light of {wavelength_nm:.0f} nm."
    found = f"The least is {_ratio(least.strehl, least.uncertainty)} (95 %), {away or f'{least.field_radius_mm:.4g} mm'} from the middle."
    guard = guard_band(least.uncertainty)
    rule = (
        f"Standing off the limit by a guard band of {guard:.2g}, as ISO 14253-1 asks, "
        if math.isfinite(guard)
        else "With no uncertainty known, "
    )
    said = {
        Decision.MEETS: "this meets it.",
        Decision.FAILS: "this fails it.",
        Decision.CANNOT_TELL: "neither can be said: a measurement with less uncertainty is needed.",
    }[own]
    rest = "" if own is decision else f" Taken with everything else that was asked: {decision}."
    return f"{asked} {found} {rule}{said}{rest}"
