"""Today: each piece in hand with its next step."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from straightband.shop import jobs
from straightband.shop.entries import Timer
from straightband.shop.queries import BACK
from straightband.web.desk import Ask
from straightband.web.forms import Field, FormView, form
from straightband.web.frame import Page
from straightband.workflows.cautions import DEFER, GRINDING
from straightband.workflows.shop_strokes import plan_of_timer
from straightband.workflows.shop_today import InHand, today
from straightband.workflows.shop_work import POSITIONS, face_of, stop_timer

MOST_JOBS = 9
POSITION_CHOICES = (("", "not said"), *((each, each) for each in POSITIONS))


@dataclass(frozen=True, slots=True, kw_only=True)
class JobLine:
    """Work in hand: where it is watched, and what is being done."""

    link: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TodayPage(Page):
    """Today's page.

    Attributes
    ----------
    pieces
        In hand, the newest first.
    more
        How many there are beyond those shown, in words, or nothing.
    jobs
        Work in hand, what is done next first.
    waiting
        How much there is beyond that, in words, or nothing.
    stops
        For each timer by its number: the form that stops it.
    cautions, defer
        While something runs.
    """

    template: ClassVar[str] = "today.html"
    tab: ClassVar[str] = "today"
    pieces: tuple[InHand, ...]
    more: str
    jobs: tuple[JobLine, ...]
    waiting: str
    stops: dict[int, FormView]
    cautions: tuple[str, ...]
    defer: str


def today_page(ask: Ask) -> TodayPage:
    """Every piece in hand."""
    pieces, count = today(ask.shop, units=ask.units)
    with ask.shop.record() as record:
        waiting, more = jobs.not_over(record, limit=MOST_JOBS), jobs.count_not_over(record)
    timers = [piece.clock.id for piece in pieces if piece.clock]
    return TodayPage(
        title="Today",
        pieces=pieces,
        more=f"{count} pieces are in hand; the newest {len(pieces)} are shown." if count > len(pieces) else "",
        jobs=tuple(JobLine(link=f"/work/{job.id}", words=f"{WORDS[job.kind]}: {job.stage}") for job in waiting),
        waiting=f"{more} are in hand; the {len(waiting)} that come first are shown." if more > len(waiting) else "",
        stops={number: stop_form(ask, number) for number in timers},
        cautions=GRINDING if timers else (),
        defer=DEFER,
    )


WORDS = {
    "read": "Reading bands",
    "certify": "Writing a certificate",
    "recompute": "Reading again",
    "plan": "Planning a batch",
    "clear": "Looking at a back",
    "pads": "Laying out pads",
    "threeflat": "Telling flats apart",
    "strokes": "Looking for strokes",
}


def stop_form(ask: Ask, number: int) -> FormView:
    """The form that stops a timer."""
    fields = (
        Field(name="position", label="This face was", kind="choice", choices=POSITION_CHOICES),
        Field(name="minutes", label="Time on the lap", hint="left empty: by the clock; 0min: it was no run", more=True),
        Field(name="note", label="Note", more=True),
    )
    return form(ask, f"/timers/{number}/stop", submit="Stop", fields=fields, name=f"stop{number}")


def take_stop(ask: Ask) -> str:
    """Stop a timer; that of a back leads to its page, where the grid is photographed next, that of a stroke to what comes after it."""
    stop_timer(ask.shop, ask.numbers["timer"], texts=ask.texts, now=ask.desk.now(), form=ask.form)
    with ask.shop.record() as record:
        plan = plan_of_timer(record, ask.numbers["timer"])
        face, piece, _ = face_of(record, record.get(Timer, ask.numbers["timer"]).face_id)
    if plan is not None:
        return f"/strokes/{plan}"
    return f"/pieces/{piece.root}/back" if face.name == BACK else "/"
