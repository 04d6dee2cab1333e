"""A grinding plan in names for programs and in sentences for people."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from straightband.advice.graph import Group
from straightband.advice.pairs import Pairing
from straightband.advice.schedule import Run
from straightband.advice.stages import Stage
from straightband.uncertainty import round_with_uncertainty
from straightband.wear.abrasive import PRESTON_FACTOR
from straightband.workflows.plan import Plan, sags_after

SENTENCES = {
    "not-forced-flat": "these pairings do not force every face flat: two plates only grind each other into matching spheres",
    "meets-none": "a piece can run with none of the others and is left out of the plan",
    "companion-proposed": "a companion plate would help, see above; call again with --with-companion to plan with it",
    "sag-not-measured": "a sag was not given: it was taken as none, give or take 30 um; gauge the blanks and write sag_um",
    "not-deep-enough": "with the minutes given a face loses less than the abrasive before may have broken: pits may be left; take longer runs",
    "not-flat-at-the-end": "the plan ends with more sag than the last abrasive should leave: gauge between rounds, and give more rounds to the worst pair",
    "runs-too-long": (
        "the minutes given are long for a run: each bends the pair until the next undoes it, so shorter runs in more rounds end flatter; leave "
        "minutes out to have them chosen"
    ),
    "abrasives-reordered": "the abrasives were put in order, coarse to fine",
    "rates-are-not-the-shops-own": (
        "how fast an abrasive cuts was taken from usual values, give or take a factor of two: weigh a piece before and after, and stop when no "
        "pit is left, not by the clock"
    ),
    "astigmatism-not-foreseen": "the forecast knows bowls and hills but no saddles: turn the plates as told, and look with bands",
}


def explain(flag: str) -> str:
    """The sentence for a flag."""
    return SENTENCES[flag]


def plan_facts(plan: Plan) -> dict[str, Any]:
    """The plan under the names of the contract, as plain JSON values."""
    names = [plate.name for plate in plan.plates]
    sags = sags_after(plan)
    return {
        "forces_flat": plan.forces_flat,
        "free_curvatures": plan.pairings.free,
        "runs": [
            _run_facts(plan, stage, run, number=number)
            for stage in plan.stages
            for run, number in zip(stage.runs, stage.round_of_run, strict=True)
        ],
        "abrasives_um": list(plan.batch.abrasives_um),
        "predicted_sag_um": {name: [float(sag[number]) for sag, _ in sags] for number, name in enumerate(names)},
        "predicted_sag_uncertainty_um": {name: [float(doubt[number]) for _, doubt in sags] for number, name in enumerate(names)},
        "predicted_sag_after_run_um": {
            name: [float(sag[number]) for stage in plan.stages for sag in stage.sags_um] for number, name in enumerate(names)
        },
        "groups": [
            {"pieces": [names[number] for number in group.pieces], "odd_ring": [names[number] for number in group.odd_ring]}
            for group in plan.pairings.groups
        ],
        "pairings": [_pairing_facts(plan, pairing) for pairing in plan.pairings.chosen],
        "cannot_run_together": [
            {"pieces": [names[number] for number in misfit.link], "size_ratio": misfit.ratio, "reason": misfit.reason}
            for misfit in plan.pairings.misfits
        ],
        "companion": _companion_facts(plan),
        "carries_pads": None if plan.carrier is None else names[plan.carrier],
        "stages": [_stage_facts(plan, stage) for stage in plan.stages],
        "time_on_top_min": {name: _minutes(plan, place="top", number=number) for number, name in enumerate(names)},
        "time_below_min": {name: _minutes(plan, place="bottom", number=number) for number, name in enumerate(names)},
        "bench": {
            "spindle_rpm": plan.bench.spindle_rpm,
            "load_n": plan.bench.load_n,
            "strokes_per_min": plan.bench.strokes_per_min,
            "top_rpm": plan.bench.top_rpm,
        },
        "warnings": _warnings(plan),
        "flags": list(plan.flags),
    }


def minutes_range(stage: Stage) -> tuple[float, float]:
    """How long the stage may take at least and at most: shallow damage, or an abrasive that cuts slowly."""
    return stage.minutes * stage.needed.lower_um / stage.needed.upper_um, stage.minutes * PRESTON_FACTOR


def clock_hour(turn_deg: int) -> int:
    """Where a mark points that is turned by so many degrees clockwise.

    Example
    -------
    >>> clock_hour(0), clock_hour(150)
    (12, 5)
    """
    return turn_deg // 30 % 12 or 12


def _run_facts(plan: Plan, stage: Stage, run: Run, *, number: int) -> dict[str, Any]:
    low, high = (limit / stage.minutes * run.minutes for limit in minutes_range(stage))
    return {
        "abrasive_um": stage.abrasive.size_um,
        "top": plan.plates[run.top].name,
        "bottom": plan.plates[run.bottom].name,
        "minutes": run.minutes,
        "minutes_range": [low, high],
        "turn_deg": run.turn_deg,
        "stroke_mm": run.stroke_mm,
        "round": number + 1,
    }


def _pairing_facts(plan: Plan, pairing: Pairing) -> dict[str, Any]:
    return {
        "pieces": [plan.plates[number].name for number in pairing.link],
        "size_ratio": pairing.ratio,
        "ways": [
            {
                "top": plan.plates[way.top].name,
                "bottom": plan.plates[way.bottom].name,
                "share_of_time": way.share,
                "stroke_mm": way.stroke_mm,
            }
            for way in pairing.ways
        ],
    }


def _companion_facts(plan: Plan) -> dict[str, Any] | None:
    companion = plan.companion
    if companion is None:
        return None
    return {
        "shape": "round",
        "diameter_mm": companion.diameter_mm,
        "thickness_mm": companion.thickness_mm,
        "free_curvatures": companion.free,
        "forces_flat": companion.free == 0,
        "carries_pads": companion.carries_pads,
        "meets": [plan.plates[number].name for number in companion.meets],
    }


def _stage_facts(plan: Plan, stage: Stage) -> dict[str, Any]:
    return {
        "abrasive_um": stage.abrasive.size_um,
        "rounds": stage.rounds,
        "minutes": stage.minutes,
        "minutes_range": list(minutes_range(stage)),
        "after_um": stage.before_um,
        "damage_um": [stage.needed.lower_um, stage.needed.upper_um],
        "removed_um": {plate.name: float(depth) for plate, depth in zip(plan.plates, stage.removed_um, strict=True)},
        "deep_enough": stage.deep_enough,
    }


def _minutes(plan: Plan, *, place: str, number: int) -> float:
    return sum(run.minutes for stage in plan.stages for run in stage.runs if getattr(run, place) == number)


def _warnings(plan: Plan) -> list[str]:
    """Whole sentences: pairs that can't run together first, then the doubts."""
    apart = [f"Not together: {misfit.reason}." for misfit in plan.pairings.misfits]
    doubts = (explain(flag) for flag in plan.flags)
    return [*apart, *(f"{doubt[:1].upper()}{doubt[1:]}." for doubt in doubts)]


def plan_lines(plan: Plan) -> tuple[str, ...]:
    """The plan as a person at the bench wants it."""
    return (
        _verdict(plan),
        *(_group_sentence(plan, group) for group in plan.pairings.groups),
        *_companion_lines(plan),
        "",
        "Who runs on whom (strokes from end to end; the times are shared so that what one way bends the other undoes):",
        *(f"  {_pairing_sentence(plan, pairing)}" for pairing in plan.pairings.chosen),
        *(line for stage in plan.stages if stage.runs for line in _stage_lines(plan, stage)),
        "",
        *_sag_lines(plan),
        "",
        *_balance_lines(plan),
        *(f"Note: {warning}" for warning in _warnings(plan)),
    )


def _verdict(plan: Plan) -> str:
    total = sum(stage.minutes for stage in plan.stages) / 60.0
    pieces = f"{len(plan.plates)} pieces, {len(plan.stages)} abrasives, about {total:.1f} h of grinding"
    if plan.forces_flat:
        return f"Every face is forced flat: {pieces}."
    free = plan.pairings.free
    if free == 0:
        return f"The pairings force every face flat, but the forecast does not end flat: {pieces}."
    return f"Not every face is forced flat, {free} curvature{'s stay' if free > 1 else ' stays'} free: {pieces}."


def _group_sentence(plan: Plan, group: Group) -> str:
    names = _listed(plan.plates[number].name for number in group.pieces)
    if group.odd_ring:
        ring = _listed(plan.plates[number].name for number in group.odd_ring)
        hangs = [plan.plates[number].name for number in group.pieces if number not in group.odd_ring]
        tail = f"; {_listed(hangs)} {'hang' if len(hangs) > 1 else 'hangs'} on it" if hangs else ""
        return f"  {ring} meet each other in an odd ring, which only flat faces fit all round{tail}."
    if len(group.pieces) == 1:
        return f"  {names} finds no partner of its size."
    sides = [_listed(plan.plates[number].name for number in side) for side in group.sides]
    return f"  {names} close no odd ring: {sides[0]} can end as hollow as {sides[1]} as hill."


def _companion_lines(plan: Plan) -> tuple[str, ...]:
    companion = plan.companion
    if companion is None:
        return ()
    why = []
    if plan.pairings.free > companion.free:
        why.append("forces every face flat" if companion.free == 0 else "closes a ring that is missing")
    if plan.carrier is None and companion.carries_pads:
        why.append("can carry the polishing pads later, for which no round piece here is wide enough")
    reason = " and ".join(why) or "would be the best there is, though it does not force every face flat"
    meets = f", running with {_listed(plan.plates[number].name for number in companion.meets)}" if companion.meets else ""
    return (f"Add a round plate {companion.diameter_mm:g} mm across and {companion.thickness_mm:g} mm thick: it {reason}{meets}.",)


def _pairing_sentence(plan: Plan, pairing: Pairing) -> str:
    ways = "; ".join(
        f"{plan.plates[way.top].name} on {plan.plates[way.bottom].name} {100.0 * way.share:.0f} % of the time, stroke {way.stroke_mm:.0f} mm"
        for way in pairing.ways
    )
    one = " (never the other way up: that only bends both)" if len(pairing.ways) == 1 else ""
    return f"{ways}{one}"


def _stage_lines(plan: Plan, stage: Stage) -> tuple[str, ...]:
    low, high = minutes_range(stage)
    first = stage.runs[: stage.round_of_run.count(0)]
    rows = (
        f"  {plan.plates[run.top].name:>12} on {plan.plates[run.bottom].name:<12} {run.minutes:5.1f} min   stroke {run.stroke_mm:3.0f} mm   "
        f"mark at {clock_hour(run.turn_deg):2d} o'clock"
        for run in first
    )
    depth = min(stage.removed_um[stage.removed_um > 0.0])
    heading = (
        f"{stage.abrasive.size_um:g} um: {stage.rounds} {'rounds' if stage.rounds > 1 else 'round'}, {stage.minutes:.0f} min in all ({low:.0f} to "
        f"{high:.0f}), takes {depth:.0f} um off every face; {stage.before_um:g} um grains break {stage.needed.lower_um:.0f} to "
        f"{stage.needed.upper_um:.0f} um deep."
    )
    following = "  First round; the following turn each pair's order round and the mark on by five hours at each meeting:"
    return ("", heading, following if stage.rounds > 1 else "  Its runs:", *rows)


def _sag_lines(plan: Plan) -> tuple[str, ...]:
    heads = "".join(f"{f'{size:g} um':>18}" for size in plan.batch.abrasives_um)
    lines = [f"Sag to be expected after each abrasive (centre over the end of the longer half axis, um, 95 %):\n  {'':<12}{heads}"]
    for number, plate in enumerate(plan.plates):
        cells = (round_with_uncertainty(float(sag[number]), float(doubt[number]), unit="").strip() for sag, doubt in sags_after(plan))
        lines.append(f"  {plate.name:<12}" + "".join(f"{cell:>18}" for cell in cells))
    return tuple(lines)


def _balance_lines(plan: Plan) -> tuple[str, ...]:
    shares = (
        f"{plate.name} {_minutes(plan, place='top', number=number):.0f} on top, {_minutes(plan, place='bottom', number=number):.0f} below"
        for number, plate in enumerate(plan.plates)
    )
    return (f"Minutes: {'; '.join(shares)}.",)


def _listed(names: Iterable[str]) -> str:
    *rest, last = names
    return f"{', '.join(rest)} and {last}" if rest else last
