"""Advice on strokes in names for programs and in sentences for people."""

from __future__ import annotations

import math
from typing import Any

from straightband.advice.strokes.edge import RIM_FASTER, RIM_SLOWER
from straightband.advice.strokes.rates import interval
from straightband.face.shapes import Face
from straightband.quantities import MM_PER_UNIT
from straightband.uncertainty import round_with_uncertainty
from straightband.workflows.cautions import DEFER, GRINDING
from straightband.workflows.maps import band_of
from straightband.workflows.strokes import Next, Outcome, PlannedStroke, StrokePlan, Way, clock_hour, written

SENTENCES = {
    "sign-unknown": "hill or hole is not known, so no stroke is advised: read the photograph again and say where the gap is thicker",
    "sign-not-told": "the map does not say whether hills are known from holes; it was taken at its word that plus is a hill",
    "mark-not-told": "the map has no mark: before you work on one place, make sure which way round the face lies",
    "uncertainty-not-told": "the map says nothing of its uncertainty, or none: what is noise in it is then worked at",
    "rates-not-learnt": "a lap of this run has not been in a run yet: its rate is a guess within a factor of three, so the run is kept short; keep it for the next advice",
    "run-held-back": "the run is shorter than flattening would need: to stay safe if the laps cut faster than expected, or to fit into a session",
    "more-runs-to-come": "this run alone does not bring the face inside its tolerance: photograph it afterwards and ask again",
    "edge-turned-down": "the run wears the rim faster than the rest and turns the edge down; watch the bands at the rim",
    "edge-left-up": "the run wears the rim slower than the rest and leaves the edge turned up",
    "past-run-without-sign": "of an earlier run hill or hole was not known, so nothing was learnt from it",
    "last-run-not-as-foretold": "the last run did not do what was foretold: check lap, place and which way round the face lay before the next",
}
IN_WORDS = {
    Next.WORK: "Work",
    Next.STOP_WITHIN: "Stop. The face is inside its tolerance, its uncertainty counted",
    Next.STOP_NOISE: "Stop. What the map shows beyond the tolerance is no more than its own uncertainty: more polishing would chase noise",
    Next.STOP_NO_GAIN: "Stop. These laps can take nothing away for certain; measure better (more photographs), or give a smaller lap",
    Next.WITHHELD: "Withheld. Hill or hole is not known, and strokes for one make the other worse",
}
SHORT = {Next.WORK: "work", Next.STOP_WITHIN: "stop", Next.STOP_NOISE: "stop", Next.STOP_NO_GAIN: "stop", Next.WITHHELD: "withheld"}


def explain(flag: str) -> str:
    """The sentence for a flag."""
    return SENTENCES[flag]


def strokes_facts(plan: StrokePlan) -> dict[str, Any]:
    """The plan under the names of the contract, as plain JSON values."""
    before, after = plan.advice.before, plan.advice.after
    return {
        "advice": SHORT[plan.advice.next],
        "reason": str(plan.advice.next),
        "runs": [_run_facts(run) for run in plan.runs],
        "rms_nm": before.rms,
        "rms_uncertainty_nm": before.rms_uncertainty,
        "pv_nm": before.pv,
        "pv_uncertainty_nm": before.pv_uncertainty,
        "predicted_rms_nm": after.rms,
        "predicted_rms_uncertainty_nm": after.rms_uncertainty,
        "predicted_pv_nm": after.pv,
        "predicted_pv_uncertainty_nm": after.pv_uncertainty,
        "tolerance_pv_nm": plan.limits.tolerance_nm,
        "within_tolerance_afterwards": plan.advice.within,
        "removed_nm": plan.removed_nm,
        "removed_mean_nm": plan.removed_mean_nm,
        "edge_change_nm": plan.edge_change_nm,
        "minutes": sum(run.minutes for run in plan.runs),
        "held_back": plan.advice.held_back,
        "rates": [_rate_facts(plan, number) for number in range(len(plan.rates.names))],
        "last_run": None if plan.outcome is None else _outcome_facts(plan.outcome),
        "budget": [{"term": term.name, "nm": term.nm, "origin": term.origin} for term in plan.advice.budget.terms],
        "flags": list(plan.flags),
        "cautions": [*GRINDING, DEFER],
    }


def _run_facts(run: PlannedStroke) -> dict[str, Any]:
    return {
        "stroke": written(run.stroke),
        "minutes": run.minutes,
        "lap": run.stroke.lap.name,
        "way": str(run.stroke.way),
        "removed_nm": run.depth_nm,
        "removed_mean_nm": run.mean_nm,
        "rim_ratio": run.rim.ratio,
        "ends_ratio": run.rim.ends_ratio,
    }


def _rate_facts(plan: StrokePlan, number: int) -> dict[str, Any]:
    middle, low, high = interval(plan.rates, number)
    return {"lap": plan.rates.names[number], "factor": middle, "low": low, "high": high, "runs": plan.rates.runs[number]}


def _outcome_facts(outcome: Outcome) -> dict[str, Any]:
    return {
        "foretold_share": outcome.foretold_share,
        "foretold_share_uncertainty": outcome.foretold_share_uncertainty,
        "factor": outcome.factor,
        "factor_uncertainty": outcome.factor_uncertainty,
        "off_rms_nm": outcome.off_rms_nm,
        "off_rms_uncertainty_nm": outcome.off_rms_uncertainty_nm,
        "change_rms_nm": outcome.change_rms_nm,
    }


def strokes_lines(plan: StrokePlan) -> tuple[str, ...]:
    """The plan as a person at the lap wants it."""
    before, after, band = plan.advice.before, plan.advice.after, band_of(plan.height_map)
    now = f"PV {_nm(before.pv, before.pv_uncertainty)}, rms {_nm(before.rms, before.rms_uncertainty)} (95 %)"
    lines = [
        *outcome_lines(plan.outcome),
        f"Now: {now}; wanted: PV {plan.limits.tolerance_nm:.0f} nm.",
        f"{IN_WORDS[plan.advice.next]}.",
    ]
    if plan.runs:
        lines += [f"{number}. {how_to(run, face=plan.height_map.face)}" for number, run in enumerate(plan.runs, start=1)]
        lines += [
            f"Together {sum(run.minutes for run in plan.runs):.4g} min. Takes off {plan.removed_nm:.0f} nm where most, {plan.removed_mean_nm:.0f} nm in the mean.",
            f"Afterwards: PV {_nm(after.pv, after.pv_uncertainty)}, rms {_nm(after.rms, after.rms_uncertainty)} (95 %), {after.pv / band:.2g} bands; then photograph again.",
            "Uncertainty of that rms from:",
            *(f"  {term.name:<18} {term.nm:8.3g} nm  ({term.origin})" for term in plan.advice.budget.terms),
            "Rates of the laps beside the usual (4e-13 per Pa), with their 95 % intervals:",
            *(f"  {line}" for line in rate_lines(plan)),
        ]
    return (*lines, *(f"Note: {explain(flag)}." for flag in plan.flags), *((*GRINDING, DEFER) if plan.runs else ()))


def outcome_lines(outcome: Outcome | None) -> tuple[str, ...]:
    """How right the last run was foretold."""
    if outcome is None:
        return ()
    share = round_with_uncertainty(100.0 * outcome.foretold_share, 100.0 * outcome.foretold_share_uncertainty, unit="%")
    factor = " ".join(round_with_uncertainty(outcome.factor, outcome.factor_uncertainty, unit="").split())
    off = _nm(outcome.off_rms_nm, outcome.off_rms_uncertainty_nm)
    return (
        f"Last run: {share} of the change was foretold (its mean square); it took off {factor} times what was foretold.",
        f"The face lies {off} rms from where it was to be; the errors of the two maps alone make {outcome.noise_rms_nm:.2g} nm of that.",
    )


def rate_lines(plan: StrokePlan) -> tuple[str, ...]:
    """Each lap's factor, its interval and the runs behind it."""
    found = []
    for number, name in enumerate(plan.rates.names):
        middle, low, high = interval(plan.rates, number)
        runs = plan.rates.runs[number]
        found.append(
            f"{name}: {middle:.2f} ({low:.2f} to {high:.2f}), {'no run yet' if not runs else '1 run' if runs == 1 else f'{runs} runs'}"
        )
    return tuple(found)


def how_to(run: PlannedStroke, *, face: Face, units: str = "mm") -> str:
    """One stroke in a sentence, places by the clock with the mark at 12, looking at the face; lengths in mm or in inches."""
    stroke, minutes = run.stroke, f"{run.minutes:g} min"
    travel, swing, side = (_length(each, units=units) for each in (stroke.travel_mm, stroke.swing_mm, stroke.side_mm))
    moved = f"strokes of {travel}, swinging {swing} sideways, {stroke.lap.strokes_per_min:g} a minute"
    lap = stroke.lap.name if "lap" in stroke.lap.name else f"lap '{stroke.lap.name}'"
    if stroke.way is Way.STILL:
        told = f"{lap} on top, table still, {place_of(run, units=units)}, {moved}, along {direction_of(run)}"
    elif stroke.way is Way.MIRROR_HELD:
        told = f"mirror on top of {lap}, table at {stroke.table_rpm:g} rpm, mirror not turned, {moved}, along {direction_of(run)}, which through its back is {direction_of(run, mirrored=True)}"
    else:
        lying = f"{lap} on top" if stroke.way is Way.TURNING else f"mirror on top of {lap} and turned slowly by hand"
        beside = "over the middle" if not stroke.side_mm else f"{side} beside the middle"
        told = f"{lying}, table at {stroke.table_rpm:g} rpm, {moved}, {beside}"
    return f"{minutes}: {told}. Takes off {run.depth_nm:.0f} nm where most; {_rim_words(run, face=face)}."


def _length(length_mm: float, *, units: str, spec: str = "g") -> str:
    """A length at the lap: as the strokes have it in mm, to a hundredth in inches."""
    sign = "+" if spec.startswith("+") else ""
    return f"{length_mm:{spec}} mm" if units == "mm" else f"{length_mm / MM_PER_UNIT[units]:{sign}.2f} {units}"


def place_of(run: PlannedStroke, *, units: str = "mm") -> str:
    """Where on the face."""
    u, v = run.stroke.u_mm, run.stroke.v_mm
    away = math.hypot(u, v)
    return (
        "over the middle"
        if away < 1.0
        else (
            f"over the place {_length(away, units=units, spec='.0f')} from the middle toward {clock_hour(u, v)} o'clock "
            f"(u {_length(u, units=units, spec='+.0f').split()[0]}, v {_length(v, units=units, spec='+.0f')})"
        )
    )


def direction_of(run: PlannedStroke, *, mirrored: bool = False) -> str:
    """Which way, by the clock of the face: `9 to 3 o'clock`; mirrored, as its back shows it."""
    along = math.radians(run.stroke.along_deg)
    hour = clock_hour(-math.cos(along) if mirrored else math.cos(along), math.sin(along))
    return f"{(hour + 6 - 1) % 12 + 1} to {hour} o'clock"


def _rim_words(run: PlannedStroke, *, face: Face) -> str:
    ratio, ends = run.rim.ratio, run.rim.ends_ratio
    words = (
        f"wears the rim {ratio:.2g} times as fast as the inside: turns the edge down"
        if ratio > RIM_FASTER
        else f"wears the rim {ratio:.2g} times as fast as the inside"
        if ratio < RIM_SLOWER
        else "wears the rim like the inside"
    )
    turning = run.stroke.way in (Way.TURNING, Way.MIRROR_TURNED) and face.semi_u_mm != face.semi_v_mm
    return (
        f"{words}; the ends of the long axis {ends:.2g} times as fast as those of the short one"
        if turning and math.isfinite(ends)
        else words
    )


def _nm(value: float, uncertainty: float) -> str:
    return round_with_uncertainty(value, uncertainty, unit="nm")
