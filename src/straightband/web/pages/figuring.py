"""Figuring: what to do next on the lap, begun stroke by stroke, and how right it was when the face has been photographed again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

from starlette.responses import Response

from straightband.quantities import whole_number
from straightband.shop.entries import PieceEntry, StrokePlanEntry
from straightband.shop.queries import readings_of
from straightband.web.desk import Ask
from straightband.web.forms import Field, FormView, form
from straightband.web.frame import Page
from straightband.workflows.cautions import DEFER, GRINDING
from straightband.workflows.shop_clock import time_shown
from straightband.workflows.shop_jobs import ask_strokes
from straightband.workflows.shop_laps import laps_in_use
from straightband.workflows.shop_strokes import face_root_of, plans_of, start_stroke
from straightband.workflows.shop_work import face_of, going
from straightband.workflows.stroke_rows import (
    StrokeLine,
    advice_sentence,
    after_words,
    before_and_after,
    budget_rows,
    last_run_rows,
    plan_words,
    pv_shown,
    rate_rows,
    stroke_doubts,
    stroke_lines,
)

MOST_READINGS = 20
SEEN = (("face", "looking at it"), ("back", "through its back"))
FIELDS = (
    Field(name="seen", label="The face is seen at the lap", kind="choice", choices=SEEN),
    Field(name="mark", label="Pencil mark lies at", hint="clock hour before you; left empty: 12"),
    Field(name="tolerance", label="Peak to valley to be reached", hint="like 60nm; left empty: 79.1nm, an eighth of a wave"),
    Field(name="longest", label="Longest run", hint="like 60min; left empty: 120min", more=True),
    Field(name="most_strokes", label="Most strokes in a run", hint="left empty: 12", more=True),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class FiguringPage(Page):
    """What to do next is asked.

    Attributes
    ----------
    piece, piece_name
        Link back and its name.
    form
        The question, or None while there is no reading or no lap.
    lacks
        What is missing before it can be asked: link and words.
    plans
        Link and words of earlier plans of this face, the newest first.
    """

    template: ClassVar[str] = "figuring.html"
    tab: ClassVar[str] = "pieces"
    piece: str
    piece_name: str
    form: FormView | None
    lacks: tuple[tuple[str, str], ...]
    plans: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StrokesPage(Page):
    """One plan.

    Attributes
    ----------
    piece, piece_name, when, reading
        Whose it is, when it was made, and of which reading.
    sentence
        Work, stop or withheld, and why.
    last_run
        How right the last run was: name and value.
    strokes
        Each with the form that starts it or stops its timer, or None.
    picture, wear, card
        Where these lie, or nothing.
    rows, rates, budget, doubts
        Before and after; laps; causes; sentences.
    photograph, again
        Links to what comes after the run.
    after, after_said
        Link to the reading after it and its words, or nothing.
    cautions, defer
        For this work.
    """

    template: ClassVar[str] = "strokes.html"
    tab: ClassVar[str] = "pieces"
    piece: str
    piece_name: str
    when: str
    reading: str
    sentence: str
    last_run: tuple[tuple[str, str], ...]
    strokes: tuple[tuple[StrokeLine, FormView | None], ...]
    picture: str
    wear: str
    card: str
    rows: tuple[tuple[str, str], ...]
    rates: tuple[tuple[str, str, str], ...]
    budget: tuple[tuple[str, str, str, str], ...]
    doubts: tuple[str, ...]
    photograph: str
    again: str
    after: str
    after_said: str
    cautions: tuple[str, ...]
    defer: str


def figuring_page(ask: Ask) -> FiguringPage:
    """The form, begun with what was said the last time, and earlier plans."""
    with ask.shop.record() as record:
        piece = record.current(PieceEntry, ask.numbers["piece"])
        root = face_root_of(record, piece.root)
        readings = readings_of(record, root, limit=MOST_READINGS)
        laps, plans = laps_in_use(record), plans_of(record, root)
        lines = tuple((f"/strokes/{plan.id}", plan_words(record, plan)) for plan in plans)
    here = f"/pieces/{piece.root}"
    choices = tuple((str(each.id), f"{time_shown(each.at)}, PV {pv_shown(each)}") for each in readings)
    reading = Field(name="reading", label="The face as it is now", kind="choice", choices=choices)
    values = {key: str(text) for key, text in plans[0].told.items() if key in ("seen", "mark", "tolerance")} if plans else {}
    lacks: tuple[tuple[str, str], ...] = () if readings else ((f"{here}/photograph", "Photograph the bands first"),)
    lacks += () if laps else (("/shop", "Enter the laps of the shop first"),)
    view = form(ask, f"{here}/figuring", submit="Ask what to do", fields=(reading, *FIELDS), values=values)
    return FiguringPage(
        title=f"Figuring {piece.name}", piece=here, piece_name=piece.name, form=None if lacks else view, lacks=lacks, plans=lines
    )


def take_figuring(ask: Ask) -> str:
    """Ask for advice."""
    return f"/work/{ask_strokes(ask.shop, ask.numbers['piece'], texts=ask.texts, now=ask.desk.now(), form=ask.job_form)}"


def strokes_page(ask: Ask) -> StrokesPage:
    """One plan with its strokes."""
    with ask.shop.record() as record:
        plan = record.get(StrokePlanEntry, ask.numbers["plan"])
        _, piece, _ = face_of(record, plan.face_id)
        lines = stroke_lines(record, plan, busy=going(record, plan.face_id) is not None, units=ask.units)
        after, said = after_words(record, plan)
    here, found = f"/strokes/{plan.id}", plan.found
    return StrokesPage(
        title=f"Strokes for {piece.name}",
        piece=f"/pieces/{piece.root}",
        piece_name=piece.name,
        when=time_shown(plan.at),
        reading=f"/readings/{plan.reading_id}",
        sentence=advice_sentence(found),
        last_run=last_run_rows(found),
        strokes=tuple((line, _form_of(ask, here, line)) for line in lines),
        picture=f"{here}/picture.png",
        wear=f"{here}/wear.png" if "wear" in found["papers"] else "",
        card=f"{here}/card.pdf" if "card" in found["papers"] else "",
        rows=before_and_after(found),
        rates=rate_rows(found),
        budget=budget_rows(found),
        doubts=stroke_doubts(found),
        photograph=f"/pieces/{piece.root}/photograph",
        again=f"/pieces/{piece.root}/figuring",
        after=after,
        after_said=said,
        cautions=GRINDING,
        defer=DEFER,
    )


def _form_of(ask: Ask, here: str, line: StrokeLine) -> FormView | None:
    """What stops the timer of a stroke, or starts it; none while another goes."""
    if line.clock is not None:
        fields = (
            Field(name="minutes", label="Time on the lap", hint="left empty: by the clock; 0min: it was no run", more=True),
            Field(name="note", label="Note", more=True),
        )
        return form(ask, f"/timers/{line.clock.id}/stop", submit="Stop", fields=fields, name=f"stop{line.clock.id}")
    if not line.may_start:
        return None
    words = "Again" if line.done else f"Start stroke {line.number}"
    return form(ask, f"{here}/start", submit=words, fields=(_hidden(line.number),), name=f"start{line.number}", quiet=not line.is_next)


def _hidden(number: int) -> Field:
    return Field(name="number", label="", kind="hidden", value=str(number))


def take_start(ask: Ask) -> str:
    """Start a stroke."""
    plan, text = ask.numbers["plan"], ask.texts.get("number", "")
    start_stroke(ask.shop, plan, number=whole_number(text) or 0, now=ask.desk.now(), form=ask.form)
    return f"/strokes/{plan}"


def give_stroke_paper(kind: str, *, media_type: str) -> Callable[[Ask], Response]:
    """What gives one of the papers of a plan."""

    def give(ask: Ask) -> Response:
        with ask.shop.record() as record:
            plan = record.get(StrokePlanEntry, ask.numbers["plan"])
        headers = {"Cache-Control": "private, max-age=31536000, immutable", "Content-Disposition": "inline"}
        return Response(ask.shop.papers.read(plan.found["papers"][kind]), media_type=media_type, headers=headers)

    return give
