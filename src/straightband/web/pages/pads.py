"""Plates of pads: asked for, previewed, and printed at 1:1."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from starlette.responses import Response

from straightband.shop.entries import PieceEntry, PlateEntry
from straightband.shop.queries import open_pieces
from straightband.web.desk import Ask
from straightband.web.forms import Field, FormView, form
from straightband.web.frame import Page
from straightband.web.pages.backs import PAPERS
from straightband.workflows.cautions import DEFER
from straightband.workflows.pads_report import CAUTIONS
from straightband.workflows.pads_rows import (
    cut_drawings,
    plate_drawing,
    plate_notes,
    plate_rows,
    plate_sentence,
    rate_drawing,
    rate_rows,
)
from straightband.workflows.shop_clock import day_shown
from straightband.workflows.shop_jobs import ask_pads
from straightband.workflows.shop_pads import form_texts
from straightband.workflows.shop_today import size_shown
from straightband.workflows.shown import length_shown

MOST_SHOWN = 50
MOST_PIECES = 60
KINDS = (("round", "round"), ("petalled", "with six petals"), ("square", "square"), ("corners", "by its corners"))
FIELDS = (
    Field(name="plate", label="Diameter of the plate", hint="like 200mm", needed=True),
    Field(name="pads", label="The pads are", kind="choice", choices=KINDS),
    Field(name="pad_size", label="Their size", hint="diameter or side, like 50mm; or corners in order, like 0,0 40,0 40,25 0,25 mm", needed=True),
    Field(name="pack", label="Pads in a pack"),
    Field(name="pack_price", label="Price of a pack", hint="like 8.50 EUR"),
    Field(name="paper", label="Paper of the template", kind="choice", choices=PAPERS),
    Field(name="stroke", label="Stroke, end to end", hint="left empty: a third of the mirror", more=True),
    Field(name="side", label="Stroke beside the middle by", hint="like 10mm", more=True),
    Field(name="strokes_per_min", label="Strokes a minute", hint="to and fro is one; left empty: 60", more=True),
    Field(name="spindle_rpm", label="Turns of the plate a minute", hint="by hand, of walking round it; left empty: 3", more=True),
    Field(name="top_rpm", label="Turns of the mirror a minute", hint="in the hands; left empty: 2", more=True),
    Field(name="coverage", label="Least share of the plate to cover", hint="like 55%; pads are cut for it", more=True),
    Field(name="gap", label="Least distance between pads", hint="left empty: 2mm", more=True),
    Field(name="rim", label="Rim of the plate kept free", hint="left empty: 1mm", more=True),
    Field(name="margin", label="Left to the bevel", hint="of each semi-axis; left empty: 3%", more=True),
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateLine:
    """One plate in the list."""

    link: str
    words: str
    when: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PadsPage(Page):
    """All plates, and the form for a new one.

    Attributes
    ----------
    plates
        The lines, the newest first.
    form
        A new plate, or None while there is no piece.
    cautions, defer
        For this work.
    """

    template: ClassVar[str] = "pads.html"
    tab: ClassVar[str] = "pieces"
    plates: tuple[PlateLine, ...]
    form: FormView | None
    cautions: tuple[str, ...]
    defer: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlatePage(Page):
    """One plate.

    Attributes
    ----------
    piece, piece_name, when
        Whose back it is for, and when it was laid out.
    sentence
        How evenly the back will clear, and where last.
    drawing, rates
        The template as a preview, and the rates over the radius.
    sheets
        Where the template to print lies.
    cuts
        Which pad to cut into what, and its drawing.
    rows, rate_rows, notes
        Name and value; radius and rate; sentences.
    again
        Link to the form with what was told in it.
    cautions, defer
        For this work.
    """

    template: ClassVar[str] = "plate.html"
    tab: ClassVar[str] = "pieces"
    piece: str
    piece_name: str
    when: str
    sentence: str
    drawing: str
    rates: str
    sheets: str
    cuts: tuple[tuple[str, str], ...]
    rows: tuple[tuple[str, str], ...]
    rate_rows: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]
    again: str
    cautions: tuple[str, ...]
    defer: str


def pads_page(ask: Ask) -> PadsPage:
    """The list and the form, begun with the newest plate of the shop, or with another that is named."""
    with ask.shop.record() as record:
        plates = record.listing(PlateEntry, newest_first=True, limit=MOST_SHOWN)
        pieces = open_pieces(record, limit=MOST_PIECES)
        names = {plate.piece_id: record.current(PieceEntry, plate.piece_id).name for plate in plates}
    begun = [plate for plate in plates if str(plate.id) == ask.query.get("plate")] or list(plates[:1])
    values = form_texts(begun[0].told) if begun else {}
    values |= {"piece": ask.query["piece"]} if ask.query.get("piece") else {}
    choices = tuple((str(piece.root), f"{piece.name}: {size_shown(piece, units=ask.units)}") for piece in pieces)
    fields = (Field(name="piece", label="For the back of", kind="choice", choices=choices), *FIELDS)
    return PadsPage(
        title="Pads",
        plates=tuple(
            PlateLine(link=f"/pads/{plate.id}", words=f"{names[plate.piece_id]}: {_size(plate, ask.units)}", when=day_shown(plate.at))
            for plate in plates
        ),
        form=form(ask, "/pads", submit="Lay the pads out", fields=fields, values=values) if pieces else None,
        cautions=CAUTIONS,
        defer=DEFER,
    )


def _size(plate: PlateEntry, units: str) -> str:
    return (
        f"plate of {plate.told['plate']}, {plate.found['pads_used']} pads, stroke {length_shown(plate.found['stroke']['stroke_mm'], units)}"
    )


def take_pads(ask: Ask) -> str:
    """Ask for a plate to be laid out."""
    return f"/work/{ask_pads(ask.shop, ask.texts, now=ask.desk.now(), form=ask.job_form)}"


def plate_page(ask: Ask) -> PlatePage:
    """One plate with its preview."""
    with ask.shop.record() as record:
        entry = record.get(PlateEntry, ask.numbers["plate"])
        piece = record.current(PieceEntry, entry.piece_id)
    return PlatePage(
        title=f"Pads for {piece.name}",
        piece=f"/pieces/{piece.root}/back",
        piece_name=f"Back of {piece.name}",
        when=day_shown(entry.at),
        sentence=plate_sentence(entry.found, units=ask.units),
        drawing=plate_drawing(entry),
        rates=rate_drawing(entry.found),
        sheets=f"/pads/{entry.id}/template.pdf",
        cuts=cut_drawings(entry),
        rows=plate_rows(entry.found, units=ask.units),
        rate_rows=rate_rows(entry.found, units=ask.units),
        notes=plate_notes(entry.found),
        again=f"/pads?plate={entry.id}",
        cautions=CAUTIONS,
        defer=DEFER,
    )


def give_template(ask: Ask) -> Response:
    """The template at 1:1."""
    with ask.shop.record() as record:
        entry = record.get(PlateEntry, ask.numbers["plate"])
    headers = {"Content-Disposition": 'inline; filename="pads.pdf"'}
    return Response(ask.shop.papers.read(entry.template_sha256), media_type="application/pdf", headers=headers)
