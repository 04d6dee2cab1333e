"""Pieces: what happened to each, and the forms by which more happens."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from straightband.quantities import whole_number
from straightband.shop.entries import Abrasive, GaugingEntry, Pad, PieceEntry
from straightband.shop.queries import faces_of
from straightband.shop.record import Record
from straightband.web.desk import Ask
from straightband.web.forms import Field, FormView, form
from straightband.web.frame import Page
from straightband.web.pages.orders import PIECE_FIELDS
from straightband.web.pages.today import POSITION_CHOICES, stop_form
from straightband.workflows.cautions import DEFER, GLASS, GRINDING
from straightband.workflows.gauge_report import explain
from straightband.workflows.gauging_rows import gauging_budget, gauging_rows, next_sentence
from straightband.workflows.shop_orders import enter_piece
from straightband.workflows.shop_story import Event, heights_over_time, history, sag_over_time
from straightband.workflows.shop_today import InHand, in_hand, size_shown
from straightband.workflows.shop_work import FEET, WORKS, enter_cost, enter_gauging, enter_run, face_of, start_timer
from straightband.workflows.shown import grain_shown, sentence_shown

MOST_SHOWN = 50
LAST_LEAF = 99_999


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceLine:
    """One piece in the list."""

    link: str
    name: str
    size: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PiecesPage(Page):
    """All pieces, the newest first.

    Attributes
    ----------
    pieces
        The lines of this leaf.
    newer, older
        Links to the leaves before and after, or nothing.
    form
        A piece without an order.
    """

    template: ClassVar[str] = "pieces.html"
    tab: ClassVar[str] = "pieces"
    pieces: tuple[PieceLine, ...]
    newer: str
    older: str
    form: FormView


@dataclass(frozen=True, slots=True, kw_only=True)
class PiecePage(Page):
    """One piece.

    Attributes
    ----------
    hand
        Where it stands, and what comes next.
    order
        Link to its order, or nothing.
    glass
        What it is made of, or nothing.
    photograph, gauge, back, figuring, correct
        Links to the forms for these.
    timer, run, cost
        Forms.
    stop
        The form that stops the timer that is going, or None.
    sag, heights
        Drawings over time, as SVG, or nothing.
    events
        Its history.
    cautions, defer
        For what is done to glass.
    """

    template: ClassVar[str] = "piece.html"
    tab: ClassVar[str] = "pieces"
    hand: InHand
    order: str
    glass: str
    photograph: str
    gauge: str
    back: str
    figuring: str
    correct: str
    timer: FormView
    run: FormView
    cost: FormView
    stop: FormView | None
    sag: str
    heights: str
    events: tuple[Event, ...]
    cautions: tuple[str, ...]
    defer: str


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugePage(Page):
    """The form for spherometer readings.

    Attributes
    ----------
    piece
        Link back.
    form
        What is read.
    """

    template: ClassVar[str] = "gauge.html"
    tab: ClassVar[str] = "pieces"
    piece: str
    form: FormView


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugingPage(Page):
    """One gauging.

    Attributes
    ----------
    piece, correct
        Links back, and to the form that corrects it.
    rows
        Name and value.
    next_on
        What goes on top next.
    budget
        Cause, size and origin.
    doubts
        Sentences.
    """

    template: ClassVar[str] = "gauging.html"
    tab: ClassVar[str] = "pieces"
    piece: str
    correct: str
    rows: tuple[tuple[str, str], ...]
    next_on: str
    budget: tuple[tuple[str, str, str], ...]
    doubts: tuple[str, ...]


def pieces_page(ask: Ask) -> PiecesPage:
    """The list, a leaf at a time."""
    leaf = min(whole_number(ask.query.get("leaf", "")) or 0, LAST_LEAF)
    with ask.shop.record() as record:
        found, more = record.leaf(PieceEntry, leaf, size=MOST_SHOWN)
    lines = tuple(PieceLine(link=f"/pieces/{piece.root}", name=piece.name, size=size_shown(piece, units=ask.units)) for piece in found)
    return PiecesPage(
        title="Pieces",
        pieces=lines,
        newer=f"/pieces?leaf={leaf - 1}" if leaf else "",
        older=f"/pieces?leaf={leaf + 1}" if more else "",
        form=form(ask, "/pieces", submit="Enter the piece", fields=PIECE_FIELDS, quiet=True),
    )


def take_piece(ask: Ask) -> str:
    """Enter a piece without an order."""
    return f"/pieces/{enter_piece(ask.shop, ask.texts, now=ask.desk.now(), form=ask.form)}"


def piece_page(ask: Ask) -> PiecePage:
    """Everything about one piece."""
    number = ask.numbers["piece"]
    with ask.shop.record() as record:
        piece = record.current(PieceEntry, number)
        face = faces_of(record, piece.root)[0]
        hand = in_hand(record, piece, units=ask.units)
        fields = run_fields(record)
    here = f"/pieces/{piece.root}"
    return PiecePage(
        title=piece.name,
        hand=hand,
        order=f"/orders/{piece.order_id}" if piece.order_id else "",
        glass=", ".join(piece.told[key] for key in ("glass", "thickness") if key in piece.told),
        photograph=f"{here}/photograph",
        gauge=f"{here}/gauge",
        back=f"{here}/back",
        figuring=f"{here}/figuring",
        correct=f"{here}/correct",
        timer=form(ask, f"{here}/timer", submit="Start the timer", fields=fields[:2], name="timer"),
        run=form(ask, f"{here}/run", submit="Enter the run", fields=fields, name="run", quiet=True),
        cost=form(ask, f"{here}/cost", submit="Enter the cost", fields=COST_FIELDS, name="cost", quiet=True),
        stop=stop_form(ask, hand.clock.id) if hand.clock else None,
        sag=sag_over_time(ask.shop, face.root),
        heights=heights_over_time(ask.shop, face.root),
        events=history(ask.shop, piece.root),
        cautions=(*GRINDING, *GLASS),
        defer=DEFER,
    )


COST_FIELDS = (
    Field(name="what", label="What for", needed=True),
    Field(name="amount", label="Amount", hint="like 12.50"),
    Field(name="currency", label="Currency", value="EUR"),
    Field(name="hours", label="Hours", hint="like 1.5"),
)


def run_fields(record: Record) -> tuple[Field, ...]:
    """Work and time, then what else is said of a run."""
    abrasives = tuple((str(each.root), f"{each.name}, {grain_shown(each.grain_um)}") for each in record.listing(Abrasive))
    pads = tuple((str(each.root), each.name) for each in record.listing(Pad))
    return (
        Field(name="work", label="Work", kind="choice", choices=tuple((each, each) for each in WORKS)),
        Field(name="minutes", label="Time on the lap", hint="like 12min", needed=True),
        Field(name="position", label="This face was", kind="choice", choices=POSITION_CHOICES),
        Field(name="abrasive", label="Abrasive", kind="choice", choices=(("", "not said"), *abrasives)),
        Field(name="pad", label="Pad", kind="choice", choices=(("", "not said"), *pads)),
        Field(name="note", label="Note"),
    )


def _face_root(ask: Ask) -> int:
    with ask.shop.record() as record:
        return faces_of(record, record.current(PieceEntry, ask.numbers["piece"]).root)[0].root


def take_timer(ask: Ask) -> str:
    """Start a timer."""
    start_timer(ask.shop, _face_root(ask), texts=ask.texts, now=ask.desk.now(), form=ask.form)
    return f"/pieces/{ask.numbers['piece']}"


def take_run(ask: Ask) -> str:
    """Enter a run."""
    enter_run(ask.shop, _face_root(ask), texts=ask.texts, now=ask.desk.now(), form=ask.form)
    return f"/pieces/{ask.numbers['piece']}"


def take_cost(ask: Ask) -> str:
    """Enter a cost."""
    enter_cost(ask.shop, ask.numbers["piece"], texts=ask.texts, now=ask.desk.now(), form=ask.form)
    return f"/pieces/{ask.numbers['piece']}"


GAUGE_FIELDS = (
    Field(name="leg_circle", label="Circle through the three feet", hint="its diameter, like 60mm"),
    Field(name="reading", label="Readings on the face", hint="with commas: 12.4um,12.6um,12.5um", needed=True),
    Field(name="zero", label="Readings on the reference flat, before", hint="like 11.0um,11.1um", needed=True),
    Field(name="zero_after", label="On the reference flat, afterwards", hint="tells the drift"),
    Field(name="after_abrasive", label="After which abrasive", hint="its grain, like 20um"),
    Field(name="turned", label="On the face, turned by 60 degrees", more=True),
    Field(name="leg_side", label="Instead of the circle: side of the triangle of feet", more=True),
    Field(name="ring", label="Instead: diameter of a ring", hint="or inner and outer, like 80mm,84mm", more=True),
    Field(name="ball", label="Diameter of ball feet", more=True),
    Field(name="indicator_error", label="The maker's limit of error of the dial", more=True),
    Field(name="reference_sag", label="Sag of the reference itself", more=True),
    Field(name="reference_doubt", label="95 % uncertainty of that", more=True),
    Field(name="light", label="Lamp, for bands", more=True),
)  # fmt: skip


def gauge_page(ask: Ask) -> GaugePage:
    """The form, begun with the feet that were used last."""
    with ask.shop.record() as record:
        piece = record.current(PieceEntry, ask.numbers["piece"])
        last = record.listing(GaugingEntry, newest_first=True, limit=1)
    values = {name: last[0].told[name] for name in FEET if name in last[0].told} if last else {}
    here = f"/pieces/{piece.root}"
    return GaugePage(
        title=f"Gauge {piece.name}",
        piece=here,
        form=form(ask, f"{here}/gauge", submit="Enter the gauging", fields=GAUGE_FIELDS, values=values),
    )


def take_gauging(ask: Ask) -> str:
    """Enter a gauging."""
    number = enter_gauging(ask.shop, _face_root(ask), texts=ask.texts, now=ask.desk.now(), form=ask.form)
    return f"/gaugings/{number}"


def correct_gauging_page(ask: Ask) -> GaugePage:
    """The form with what was entered in it."""
    with ask.shop.record() as record:
        entry = record.current(GaugingEntry, ask.numbers["gauging"])
        piece = _piece_of_face(record, entry.face_id)
    action = f"/gaugings/{entry.root}/correct"
    view = form(ask, action, submit="Enter the correction", fields=GAUGE_FIELDS, values=entry.told)
    return GaugePage(title=f"Correct the gauging of {piece.name}", piece=f"/pieces/{piece.root}", form=view)


def take_gauging_correction(ask: Ask) -> str:
    """Enter the correction of a gauging; the first one stays as it was."""
    with ask.shop.record() as record:
        entry = record.current(GaugingEntry, ask.numbers["gauging"])
    enter_gauging(ask.shop, entry.face_id, texts=ask.texts, now=ask.desk.now(), form=ask.form, corrects=entry.root)
    return f"/gaugings/{entry.root}"


def gauging_page(ask: Ask) -> GaugingPage:
    """One gauging, as it was corrected last."""
    with ask.shop.record() as record:
        entry = record.current(GaugingEntry, ask.numbers["gauging"])
        piece = _piece_of_face(record, entry.face_id)
    doubts = tuple(f"{sentence_shown(explain(flag))}." for flag in entry.found["flags"])
    return GaugingPage(
        title=f"Gauging of {piece.name}",
        piece=f"/pieces/{piece.root}",
        correct=f"/gaugings/{entry.root}/correct",
        rows=gauging_rows(entry.found, told=entry.told, at=entry.at),
        next_on=next_sentence(entry.found),
        budget=gauging_budget(entry.found),
        doubts=doubts,
    )


def _piece_of_face(record: Record, face_root: int) -> PieceEntry:
    return face_of(record, face_root)[1]
