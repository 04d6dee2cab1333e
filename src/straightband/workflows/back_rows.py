"""A back of the record in rows, sentences and drawings for the screen."""

from __future__ import annotations

from typing import Any

from straightband.plots.clearing_sketch import clearing_sketch
from straightband.shop.entries import Clearing, GridPhotograph
from straightband.shop.queries import grid_photographs_of
from straightband.shop.record import Record
from straightband.uncertainty import round_with_uncertainty
from straightband.workflows.clear_report import explain
from straightband.workflows.overlay_paths import Overlay, ellipse_points, overlay_of
from straightband.workflows.shop_clock import time_shown
from straightband.workflows.shown import length_shown, sentence_shown

MOST_MAPS = 4


def clear_share(found: dict[str, Any]) -> str:
    """Share of the back that is clear, with its uncertainty (95 %)."""
    return round_with_uncertainty(100.0 * found["clear_fraction"], 100.0 * found["clear_fraction_uncertainty"], unit="%")


def clear_headline(found: dict[str, Any]) -> str:
    """How it stands, in one sentence."""
    head = "Not clear yet" if found["unclear_places"] else "Clear enough to see bands all over"
    return f"{head}: {clear_share(found)} of the back is clear (95 %)."


def to_go(found: dict[str, Any]) -> str:
    """What to do next, with minutes and their interval where two photographs tell them."""
    if not found["unclear_places"]:
        return "The back is done: polish the face, then photograph the bands."
    if "minutes_to_clear" not in found:
        return "Polish it a few minutes more, wash, dry both faces, and photograph the grid again: two photographs tell how long it takes."
    low, middle, high = (found[name] for name in ("minutes_to_clear_low", "minutes_to_clear", "minutes_to_clear_high"))
    return (
        f"Polish about {middle:.0f} min more (95 %: {low:.0f} to {high:.0f} min), then wash, dry both faces and photograph the grid again."
    )


def minutes_suggested(found: dict[str, Any]) -> str:
    """Minutes to begin the next timer with: half of what is foreseen, so that it is looked at again before it is due; at least three."""
    return f"{max(3.0, round(0.5 * found['minutes_to_clear'])):g}min" if found.get("minutes_to_clear", 0.0) > 0.0 else ""


def clear_rows(found: dict[str, Any], *, units: str) -> tuple[tuple[str, str], ...]:
    """Name and value."""
    places = tuple((f"Grey place {k}", _place(each, units=units)) for k, each in enumerate(found["unclear_places"][:3], start=1))
    return (
        ("Clear", clear_share(found)),
        *places,
        ("Roughness", _roughness(found)),
        ("Contrast that bands will have there" if places else "Contrast that bands will have", f"{found['band_contrast_least']:.2f}"),
        *_pace(found),
        ("Compared with", found["compared_with"]),
    )


def _place(zone: dict[str, float], *, units: str) -> str:
    across = length_shown(2.0 * zone["radius_mm"], units)
    doubt = length_shown(2.0 * zone["radius_uncertainty_mm"], units)
    return f"{across} ± {doubt} across, its middle at u {length_shown(zone['u_mm'], units)}, v {length_shown(zone['v_mm'], units)}"


def _roughness(found: dict[str, Any]) -> str:
    if found["roughness_is"] != "value":
        return f"{found['roughness_is']} {found['roughness_nm']:.0f} nm rms"
    return f"{round_with_uncertainty(found['roughness_nm'], found['roughness_uncertainty_nm'], unit='nm')} rms"


def _pace(found: dict[str, Any]) -> tuple[tuple[str, str], ...]:
    if "rim_first_probability" not in found:
        return ()
    order = "rim first, middle last" if found["rim_first_probability"] > 0.5 else "middle first, rim last"
    return (("Clears", order),)


def clear_doubts(found: dict[str, Any]) -> tuple[str, ...]:
    """Doubts as sentences."""
    return tuple(f"{sentence_shown(explain(flag))}." for flag in found["flags"])


def clear_over_time(found: dict[str, Any]) -> str:
    """Clear share over minutes with the forecast, as a drawing; nothing with fewer than two photographs."""
    photographs = found["photographs"]
    if len(photographs) < 2:
        return ""
    looks = tuple((each["minutes"], each["clear_fraction"], each["clear_fraction_uncertainty"]) for each in photographs)
    now = photographs[-1]["minutes"]
    told = found["unclear_places"] and "minutes_to_clear" in found
    ends = tuple(now + found[f"minutes_to_clear{end}"] for end in ("_low", "", "_high")) if told else ()
    words = "Clear share by minutes: " + "; ".join(f"{100.0 * share:.0f} % after {minutes:.3g} min" for minutes, share, _ in looks)
    return clearing_sketch(looks, clear_at=(ends[0], ends[1], ends[2]) if ends else None, words=words)


def clear_overlay(entry: Clearing) -> Overlay | None:
    """The outline as found, to be drawn over the newest photograph."""
    outline = entry.found["outline_px"]
    return overlay_of({"size_px": entry.told["size_px"], "outline": ellipse_points(**outline), "dark": []})


def photograph_lines(taken: tuple[GridPhotograph, ...], found: dict[str, Any]) -> tuple[tuple[str, str, str], ...]:
    """When each photograph was taken, minutes polished before it, and the share that was clear in it, the newest first."""
    shares = {each["sha256"]: each for each in found.get("photographs", ())}
    rows = []
    for place, entry in enumerate(taken):
        seen = shares.get(entry.sha256)
        share = (
            "not looked at yet"
            if seen is None
            else round_with_uncertainty(100.0 * seen["clear_fraction"], 100.0 * seen["clear_fraction_uncertainty"], unit="%")
        )
        unknown = place == 0 and entry.minutes == 0.0
        rows.append((time_shown(entry.at), "not known" if unknown else f"{entry.minutes:g} min", share))
    return tuple(reversed(rows))


def newest_looks(record: Record, back_root: int) -> tuple[Clearing, ...]:
    """The newest look at each of the last few photographs since the back was ground, the newest first."""
    taken = {each.id for each in grid_photographs_of(record, back_root)}
    found: dict[int, Clearing] = {}
    for look in record.listing(Clearing, newest_first=True, face_id=back_root):
        photograph = look.told["photographs"][-1]
        if photograph in taken:
            found.setdefault(photograph, look)
    return tuple(found.values())[:MOST_MAPS]


def map_words(look: Clearing) -> str:
    """What stands under a map of clearness."""
    minutes = look.found["photographs"][-1]["minutes"]
    return f"After {minutes:.3g} min: {clear_share(look.found)} clear" if minutes else f"At first: {clear_share(look.found)} clear"
