"""Photographs: sent from the telephone, with what the program should know of them; looked at with what was found in them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from starlette.responses import FileResponse, Response

from straightband.quantities import whole_numbers
from straightband.shop.entries import Flat, Lamp, Photograph, PieceEntry, ReadingEntry
from straightband.shop.queries import faces_of, readings_of, readings_with
from straightband.shop.record import NotInRecord, Record
from straightband.web.desk import Ask
from straightband.web.forms import Field, FormView, form
from straightband.web.frame import Page
from straightband.workflows.cautions import DEFER, LAMPS
from straightband.workflows.overlay_paths import Overlay, overlay_of
from straightband.workflows.shop_clock import time_shown
from straightband.workflows.shop_jobs import ask_reading
from straightband.workflows.shop_readings import SETTINGS, enter_photograph, photograph_size, preview_place
from straightband.workflows.shop_work import face_of

MOST_CHOICES = 12
KEPT = ("light", "mirrored", "camera", "lens_distortion", "margin", "support")  # of the last settings, to begin with
TOGETHER_CHOICES = (("", "one face with the wedge turned between: read as one"), ("stack", "a stack: nothing touched between, averaged"))
SUPPORTS = (
    ("", "not counted"),
    ("three-at-rim", "three points at the rim, as a shim gives"),
    ("three-inside", "three points inside"),
    ("rim", "its rim"),
)
LAMP_KINDS = ("sodium", "mercury-green", "helium-neon", "red-led", "green-led")


@dataclass(frozen=True, slots=True, kw_only=True)
class SendPhotographPage(Page):
    """A photograph is taken or chosen and sent.

    Attributes
    ----------
    piece
        Link back.
    form
        The photograph and what is said of it.
    cautions, defer
        Of lamps.
    """

    template: ClassVar[str] = "photograph_new.html"
    tab: ClassVar[str] = "pieces"
    piece: str
    form: FormView
    cautions: tuple[str, ...]
    defer: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotographPage(Page):
    """One photograph.

    Attributes
    ----------
    piece, piece_name
        Whose it is.
    when, sha256
        When it came, and its hash.
    picture
        Where a small picture of it lies, or nothing while it was not opened.
    size_px
        Its own width and height; zeros while it was not opened.
    overlay
        Outline and dark bands of its newest reading, or None.
    readings
        Link and words of each reading that rests on it.
    form
        Read it, or read it again with other settings.
    others
        Further photographs of the face that may be read with it: number and words.
    """

    template: ClassVar[str] = "photograph.html"
    tab: ClassVar[str] = "pieces"
    piece: str
    piece_name: str
    when: str
    sha256: str
    picture: str
    size_px: tuple[int, int]
    overlay: Overlay | None
    readings: tuple[tuple[str, str], ...]
    form: FormView
    others: tuple[tuple[str, str], ...]


def setting_fields(record: Record) -> tuple[Field, ...]:
    """What a photograph is read with."""
    lamps = tuple((each.light, f"{each.name} ({each.light})") for each in record.listing(Lamp))
    kinds = tuple((kind, kind) for kind in LAMP_KINDS if kind not in {value for value, _ in lamps})
    # The newest entry of a flat: what was noted on it since counts, and a reading keeps the very entry it was made with.
    flats = tuple((str(each.id), each.name) for each in record.listing(Flat))
    hours = "clock hour in the upright photograph, 1 to 12"
    return (
        Field(name="light", label="Lamp", kind="choice", choices=(*lamps, *kinds)),
        Field(name="flat", label="Lying on", kind="choice", choices=(*flats, ("", "a flat without a map"))),
        Field(name="mark", label="Pencil mark on the rim", hint=hours),
        Field(name="thicker", label="Gap thicker toward", hint=f"{hours}; or in, out for rings; of several photographs one for each, like 3,9"),
        Field(name="mirrored", label="View reversed", kind="choice", choices=(("0", "not at all"), ("1", "once: through the back"), ("2", "twice: back and beam splitter"))),
        Field(name="together", label="Several files are", kind="choice", choices=TOGETHER_CHOICES, hint="a film is always a stack", more=True),
        Field(name="pressed", label="Rim pressed between the first and the others", hint="clock hour: tells hill from hole", more=True),
        Field(name="handled", label="Time since a hand lay on the glass", hint="like 4min: tells how long to wait", more=True),
        Field(name="support", label="The piece lay on", kind="choice", choices=SUPPORTS, hint="with it, bending under weight is counted", more=True),
        Field(name="glass", label="Glass, for both of these", hint="left empty: that of the piece", more=True),
        Field(name="thickness", label="Thickness, for both of these", hint="left empty: that of the piece", more=True),
        Field(name="camera", label="Distance of the camera", hint="like 1m", more=True),
        Field(name="lens_distortion", label="Lens distortion", hint="95 % limit at the corner of the frame; left empty: 1%", more=True),
        Field(name="margin", label="Left to the bevel", hint="of each semi-axis; left empty: 3%", more=True),
    )  # fmt: skip


def _last_settings(record: Record, face_root: int) -> dict[str, str]:
    """What was said the last time: of this face, else of any, less what is another each time."""
    own = readings_of(record, face_root, limit=1)
    for reading in own or record.listing(ReadingEntry, newest_first=True, limit=1):
        settings = {key: value for key, value in reading.told.items() if key in KEPT}
        return settings | {"flat": _flat_now(record, reading)}
    return {}


def _flat_now(record: Record, reading: ReadingEntry) -> str:
    """The flat of a reading as it holds now."""
    if reading.flat_id is None:
        return ""
    return str(record.current(Flat, record.get(Flat, reading.flat_id).root).id)


def send_photograph_page(ask: Ask) -> SendPhotographPage:
    """The form, begun with what was said the last time."""
    with ask.shop.record() as record:
        piece = record.current(PieceEntry, ask.numbers["piece"])
        fields = setting_fields(record)
        values = _last_settings(record, faces_of(record, piece.root)[0].root)
    here = f"/pieces/{piece.root}"
    file = Field(
        name="photograph",
        label="Photograph of the bands",
        kind="files",
        hint="or several of this face at once, or one short film",
        needed=True,
    )
    return SendPhotographPage(
        title=f"Photograph {piece.name}",
        piece=here,
        form=form(ask, f"{here}/photograph", submit="Send and read", fields=(file, *fields), values=values),
        cautions=LAMPS,
        defer=DEFER,
    )


def take_photograph(ask: Ask) -> str:
    """Keep the photographs and ask for their reading; the same photograph is kept once."""
    with ask.shop.record() as record:
        face = faces_of(record, record.current(PieceEntry, ask.numbers["piece"]).root)[0]
    several = ask.files.get("photograph") or (ask.file("photograph"),)
    entered = [enter_photograph(ask.shop, face.root, name=sent.name, data=sent.data, now=ask.desk.now()) for sent in several]
    photographs = tuple(dict.fromkeys(entered))
    return f"/work/{ask_reading(ask.shop, photographs, texts=ask.texts, now=ask.desk.now(), form=ask.job_form)}"


def photograph_page(ask: Ask) -> PhotographPage:
    """One photograph, and the form by which it is read."""
    number = ask.numbers["photograph"]
    with ask.shop.record() as record:
        entry = record.get(Photograph, number)
        _, piece, _ = face_of(record, entry.face_id)
        readings = tuple(record.get(ReadingEntry, each) for each in readings_with(record, number))
        fields = setting_fields(record)
        values = _last_settings(record, entry.face_id)
        siblings = record.listing(Photograph, newest_first=True, limit=MOST_CHOICES, face_id=entry.face_id)
    overlay = overlay_of(readings[0].drawing) if readings else None
    if readings:
        values = {key: readings[0].told.get(key, "") for key in (*SETTINGS, "glass", "thickness")} | {"flat": values.get("flat", "")}
    outline = Field(
        name="outline",
        label="Outline, where it was found wrongly",
        hint="centre column and row, two half axes in pixels, angle in degrees; drag it in the picture, or left empty: it is found",
        more=True,
    )
    size_px = photograph_size(ask.shop, entry)
    return PhotographPage(
        title=f"Photograph {entry.name}",
        piece=f"/pieces/{piece.root}",
        piece_name=piece.name,
        when=time_shown(entry.at),
        sha256=entry.sha256,
        picture=f"/photographs/{number}/picture.jpg" if all(size_px) else "",
        size_px=size_px,
        overlay=overlay,
        readings=tuple((f"/readings/{each.id}", time_shown(each.at)) for each in readings),
        form=form(
            ask, f"/photographs/{number}", submit="Read again" if readings else "Read the bands", fields=(*fields, outline), values=values
        ),
        others=tuple((str(each.id), f"{each.name}, {time_shown(each.at)}") for each in siblings if each.id != number),
    )


def take_reading(ask: Ask) -> str:
    """Ask for a reading of a photograph, alone or with others of the same face."""
    also = whole_numbers(ask.texts.get("also", ""))
    photographs = tuple(dict.fromkeys((ask.numbers["photograph"], *also)))
    return f"/work/{ask_reading(ask.shop, photographs, texts=ask.texts, now=ask.desk.now(), form=ask.job_form)}"


def give_picture(ask: Ask) -> Response:
    """The small picture."""
    with ask.shop.record() as record:
        entry = record.get(Photograph, ask.numbers["photograph"])
    place = preview_place(ask.shop, entry)
    if not place.is_file():
        raise NotInRecord(found="the photograph was not opened yet", needed="a picture of it is needed", remedy="read it first")
    return FileResponse(place, media_type="image/jpeg", headers={"Cache-Control": "private, max-age=31536000, immutable"})
