"""Figuring in the record: strokes advised for a reading, begun one by one with their timers, and learnt from when the face was read again."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from straightband import provenance
from straightband.advice.strokes.stroke import stroke_from_words
from straightband.errors import BadInput
from straightband.quantities import whole_number
from straightband.shop.entries import PieceEntry, ReadingEntry, Run, StrokePlanEntry, StrokeStart, Timer
from straightband.shop.folder import Shop
from straightband.shop.queries import faces_of, photographs_of, readings_of, run_of_timer
from straightband.shop.record import Form, Record
from straightband.workflows.maps import map_file
from straightband.workflows.read import tell_nobody
from straightband.workflows.shop_laps import laps_file, shelf_of_file
from straightband.workflows.shop_orders import given
from straightband.workflows.shop_readings import piece_of_reading, reading_map
from straightband.workflows.shop_setup import shopkeeper
from straightband.workflows.shop_work import begun
from straightband.workflows.strokes import StrokePlan, plan_strokes
from straightband.workflows.strokes_pictures import stroke_card, wear_picture, zones_picture
from straightband.workflows.strokes_report import strokes_facts
from straightband.workflows.strokes_request import limits_from_text, view_from_text
from straightband.workflows.strokes_shelf import PastRun

LIMITS = ("tolerance", "most_strokes", "longest")
VIEW = ("seen", "mark")
FIGURING = "figuring"
MOST_PAST = 20  # runs of the shop that are learnt from: each is worn anew in the computation
OWN_FACTS = ("papers", "predicted_map")  # beside what the command says


@dataclass(frozen=True, slots=True, kw_only=True)
class DoneRun:
    """A run of strokes that was done, between two readings of its face.

    Attributes
    ----------
    plan
        Its number.
    after
        The reading after it.
    minutes
        What was done of each stroke, by its number in the plan.
    """

    plan: int
    after: int
    minutes: dict[int, float]


def told_of_texts(shop: Shop, piece_root: int, *, texts: Mapping[str, str]) -> dict[str, Any]:
    """What is asked for, checked: a reading of the piece's face, the laps in use, the limits, and what is learnt from. Raises BadInput."""
    number = whole_number(texts.get("reading", ""))
    if number is None:
        raise BadInput(
            found="no reading was chosen", needed="the face as it is now must be known", remedy="photograph it and choose the reading"
        )
    told: dict[str, Any] = given(texts, *LIMITS, *VIEW)
    limits_from_text(**{name: told.get(name) for name in LIMITS})
    view_from_text(**{name: told[name] for name in VIEW if name in told})
    with shop.record() as record:
        reading = record.get(ReadingEntry, number)
        if piece_of_reading(record, reading).root != piece_root:
            raise BadInput(found=f"reading {number} is of another piece", needed="one of this piece is needed", remedy="choose again")
        laps = laps_file(record)
        past = runs_done(record, face_root=reading.face_id, laps={lap.name for lap in shelf_of_file(laps).laps})
    kept = [{"plan": each.plan, "after": each.after, "minutes": [[k, t] for k, t in sorted(each.minutes.items())]} for each in past]
    return told | {"reading": number, "laps": laps, "past": kept}


def runs_done(record: Record, *, face_root: int, laps: set[str]) -> tuple[DoneRun, ...]:
    """The runs of the shop with a reading before and after and with laps of these names, those of this face last, each kind oldest first."""
    found = []
    for plan in record.listing(StrokePlanEntry):
        done = _done(record, plan)
        if done is not None and all(run["lap"] in laps for run in plan.found["runs"]):
            found.append((plan.face_id == face_root, done))
    found.sort(key=lambda each: (each[0], each[1].plan))
    return tuple(done for _, done in found)[-MOST_PAST:]


def _done(record: Record, plan: StrokePlanEntry) -> DoneRun | None:
    minutes = minutes_done(record, plan)
    after = reading_after(record, plan)
    return None if not minutes or after is None else DoneRun(plan=plan.id, after=after.id, minutes=minutes)


def runs_of_plan(record: Record, plan: StrokePlanEntry) -> dict[int, Run]:
    """The runs that were done of a plan, by the number of their stroke; of a stroke that was begun again the newest."""
    out = {}
    for start in record.listing(StrokeStart, plan_id=plan.id):
        run = run_of_timer(record, start.timer_id)
        if run is not None and run.minutes > 0.0:
            out[start.number] = run
    return out


def minutes_done(record: Record, plan: StrokePlanEntry) -> dict[int, float]:
    """Minutes of each stroke of a plan that was done, by its number; a stroke begun several times is added up."""
    out: dict[int, float] = {}
    for start in record.listing(StrokeStart, plan_id=plan.id):
        run = run_of_timer(record, start.timer_id)
        if run is not None and run.minutes > 0.0:
            out[start.number] = out.get(start.number, 0.0) + run.minutes
    return out


def reading_after(record: Record, plan: StrokePlanEntry) -> ReadingEntry | None:
    """The reading by which a run can be judged: of the first photograph after its last stroke, if nothing else was worked on the face between."""
    ends = [first_entered(record, run) for run in runs_of_plan(record, plan).values()]
    if not ends:
        return None
    end = max(ends)
    for reading in reversed(readings_of(record, plan.face_id)):
        taken = min(each.at for each in photographs_of(record, reading.id))
        if taken >= end and reading.id > plan.reading_id and reading.found["sign"] == "known":
            others = [first_entered(record, run) for run in record.listing(Run, face_id=plan.face_id) if run.minutes > 0.0]
            return None if any(end < at <= taken for at in others) else reading
    return None


def first_entered(record: Record, run: Run) -> str:
    """When a run was entered first, whatever was corrected in it since."""
    return run.at if run.corrects is None else record.get(Run, run.corrects).at


def past_run(shop: Shop, told: Mapping[str, Any]) -> PastRun:
    """A run of the record as the advice learns from it."""
    with shop.record() as record:
        plan = record.get(StrokePlanEntry, told["plan"])
        before, after = record.get(ReadingEntry, plan.reading_id), record.get(ReadingEntry, told["after"])
    shelf = shelf_of_file(plan.told["laps"])
    done = [(plan.found["runs"][int(number) - 1]["stroke"], float(minutes)) for number, minutes in told["minutes"]]
    return PastRun(
        before=reading_map(shop, before),
        after=reading_map(shop, after),
        strokes=tuple(stroke_from_words(words, laps=shelf.laps) for words, _ in done),
        minutes=tuple(minutes for _, minutes in done),
        polish=shelf.polish,
    )


def strokes_for_the_record(
    shop: Shop, told: Mapping[str, Any], *, now: str, stage: Callable[[str], None] = tell_nobody, form: Form | None = None
) -> int:
    """Advise on a reading and enter the plan with its card and pictures; returns its number. Raises BadInput, nothing entered."""
    with shop.record() as record:
        reading = record.get(ReadingEntry, told["reading"])
        piece, keeper = piece_of_reading(record, reading), shopkeeper(record)
    plan = strokes_again(shop, told, stage=stage)
    stage("drawing zones and setting the card")
    kept = _kept(shop, plan, told=told, piece=piece, keeper=keeper.name)
    entry = StrokePlanEntry(
        at=now,
        face_id=reading.face_id,
        reading_id=reading.id,
        told=dict(told),
        found=strokes_facts(plan) | kept,
        program=provenance.program(),
    )
    with shop.record() as record:
        return record.once(form, lambda: record.add(entry))[1]


def strokes_again(shop: Shop, told: Mapping[str, Any], *, stage: Callable[[str], None] = tell_nobody) -> StrokePlan:
    """The advice on what was told, the same whenever it is asked."""
    with shop.record() as record:
        reading = record.get(ReadingEntry, told["reading"])
    return plan_strokes(
        reading_map(shop, reading),
        shelf=shelf_of_file(told["laps"]),
        limits=limits_from_text(**{name: told.get(name) for name in LIMITS}),
        past=tuple(past_run(shop, each) for each in told["past"]),
        told=lambda share: stage(f"trying strokes, {share:.0%}"),
    )


def _kept(shop: Shop, plan: StrokePlan, *, told: Mapping[str, Any], piece: PieceEntry, keeper: str) -> dict[str, Any]:
    """Hashes of the papers and of the predicted map."""
    view = view_from_text(**{name: told[name] for name in VIEW if name in told})
    papers = {"picture": shop.papers.keep(zones_picture(plan, view=view))}
    if plan.runs:
        papers["wear"] = shop.papers.keep(wear_picture(plan))
        papers["card"] = shop.papers.keep(stroke_card(plan, piece=piece.name, shop=keeper, view=view))
    return {"papers": papers, "predicted_map": shop.maps.keep(map_file(plan.predicted, name="map.npz"))}


def start_stroke(shop: Shop, plan_id: int, *, number: int, now: str, form: Form | None = None) -> int:
    """Begin a stroke of a plan with a timer of its minutes; returns the entry's number. Raises BadInput."""

    def start(record: Record) -> StrokeStart:
        plan = record.get(StrokePlanEntry, plan_id)
        if not 1 <= number <= len(plan.found["runs"]):
            raise BadInput(found=f"the plan has no stroke {number}", needed="one of its strokes is needed", remedy="choose again")
        minutes = float(plan.found["runs"][number - 1]["minutes"])
        timer = begun(record, Timer(at=now, face_id=plan.face_id, work=FIGURING, minutes=minutes))
        return record.add(StrokeStart(at=now, plan_id=plan_id, number=number, timer_id=timer.id))

    with shop.record() as record:
        return record.once(form, lambda: start(record))[1]


def plan_of_timer(record: Record, timer_id: int) -> int | None:
    """The plan whose stroke a timer was started for, or None."""
    found = record.listing(StrokeStart, timer_id=timer_id)
    return found[0].plan_id if found else None


def plans_of(record: Record, face_root: int) -> tuple[StrokePlanEntry, ...]:
    """The plans of a face, the newest first."""
    return record.listing(StrokePlanEntry, newest_first=True, face_id=face_root)


def face_root_of(record: Record, piece_root: int) -> int:
    """The face of a piece that is figured."""
    return faces_of(record, record.current(PieceEntry, piece_root).root)[0].root
