"""Batches: pieces that are ground on each other, their plan to tick off, and what was foreseen beside what was gauged."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from starlette.responses import Response

from straightband.quantities import whole_numbers
from straightband.shop.entries import Abrasive, Batch
from straightband.shop.queries import open_pieces
from straightband.web.desk import Ask
from straightband.web.forms import Field, FormView, form
from straightband.web.frame import Page
from straightband.workflows.cautions import DEFER, GLASS, GRINDING
from straightband.workflows.plan_rows import PlannedStage, companion_sentence, plan_sentence, plan_warnings, planned_stages
from straightband.workflows.shop_batches import tick_runs
from straightband.workflows.shop_clock import day_shown
from straightband.workflows.shop_jobs import ask_plan
from straightband.workflows.shop_today import size_shown
from straightband.workflows.shown import abrasives_shown

MOST_SHOWN = 50
MOST_PIECES = 30


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchLine:
    """One batch in the list."""

    link: str
    name: str
    when: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchesPage(Page):
    """All batches, and the form for a new one.

    Attributes
    ----------
    batches
        The lines, the newest first.
    pieces
        Number and words of each piece that can be planned.
    form
        A new batch.
    """

    template: ClassVar[str] = "batches.html"
    tab: ClassVar[str] = "pieces"
    batches: tuple[BatchLine, ...]
    pieces: tuple[tuple[str, str], ...]
    form: FormView


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchPage(Page):
    """One batch.

    Attributes
    ----------
    when
        The day it was planned.
    sentence, companion
        Whether every face is forced flat, and what would help.
    stages
        Its runs by abrasive.
    form
        By which runs are ticked off.
    cards, plot
        Links to job cards and plot, or nothing.
    warnings
        Sentences.
    cautions, defer
        For grinding.
    """

    template: ClassVar[str] = "batch.html"
    tab: ClassVar[str] = "pieces"
    when: str
    sentence: str
    companion: str
    stages: tuple[PlannedStage, ...]
    form: FormView
    cards: str
    plot: str
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]
    defer: str


def batches_page(ask: Ask) -> BatchesPage:
    """The list and the form."""
    with ask.shop.record() as record:
        batches = record.listing(Batch, newest_first=True, limit=MOST_SHOWN)
        pieces = open_pieces(record, limit=MOST_PIECES)
        abrasives = abrasives_shown(tuple(each.grain_um for each in record.listing(Abrasive)))
    fields = (
        Field(name="name", label="Name of the batch", needed=True),
        Field(name="abrasives", label="Abrasives", value=abrasives, hint="mean grains with commas, like 40um,20um,10um,5um", needed=True),
        Field(
            name="companion",
            label="Round plate that would help",
            kind="choice",
            choices=(("", "propose it"), ("yes", "plan with it")),
        ),
    )
    return BatchesPage(
        title="Batches",
        batches=tuple(BatchLine(link=f"/batches/{each.root}", name=each.name, when=day_shown(each.at)) for each in batches),
        pieces=tuple((str(piece.root), f"{piece.name}: {size_shown(piece, units=ask.units)}") for piece in pieces),
        form=form(ask, "/batches", submit="Plan the grinding", fields=fields),
    )


def take_batch(ask: Ask) -> str:
    """Ask for a plan."""
    return f"/work/{ask_plan(ask.shop, ask.texts, now=ask.desk.now(), form=ask.job_form)}"


def batch_page(ask: Ask) -> BatchPage:
    """One batch with its plan."""
    number = ask.numbers["batch"]
    with ask.shop.record() as record:
        batch = record.get(Batch, number)
        stages = planned_stages(record, batch, units=ask.units)
    return BatchPage(
        title=f"Batch {batch.name}",
        when=day_shown(batch.at),
        sentence=plan_sentence(batch.found),
        companion=companion_sentence(batch.found, units=ask.units),
        stages=stages,
        form=form(ask, f"/batches/{number}", submit="Enter the runs that are ticked"),
        cards=f"/batches/{number}/cards.pdf",
        plot=f"/batches/{number}/sags.png",
        warnings=plan_warnings(batch.found),
        cautions=(*GRINDING, *GLASS),
        defer=DEFER,
    )


def take_ticks(ask: Ask) -> str:
    """Tick runs off."""
    numbers = whole_numbers(ask.texts.get("runs", ""))
    tick_runs(ask.shop, ask.numbers["batch"], numbers=numbers, now=ask.desk.now(), form=ask.form)
    return f"/batches/{ask.numbers['batch']}"


def _paper(ask: Ask, kind: str) -> bytes:
    with ask.shop.record() as record:
        return ask.shop.papers.read(record.get(Batch, ask.numbers["batch"]).found["papers"][kind])


def give_cards(ask: Ask) -> Response:
    """The job cards."""
    headers = {"Content-Disposition": 'inline; filename="job-cards.pdf"'}
    return Response(_paper(ask, "cards"), media_type="application/pdf", headers=headers)


def give_plot(ask: Ask) -> Response:
    """The sags that are to be expected."""
    return Response(_paper(ask, "plot"), media_type="image/png")
