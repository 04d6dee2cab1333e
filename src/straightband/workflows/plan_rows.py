"""A grinding plan of the record in rows for the screen, and what was foreseen beside what was gauged."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from straightband.shop.entries import Batch, GaugingEntry, PieceEntry, Tick
from straightband.shop.queries import faces_of
from straightband.shop.record import Record
from straightband.uncertainty import round_with_uncertainty
from straightband.workflows.plan_report import clock_hour
from straightband.workflows.shop_clock import time_shown
from straightband.workflows.shown import length_shown, sentence_shown


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedRun:
    """One run of the plan.

    Attributes
    ----------
    number
        In the plan, from 1.
    words
        Which on which, how long, where the mark points.
    done
        When it was ticked off, or nothing.
    """

    number: int
    words: str
    done: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedStage:
    """The runs with one abrasive.

    Attributes
    ----------
    title
        The abrasive, and how long.
    state
        How many runs are done.
    runs
        In their order.
    sags
        Piece, sag foreseen after it, sag gauged after it.
    is_next
        Whether work goes on here.
    """

    title: str
    state: str
    runs: tuple[PlannedRun, ...]
    sags: tuple[tuple[str, str, str], ...]
    is_next: bool


def planned_stages(record: Record, batch: Batch, *, units: str) -> tuple[PlannedStage, ...]:
    """The plan by abrasive, coarse to fine."""
    found = batch.found
    done = {tick.number: time_shown(tick.at) for tick in record.listing(Tick, batch_id=batch.root)}
    stages: list[PlannedStage] = []
    for place, stage in enumerate(found["stages"]):
        grain = stage["abrasive_um"]
        runs = tuple(
            PlannedRun(number=number, words=_run_words(run, units=units), done=done.get(number, ""))
            for number, run in enumerate(found["runs"], start=1)
            if run["abrasive_um"] == grain
        )
        left = sum(not run.done for run in runs)
        low, high = stage["minutes_range"]
        stages.append(
            PlannedStage(
                title=f"{grain:g} um: {stage['minutes']:.0f} min ({low:.0f} to {high:.0f})",
                state=f"{len(runs) - left} of {len(runs)} runs are done.",
                runs=runs,
                sags=_sags(record, batch, place=place, grain=grain),
                is_next=bool(left) and not any(each.is_next for each in stages),
            )
        )
    return tuple(stages)


def _run_words(run: dict[str, Any], *, units: str) -> str:
    stroke = f"{run['stroke_mm']:.0f} mm" if units == "mm" else length_shown(run["stroke_mm"], units)
    turned = f"mark at {clock_hour(run['turn_deg'])} o'clock"
    return f"{run['top']} on {run['bottom']}, {run['minutes']:.1f} min, stroke {stroke}, {turned}"


def _sags(record: Record, batch: Batch, *, place: int, grain: float) -> tuple[tuple[str, str, str], ...]:
    found, rows = batch.found, []
    for name, sags in found["predicted_sag_um"].items():
        doubt = found["predicted_sag_uncertainty_um"][name][place]
        foreseen = "not foreseen" if doubt is None else round_with_uncertainty(sags[place], doubt, unit="um")
        rows.append((name, foreseen, _gauged(record, batch, name=name, grain=grain)))
    return tuple(rows)


def _gauged(record: Record, batch: Batch, *, name: str, grain: float) -> str:
    """The sag over the whole face that was gauged last after this abrasive, since the plan was made."""
    for root in batch.told["pieces"]:
        face = faces_of(record, root)[0]
        for gauging in record.listing(GaugingEntry, newest_first=True, face_id=face.root):
            if (
                gauging.at >= batch.at
                and gauging.told.get("after_abrasive", "").replace(" ", "") == f"{grain:g}um"
                and _is(record, root, name=name)
            ):
                return round_with_uncertainty(gauging.found["edge_sag_um"], gauging.found["edge_sag_uncertainty_um"], unit="um")
    return "not gauged"


def _is(record: Record, root: int, *, name: str) -> bool:
    return record.current(PieceEntry, root).name == name


def plan_sentence(found: dict[str, Any]) -> str:
    """Whether the plan forces every face flat."""
    if found["forces_flat"]:
        return "Every face is forced flat."
    if found["free_curvatures"] == 0:
        return "The pairings force every face flat, but the forecast does not end flat."
    return f"Not every face is forced flat: {found['free_curvatures']} free."


def companion_sentence(found: dict[str, Any], *, units: str) -> str:
    """The round plate that would help, or nothing."""
    companion = found["companion"]
    if companion is None:
        return ""
    across, thick = length_shown(companion["diameter_mm"], units), length_shown(companion["thickness_mm"], units)
    return f"A round plate {across} across and {thick} thick would help: plan again with it."


def plan_warnings(found: dict[str, Any]) -> tuple[str, ...]:
    """The doubts of a plan as sentences."""
    return tuple(sentence_shown(warning) for warning in found["warnings"])
