"""A plate of pads of the record in rows, sentences and drawings for the screen."""

from __future__ import annotations

from itertools import groupby
from typing import Any

import shapely

from straightband.plots.pads_sketch import SketchedPiece, cut_sketch, plate_sketch, rate_sketch
from straightband.shop.entries import PlateEntry
from straightband.uncertainty import round_with_uncertainty
from straightband.wear.pads.outlines import Cut, cut_pieces
from straightband.workflows.pads_report import explain
from straightband.workflows.pads_sheets import mirror_ends, piece_label
from straightband.workflows.setup import face_from_text
from straightband.workflows.shop_orders import SIZES
from straightband.workflows.shop_pads import pad_of
from straightband.workflows.shown import length_shown, sentence_shown

NAMES = {"whole": ("whole pad", "whole pads"), "half": ("half", "halves"), "petal": ("petal", "petals")}


def evenness(found: dict[str, Any]) -> str:
    """Largest rate over the smallest, with its uncertainty (95 %)."""
    return f"{' '.join(round_with_uncertainty(found['evenness'], found['evenness_uncertainty'], unit='').split())} to 1"


def plate_sentence(found: dict[str, Any], *, units: str) -> str:
    """How evenly the back will clear, and where last."""
    if found["evenness"] - 1.0 < found["evenness_uncertainty"]:
        return "It clears as evenly all over as pads placed by hand allow."
    lag = f"the middle takes {100.0 * found['centre_lag']:.0f} % longer than the fastest place"
    where = found["clears_last_at_mm"]
    return f"It clears last {'in the middle' if where == 0.0 else f'{length_shown(where, units)} from the middle'}; {lag}."


def plate_rows(found: dict[str, Any], *, units: str) -> tuple[tuple[str, str], ...]:
    """Name and value."""
    stroke, better = found["stroke"], found["better_stroke"]
    packs = () if found["packs"] is None else (("Packs", f"{found['packs']}{_cost(found)}"),)
    evener = (
        ()
        if better is None
        else (
            (
                "Evener on these pads",
                f"a stroke of {length_shown(better['stroke_mm'], units)}{_side(better, units=units)}, about {better['evenness']:.2f} to 1",
            ),
        )
    )
    return (
        ("Pads", f"{found['pads_used']}, as {_counted(found)}"),
        *packs,
        ("Covered", f"{100.0 * found['coverage']:.0f} % of the plate"),
        ("Fastest to slowest place", evenness(found)),
        ("With pads in rows", f"{found['evenness_naive']:.2f} to 1"),
        (
            "Stroke",
            f"{length_shown(stroke['stroke_mm'], units)} end to end{_side(stroke, units=units)}, {stroke['strokes_per_min']:g} a minute",
        ),
        ("Turns a minute", f"plate {stroke['spindle_rpm']:g}, mirror {stroke['top_rpm']:g}"),
        *evener,
        ("The rim gets to", f"{length_shown(found['mirror_reach_mm'], units)} of {length_shown(found['plate_radius_mm'], units)}"),
    )


def _cost(found: dict[str, Any]) -> str:
    return "" if found["cost"] is None else f", {found['cost']:.2f}"


def _side(stroke: dict[str, float], *, units: str) -> str:
    return f", {length_shown(stroke['side_mm'], units)} beside the middle" if stroke["side_mm"] else ""


def _counted(found: dict[str, Any]) -> str:
    kinds = [each["cut"] for each in found["piece_kinds"]]
    told = [f"{kinds.count(cut)} {words[kinds.count(cut) != 1]}" for cut, words in NAMES.items() if cut in kinds]
    return " and ".join([", ".join(told[:-1]), told[-1]] if len(told) > 1 else told)


def rate_rows(found: dict[str, Any], *, units: str) -> tuple[tuple[str, str], ...]:
    """Distance from the middle of the mirror, and relative rate with its uncertainty (95 %)."""
    return tuple(
        (length_shown(each["radius_mm"], units), " ".join(round_with_uncertainty(each["rate"], each["uncertainty"], unit="").split()))
        for each in found["rate_by_radius"]
    )


def plate_notes(found: dict[str, Any]) -> tuple[str, ...]:
    """Doubts as sentences."""
    return tuple(f"{sentence_shown(explain(flag))}." for flag in found["flags"])


def plate_drawing(entry: PlateEntry) -> str:
    """The template as a preview: the plate with its pieces numbered, and the mirror at the ends of its stroke."""
    found, told = entry.found, entry.told
    face = face_from_text(shape=told["shape"], **{size: told.get(size) for size in SIZES})
    ends = mirror_ends(face, stroke_mm=found["stroke"]["stroke_mm"], side_mm=found["stroke"]["side_mm"])
    return plate_sketch(
        _pieces(found),
        radius_mm=found["plate_radius_mm"],
        mirrors_mm=[[(float(x), float(y)) for x, y in each] for each in ends],
        words=f"The plate with {len(found['pieces'])} numbered pieces; dashed, the mirror at both ends of its stroke",
    )


def _pieces(found: dict[str, Any]) -> list[SketchedPiece]:
    out = []
    for corners, kind in zip(found["pieces"], found["piece_kinds"], strict=True):
        middle = shapely.Polygon(corners).centroid
        out.append(SketchedPiece(label=piece_label(**kind), corners_mm=corners, middle_mm=(middle.x, middle.y)))
    return out


def cut_drawings(entry: PlateEntry) -> tuple[tuple[str, str], ...]:
    """Which pad to cut into what, in words, and the drawing of it."""
    pad, out = pad_of(entry.told), []
    kinds = [kind for kind in entry.found["piece_kinds"] if kind["cut"] != Cut.WHOLE]
    kinds.sort(key=lambda kind: (kind["pad"], kind["part"]))
    for number, group in groupby(kinds, key=lambda kind: int(kind["pad"])):
        wanted = list(group)
        cut = Cut(wanted[0]["cut"])
        outlines = cut_pieces(pad, cut)
        parts = []
        for kind in wanted:
            outline = outlines[kind["part"] - 1]
            corners = [(float(x), float(y)) for x, y in shapely.get_coordinates(outline)[:-1]]
            parts.append(SketchedPiece(label=piece_label(**kind), corners_mm=corners, middle_mm=(outline.centroid.x, outline.centroid.y)))
        words = f"Cut pad {number} for {len(parts)} {NAMES[cut][len(parts) != 1]}: {', '.join(part.label for part in parts)}"
        out.append((words, cut_sketch([(float(x), float(y)) for x, y in shapely.get_coordinates(pad.outline)[:-1]], parts, words=words)))
    return tuple(out)


def rate_drawing(found: dict[str, Any]) -> str:
    """Rates over the radius as a drawing."""
    rates = [(each["radius_mm"], each["rate"], each["uncertainty"]) for each in found["rate_by_radius"]]
    words = "Relative rate of removal by distance from the middle of the mirror, with 95 % band"
    return rate_sketch(rates, words=words)
