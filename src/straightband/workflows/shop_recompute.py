"""Everything that the record holds computed anew from what it keeps beside it, and compared to the last figure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any

from straightband.errors import StraightbandError
from straightband.light.lines import lamp_from_text
from straightband.shop.entries import (
    Batch,
    Clearing,
    Entry,
    FlatTest,
    GaugingEntry,
    Ordered,
    PieceEntry,
    PlateEntry,
    ReadingEntry,
    StrokePlanEntry,
    VerdictEntry,
)
from straightband.shop.folder import Shop
from straightband.shop.record import Record
from straightband.workflows.batch import batch_from_toml
from straightband.workflows.certify import verdict_on
from straightband.workflows.clear_report import progress_facts
from straightband.workflows.gauge import gauge_face
from straightband.workflows.gauge_report import gauging_facts
from straightband.workflows.gauge_text import Earlier, readings_from_text, spherometer_from_text
from straightband.workflows.order_report import order_facts
from straightband.workflows.pads import plan_pads
from straightband.workflows.pads_report import plan_facts as pads_facts
from straightband.workflows.plan import make_plan
from straightband.workflows.plan_report import plan_facts
from straightband.workflows.read import tell_nobody
from straightband.workflows.report_reading import reading_facts
from straightband.workflows.report_verdict import verdict_facts
from straightband.workflows.setup import face_from_text
from straightband.workflows.shop_backs import BackTask, look_again
from straightband.workflows.shop_flats import flats_again
from straightband.workflows.shop_orders import PRICES, SIZES, order_of_texts
from straightband.workflows.shop_pads import plate_of
from straightband.workflows.shop_prices import prices_of_file
from straightband.workflows.shop_readings import differences, read_again, requirement_of
from straightband.workflows.shop_strokes import strokes_again
from straightband.workflows.shop_work import FEET, GAUGE_LIGHT, READINGS, face_of
from straightband.workflows.strokes_report import strokes_facts
from straightband.workflows.threeflat_report import flats_facts
from straightband.workflows.vouched import Recomputed


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A kind of entry that can be computed anew.

    Attributes
    ----------
    name, many
        What one is called, and several.
    entry
        Its class.
    facts
        Its facts from what the record keeps.
    own
        Facts that name files beside them, which are checked by their hashes.
    """

    name: str
    many: str
    entry: type[Any]
    facts: Callable[[Shop, Any], dict[str, Any]]
    own: tuple[str, ...] = ()


def recompute_all(shop: Shop, *, stage: Callable[[str], None] = tell_nobody) -> Recomputed:
    """Compute every entry that holds anew, readings with their verdicts."""
    with shop.record() as record:
        readings = [each.id for each in record.listing(ReadingEntry)]
        others = [(kind, each) for kind in KINDS for each in record.listing(kind.entry) if _kept_whole(each)]
    counts: dict[str, int] = {}
    same, differing = 0, []
    for place, number in enumerate(readings, start=1):
        stage(f"reading {place} of {len(readings)}")
        found = _told(f"reading {number}", partial(reading_again, shop, number))
        verdicts = _verdicts(shop, number)
        counts["readings"] = counts.get("readings", 0) + 1
        if verdicts:
            counts["verdicts"] = counts.get("verdicts", 0) + verdicts
        same += 0 if found else 1 + verdicts
        differing += found
    for kind, entry in others:
        stage(f"{kind.name} {entry.id}")
        found = _told(f"{kind.name} {entry.id}", partial(_compared, shop, kind, entry))
        counts[kind.many] = counts.get(kind.many, 0) + 1
        same += not found
        differing += found
    return Recomputed(counts=counts, same=same, differing=tuple(differing))


def _kept_whole(entry: Entry) -> bool:
    """Flats may have been told apart from maps that the record never held."""
    return not isinstance(entry, FlatTest) or "pairs" in entry.told


def _told(name: str, compare: Callable[[], tuple[str, ...]]) -> list[str]:
    try:
        return [f"{name}: {each}" for each in compare()]
    except StraightbandError as refusal:
        return [f"{name}: it can't be computed anew: {str(refusal).rstrip('.')}"]


def _compared(shop: Shop, kind: Kind, entry: Any) -> tuple[str, ...]:
    return differences(kind.facts(shop, entry), {name: value for name, value in entry.found.items() if name not in kind.own})


def _verdicts(shop: Shop, number: int) -> int:
    with shop.record() as record:
        return len(record.listing(VerdictEntry, reading_id=number))


def reading_again(shop: Shop, number: int, *, stage: Callable[[str], None] = tell_nobody) -> tuple[str, ...]:
    """A sentence for each fact of a reading, and of the verdicts on it, that comes out differently; none where all are the same."""
    with shop.record() as record:
        entry, verdicts = record.get(ReadingEntry, number), record.listing(VerdictEntry, reading_id=number)
    reading = read_again(shop, number, stage=stage)
    found = list(differences(reading_facts(reading), entry.found))
    for verdict in verdicts:
        again = verdict_facts(verdict_on(reading, requirement_of(verdict.told)), reading.height_map)
        found += [f"in the verdict {each}" for each in differences(again, verdict.found)]
    return tuple(found)


def _order(_: Shop, entry: Ordered) -> dict[str, Any]:
    return order_facts(order_of_texts(entry.told, prices=prices_of_file(entry.told.get(PRICES, ""))))


def _gauging(shop: Shop, entry: GaugingEntry) -> dict[str, Any]:
    told = entry.told
    readings: dict[str, Any] = {"reading": None, "zero": None} | {name: told[name] for name in READINGS if name in told}
    with shop.record() as record:
        sizes = _piece_then(record, entry).told
    gauging = gauge_face(
        readings_from_text(**readings),
        gauge=spherometer_from_text(**{name: told[name] for name in FEET if name in told}),
        face=face_from_text(shape=sizes["shape"], **{size: sizes.get(size) for size in SIZES}),
        lamp=lamp_from_text(told.get("light", GAUGE_LIGHT)),
        earlier=tuple(Earlier(**each) for each in entry.found["earlier"]),
    )
    return gauging_facts(gauging)


def _piece_then(record: Record, entry: GaugingEntry) -> PieceEntry:
    """The piece as it was entered when its face was gauged, whatever was corrected in it since."""
    piece = face_of(record, entry.face_id)[1]
    return [each for each in record.versions(PieceEntry, piece.root) if each.at <= entry.at][-1]


def _plan(_: Shop, entry: Batch) -> dict[str, Any]:
    batch = batch_from_toml(entry.told["batch_file"].encode(), name="batch.toml")
    return plan_facts(make_plan(batch, with_companion=bool(entry.told.get("companion")), told=lambda _what, _share: None))


def _clearing(shop: Shop, entry: Clearing) -> dict[str, Any]:
    settings = {name: value for name, value in entry.told.items() if name not in ("photographs", "minutes", "size_px")}
    task = BackTask(back=entry.face_id, photographs=tuple(entry.told["photographs"]), settings=settings)
    return progress_facts(look_again(shop, task)[0])


def _pads(_: Shop, entry: PlateEntry) -> dict[str, Any]:
    plate, pack = plate_of(entry.told)
    return pads_facts(plan_pads(plate, pack=pack))


def _flats(shop: Shop, entry: FlatTest) -> dict[str, Any]:
    return flats_facts(flats_again(shop, entry.told))


def _strokes(shop: Shop, entry: StrokePlanEntry) -> dict[str, Any]:
    return strokes_facts(strokes_again(shop, entry.told))


KINDS = (
    Kind(name="order", many="orders", entry=Ordered, facts=_order),
    Kind(name="gauging", many="gaugings", entry=GaugingEntry, facts=_gauging),
    Kind(name="grinding plan", many="grinding plans", entry=Batch, facts=_plan, own=("papers",)),
    Kind(name="look at a back", many="looks at backs", entry=Clearing, facts=_clearing),
    Kind(name="plate of pads", many="plates of pads", entry=PlateEntry, facts=_pads),
    Kind(name="test of flats", many="tests of flats", entry=FlatTest, facts=_flats, own=("maps",)),
    Kind(name="plan of strokes", many="plans of strokes", entry=StrokePlanEntry, facts=_strokes, own=("papers", "predicted_map")),
)
