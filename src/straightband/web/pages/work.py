"""Work in hand: watched while it is done, stopped, and what came of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from straightband.shop import jobs
from straightband.shop.jobs import Job
from straightband.web.desk import Ask
from straightband.web.forms import FormView, form
from straightband.web.frame import Page
from straightband.web.pages.today import WORDS
from straightband.workflows.shown import sentence_shown

PAGES = {"clear": "back", "strokes": "figuring"}  # of the piece
ASKED_AT = {"plan": "/batches", "pads": "/pads", "threeflat": "/flats/tests/new"}
STATES = {
    "waiting": "Waiting for its turn.",
    "running": "Being done.",
    "done": "Done.",
    "failed": "It could not be done.",
    "stopped": "Stopped. Nothing was entered.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkPage(Page):
    """One job.

    Attributes
    ----------
    state, state_words, stage
        How far it is.
    sentence
        Why it failed, or what came of it.
    over
        Whether it has ended.
    leads_to
        Where its result is, or nothing.
    events
        Where its progress is told, while it is not over.
    about
        Link to what it is about, or nothing.
    stop
        The form that stops it, or None.
    """

    template: ClassVar[str] = "work.html"
    tab: ClassVar[str] = "today"
    state: str
    state_words: str
    stage: str
    sentence: str
    over: bool
    leads_to: str
    events: str
    about: str
    stop: FormView | None


def work_page(ask: Ask) -> WorkPage:
    """How a job stands."""
    number = ask.numbers["job"]
    with ask.shop.record() as record:
        job = jobs.job_of(record, number)
    over = job.state in jobs.OVER
    return WorkPage(
        title=WORDS[job.kind],
        state=job.state,
        state_words=STATES[job.state],
        stage=job.stage,
        sentence=sentence_shown(job.sentence),
        over=over,
        leads_to=job.leads_to,
        events=f"/work/{number}/events",
        about=about(job),
        stop=None if over else form(ask, f"/work/{number}/stop", submit="Stop it", quiet=True),
    )


def about(job: Job) -> str:
    """Where to go back to when it could not be done."""
    if job.kind in PAGES:
        return f"/pieces/{job.told['piece']}/{PAGES[job.kind]}"
    photographs = job.told.get("photographs", [])
    return f"/photographs/{photographs[0]}" if photographs else ASKED_AT.get(job.kind, "")


def take_stop_work(ask: Ask) -> str:
    """Stop a job."""
    with ask.shop.record() as record:
        jobs.end(record, ask.numbers["job"], state="stopped")
    return f"/work/{ask.numbers['job']}"
