"""Set the shop up: its name, lamps, abrasives, pads and reference flats."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import PurePath

from straightband.light.lines import lamp_from_text
from straightband.quantities import parse_length_mm
from straightband.shop.entries import Abrasive, Flat, Lamp, Pad, Shopkeeper
from straightband.shop.folder import Shop
from straightband.shop.record import Form, Record
from straightband.workflows.maps import map_file, map_from_file
from straightband.workflows.shop_orders import name_from_text


def enter_lamp(shop: Shop, texts: Mapping[str, str], *, now: str, form: Form | None = None) -> int:
    """Enter a lamp by its light, a wavelength or a kind of lamp; raises BadInput."""
    light = texts.get("light", "").strip()
    lamp_from_text(light)
    return _enter(shop, form, Lamp(at=now, name=name_from_text(texts.get("name", ""), what="the lamp's name"), light=light))


def enter_abrasive(shop: Shop, texts: Mapping[str, str], *, now: str, form: Form | None = None) -> int:
    """Enter an abrasive by its grain, like `20um`; raises BadInput."""
    grain = 1000.0 * parse_length_mm(texts.get("grain", ""), what="the grain")
    name = name_from_text(texts.get("name", ""), what="the abrasive's name")
    return _enter(shop, form, Abrasive(at=now, name=name, grain_um=round(grain, 6)))


def enter_pad(shop: Shop, texts: Mapping[str, str], *, now: str, form: Form | None = None) -> int:
    """Enter a polishing pad or a lap by its diameter; raises BadInput."""
    diameter = parse_length_mm(texts.get("diameter", ""), what="the pad's diameter")
    name = name_from_text(texts.get("name", ""), what="the pad's name")
    return _enter(shop, form, Pad(at=now, name=name, diameter_mm=diameter, note=" ".join(texts.get("note", "").split())[:200]))


def enter_shopkeeper(shop: Shop, texts: Mapping[str, str], *, now: str, form: Form | None = None) -> int:
    """Enter the shop's name and who signs; raises BadInput."""
    name = name_from_text(texts.get("name", ""), what="the shop's name")
    return _enter(shop, form, Shopkeeper(at=now, name=name, signed_by=" ".join(texts.get("signed_by", "").split())[:60]))


def enter_flat(shop: Shop, name: str, *, map_name: str, data: bytes, now: str, note: str = "", form: Form | None = None) -> int:
    """Enter a reference flat with its map, kept as `.npz`; raises RecordUnreadable or BadInput."""
    kept = map_file(map_from_file(data, map_name), name="flat.npz")
    entry = Flat(
        at=now,
        name=name_from_text(name, what="the flat's name"),
        map_name=PurePath(map_name).with_suffix(".npz").name,
        map_sha256=shop.maps.keep(kept),
        note=" ".join(note.split())[:200],
    )
    return _enter(shop, form, entry)


def _enter(shop: Shop, form: Form | None, entry: Lamp | Abrasive | Pad | Shopkeeper | Flat) -> int:
    with shop.record() as record:
        return record.once(form, lambda: record.add(entry))[1]


def shopkeeper(record: Record) -> Shopkeeper:
    """The newest name of the shop, empty where none was entered."""
    found = record.listing(Shopkeeper, newest_first=True, limit=1)
    return found[0] if found else Shopkeeper(at="", name="")
