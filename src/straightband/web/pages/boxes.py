"""The test box: what it is for is typed, drawing and measures follow; nothing is entered."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar
from urllib.parse import urlencode

from starlette.responses import Response

from straightband.errors import StraightbandError
from straightband.web.desk import Ask
from straightband.web.forms import Field, FormView, form
from straightband.web.frame import Page
from straightband.workflows.box import Box, plan_box
from straightband.workflows.box_drawing import box_drawing, box_rows, box_sketch
from straightband.workflows.box_report import CAUTIONS, explain
from straightband.workflows.box_text import box_from_text
from straightband.workflows.cautions import DEFER
from straightband.workflows.shown import sentence_shown

LIGHTS = ("red-led", "green-led", "sodium", "mercury-green", "helium-neon")
LENGTHS = ("light", "gap", "error", "splitter", "index", "stack", "camera")
FIELDS = (
    Field(name="largest", label="Longest extent of the largest piece or flat", hint="like 200mm", needed=True),
    Field(name="light", label="Lamp", kind="choice", choices=tuple((light, light) for light in LIGHTS)),
    Field(name="coated", label="The face tested", kind="choice", choices=(("", "is bare glass"), ("yes", "has its aluminium"))),
    Field(name="gap", label="Air between the flats", hint="left empty: 5um", more=True),
    Field(name="error", label="False power allowed, from the nearness of the camera", hint="left empty: 10nm", more=True),
    Field(name="camera", label="Distance of the camera", hint="left empty: the least that will do", more=True),
    Field(name="splitter", label="Thickness of the plate at 45 degrees", hint="left empty: 3mm", more=True),
    Field(name="index", label="Refractive index of plate and flats", hint="left empty: 1.518", more=True),
    Field(name="stack", label="Height of the two flats together", hint="left empty: a third of the largest", more=True),
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxPage(Page):
    """The test box.

    Attributes
    ----------
    form
        What it is for.
    sketch, rows, notes
        Drawing, name and measure, sentences; empty before anything was asked.
    pdf
        Where the drawing to print lies, or nothing.
    cautions, defer
        Of lamps, water and glass.
    """

    template: ClassVar[str] = "box.html"
    tab: ClassVar[str] = "shop"
    form: FormView
    sketch: str
    rows: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]
    pdf: str
    cautions: tuple[str, ...]
    defer: str


def box_page(ask: Ask) -> BoxPage:
    """The form, and the box once it says for what."""
    view = form(ask, "/box", submit="Draw the box", fields=FIELDS, values=ask.query, asks=True)
    box = None
    if ask.query.get("largest", "").strip():
        try:
            box = _box(ask)
        except StraightbandError as refusal:
            view = replace(view, error=sentence_shown(str(refusal)))
    return BoxPage(
        title="Test box",
        form=view,
        sketch="" if box is None else box_sketch(box),
        rows=() if box is None else box_rows(box, units=ask.units),
        notes=() if box is None else tuple(f"{sentence_shown(explain(flag))}." for flag in box.flags),
        pdf="" if box is None else f"/box/drawing.pdf?{urlencode({name: text for name, text in ask.query.items() if text})}",
        cautions=CAUTIONS,
        defer=DEFER,
    )


def _box(ask: Ask) -> Box:
    told = {name: ask.query[name].strip() for name in LENGTHS if ask.query.get(name, "").strip()}
    return plan_box(box_from_text(largest=ask.query.get("largest", ""), coated=ask.query.get("coated") == "yes", **told))


def give_box_drawing(ask: Ask) -> Response:
    """The drawing to print."""
    headers = {"Content-Disposition": 'inline; filename="box.pdf"'}
    return Response(box_drawing(_box(ask)), media_type="application/pdf", headers=headers)
