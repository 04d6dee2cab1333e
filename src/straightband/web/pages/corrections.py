"""Corrections of pieces, runs and costs: a new entry each; what was entered first stays, and stands on the page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from straightband.shop.entries import Cost, PieceEntry, Run
from straightband.web.desk import Ask
from straightband.web.forms import FormView, form
from straightband.web.frame import Page
from straightband.web.pages.orders import PIECE_FIELDS
from straightband.web.pages.pieces import COST_FIELDS, run_fields
from straightband.workflows.shop_orders import enter_piece, piece_texts
from straightband.workflows.shop_story import cost_versions, piece_versions, run_versions
from straightband.workflows.shop_work import cost_texts, enter_cost, enter_run, face_of, run_texts


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectionPage(Page):
    """The correction of an entry.

    Attributes
    ----------
    piece, piece_name
        Link back and its name.
    form
        With what was entered in it.
    hint
        How it is taken back, or what else to know.
    versions
        When, and what was entered, the first one first.
    """

    template: ClassVar[str] = "correction.html"
    tab: ClassVar[str] = "pieces"
    piece: str
    piece_name: str
    form: FormView
    hint: str
    versions: tuple[tuple[str, str], ...]


def piece_correction_page(ask: Ask) -> CorrectionPage:
    """The piece's form with what was entered in it."""
    with ask.shop.record() as record:
        piece = record.current(PieceEntry, ask.numbers["piece"])
        versions = piece_versions(record, piece.root)
    here = f"/pieces/{piece.root}"
    return CorrectionPage(
        title=f"Correct {piece.name}",
        piece=here,
        piece_name=piece.name,
        form=form(ask, f"{here}/correct", submit="Enter the correction", fields=PIECE_FIELDS, values=piece_texts(piece)),
        hint="Readings that were made keep the size they were made with; after a correction of the size, read the photograph again.",
        versions=versions,
    )


def take_piece_correction(ask: Ask) -> str:
    """Enter the correction of a piece."""
    with ask.shop.record() as record:
        root = record.current(PieceEntry, ask.numbers["piece"]).root
    return f"/pieces/{enter_piece(ask.shop, ask.texts, now=ask.desk.now(), form=ask.form, corrects=root)}"


def run_correction_page(ask: Ask) -> CorrectionPage:
    """The run's form with what was entered in it."""
    with ask.shop.record() as record:
        run = record.current(Run, ask.numbers["run"])
        _, piece, _ = face_of(record, run.face_id)
        fields = run_fields(record)
        versions = run_versions(record, run.root)
    return CorrectionPage(
        title="Correct a run",
        piece=f"/pieces/{piece.root}",
        piece_name=piece.name,
        form=form(ask, f"/runs/{run.root}/correct", submit="Enter the correction", fields=fields, values=run_texts(run)),
        hint="A run that never was: 0min.",
        versions=versions,
    )


def take_run_correction(ask: Ask) -> str:
    """Enter the correction of a run."""
    with ask.shop.record() as record:
        run = record.current(Run, ask.numbers["run"])
        _, piece, _ = face_of(record, run.face_id)
    enter_run(ask.shop, run.face_id, texts=ask.texts, now=ask.desk.now(), form=ask.form, corrects=run.root)
    return f"/pieces/{piece.root}"


def cost_correction_page(ask: Ask) -> CorrectionPage:
    """The cost's form with what was entered in it."""
    with ask.shop.record() as record:
        cost = record.current(Cost, ask.numbers["cost"])
        name = "" if cost.piece_id is None else record.current(PieceEntry, cost.piece_id).name
        versions = cost_versions(record, cost.root)
    return CorrectionPage(
        title="Correct a cost",
        piece=_home(cost),
        piece_name=name or "The shop",
        form=form(ask, f"/costs/{cost.root}/correct", submit="Enter the correction", fields=COST_FIELDS, values=cost_texts(cost)),
        hint="A cost that never was: amount 0 and hours 0.",
        versions=versions,
    )


def _home(cost: Cost) -> str:
    return "/shop" if cost.piece_id is None else f"/pieces/{cost.piece_id}"


def take_cost_correction(ask: Ask) -> str:
    """Enter the correction of a cost."""
    with ask.shop.record() as record:
        cost = record.current(Cost, ask.numbers["cost"])
    enter_cost(ask.shop, cost.piece_id, texts=ask.texts, now=ask.desk.now(), form=ask.form, corrects=cost.root)
    return _home(cost)
