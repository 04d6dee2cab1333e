"""The back of a piece: polished by the timer, photographed over the printed grid, its clearness over time, and minutes to go."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from starlette.responses import FileResponse, Response

from straightband.shop.entries import Clearing, GridPhotograph, PieceEntry
from straightband.shop.queries import back_of, grid_photographs_of, newest_clearing
from straightband.shop.record import NotInRecord
from straightband.web.desk import Ask
from straightband.web.forms import Field, FormView, form
from straightband.web.frame import Page
from straightband.web.pages.today import stop_form
from straightband.workflows.back_rows import (
    clear_doubts,
    clear_headline,
    clear_over_time,
    clear_overlay,
    clear_rows,
    map_words,
    minutes_suggested,
    newest_looks,
    photograph_lines,
    to_go,
)
from straightband.workflows.cautions import DEFER
from straightband.workflows.clear_pictures import grid_sheet
from straightband.workflows.clear_report import CAUTIONS
from straightband.workflows.overlay_paths import Overlay
from straightband.workflows.shop_backs import enter_grid_photograph, minutes_since_photograph, start_back_timer
from straightband.workflows.shop_jobs import ask_clearing
from straightband.workflows.shop_readings import photograph_size, preview_place
from straightband.workflows.shop_today import Clock, clock_on, size_shown

PAPERS = (("a4", "A4"), ("a3", "A3"), ("letter", "letter"), ("legal", "legal"))
NOT_YET = "Nothing is known of the back yet. Print the grid, polish, wash, dry both faces, and photograph the grid through the mirror."
PHOTOGRAPH_FIELDS = (
    Field(name="photograph", label="Photograph of the grid through the dry mirror", kind="file", needed=True),
    Field(name="polished", label="Polished since the photograph before", hint="like 12min; left empty: by the timer and the runs that were entered"),
    Field(name="mark", label="Pencil mark on the rim", hint="clock hour in the upright photograph, 1 to 12"),
    Field(name="begins", label="This back", kind="choice", choices=(("", "goes on as before"), ("1", "was fine ground anew")), more=True),
    Field(name="camera", label="Distance of the camera", hint="like 60cm", more=True),
    Field(name="margin", label="Left to the bevel", hint="of each semi-axis; left empty: 3%", more=True),
)  # fmt: skip
AGAIN_FIELDS = (
    Field(
        name="outline",
        label="Outline, where it was found wrongly",
        hint="drag it in the picture, or left empty: it is found",
    ),
    *(field for field in PHOTOGRAPH_FIELDS if field.name in ("mark", "camera", "margin")),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class BackPage(Page):
    """The back of one piece.

    Attributes
    ----------
    piece, piece_name, size
        Link to the piece, its name and size.
    headline, next_words
        How clear it is, and what to do next.
    clock, timer, stop
        The timer that is going or None, the form that starts one, and the form that stops it or None.
    photograph, due
        The form for a photograph of the grid, and whether one is the next thing to do.
    again
        The form that looks at the newest photograph again, or None.
    picture, overlay, size_px
        The newest photograph with its outline; nothing, None and zeros while there is none.
    maps
        Where the newest maps of clearness lie, and their words, the newest first.
    over_time
        Clear share over minutes, as a drawing, or nothing.
    rows, photographs, doubts
        Name and value; when, minutes and share of each photograph; sentences.
    sheets
        Link and words for each paper the grid is printed on.
    pads
        Link to the plates of pads.
    cautions, defer
        For this work.
    """

    template: ClassVar[str] = "back.html"
    tab: ClassVar[str] = "pieces"
    piece: str
    piece_name: str
    size: str
    headline: str
    next_words: str
    clock: Clock | None
    timer: FormView
    stop: FormView | None
    photograph: FormView
    due: bool
    again: FormView | None
    picture: str
    overlay: Overlay | None
    size_px: tuple[int, int]
    maps: tuple[tuple[str, str], ...]
    over_time: str
    rows: tuple[tuple[str, str], ...]
    photographs: tuple[tuple[str, str, str], ...]
    doubts: tuple[str, ...]
    sheets: tuple[tuple[str, str], ...]
    pads: str
    cautions: tuple[str, ...]
    defer: str


def back_page(ask: Ask) -> BackPage:
    """Everything about one back."""
    with ask.shop.record() as record:
        piece = record.current(PieceEntry, ask.numbers["piece"])
        back = back_of(record, piece.root)
        clock = None if back is None else clock_on(record, back)
        taken = () if back is None else grid_photographs_of(record, back.root)
        clearing = None if back is None else newest_clearing(record, back.root)
        minutes_polished = 0.0 if back is None else minutes_since_photograph(record, back.root)
        looked = () if back is None else newest_looks(record, back.root)
    here, newest = f"/pieces/{piece.root}", taken[-1] if taken else None
    size_px = (0, 0) if newest is None else photograph_size(ask.shop, newest)
    seen = clearing is not None and newest is not None and clearing.told["photographs"][-1] == newest.id
    values = {} if clearing is None else {name: clearing.told.get(name, "") for name in ("camera", "margin")}
    minutes = Field(name="minutes", label="Time on the pads", hint="like 10min", needed=True)
    found = {} if clearing is None else clearing.found
    return BackPage(
        title=f"Back of {piece.name}",
        piece=here,
        piece_name=piece.name,
        size=size_shown(piece, units=ask.units),
        headline=clear_headline(found) if found else NOT_YET,
        next_words=to_go(found) if found else "",
        clock=clock,
        timer=form(
            ask, f"{here}/back/timer", submit="Start the timer", fields=(minutes,), values=_minutes(clearing), name="timer", quiet=True
        ),
        stop=stop_form(ask, clock.id) if clock else None,
        photograph=form(ask, f"{here}/grid", submit="Send and look", fields=PHOTOGRAPH_FIELDS, values=values, name="grid"),
        due=clock is None and (not taken or minutes_polished > 0.0),
        again=_again(ask, here, clearing=clearing, taken=newest is not None),
        picture=f"/grids/{newest.id}/picture.jpg" if newest is not None and all(size_px) else "",
        overlay=clear_overlay(clearing) if clearing is not None and seen else None,
        size_px=size_px,
        maps=tuple((f"/clearings/{each.id}/clearness.png", map_words(each)) for each in looked),
        over_time=clear_over_time(found) if found else "",
        rows=clear_rows(found, units=ask.units) if found else (),
        photographs=photograph_lines(taken, found),
        doubts=clear_doubts(found) if found else (),
        sheets=tuple((f"/grid.pdf?paper={name}", words) for name, words in PAPERS),
        pads=f"/pads?piece={piece.root}",
        cautions=CAUTIONS,
        defer=DEFER,
    )


def _minutes(clearing: Clearing | None) -> dict[str, str]:
    return {} if clearing is None else {"minutes": minutes_suggested(clearing.found)}


def _again(ask: Ask, here: str, *, clearing: Clearing | None, taken: bool) -> FormView | None:
    if not taken:
        return None
    told = {} if clearing is None else dict(clearing.told)
    values = {name: str(told.get(name, "")) for name in ("mark", "camera", "margin")}
    outlines = str(told.get("outlines", "")).split(";")
    return form(
        ask,
        f"{here}/back/again",
        submit="Look again",
        fields=AGAIN_FIELDS,
        values=values | {"outline": outlines[-1]},
        name="again",
        quiet=True,
    )


def take_back_timer(ask: Ask) -> str:
    """Start to polish the back."""
    start_back_timer(ask.shop, ask.numbers["piece"], texts=ask.texts, now=ask.desk.now(), form=ask.form)
    return f"/pieces/{ask.numbers['piece']}/back"


def take_grid(ask: Ask) -> str:
    """Keep the photograph of the grid and ask how clear the back is; the same photograph is kept once."""
    piece, sent = ask.numbers["piece"], ask.file("photograph")
    enter_grid_photograph(ask.shop, piece, name=sent.name, data=sent.data, texts=ask.texts, now=ask.desk.now())
    return f"/work/{ask_clearing(ask.shop, piece, texts=ask.texts, now=ask.desk.now(), form=ask.job_form)}"


def take_back_again(ask: Ask) -> str:
    """Look at the photographs again with other settings."""
    return f"/work/{ask_clearing(ask.shop, ask.numbers['piece'], texts=ask.texts, now=ask.desk.now(), form=ask.job_form)}"


def give_grid_picture(ask: Ask) -> Response:
    """The small picture of a photograph of the grid."""
    with ask.shop.record() as record:
        entry = record.get(GridPhotograph, ask.numbers["grid"])
    place = preview_place(ask.shop, entry)
    if not place.is_file():
        raise NotInRecord(found="the photograph was not opened yet", needed="a picture of it is needed", remedy="look at the back again")
    return FileResponse(place, media_type="image/jpeg", headers={"Cache-Control": "private, max-age=31536000, immutable"})


def give_clearness(ask: Ask) -> Response:
    """The map of clearness at one photograph."""
    with ask.shop.record() as record:
        entry = record.get(Clearing, ask.numbers["clearing"])
    headers = {"Cache-Control": "private, max-age=31536000, immutable"}
    return Response(ask.shop.papers.read(entry.picture_sha256), media_type="image/png", headers=headers)


def give_grid_sheet(ask: Ask) -> Response:
    """The grid to print at 1:1."""
    data = grid_sheet(paper=ask.query.get("paper", "a4"), pitch=ask.query.get("pitch") or None)
    return Response(data, media_type="application/pdf", headers={"Content-Disposition": 'inline; filename="grid.pdf"'})
