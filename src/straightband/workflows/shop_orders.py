"""Enter an order and the pieces it asks for."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from straightband import provenance
from straightband.errors import BadInput
from straightband.shop.entries import FaceEntry, Ordered, PieceEntry
from straightband.shop.folder import Shop
from straightband.shop.record import Form, Record
from straightband.workflows.order import Order, order_from_text, take_order
from straightband.workflows.order_prices import DEFAULT_PRICES, Prices
from straightband.workflows.order_report import order_facts
from straightband.workflows.order_request import DEFAULTS
from straightband.workflows.setup import face_from_text
from straightband.workflows.shop_prices import prices_file, prices_of_file

TELESCOPE = ("aperture", "focal_length", "focal_ratio", "intercept", "full_field")
ASKED = (*TELESCOPE, "minor", "have", *DEFAULTS)  # as the options of the command `order`
SIZES = ("minor", "major", "diameter", "width", "length")
LONGEST_NAME = 60
PRICES = "prices_file"  # kept with an order, since prices change


def given(texts: Mapping[str, str], *names: str) -> dict[str, str]:
    """The texts that were filled in, under their names."""
    return {name: texts[name].strip() for name in names if texts.get(name, "").strip()}


def name_from_text(text: str, *, what: str) -> str:
    """A name of sensible length; raises BadInput."""
    name = " ".join(text.split())
    if not 1 <= len(name) <= LONGEST_NAME:
        raise BadInput(
            found=f"{what} is {'empty' if not name else f'{len(name)} letters long'}",
            needed=f"1 to {LONGEST_NAME} letters are needed",
            remedy="write a short name",
        )
    return name


def order_of_texts(texts: Mapping[str, str], *, prices: Prices = DEFAULT_PRICES) -> Order:
    """What the order comes to at these prices, nothing entered; raises BadInput."""
    told = given(texts, *ASKED)
    return _taken(tuple(sorted(told.items()))) if prices == DEFAULT_PRICES else _order(told, prices=prices)


@lru_cache(maxsize=64)
def _taken(texts: tuple[tuple[str, str], ...]) -> Order:
    """The same texts come to the same order each time its page is looked at."""
    return _order(dict(texts), prices=DEFAULT_PRICES)


def _order(texts: dict[str, str], *, prices: Prices) -> Order:
    told: dict[str, Any] = dict.fromkeys(("aperture", "intercept")) | texts
    return take_order(order_from_text(prices=prices, **told))


def enter_order(shop: Shop, texts: Mapping[str, str], *, now: str, form: Form | None = None, corrects: int | None = None) -> int:
    """Enter an order from what was typed; returns its number. Raises BadInput, and enters nothing then."""
    name = name_from_text(texts.get("name", ""), what="the name of the order")
    with shop.record() as record:
        prices = prices_file(record).strip()
    found = order_facts(order_of_texts(texts, prices=prices_of_file(prices)))
    entry = Ordered(
        at=now,
        corrects=corrects,
        name=name,
        customer=" ".join(texts.get("customer", "").split())[:LONGEST_NAME],
        told=given(texts, *ASKED) | ({PRICES: prices} if prices else {}),
        found=found,
        program=provenance.program(),
    )
    with shop.record() as record:
        _, number = record.once(form, lambda: _named_once(record, entry))
        return record.get(Ordered, number).root


def _named_once(record: Record, entry: Ordered) -> Ordered:
    if any(order.root != entry.corrects for order in record.listing(Ordered, name=entry.name)):
        raise BadInput(
            found=f"there is an order called '{entry.name}' already",
            needed="a name of its own is needed",
            remedy="correct that order, or add a letter or a number",
        )
    return record.add(entry)


def enter_piece(
    shop: Shop,
    texts: Mapping[str, str],
    *,
    now: str,
    order_id: int | None = None,
    batch_id: int | None = None,
    form: Form | None = None,
    corrects: int | None = None,
) -> int:
    """Enter a piece with one face, or the correction of a piece, which keeps its order; returns the first entry's number. Raises BadInput."""
    name = name_from_text(texts.get("name", ""), what="the name of the piece")
    shape = texts.get("shape", "").strip() or "ellipse"
    told = {"shape": shape} | given(texts, *SIZES, "glass", "thickness")
    face_from_text(shape=shape, **{size: told.get(size) for size in SIZES})
    with shop.record() as record:
        if corrects is not None:
            before = record.current(PieceEntry, corrects)
            order_id, batch_id = before.order_id, before.batch_id
        entry = PieceEntry(at=now, corrects=corrects, order_id=order_id, batch_id=batch_id, name=name, told=told)
        _, number = record.once(form, lambda: _with_face(record, entry))
        return record.get(PieceEntry, number).root


def _with_face(record: Record, entry: PieceEntry) -> PieceEntry:
    if any(piece.root != entry.corrects for piece in record.listing(PieceEntry, name=entry.name)):
        raise BadInput(
            found=f"there is a piece called '{entry.name}' already",
            needed="a name of its own is needed, as it stands on the glass",
            remedy="add a letter or a number",
        )
    piece = record.add(entry)
    if entry.corrects is None:
        record.add(FaceEntry(at=entry.at, piece_id=piece.id, name="face"))
    return piece


def piece_texts(piece: PieceEntry) -> dict[str, str]:
    """What was entered of a piece, to begin its correction with."""
    return {"name": piece.name, **piece.told}


def piece_suggested(order: Ordered) -> dict[str, str]:
    """What the piece of an order is made of, to begin the form with."""
    glass = order.found["glass"]
    return {
        "name": order.name,
        "shape": "ellipse",
        "minor": f"{round(glass['minor_mm'], 3):g}mm",
        "glass": order.told.get("glass", glass["kind"]),
        "thickness": f"{round(order.found['thickness_mm'], 3):g}mm",
    }
