"""What was done to a face: runs on the lap with their timers, gaugings, costs."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from straightband import provenance
from straightband.errors import BadInput
from straightband.face.shapes import Face
from straightband.light.lines import lamp_from_text
from straightband.quantities import parse_duration_s, parse_length_mm
from straightband.shop.entries import Cost, FaceEntry, GaugingEntry, PieceEntry, Run, Timer
from straightband.shop.folder import Shop
from straightband.shop.queries import run_of_timer
from straightband.shop.record import Form, Record
from straightband.workflows.gauge import gauge_face
from straightband.workflows.gauge_report import gauging_facts
from straightband.workflows.gauge_text import Earlier, readings_from_text, spherometer_from_text
from straightband.workflows.setup import face_from_text
from straightband.workflows.shop_clock import minutes_between
from straightband.workflows.shop_orders import SIZES, given, name_from_text

WORKS = ("grinding", "polishing", "figuring")
POSITIONS = ("top", "bottom", "turning table")
FEET = ("leg_circle", "leg_side", "ring", "ball")
READINGS = ("reading", "zero", "turned", "zero_after", "step", "indicator_error", "reference_sag", "reference_doubt")
GAUGE_LIGHT = "mercury-green"
LONGEST_RUN_MINUTES = 24 * 60.0
_NONE = re.compile(r"0+(?:\.0+)?\s*(?:s|min|h)")
_AMOUNT = re.compile(r"\d{1,7}(?:\.\d{1,2})?")


def face_of(record: Record, face_root: int) -> tuple[FaceEntry, PieceEntry, Face]:
    """A face with its piece and its shape."""
    entry = record.current(FaceEntry, face_root)
    piece = record.current(PieceEntry, entry.piece_id)
    return entry, piece, face_from_text(shape=piece.told["shape"], **{size: piece.told.get(size) for size in SIZES})


def start_timer(shop: Shop, face_root: int, *, texts: Mapping[str, str], now: str, form: Form | None = None) -> int:
    """Begin a run of so many minutes; returns the timer's number. Raises BadInput."""
    timer = Timer(at=now, face_id=face_root, work=_work(texts), minutes=run_minutes(texts.get("minutes", "")))
    with shop.record() as record:
        return record.once(form, lambda: begun(record, timer))[1]


def begun(record: Record, timer: Timer) -> Timer:
    """The timer, entered; raises BadInput while another is going for its face."""
    if going(record, timer.face_id) is not None:
        raise BadInput(found="a timer is going for this face already", needed="one run at a time is needed", remedy="stop that one first")
    return record.add(timer)


def going(record: Record, face_root: int) -> Timer | None:
    """The timer that is going for a face, or None."""
    for timer in record.listing(Timer, newest_first=True, limit=1, face_id=face_root):
        if run_of_timer(record, timer.id) is None:
            return timer
    return None


def stop_timer(shop: Shop, timer_id: int, *, texts: Mapping[str, str], now: str, form: Form | None = None) -> int:
    """End a run: the minutes that went by, or those that were typed; `0min` for one that was nothing. Returns the run's number."""
    with shop.record() as record:
        timer = record.get(Timer, timer_id)
        typed = texts.get("minutes", "").strip()
        minutes = parse_duration_s(typed, what="the time on the lap") / 60.0 if typed else round(minutes_between(timer.at, now), 1)
        run = Run(
            at=now,
            face_id=timer.face_id,
            timer_id=timer_id,
            work=timer.work,
            position=_position(texts),
            abrasive_id=_number(texts.get("abrasive", "")),
            pad_id=_number(texts.get("pad", "")),
            minutes=min(minutes, LONGEST_RUN_MINUTES),
            note=" ".join(texts.get("note", "").split())[:200],
        )
        return record.once(form, lambda: _ended(record, run))[1]


def _ended(record: Record, run: Run) -> Run:
    there = None if run.timer_id is None else run_of_timer(record, run.timer_id)
    return record.add(run) if there is None else there


def enter_run(
    shop: Shop, face_root: int, *, texts: Mapping[str, str], now: str, form: Form | None = None, corrects: int | None = None
) -> int:
    """Enter a run that was done without a timer, or the correction of one; returns the entry's number. Raises BadInput.

    A correction may take a run back: no time on the lap, `0min`.
    """
    typed = texts.get("minutes", "")
    none = corrects is not None and bool(_NONE.fullmatch(typed.strip()))
    run = Run(
        at=now,
        corrects=corrects,
        face_id=face_root,
        work=_work(texts),
        position=_position(texts),
        abrasive_id=_number(texts.get("abrasive", "")),
        pad_id=_number(texts.get("pad", "")),
        minutes=0.0 if none else run_minutes(typed),
        note=" ".join(texts.get("note", "").split())[:200],
    )
    with shop.record() as record:
        return record.once(form, lambda: record.add(run))[1]


def run_texts(run: Run) -> dict[str, str]:
    """What was entered of a run, to begin its correction with."""
    return {
        "work": run.work,
        "minutes": f"{run.minutes:g}min",
        "position": run.position,
        "abrasive": "" if run.abrasive_id is None else str(run.abrasive_id),
        "pad": "" if run.pad_id is None else str(run.pad_id),
        "note": run.note,
    }


def _work(texts: Mapping[str, str]) -> str:
    work = texts.get("work", "").strip()
    if work not in WORKS:
        raise BadInput(found=f"the work was given as '{work[:40]}'", needed=f"one of {', '.join(WORKS)} is needed", remedy="choose one")
    return work


def _position(texts: Mapping[str, str]) -> str:
    position = texts.get("position", "").strip()
    if position and position not in POSITIONS:
        raise BadInput(
            found=f"the place was given as '{position[:40]}'", needed=f"one of {', '.join(POSITIONS)} is needed", remedy="choose one"
        )
    return position


def run_minutes(text: str) -> float:
    """The minutes of a run; raises BadInput."""
    minutes = parse_duration_s(text, what="the time on the lap") / 60.0
    if not 0.0 < minutes <= LONGEST_RUN_MINUTES:
        raise BadInput(
            found=f"the time on the lap was given as '{text[:40]}'",
            needed="more than none and at most a day is needed",
            remedy="write it like 12min",
        )
    return minutes


def _number(text: str) -> int | None:
    return int(text) if re.fullmatch(r"\d{1,9}", text.strip()) else None


def enter_gauging(
    shop: Shop, face_root: int, *, texts: Mapping[str, str], now: str, form: Form | None = None, corrects: int | None = None
) -> int:
    """Enter spherometer readings of a face with the sag they give; returns the entry's number. Raises BadInput."""
    told = given(texts, *FEET, *READINGS, "light", "after_abrasive")
    if "after_abrasive" in told:
        parse_length_mm(told["after_abrasive"], what="the abrasive")
    readings: dict[str, Any] = {"reading": None, "zero": None} | {name: told[name] for name in READINGS if name in told}
    with shop.record() as record:
        _, _, face = face_of(record, face_root)
        gauging = gauge_face(
            readings_from_text(**readings),
            gauge=spherometer_from_text(**{name: told[name] for name in FEET if name in told}),
            face=face,
            lamp=lamp_from_text(told.get("light", GAUGE_LIGHT)),
            earlier=_earlier(record, face_root, told=told, corrects=corrects),
        )
        entry = GaugingEntry(
            at=now, corrects=corrects, face_id=face_root, told=told, found=gauging_facts(gauging), program=provenance.program()
        )
        return record.once(form, lambda: record.add(entry))[1]


def _earlier(record: Record, face_root: int, *, told: dict[str, str], corrects: int | None) -> tuple[Earlier, ...]:
    """The last sag within the same feet, which the trend is told against; of a correction the last before what it corrects."""
    gaugings = record.listing(GaugingEntry, newest_first=True, face_id=face_root)
    for before in [each for each in gaugings if corrects is None or each.root < corrects][:1]:
        if {name: before.told.get(name) for name in FEET} == {name: told.get(name) for name in FEET}:
            grain = before.told.get("after_abrasive")
            size = 0.0 if grain is None else 1000.0 * parse_length_mm(grain, what="the abrasive")
            return (Earlier(abrasive_um=size, sag_um=float(before.found["sag_um"])),)
    return ()


def enter_cost(
    shop: Shop, piece_root: int | None, *, texts: Mapping[str, str], now: str, form: Form | None = None, corrects: int | None = None
) -> int:
    """Enter money or hours spent, or the correction of that; returns the entry's number. Raises BadInput."""
    amount, hours = texts.get("amount", "").strip() or "0", texts.get("hours", "").strip() or "0"
    for text, what in ((amount, "the amount"), (hours, "the hours")):
        if not _AMOUNT.fullmatch(text):
            raise BadInput(found=f"{what} was given as '{text[:40]}'", needed="a plain number is needed", remedy="write it like 12.50")
    entry = Cost(
        at=now,
        corrects=corrects,
        piece_id=piece_root,
        what=name_from_text(texts.get("what", ""), what="what it was for"),
        amount=float(amount),
        currency=(texts.get("currency", "").strip() or "EUR")[:8],
        hours=float(hours),
    )
    with shop.record() as record:
        return record.once(form, lambda: record.add(entry))[1]


def cost_texts(cost: Cost) -> dict[str, str]:
    """What was entered of a cost, to begin its correction with."""
    return {"what": cost.what, "amount": f"{cost.amount:.2f}", "currency": cost.currency, "hours": f"{cost.hours:g}"}
