"""Orders: taken with a drawing that follows what is typed, and looked at again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from starlette.responses import HTMLResponse, Response

from straightband.errors import StraightbandError
from straightband.shop.entries import Ordered, PieceEntry
from straightband.web.desk import Ask
from straightband.web.forms import Field, FormView, form
from straightband.web.frame import Page, templates
from straightband.workflows.order_drawing import order_sketch
from straightband.workflows.order_report import order_facts
from straightband.workflows.order_request import DEFAULTS
from straightband.workflows.order_rows import light_rows, order_doubts, order_in_a_line, quote_rows, size_rows, tolerance_rows
from straightband.workflows.shop_clock import day_shown
from straightband.workflows.shop_orders import enter_order, enter_piece, order_of_texts, piece_suggested
from straightband.workflows.shop_prices import shop_prices
from straightband.workflows.shown import sentence_shown

MOST_SHOWN = 50
MOST_PIECES = 20  # of one order
FIELDS = (
    Field(name="name", label="Name of the order", hint="as it stands on the glass, like 2026-31", needed=True),
    Field(name="customer", label="Customer"),
    Field(name="aperture", label="Aperture of the primary mirror", hint="like 300mm or 12in", needed=True),
    Field(name="focal_ratio", label="Focal ratio", hint="like 5 for f/5; or the focal length below"),
    Field(name="focal_length", label="Focal length", hint="like 1500mm"),
    Field(name="intercept", label="Intercept", hint="from the middle of the diagonal to the focus, like 240mm", needed=True),
    Field(name="full_field", label="Fully lit field", hint="diameter, like 15mm; 0mm: the axis only"),
    Field(name="strehl", label="Strehl ratio wanted", hint=f"left empty: {DEFAULTS['strehl']}", more=True),
    Field(name="minor", label="Minor axis, where it is given", hint="like 65mm; then its own field may be left empty", more=True),
    Field(name="have", label="Sizes at hand", hint="minor axes with commas, like 63mm,75mm", more=True),
    Field(name="light", label="Lamp of the test", hint=f"left empty: {DEFAULTS['light']}", more=True),
    Field(name="light_judged", label="Light the Strehl ratio is judged in", hint=f"left empty: {DEFAULTS['light_judged']}", more=True),
    Field(name="glass", label="Glass", hint=f"left empty: {DEFAULTS['glass']}", more=True),
    Field(name="thickness", label="Thickness", hint="left empty: suggested", more=True),
    Field(name="margin", label="Left to the bevel", hint=f"of each semi-axis; left empty: {DEFAULTS['margin']}", more=True),
    Field(name="tube", label="Inner diameter of the tube", hint="for the drawing", more=True),
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """What an order comes to: drawing and rows; or why it can't be."""

    sketch: str = ""
    sizes: tuple[tuple[str, str], ...] = ()
    light: tuple[tuple[str, str, str], ...] = ()
    tolerance: tuple[tuple[str, str, str], ...] = ()
    quote: tuple[tuple[str, str], ...] = ()
    doubts: tuple[str, ...] = ()
    error: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class NewOrderPage(Page):
    """A new order, or the correction of one.

    Attributes
    ----------
    form
        What is asked.
    draft
        What it comes to so far.
    """

    template: ClassVar[str] = "order_new.html"
    tab: ClassVar[str] = "orders"
    form: FormView
    draft: Draft


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderLine:
    """One order in the list."""

    link: str
    name: str
    customer: str
    size: str
    when: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OrdersPage(Page):
    """All orders, the newest first.

    Attributes
    ----------
    orders
        The lines.
    """

    template: ClassVar[str] = "orders.html"
    tab: ClassVar[str] = "orders"
    orders: tuple[OrderLine, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderPage(Page):
    """One order.

    Attributes
    ----------
    when
        Day and customer.
    draft
        What it comes to.
    pieces, more
        Link and name of each piece made for it, the newest of many; and how many are older, in words, or nothing.
    form
        A new piece of it.
    correct
        Where it is corrected.
    earlier
        How often it was corrected, in words, or nothing.
    """

    template: ClassVar[str] = "order.html"
    tab: ClassVar[str] = "orders"
    when: str
    draft: Draft
    pieces: tuple[tuple[str, str], ...]
    more: str
    form: FormView
    correct: str
    earlier: str


def new_order_page(ask: Ask) -> NewOrderPage:
    """The form, with a drawing where enough is filled in already: after a correction, a refusal, or a look without a script."""
    corrects = ask.numbers.get("order")
    values = dict(ask.query)
    if corrects is not None and not values:
        with ask.shop.record() as record:
            order = record.current(Ordered, corrects)
        values = {"name": order.name, "customer": order.customer, **order.told}
    action = "/orders/new" if corrects is None else f"/orders/{corrects}/correct"
    view = form(
        ask, action, submit="Enter the order" if corrects is None else "Enter the correction", fields=FIELDS, values=values, name="order"
    )
    texts = ask.texts or values
    draft = draft_of(ask, texts) if texts.get("aperture") and not ask.error else Draft()
    return NewOrderPage(title="New order" if corrects is None else "Correct the order", form=view, draft=draft)


def draft_of(ask: Ask, texts: object) -> Draft:
    """What was typed so far comes to."""
    try:
        order = order_of_texts(dict(texts), prices=shop_prices(ask.shop))  # type: ignore[call-overload]
    except StraightbandError as refusal:
        return Draft(error=sentence_shown(str(refusal)))
    return _draft(ask, order_facts(order), sketch=order_sketch(order, units=ask.units))


def _draft(ask: Ask, found: dict, *, sketch: str) -> Draft:
    return Draft(
        sketch=sketch,
        sizes=size_rows(found, units=ask.units),
        light=light_rows(found, units=ask.units),
        tolerance=tolerance_rows(found),
        quote=quote_rows(found),
        doubts=order_doubts(found),
    )


def give_draft(ask: Ask) -> Response:
    """The part of the page below the form, for its script."""
    return HTMLResponse(
        templates().get_template("draft.html").render(draft=draft_of(ask, ask.query)), headers={"Cache-Control": "no-store"}
    )


def take_order_form(ask: Ask) -> str:
    """Enter an order."""
    number = enter_order(ask.shop, ask.texts, now=ask.desk.now(), form=ask.form, corrects=ask.numbers.get("order"))
    return f"/orders/{number}"


def orders_page(ask: Ask) -> OrdersPage:
    """The list."""
    with ask.shop.record() as record:
        orders = record.listing(Ordered, newest_first=True, limit=MOST_SHOWN)
    lines = tuple(
        OrderLine(
            link=f"/orders/{order.root}",
            name=order.name,
            customer=order.customer,
            size=order_in_a_line(order.found, units=ask.units),
            when=day_shown(order.at),
        )
        for order in orders
    )
    return OrdersPage(title="Orders", orders=lines)


def order_page(ask: Ask) -> OrderPage:
    """One order with its pieces."""
    number = ask.numbers["order"]
    with ask.shop.record() as record:
        order = record.current(Ordered, number)
        versions = record.versions(Ordered, order.root)
        pieces = record.listing(PieceEntry, newest_first=True, limit=MOST_PIECES, order_id=order.root)
        count = record.count(PieceEntry, order_id=order.root, corrects=None)
    sketch = order_sketch(order_of_texts(order.told), units=ask.units)
    return OrderPage(
        title=f"Order {order.name}",
        when=", ".join(part for part in (day_shown(order.at), order.customer) if part),
        draft=_draft(ask, order.found, sketch=sketch),
        pieces=tuple((f"/pieces/{piece.root}", piece.name) for piece in pieces[::-1]),
        more=f"{count} pieces are of it; the newest {len(pieces)} are shown." if count > len(pieces) else "",
        form=form(ask, f"/orders/{order.root}", submit="Enter the piece", fields=PIECE_FIELDS, values=_suggested(order, count)),
        correct=f"/orders/{order.root}/correct",
        earlier=f"Corrected; entered first on {day_shown(versions[0].at)}." if len(versions) > 1 else "",
    )


PIECE_FIELDS = (
    Field(name="name", label="Name of the piece", hint="as it stands on the glass", needed=True),
    Field(
        name="shape",
        label="Shape",
        kind="choice",
        choices=(("ellipse", "ellipse"), ("round", "round"), ("rectangle", "rectangle")),
    ),
    Field(name="minor", label="Minor axis", hint="of an ellipse, like 53.5mm or 2 1/8 in"),
    Field(name="diameter", label="Diameter", hint="of a round piece", more=True),
    Field(name="width", label="Width", hint="of a rectangle", more=True),
    Field(name="length", label="Length", hint="of a rectangle", more=True),
    Field(name="major", label="Major axis", hint="left empty: 1.414 times the minor", more=True),
    Field(name="glass", label="Glass"),
    Field(name="thickness", label="Thickness", hint="like 11mm"),
)


def _suggested(order: Ordered, count: int) -> dict[str, str]:
    suggested = piece_suggested(order)
    return suggested | {"name": f"{order.name}-{count + 1}"} if count else suggested


def take_piece_of_order(ask: Ask) -> str:
    """Enter a piece of an order."""
    number = enter_piece(ask.shop, ask.texts, now=ask.desk.now(), order_id=ask.numbers["order"], form=ask.form)
    return f"/pieces/{number}"
