"""The shop itself: lamps, abrasives, pads, its name, and the telephones that may come."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from starlette.responses import Response

from straightband.shop import telephones
from straightband.shop.entries import Abrasive, Lamp, Pad
from straightband.shop.telephones import Telephone
from straightband.web.desk import Ask
from straightband.web.forms import Field, FormView, form
from straightband.web.frame import Page
from straightband.workflows.order_prices import DEFAULT_PRICES, KEYS
from straightband.workflows.shop_laps import USUAL_STROKES, WAY_NAMES, enter_lap, enter_table, lap_rows, table_rows, told_table
from straightband.workflows.shop_prices import enter_prices, price_rows, prices_file, told_prices
from straightband.workflows.shop_setup import enter_abrasive, enter_lamp, enter_pad, enter_shopkeeper, shopkeeper
from straightband.workflows.shown import grain_shown, length_shown


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelf:
    """One kind of thing the shop has.

    Attributes
    ----------
    title
        What they are.
    rows
        Name and remark of each.
    form
        A new one.
    """

    title: str
    rows: tuple[tuple[str, str], ...]
    form: FormView


@dataclass(frozen=True, slots=True, kw_only=True)
class ShopPage(Page):
    """Set-up.

    Attributes
    ----------
    shelves
        Its things.
    folder
        Where the shop lies.
    """

    template: ClassVar[str] = "shop.html"
    tab: ClassVar[str] = "shop"
    shelves: tuple[Shelf, ...]
    folder: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TelephonesPage(Page):
    """Telephones that are known.

    Attributes
    ----------
    lan
        Whether any can come at all.
    known
        Each with the form that forgets it.
    """

    template: ClassVar[str] = "telephones.html"
    tab: ClassVar[str] = "shop"
    lan: bool
    known: tuple[tuple[Telephone, FormView], ...]


def shop_page(ask: Ask) -> ShopPage:
    """What the shop has."""
    with ask.shop.record() as record:
        keeper = shopkeeper(record)
        laps, table, table_told = lap_rows(record), table_rows(record), told_table(record)
        prices, told = price_rows(record), told_prices(record)
        lamps, abrasives, pads = record.listing(Lamp), record.listing(Abrasive), record.listing(Pad)
    kept = {"name": keeper.name, "signed_by": keeper.signed_by}
    shelves = (
        Shelf(
            title="Name on papers", rows=((keeper.name, keeper.signed_by),) if keeper.name else (), form=_shelf(ask, "name", values=kept)
        ),
        Shelf(title="Lamps", rows=tuple((each.name, each.light) for each in lamps), form=_shelf(ask, "lamp")),
        Shelf(title="Abrasives", rows=tuple((each.name, grain_shown(each.grain_um)) for each in abrasives), form=_shelf(ask, "abrasive")),
        Shelf(
            title="Pads and laps for polishing",
            rows=tuple((each.name, f"{length_shown(each.diameter_mm, ask.units)} {each.note}".strip()) for each in pads),
            form=_shelf(ask, "pad"),
        ),
        Shelf(title="Laps for figuring", rows=laps, form=_shelf(ask, "lap")),
        Shelf(title="Table and polish", rows=table, form=_shelf(ask, "table", values=table_told)),
        Shelf(title="Prices", rows=prices, form=_shelf(ask, "prices", values=told)),
    )
    return ShopPage(title="Shop", shelves=shelves, folder=str(ask.shop.folder))


NAMES = {"table": "table and polish"}
SHELVES = {
    "name": (
        enter_shopkeeper,
        (Field(name="name", label="Name of the shop", needed=True), Field(name="signed_by", label="Who signs")),
    ),
    "lamp": (
        enter_lamp,
        (
            Field(name="name", label="Name", needed=True),
            Field(name="light", label="Light", hint="632.8nm, or sodium, mercury-green, ...", needed=True),
        ),
    ),
    "abrasive": (
        enter_abrasive,
        (Field(name="name", label="Name", needed=True), Field(name="grain", label="Grain", hint="like 20um", needed=True)),
    ),
    "pad": (
        enter_pad,
        (
            Field(name="name", label="Name", needed=True),
            Field(name="diameter", label="Diameter", hint="like 50mm", needed=True),
            Field(name="note", label="Note"),
        ),
    ),
    "lap": (
        enter_lap,
        (
            Field(name="name", label="Name", hint="the same name again corrects it", needed=True),
            Field(name="diameter", label="Diameter of the pitch", hint="like 40mm", needed=True),
            Field(
                name="weight",
                label="What presses, in newton",
                hint="weight on top and push of the hand; 1 kg is about 10; left empty: 3 kPa",
            ),
            Field(name="strokes_per_min", label="Strokes a minute", hint=f"to and fro is one; left empty: {USUAL_STROKES}", more=True),
            Field(name="ways", label="Ways it may be used", hint=f"with commas, of {', '.join(WAY_NAMES)}; left empty: all", more=True),
            Field(name="used", label="It is", kind="choice", choices=(("", "in use"), ("no", "no longer in use")), more=True),
        ),
    ),
    "table": (
        enter_table,
        (
            Field(name="table_rpm", label="Turns of the table a minute", hint="0 for none; left empty: 20"),
            Field(name="polish", label="Polish on the laps", hint="left empty: cerium oxide"),
        ),
    ),
    "prices": (
        enter_prices,
        (
            *(
                Field(name=key, label=f"{meaning[:1].upper()}{meaning[1:]}", hint=f"left empty: {DEFAULT_PRICES.values[key]}, our default")
                for key, (_, _, meaning) in KEYS.items()
            ),
            Field(name="currency", label="Currency", hint=f"left empty: {DEFAULT_PRICES.currency}"),
        ),
    ),
}


def _shelf(ask: Ask, kind: str, *, values: dict[str, str] | None = None) -> FormView:
    return form(ask, "/shop", submit=f"Enter the {NAMES.get(kind, kind)}", fields=SHELVES[kind][1], values=values, name=kind, quiet=True)


def take_shelf(ask: Ask) -> str:
    """Enter a thing of the shop; which kind stands in the form."""
    kind = ask.texts.get("form", "")
    enter = SHELVES.get(kind, SHELVES["name"])[0]
    enter(ask.shop, ask.texts, now=ask.desk.now(), form=ask.form)
    return "/shop"


def give_prices(ask: Ask) -> Response:
    """The shop's figures as the price file that the command `order` takes."""
    with ask.shop.record() as record:
        data = prices_file(record)
    headers = {"Content-Disposition": 'attachment; filename="prices.toml"'}
    return Response(data, media_type="application/toml", headers=headers)


def telephones_page(ask: Ask) -> TelephonesPage:
    """Telephones that are known."""
    with ask.shop.record() as record:
        known = telephones.telephones(record, now=ask.desk.now())
    forms = tuple((each, form(ask, f"/telephones/{each.id}/forget", submit="Forget it", quiet=True)) for each in known)
    return TelephonesPage(title="Telephones", lan=ask.desk.lan, known=forms)


def take_forget(ask: Ask) -> str:
    """Forget a telephone."""
    with ask.shop.record() as record:
        telephones.forget(record, ask.numbers["telephone"])
    return "/telephones"
