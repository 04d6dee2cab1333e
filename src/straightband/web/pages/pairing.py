"""Pairing: the code on the computer, and the page on which a telephone types it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from straightband.web.desk import Ask
from straightband.web.forms import Field, FormView, form
from straightband.web.frame import Page


@dataclass(frozen=True, slots=True, kw_only=True)
class PairPage(Page):
    """Where a telephone types the code.

    Attributes
    ----------
    form
        The code.
    """

    template: ClassVar[str] = "pair.html"
    form: FormView


@dataclass(frozen=True, slots=True, kw_only=True)
class CodePage(Page):
    """What the computer shows.

    Attributes
    ----------
    addresses
        By which a telephone reaches the bench.
    code
        The letters.
    drawing
        Address and code as a drawing for the camera, as SVG.
    """

    template: ClassVar[str] = "code.html"
    tab: ClassVar[str] = "shop"
    addresses: tuple[str, ...]
    code: str
    drawing: str


def pair_page(ask: Ask) -> PairPage:
    """The form, with the code from the drawing in it already; it is sent by hand, since a mere look must not use it up."""
    fields = (
        Field(name="code", label="Code that the computer shows", needed=True),
        Field(name="name", label="Name of this telephone", value="telephone"),
    )
    values = {"code": ask.query["code"][:20]} if "code" in ask.query else {}
    return PairPage(title="Pair this telephone", form=form(ask, "/pair", submit="Pair", fields=fields, values=values))
