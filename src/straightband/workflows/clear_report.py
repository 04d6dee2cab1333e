"""A back's clearness in names for programs and in sentences for people."""

from __future__ import annotations

import math
from typing import Any

from straightband.gauges.printed_grid.zones import CLEAR_ENOUGH, Zone
from straightband.gauges.roughness import Roughness
from straightband.uncertainty import round_with_uncertainty
from straightband.workflows.clear import Back, Progress

SENTENCES = {
    "dry-not-seen": "a wet back looks clear, and no photograph tells: this holds only if both faces were washed and dried",
    "compared-with-clear-ring": "no grid shows beside the mirror, so its clearest part counts as clear: if all of it is grey, this is too good",
    "stray-light": "much stray light lies over the place that is not clear: if it is a reflection, turn the lamp away and take it again",
    "paper-overexposed": "part of the paper is overexposed and was left out: expose less",
    "grid-fine-for-photograph": "the grid is fine for this photograph: come closer, or print one with a larger pitch",
    "outline-told": "the outline was told, not found",
    "half-turn-unknown": "without a mark the place may lie at the other end of the mirror",
}
CAUTIONS = (
    "Before the photograph wash the mirror, then dry back and face with a clean cloth: wet glass looks clear.",
    "Do not let grinding or polishing sludge dry and do not sweep it: keep it wet, wipe it up; the dust of some abrasives harms the lungs.",
    "Glass edges cut: bevel them before any other work. On a turning table tie back hair and sleeves, and stop it before you reach in.",
    "Local rules and the maker's safety sheets go before these lines, which do not replace them.",
)


def explain(flag: str) -> str:
    """The sentence for a flag."""
    return SENTENCES[flag]


def progress_facts(progress: Progress) -> dict[str, Any]:
    """The back under the names of the contract, as plain JSON values."""
    last = progress.last
    facts = {
        **_back_facts(last),
        "clear_enough": CLEAR_ENOUGH,
        "glass_index": progress.setup.index,
        "photographs": [
            {
                "name": back.source.name,
                "sha256": back.source.sha256,
                "minutes": minutes,
                "clear_fraction": back.clearing.fraction,
                "clear_fraction_uncertainty": back.clearing.uncertainty,
            }
            for back, minutes in zip(progress.backs, progress.minutes, strict=True)
        ],
        "flags": list(last.flags),
    }
    expected = progress.forecast
    if expected is not None:
        facts |= {
            "minutes_to_clear": expected.minutes,
            "minutes_to_clear_low": expected.low,
            "minutes_to_clear_high": expected.high,
            "pace_by_radius": [
                {"radius_share": float(radius), "pace_per_min": float(pace)}
                for radius, pace in zip(expected.radius, expected.pace_per_min, strict=True)
            ],
            "rim_first_probability": expected.rim_leads,
        }
    return facts


def _back_facts(back: Back) -> dict[str, Any]:
    clearing, outline = back.clearing, back.outline
    zones = [_zone_facts(zone) for zone in clearing.zones]
    none = {"radius_mm": 0.0, "u_mm": None, "v_mm": None}
    return {
        "clear_fraction": clearing.fraction,
        "clear_fraction_uncertainty": clearing.uncertainty,
        "clear_fraction_is": "share of the whole face, the bevel counted as the place beside it",
        "unclear": zones[0] if zones else none,
        "unclear_places": zones,
        "roughness_nm": back.roughness.nm,
        "roughness_uncertainty_nm": back.roughness.uncertainty_nm,
        "roughness_is": back.roughness.bound or "value",
        "band_contrast_least": back.bands,
        "outline_px": {
            "cx": outline.cx,
            "cy": outline.cy,
            "semi_major": outline.semi_major,
            "semi_minor": outline.semi_minor,
            "angle_deg": outline.angle_deg,
        },
        "pitch_mm": back.clear.pitch_mm,
        "compared_with": "the sheet beside the mirror" if back.clear.beside else "the clearest part of the mirror",
    }


def _zone_facts(zone: Zone) -> dict[str, float]:
    return {
        "radius_mm": zone.radius_mm,
        "radius_uncertainty_mm": zone.radius_uncertainty_mm,
        "u_mm": zone.u_mm,
        "v_mm": zone.v_mm,
        "centre_uncertainty_mm": zone.centre_uncertainty_mm,
        "width_mm": zone.width_mm,
        "clearness": zone.clearness,
    }


def progress_lines(progress: Progress) -> tuple[str, ...]:
    """The back as a person at the bench wants it."""
    last = progress.last
    share = round_with_uncertainty(100.0 * last.clearing.fraction, 100.0 * last.clearing.uncertainty, unit="%")
    head = "Clear enough to see bands all over" if not last.clearing.zones else "Not clear yet"
    return (
        f"{head}: {share} of the back is clear (95 %).",
        *(_zone_sentence(zone) for zone in last.clearing.zones[:3]),
        *((f"And {len(last.clearing.zones) - 3} smaller places.",) if len(last.clearing.zones) > 3 else ()),
        f"Roughness {'there' if last.clearing.zones else 'at most'}: {_roughness(last.roughness)}.",
        _bands_sentence(last),
        *_over_time(progress),
        *(f"Note: {explain(flag)}." for flag in last.flags),
    )


def _zone_sentence(zone: Zone) -> str:
    radius = round_with_uncertainty(zone.radius_mm, zone.radius_uncertainty_mm, unit="mm")
    place = "in the middle" if math.hypot(zone.u_mm, zone.v_mm) < zone.centre_uncertainty_mm else _place(zone)
    return f"Grey {place}: radius {radius}, {zone.width_mm:.0f} mm across, clearness down to {zone.clearness:.2f}."


def _place(zone: Zone) -> str:
    doubt = f"± {zone.centre_uncertainty_mm:.1f} mm"
    return f"at u {zone.u_mm:+.1f} mm, v {zone.v_mm:+.1f} mm ({doubt})"


def _roughness(found: Roughness) -> str:
    if found.bound:
        return f"{found.bound} {found.nm:.0f} nm rms"
    return f"{round_with_uncertainty(found.nm, found.uncertainty_nm, unit='nm')} rms"


def _bands_sentence(back: Back) -> str:
    if not back.clearing.zones:
        return f"Bands will show with a contrast of {back.bands:.2f} or more everywhere."
    return f"Bands would show there with a contrast of {back.bands:.2f} or a little more; in a clear place it is 0.67."


def _over_time(progress: Progress) -> tuple[str, ...]:
    expected = progress.forecast
    if expected is None:
        return ()
    steps = ", ".join(
        f"{100.0 * back.clearing.fraction:.0f} % after {minutes:.3g} min"
        for back, minutes in zip(progress.backs, progress.minutes, strict=True)
    )
    order = "rim first, middle last" if expected.rim_leads > 0.5 else "middle first, rim last"
    if not progress.last.clearing.zones:
        return (f"So far: {steps}.",)
    return (
        f"So far: {steps}; {order}.",
        f"Polish about {expected.minutes:.0f} min more (95 %: {expected.low:.0f} to {expected.high:.0f} min), then wash, dry and photograph again.",
    )
