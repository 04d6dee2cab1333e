"""A gauging in names for programs and in sentences for people."""

from __future__ import annotations

from typing import Any

from straightband.gauges.spherometer import Feet
from straightband.light.bands import height_per_band_nm
from straightband.uncertainty import round_with_uncertainty
from straightband.workflows.gauge import Gauging

SENTENCES = {
    "gauge-ends-here": "the sag is no more than its uncertainty: this gauge sees no further on this face; go on with bands",
    "astigmatism-not-seen": "three feet see no astigmatism: a saddle reads as flat, whichever way the gauge is turned; only bands show it",
    "ring-rides-on-high-places": "a ring rides on the high places of a saddle, which then reads as a hollow; only bands tell the two apart",
    "three-lobed": "turning the gauge by 60 degrees changed the sag: the face is three-lobed, which one position alone reads as false power",
    "zero-drifted": "the zero moved between before and after: let gauge and glass come to the room's temperature and measure again",
    "not-repeated": "nothing was read twice: the scatter was taken to be one step of the dial; read at least three times",
    "readings-scatter": "the readings scatter over many steps of the dial: wipe feet and face, wait until they are as warm as the room, read again",
    "reference-taken-as-flat": "the reference was taken as flat: its own sag is in the result; give --reference-sag and --reference-doubt if known",
    "away-from-flat": "the face moves away from flat: change which plate goes on top, or shorten the stroke",
}
NEXT = {
    "top": "Next run: this face on top, since the plate on top goes concave and the one below convex.",
    "bottom": "Next run: this face at the bottom, since the plate below goes convex and the one on top concave.",
    "either": "Next run: either way round.",
}


def explain(flag: str) -> str:
    """The sentence for a flag."""
    return SENTENCES[flag]


def gauging_facts(gauging: Gauging) -> dict[str, Any]:
    """The gauging under the names of the contract, as plain JSON values."""
    sag = gauging.sag
    return {
        "sag_um": sag.sag_um,
        "sag_uncertainty_um": sag.uncertainty_um,
        "form": gauging.form,
        "radius_m": gauging.radius_mm / 1000.0,
        "radius_at_least_m": gauging.radius_at_least_mm / 1000.0,
        "edge_sag_um": gauging.edge_sag_um,
        "edge_sag_uncertainty_um": gauging.edge_uncertainty_um,
        "bands": gauging.bands,
        "bands_uncertainty": gauging.bands_uncertainty,
        "band_nm": height_per_band_nm(wavelength_nm=gauging.lamp.wavelength_nm),
        "light": gauging.lamp.name,
        "next_on": gauging.next_on,
        "feet": str(gauging.gauge.feet),
        "leg_circle_mm": 2.0 * gauging.circle_mm,
        "leg_circle_is": "diameter of the circle through the feet",
        "zero_drift_um": sag.drift_um,
        "three_lobed_um": sag.three_lobed_um,
        "three_lobed_uncertainty_um": sag.three_lobed_uncertainty_um,
        "trend": None if gauging.trend is None else str(gauging.trend),
        "earlier": [{"abrasive_um": each.abrasive_um, "sag_um": each.sag_um} for each in gauging.earlier],
        "budget": [{"term": term.name, "nm": term.nm, "origin": term.origin} for term in sag.budget.terms],
        "flags": list(gauging.flags),
    }


def gauging_lines(gauging: Gauging) -> tuple[str, ...]:
    """The gauging as a person at the bench wants it."""
    sag, across = gauging.sag, f"{2.0 * gauging.circle_mm:.4g} mm across"
    stands = f"three feet on a circle {across}" if gauging.gauge.feet is Feet.THREE else f"a ring {across}"
    whole = round_with_uncertainty(gauging.edge_sag_um, gauging.edge_uncertainty_um, unit="um")
    bands = round_with_uncertainty(gauging.bands, gauging.bands_uncertainty, unit=f"bands of {gauging.lamp.name}")
    return (
        f"{gauging.form.capitalize()}: sag {round_with_uncertainty(sag.sag_um, sag.uncertainty_um, unit='um')} (95 %) within {stands}.",
        _radius_sentence(gauging),
        f"Over the whole face, were it a sphere to the end of its longer half axis at {gauging.face.semi_major_mm:.4g} mm: {whole}, {bands}.",
        f"This gauge cannot tell less than {gauging.bands_uncertainty:.2g} bands on this face, and nothing outside its feet.",
        NEXT[gauging.next_on],
        *_trend_lines(gauging),
        "Uncertainty from:",
        *(f"  {term.name:<18} {term.nm / 1000.0:8.3g} um  ({term.origin})" for term in sag.budget.terms),
        *(f"Note: {explain(flag)}." for flag in gauging.flags),
    )


def _radius_sentence(gauging: Gauging) -> str:
    least = f"{gauging.radius_at_least_mm / 1000.0:.3g} m"
    if gauging.next_on == "either":
        return f"Radius of curvature: more than {least}."
    return f"Radius of curvature: {gauging.radius_mm / 1000.0:.3g} m, at least {least}."


def _trend_lines(gauging: Gauging) -> tuple[str, ...]:
    if gauging.trend is None:
        return ()
    steps = ", ".join(f"{each.sag_um:+.4g} um after {each.abrasive_um:g} um" for each in gauging.earlier)
    return (f"Before: {steps}; now {gauging.sag.sag_um:+.4g} um: {gauging.trend}.",)
