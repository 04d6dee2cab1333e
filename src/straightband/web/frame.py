"""From a page's dataclass to the bytes that are sent: templates see `page` and `frame`, and nothing else."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import ClassVar

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from starlette.responses import HTMLResponse

from straightband.web.desk import Ask
from straightband.workflows.shop_setup import shopkeeper
from straightband.workflows.shown import UNIT_NAMES

STATIC = ("bench.css", "bench.js", "icon.svg", "map.js", "outline.js")


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """What every page has.

    Attributes
    ----------
    title
        Its heading.
    """

    template: ClassVar[str] = ""
    tab: ClassVar[str] = ""
    title: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """What stands around every page.

    Attributes
    ----------
    shop_name
        Above it.
    tab
        Which part of the bench it is.
    units, other_units
        What lengths are shown in, and what they can be switched to, by name.
    switch_to
        The same, as it is sent.
    lan
        Whether a telephone can be paired from here.
    version
        Of style and script, so that a browser fetches them anew when they changed.
    """

    shop_name: str
    tab: str
    units: str
    other_units: str
    switch_to: str
    lan: bool
    version: str


@lru_cache(maxsize=1)
def templates() -> Environment:
    """The templates; what they name must be there."""
    return Environment(
        loader=PackageLoader("straightband.web"),
        autoescape=select_autoescape(default=True),
        undefined=StrictUndefined,
        auto_reload=False,  # they do not change while the bench is open
        trim_blocks=True,
        lstrip_blocks=True,
    )


@lru_cache(maxsize=8)
def static_file(name: str) -> bytes:
    """The bytes of a style or a script."""
    return (resources.files("straightband.web") / "static" / name).read_bytes()


@lru_cache(maxsize=1)
def static_version() -> str:
    """A short hash over all of them."""
    return hashlib.sha256(b"".join(static_file(name) for name in STATIC)).hexdigest()[:12]


def frame_of(ask: Ask, page: Page) -> Frame:
    """What stands around a page."""
    with ask.shop.record() as record:
        name = shopkeeper(record).name
    other = "in" if ask.units == "mm" else "mm"
    return Frame(
        shop_name=name,
        tab=page.tab,
        units=UNIT_NAMES[ask.units],
        other_units=UNIT_NAMES[other],
        switch_to=other,
        lan=ask.desk.lan and ask.local,
        version=static_version(),
    )


def rendered(ask: Ask, page: Page) -> str:
    """The page as HTML."""
    return templates().get_template(page.template).render(page=page, frame=frame_of(ask, page))


def response(ask: Ask, page: Page, *, status: int = 200) -> HTMLResponse:
    """The page as it is sent."""
    return HTMLResponse(rendered(ask, page), status_code=status, headers={"Cache-Control": "no-store" if status != 200 else "no-cache"})
