"""Strokes of the record in rows and sentences for the screen."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from straightband.advice.strokes.edge import Rim
from straightband.advice.strokes.stroke import stroke_from_words
from straightband.shop.entries import ReadingEntry, StrokePlanEntry, StrokeStart, Timer
from straightband.shop.queries import run_of_timer
from straightband.shop.record import Record
from straightband.uncertainty import round_with_uncertainty
from straightband.workflows.shop_clock import day_shown
from straightband.workflows.shop_laps import shelf_of_file
from straightband.workflows.shop_strokes import minutes_done, reading_after
from straightband.workflows.shop_today import Clock, clock_of
from straightband.workflows.shop_work import face_of
from straightband.workflows.shown import nm_shown, sentence_shown
from straightband.workflows.strokes import Next, PlannedStroke
from straightband.workflows.strokes_report import IN_WORDS, explain, how_to


@dataclass(frozen=True, slots=True, kw_only=True)
class StrokeLine:
    """A stroke of a plan.

    Attributes
    ----------
    number
        In the plan, from 1.
    words
        What to do, and how long.
    done
        What was done of it, or nothing.
    clock
        Its timer while it goes, or None.
    may_start
        Whether it can be begun now.
    is_next
        Whether it is the first that was not done yet.
    """

    number: int
    words: str
    done: str
    clock: Clock | None
    may_start: bool
    is_next: bool


def stroke_lines(record: Record, plan: StrokePlanEntry, *, busy: bool, units: str = "mm") -> tuple[StrokeLine, ...]:
    """The strokes of a plan in their order; `busy` while a timer goes for the face."""
    face = face_of(record, plan.face_id)[2]
    laps = shelf_of_file(plan.told["laps"]).laps
    done, clocks = minutes_done(record, plan), _clocks(record, plan)
    out = []
    for number, run in enumerate(plan.found["runs"], start=1):
        planned = PlannedStroke(
            stroke=stroke_from_words(run["stroke"], laps=laps),
            minutes=run["minutes"],
            depth_nm=run["removed_nm"],
            mean_nm=run["removed_mean_nm"],
            rim=Rim(ratio=_number(run["rim_ratio"]), ends_ratio=_number(run["ends_ratio"])),
        )
        minutes = done.get(number)
        out.append(
            StrokeLine(
                number=number,
                words=how_to(planned, face=face, units=units),
                done="" if minutes is None else f"{minutes:g} min done",
                clock=clocks.get(number),
                may_start=not busy,
                is_next=minutes is None and all(before in done for before in range(1, number)),
            )
        )
    return tuple(out)


def _number(value: float | None) -> float:
    return math.inf if value is None else float(value)


def _clocks(record: Record, plan: StrokePlanEntry) -> dict[int, Clock]:
    out = {}
    for start in record.listing(StrokeStart, plan_id=plan.id):
        if run_of_timer(record, start.timer_id) is None:
            timer = record.get(Timer, start.timer_id)
            out[start.number] = clock_of(timer.id, work=timer.work, begun=timer.at, minutes=timer.minutes)
    return out


def advice_sentence(found: dict[str, Any]) -> str:
    """Work, stop or withheld, and why."""
    if found["advice"] == "work":
        return f"Work {found['minutes']:.4g} min in {_counted(len(found['runs']))}, then photograph it again."
    return f"{IN_WORDS[Next(found['reason'])]}."


def _counted(count: int) -> str:
    return "one stroke" if count == 1 else f"{count} strokes"


def before_and_after(found: dict[str, Any]) -> tuple[tuple[str, str], ...]:
    """Name and value: the face now, what is wanted, and what it is to be."""
    rows = [
        ("Now, peak to valley", nm_shown(found["pv_nm"], found["pv_uncertainty_nm"])),
        ("Now, RMS", nm_shown(found["rms_nm"], found["rms_uncertainty_nm"])),
        ("Wanted, peak to valley", f"{found['tolerance_pv_nm']:.0f} nm"),
    ]
    if found["runs"]:
        rows += [
            ("Afterwards, peak to valley", nm_shown(found["predicted_pv_nm"], found["predicted_pv_uncertainty_nm"])),
            ("Afterwards, RMS", nm_shown(found["predicted_rms_nm"], found["predicted_rms_uncertainty_nm"])),
            ("Takes off where most", f"{found['removed_nm']:.0f} nm"),
            ("Takes off in the mean", f"{found['removed_mean_nm']:.0f} nm"),
            ("Moves the edge by", f"{found['edge_change_nm']:+.0f} nm"),
        ]
    return tuple(rows)


def last_run_rows(found: dict[str, Any]) -> tuple[tuple[str, str], ...]:
    """How right the last run was foretold; none where there was none."""
    last = found["last_run"]
    if last is None:
        return ()
    share = round_with_uncertainty(100.0 * last["foretold_share"], 100.0 * last["foretold_share_uncertainty"], unit="%")
    factor = " ".join(round_with_uncertainty(last["factor"], last["factor_uncertainty"], unit="").split())
    return (
        ("Of the change, foretold", f"{share} of its mean square"),
        ("It took off", f"{factor} times what was foretold"),
        ("From where it was to be", f"{nm_shown(last['off_rms_nm'], last['off_rms_uncertainty_nm'])} rms"),
        ("The change itself", f"{last['change_rms_nm']:.2g} nm rms"),
    )


def rate_rows(found: dict[str, Any]) -> tuple[tuple[str, str, str], ...]:
    """Lap, its rate beside the usual with the 95 % interval, and runs behind it."""
    return tuple(
        (each["lap"], f"{each['factor']:.2f} ({each['low']:.2f} to {each['high']:.2f})", f"{each['runs']}") for each in found["rates"]
    )


def budget_rows(found: dict[str, Any]) -> tuple[tuple[str, str, str, str], ...]:
    """Cause, size, origin and length of its bar, the largest first; the whole last."""
    total = found["predicted_rms_uncertainty_nm"]
    terms = sorted(((each["term"], each["nm"], each["origin"]) for each in found["budget"]), key=lambda term: -term[1])
    whole = max([total, *(nm for _, nm, _ in terms)])
    rows = [*terms, ("together", total, "root of the sum of squares")]
    return tuple(
        (name[:1].upper() + name[1:], f"{nm:.2g} nm", origin, f"{100.0 * nm / whole if whole else 0.0:.1f}%") for name, nm, origin in rows
    )


def stroke_doubts(found: dict[str, Any]) -> tuple[str, ...]:
    """Doubts as sentences."""
    return tuple(f"{sentence_shown(explain(flag))}." for flag in found["flags"])


def plan_words(record: Record, plan: StrokePlanEntry) -> str:
    """A plan in a line, for lists."""
    found = plan.found
    if not found["runs"]:
        return f"{day_shown(plan.at)}: {IN_WORDS[Next(found['reason'])].split('.')[0].lower()}"
    done = minutes_done(record, plan)
    return f"{day_shown(plan.at)}: {found['minutes']:.4g} min in {_counted(len(found['runs']))}, {len(done)} done"


def after_words(record: Record, plan: StrokePlanEntry) -> tuple[str, str]:
    """Link and words of the reading after a run, or nothing."""
    reading = reading_after(record, plan)
    if reading is None:
        return "", ""
    return f"/readings/{reading.id}", f"Read again on {day_shown(reading.at)}: PV {pv_shown(reading)}."


def pv_shown(reading: ReadingEntry) -> str:
    """Peak to valley of a reading with its uncertainty."""
    return nm_shown(reading.found["surface"]["pv_nm"], reading.found["uncertainty"]["pv_nm"])
