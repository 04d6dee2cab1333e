"""Flats measured against each other: from readings of their pairs in the record to reference flats that readings use and that age."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from straightband import provenance
from straightband.combine.pairs import Pair
from straightband.errors import BadInput
from straightband.quantities import whole_number
from straightband.shop.entries import Flat, FlatTest, PieceEntry, ReadingEntry
from straightband.shop.folder import Shop
from straightband.shop.queries import readings_without_flat
from straightband.shop.record import Form, Record
from straightband.workflows.maps import map_file, map_from_file
from straightband.workflows.reference import ageing_flags, day_from_text, with_note
from straightband.workflows.shop_clock import day_shown
from straightband.workflows.shop_orders import name_from_text
from straightband.workflows.shop_readings import piece_of_reading, reading_map
from straightband.workflows.shown import nm_shown
from straightband.workflows.threeflat import FlatsRequest, KnownFlats, check_pairs, know_flats
from straightband.workflows.threeflat_report import flats_facts
from straightband.workflows.threeflat_text import order_from_text, placed_pair, recheck_from_text

MOST_PAIRS = 6  # rows of the form
MOST_READINGS = 40  # to choose from
HANDLED = "reference-handled-since"


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatState:
    """A reference flat as it holds now.

    Attributes
    ----------
    flat
        Its newest entry.
    measured, due
        Days in words, or nothing.
    handled
        What was done to it since, each with its day.
    state
        Whether it may be trusted still, in a sentence.
    dated
        Whether it says when it was measured, so that something can be noted on it.
    """

    flat: Flat
    measured: str
    due: str
    handled: tuple[str, ...]
    state: str
    dated: bool


STATES = {
    HANDLED: "It was handled since it was measured: measure it again.",
    "reference-recheck-due": "It is due to be measured again.",
    "reference-undated": "Nobody can see how old it is: its map does not say when it was measured.",
}


def flat_states(shop: Shop, *, today: str) -> tuple[FlatState, ...]:
    """Every reference flat, and how it has aged by the day `today`."""
    with shop.record() as record:
        flats = record.listing(Flat)
    return tuple(_state(shop, flat, now=date.fromisoformat(today[:10])) for flat in flats)


def _state(shop: Shop, flat: Flat, *, now: date) -> FlatState:
    height_map = map_from_file(shop.maps.read(flat.map_sha256), flat.map_name)
    told = height_map.meta.get("reference")
    record: dict[str, Any] = told if isinstance(told, dict) else {}
    flags = ageing_flags(height_map, now=now) if record else ("reference-undated",)
    return FlatState(
        flat=flat,
        measured=_day(record.get("measured")),
        due=_day(record.get("recheck_due")),
        handled=tuple(f"{_day(each['day'])}: {each['what']}" for each in record.get("handled", [])),
        state=next((STATES[flag] for flag in STATES if flag in flags), "In order."),
        dated=bool(record),
    )


def _day(stored: object) -> str:
    return day_shown(f"{stored}T12:00:00Z") if stored else ""


def pair_readings(record: Record) -> tuple[tuple[ReadingEntry, PieceEntry], ...]:
    """Readings that may be of a pair of flats: nothing taken off, hills known from holes; the newest first."""
    found = [each for each in readings_without_flat(record, limit=MOST_READINGS) if each.found["sign"] == "known"]
    of_face = {face: piece_of_reading(record, each) for face, each in {each.face_id: each for each in found}.items()}
    return tuple((each, of_face[each.face_id]) for each in found)


def told_of_texts(shop: Shop, texts: Mapping[str, str], *, today: str) -> dict[str, Any]:
    """The pairs that were chosen, checked; raises BadInput."""
    pairs = []
    for row in range(1, MOST_PAIRS + 1):
        number, other = whole_number(texts.get(f"reading{row}", "")), texts.get(f"on{row}", "").strip()
        if number is not None:
            if not other:
                raise BadInput(
                    found=f"pair {row} does not say which flat it lay on", needed="two flats make a pair", remedy="write the other's name"
                )
            asked = {name: texts.get(f"{name}{row}", "").strip() for name in ("turn", "shift")}
            pairs.append({"reading": number, "on": name_from_text(other, what="the other flat's name"), **asked})
        elif other:
            raise BadInput(
                found=f"pair {row} has no reading", needed="its map is needed", remedy="choose its reading, or leave the row empty"
            )
    told = {"pairs": pairs, "recheck": texts.get("recheck", "").strip() or "12months", "order": texts.get("order", "").strip()}
    check_pairs(_request(shop, told | {"measured": today[:10]}).pairs)
    return told


def _request(shop: Shop, told: Mapping[str, Any]) -> FlatsRequest:
    """The request that the command would make of the same maps."""
    pairs, sources, days = [], [], []
    with shop.record() as record:
        entries = [(each, record.get(ReadingEntry, each["reading"])) for each in told["pairs"]]
        names = [piece_of_reading(record, entry).name for _, entry in entries]
        days = [entry.at[:10] for _, entry in entries]
    for (asked, entry), name in zip(entries, names, strict=True):
        height_map = reading_map(shop, entry)
        pairs.append(placed_pair((name, asked["on"]), height_map, turn=asked["turn"] or "0deg", shift=asked["shift"]))
        sources.append(provenance.source_of(f"reading-{entry.id}.npz", shop.maps.read(entry.map_sha256)))
    return FlatsRequest(
        pairs=_alike(tuple(pairs)),
        sources=tuple(sources),
        measured=day_from_text(max(days, default=str(told.get("measured", ""))), what="the day of measuring"),
        recheck_months=recheck_from_text(told["recheck"]),
        **({"order": order_from_text(told["order"])} if told["order"] else {}),
    )


def _alike(pairs: tuple[Pair, ...]) -> tuple[Pair, ...]:
    """The same flat under one spelling: that of the record, where a piece has it."""
    known = {pair.piece.casefold(): pair.piece for pair in pairs}
    known |= {pair.other.casefold(): pair.other for pair in pairs if pair.other.casefold() not in known}
    return tuple(replace(pair, other=known[pair.other.casefold()]) for pair in pairs)


def know_for_the_record(shop: Shop, told: Mapping[str, Any], *, now: str, form: Form | None = None) -> int:
    """Solve for the flats and enter what was found with the map of each; returns the entry's number. Raises BadInput, nothing entered."""
    return enter_flat_test(shop, told, known=flats_again(shop, told), now=now, form=form)


def flats_again(shop: Shop, told: Mapping[str, Any]) -> KnownFlats:
    """The flats as the pairs that were chosen tell them apart, the same whenever they are asked."""
    return know_flats(_request(shop, told))


def enter_flat_test(shop: Shop, told: Mapping[str, Any], *, known: KnownFlats, now: str, form: Form | None = None) -> int:
    """Enter flats that were told apart, with the map of each; returns the entry's number."""
    maps = {flat.name: shop.maps.keep(map_file(flat.height_map, name="flat.npz")) for flat in known.flats}
    entry = FlatTest(at=now, told=dict(told), found=flats_facts(known) | {"maps": maps}, program=provenance.program())
    with shop.record() as record:
        return record.once(form, lambda: record.add(entry))[1]


def use_flats(shop: Shop, number: int, *, now: str, form: Form | None = None) -> None:
    """Enter the flats of a test as reference flats; one of the same name is replaced by the new measurement, and stays in the record."""
    with shop.record() as record, record.transaction():
        if record.sent_before(form) is not None:
            return
        test = record.get(FlatTest, number)
        entered: list[Flat] = []
        for name, sha256 in test.found["maps"].items():
            before = record.listing(Flat, newest_first=True, limit=1, name=name)
            entry = Flat(
                at=now,
                corrects=before[0].root if before else None,
                name=name,
                map_name=_file_name(name),
                map_sha256=sha256,
                note=f"from test {number} of flats",
            )
            same = before and before[0].map_sha256 == sha256
            entered.append(before[0] if same else record.add(entry))
        record.note_form(form, entered[-1])


def _file_name(name: str) -> str:
    safe = "".join(letter if letter.isascii() and letter.isalnum() else "-" for letter in name)
    return f"{safe}.npz"


def note_on_flat(shop: Shop, number: int, *, texts: Mapping[str, str], now: str, form: Form | None = None) -> int:
    """Note what was done to a flat; from then on readings doubt it. Returns the entry's number. Raises BadInput."""
    with shop.record() as record:
        flat = record.current(Flat, number)
    height_map = map_from_file(shop.maps.read(flat.map_sha256), flat.map_name)
    noted = with_note(height_map, day=date.fromisoformat(now[:10]), what=texts.get("what", ""))
    entry = Flat(
        at=now,
        corrects=flat.root,
        name=flat.name,
        map_name=flat.map_name,
        map_sha256=shop.maps.keep(map_file(noted, name="flat.npz")),
        note=flat.note,
    )
    with shop.record() as record:
        return record.once(form, lambda: record.add(entry))[1]


def kept_already(record: Record, test: FlatTest) -> bool:
    """Whether the flats of a test became the shop's reference flats, whatever was noted on them or measured since."""
    return all(record.count(Flat, map_sha256=sha256) for sha256 in test.found["maps"].values())


def pair_choices(shop: Shop) -> tuple[tuple[str, str], ...]:
    """Number and words of each reading that may be of a pair of flats."""
    with shop.record() as record:
        return tuple(
            (
                str(entry.id),
                f"{piece.name}, {day_shown(entry.at)}, PV {nm_shown(entry.found['surface']['pv_nm'], entry.found['uncertainty']['pv_nm'])}",
            )
            for entry, piece in pair_readings(record)
        )
