"""The shop's own prices: entered on its page, and learnt from the hours of mirrors it has made; as the price file that `order` takes."""

from __future__ import annotations

import re
from collections.abc import Mapping

from straightband.errors import BadInput
from straightband.shop.entries import CertificateEntry, Cost, PieceEntry, PricesEntry
from straightband.shop.folder import Shop
from straightband.shop.queries import faces_of, readings_of
from straightband.shop.record import Form, Record
from straightband.workflows.order_prices import DEFAULT_PRICES, KEYS, Prices, prices_from_toml

MOST_DONE = 200
_NUMBER = re.compile(r"\d{1,7}(?:\.\d{1,4})?")


def enter_prices(shop: Shop, texts: Mapping[str, str], *, now: str, form: Form | None = None) -> int:
    """Enter what things cost and how long they take; what is left empty is our default. Raises BadInput."""
    told = {}
    for key, (default, _, meaning) in KEYS.items():
        text = texts.get(key, "").strip()
        if text:
            if not _NUMBER.fullmatch(text):
                raise BadInput(
                    found=f"'{meaning}' was given as '{text[:40]}'", needed="a plain number is needed", remedy=f"write it like {default:g}"
                )
            told[key] = text
    currency = texts.get("currency", "").strip()
    if currency:
        told["currency"] = currency
    prices_from_toml(_file(told).encode(), name="prices")
    with shop.record() as record:
        return record.once(form, lambda: record.add(PricesEntry(at=now, told=told)))[1]


def _file(told: Mapping[str, str]) -> str:
    lines = [f"{key} = {told[key]}" for key in KEYS if key in told]
    if "currency" in told:
        lines.append(f"currency = '{told['currency'].replace(chr(39), '')}'")
    return "".join(f"{line}\n" for line in lines)


def told_prices(record: Record) -> dict[str, str]:
    """The prices that were entered last, as typed; empty where there are none."""
    found = record.listing(PricesEntry, newest_first=True, limit=1)
    return dict(found[0].told) if found else {}


def prices_file(record: Record) -> str:
    """The shop's figures as a price file: prices that were entered, and a `[[done]]` for each mirror with a certificate and hours spent."""
    return "\n".join([_file(told_prices(record)), *_done(record)]).strip("\n") + "\n"


def _done(record: Record) -> list[str]:
    """Elliptical mirrors that were certified, with the hours entered on them."""
    hours: dict[int, float] = {}
    for cost in record.listing(Cost):
        if cost.piece_id is not None and cost.hours > 0.0:
            hours[cost.piece_id] = hours.get(cost.piece_id, 0.0) + cost.hours
    out = []
    for root in sorted(hours)[-MOST_DONE:]:
        piece = record.current(PieceEntry, root)
        if piece.told["shape"] == "ellipse" and _certified(record, root):
            out.append(f'[[done]]\nminor = "{piece.told["minor"]}"\nhours = {hours[root]:g}\n')
    return out


def _certified(record: Record, piece_root: int) -> bool:
    readings = [each for face in faces_of(record, piece_root) for each in readings_of(record, face.root)]
    return any(record.count(CertificateEntry, reading_id=each.id) for each in readings)


def shop_prices(shop: Shop) -> Prices:
    """The shop's figures, our defaults for the rest."""
    with shop.record() as record:
        return prices_of_file(prices_file(record))


def prices_of_file(text: str) -> Prices:
    """The figures of a price file, our defaults for the rest; an empty one is our defaults."""
    return prices_from_toml(text.encode(), name="prices.toml") if text.strip() else DEFAULT_PRICES


def price_rows(record: Record) -> tuple[tuple[str, str], ...]:
    """What was entered, in words; and how many mirrors tell the hours."""
    told = told_prices(record)
    rows = tuple((meaning[:1].upper() + meaning[1:], told[key]) for key, (_, _, meaning) in KEYS.items() if key in told)
    currency = (("Currency", told["currency"]),) if "currency" in told else ()
    done = len(_done(record))
    return (*rows, *currency, *((("Mirrors made that tell the hours", f"{done}"),) if done else ()))
