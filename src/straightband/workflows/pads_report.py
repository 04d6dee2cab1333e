"""A plate of pads in names for programs and in sentences for people."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from straightband.uncertainty import round_with_uncertainty
from straightband.wear.pads.layout import Piece
from straightband.workflows.pads import PadPlan

SENTENCES = {
    "mirror-passes-plate-edge": "at the end of the stroke the mirror's rim passes the edge of the plate and may catch it: shorten the stroke",
    "no-lay-out-found": "no lay-out but the plain one was found: take smaller pads, a smaller gap, or ask for less coverage",
    "spacing-repeats": "some spacings repeat: turn the mirror often, or it may take rings",
    "not-twice-as-even": "this is less than twice as even as rows of pads: take smaller pads, or change the stroke",
    "mirror-rocks": "part of the pads under the mirror carries nothing in part of the stroke: shorten the stroke",
    "plate-does-not-turn": "rates hold for a plate and a mirror that turn against the stroke: walk round the plate, and turn the mirror in your hands",
}
CAUTIONS = (
    "Keep the work wet and wipe up: dried polish is dust, and the dust of some abrasives harms the lungs. Never sweep it dry.",
    "Glass edges cut, and so do scissors and knives on pads: bevel the glass first, cut away from your hand.",
    "On a turning table tie back hair and sleeves, keep the foot on a switch that stops when let go, and stop it before reaching in.",
    "Do not let the plate run dry under the mirror: it may grip. Local rules and the makers' safety sheets go before these lines.",
)


def explain(flag: str) -> str:
    """The sentence for a flag."""
    return SENTENCES[flag]


def polygon_mm(piece: Piece) -> list[list[float]]:
    """Corners of a piece on the plate, x right and y up from its middle, the first not repeated."""
    return [[float(x), float(y)] for x, y in shapely.get_coordinates(piece.outline)[:-1]]


def plan_facts(plan: PadPlan) -> dict[str, Any]:
    """The plate under the names of the contract, as plain JSON values."""
    layout, pressed, motion = plan.evened.layout, plan.evened.pressed, plan.plate.motion
    facts: dict[str, Any] = {
        "pads_used": layout.pads_used,
        "coverage": layout.coverage,
        "pieces": [polygon_mm(piece) for piece in layout.pieces],
        "pieces_are": "polygons in mm on the plate, x right and y up from its middle, as the plate is seen",
        "piece_kinds": [{"cut": str(piece.cut), "pad": piece.pad + 1, "part": piece.part + 1} for piece in layout.pieces],
        "rate_by_radius": [
            {"radius_mm": float(radius), "rate": float(rate), "uncertainty": float(doubt)}
            for radius, rate, doubt in zip(pressed.radius_mm, pressed.rate, pressed.uncertainty, strict=True)
        ],
        "rate_is": "relative to the mean over the radii from the centre of the mirror",
        "centre_lag": plan.centre_lag,
        "centre_lag_is": "share by which the centre wears slower than the fastest place",
        "clears_last_at_mm": plan.last_radius_mm,
        "evenness": plan.uneven,
        "evenness_uncertainty": plan.uneven_uncertainty,
        "evenness_naive": plan.uneven_naive,
        "evenness_is": "largest rate over the smallest within the clear aperture",
        "plate_radius_mm": plan.plate.radius_mm,
        "gap_mm": plan.plate.gap_mm,
        "mirror_reach_mm": plan.reach_mm,
        "stroke": {
            "stroke_mm": motion.stroke_mm,
            "side_mm": motion.side_mm,
            "strokes_per_min": motion.strokes_per_min,
            "spindle_rpm": motion.spindle_rpm,
            "top_rpm": motion.top_rpm,
        },
        "better_stroke": None
        if plan.stroke is None
        else {"stroke_mm": plan.stroke.stroke_mm, "side_mm": plan.stroke.side_mm, "evenness": plan.stroke.uneven},
        "packs": plan.packs,
        "cost": None if plan.pack is None or plan.pack.price is None or plan.packs is None else round(plan.packs * plan.pack.price, 2),
        "flags": list(plan.flags),
    }
    return facts


def plan_lines(plan: PadPlan) -> tuple[str, ...]:
    """The plate as a person at the bench wants it."""
    layout = plan.evened.layout
    even = round_with_uncertainty(plan.uneven, plan.uneven_uncertainty, unit="to 1").replace(" to 1", "")
    return (
        f"{_counted(plan)} from {layout.pads_used} pads cover {100.0 * layout.coverage:.0f} % of the plate.{_packs(plan)}",
        f"Fastest to slowest place of the back: {even} to 1; with pads in rows it would be {plan.uneven_naive:.2f} to 1.",
        _last_sentence(plan),
        _stroke_sentence(plan),
        *_better(plan),
        "Relative rate by distance from the centre of the mirror:",
        *_rate_rows(plan),
        *(f"Note: {explain(flag)}." for flag in plan.flags),
        *(f"Caution: {line}" for line in CAUTIONS),
    )


def _counted(plan: PadPlan) -> str:
    names = {"whole": ("whole pad", "whole pads"), "half": ("half", "halves"), "petal": ("petal", "petals")}
    told = [f"{count} {names[cut][count != 1]}" for cut, count in plan.pieces_by_cut.items() if count]
    return " and ".join([", ".join(told[:-1]), told[-1]] if len(told) > 1 else told)


def _packs(plan: PadPlan) -> str:
    if plan.pack is None or plan.packs is None:
        return ""
    cost = "" if plan.pack.price is None else f", {plan.packs * plan.pack.price:.2f} {plan.pack.currency}".rstrip()
    return f" That is {plan.packs} {'pack' if plan.packs == 1 else 'packs'} of {plan.pack.count}{cost}."


def _last_sentence(plan: PadPlan) -> str:
    if plan.uneven - 1.0 < plan.uneven_uncertainty:
        return "It clears as evenly all over as pads placed by hand allow."
    where = (
        "in the middle" if plan.last_radius_mm < 0.15 * plan.plate.face.semi_major_mm else f"{plan.last_radius_mm:.0f} mm from the middle"
    )
    return f"It clears last {where}; the middle takes {100.0 * plan.centre_lag:.0f} % longer than the fastest place."


def _stroke_sentence(plan: PadPlan) -> str:
    motion = plan.plate.motion
    side = f", {motion.side_mm:.0f} mm beside the middle" if motion.side_mm else ""
    return (
        f"Stroke {motion.stroke_mm:.0f} mm end to end{side}, {motion.strokes_per_min:g} a minute; the plate turns {motion.spindle_rpm:g} and the mirror "
        f"{motion.top_rpm:g} times a minute. The rim gets {plan.reach_mm:.0f} mm from the middle of a plate of {plan.plate.radius_mm:.0f} mm radius."
    )


def _better(plan: PadPlan) -> tuple[str, ...]:
    if plan.stroke is None:
        return ()
    side = f", {plan.stroke.side_mm:.0f} mm beside the middle" if plan.stroke.side_mm else ", over the middle"
    return (f"Evener on these pads: a stroke of {plan.stroke.stroke_mm:.0f} mm{side}, about {plan.stroke.uneven:.2f} to 1.",)


def _rate_rows(plan: PadPlan) -> tuple[str, ...]:
    pressed = plan.evened.pressed
    picked = np.unique(np.linspace(0, pressed.radius_mm.size - 1, 7).astype(int))
    return tuple(
        f"  {pressed.radius_mm[k]:5.0f} mm   {round_with_uncertainty(float(pressed.rate[k]), float(pressed.uncertainty[k]), unit='').strip()}"
        for k in picked
    )
