"""The shop's laps: entered on its page one by one, given to the advice as the file of laps that `strokes` takes."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping

from straightband.errors import BadInput
from straightband.quantities import parse_length_mm
from straightband.shop.entries import LapEntry, Turntable
from straightband.shop.folder import Shop
from straightband.shop.record import Form, Record
from straightband.workflows.shop_orders import given, name_from_text
from straightband.workflows.strokes_shelf import DEFAULT_POLISH, DEFAULT_STROKES_PER_MIN, DEFAULT_TABLE_RPM, WAYS, Shelf, shelf_from_toml

KEYS = ("diameter", "weight", "strokes_per_min", "ways", "used")
NOT_USED = "no"
_NUMBER = re.compile(r"\d{1,4}(?:\.\d{1,25})?")


def enter_lap(shop: Shop, texts: Mapping[str, str], *, now: str, form: Form | None = None) -> int:
    """Enter a lap, or correct the one of that name; returns the entry's number. Raises BadInput."""
    name = name_from_text(texts.get("name", ""), what="the lap's name")
    told = given(texts, *KEYS)
    parse_length_mm(told.get("diameter", ""), what="the diameter of the lap")
    for key, what in (("weight", "the weight on the lap"), ("strokes_per_min", "the strokes a minute")):
        if key in told and not _NUMBER.fullmatch(told[key]):
            raise BadInput(found=f"{what} was given as '{told[key][:40]}'", needed="a plain number is needed", remedy="write it like 12")
    with shop.record() as record:
        before = record.listing(LapEntry, name=name)
        entry = LapEntry(at=now, corrects=before[0].root if before else None, name=name, told=told)
        shelf_from_toml(_file((entry,), table={}).encode(), name="laps.toml")
        return record.once(form, lambda: record.add(entry))[1]


def enter_table(shop: Shop, texts: Mapping[str, str], *, now: str, form: Form | None = None) -> int:
    """Enter the turns of the table and the polish; returns the entry's number. Raises BadInput."""
    told = given(texts, "table_rpm", "polish")
    if "table_rpm" in told and not _NUMBER.fullmatch(told["table_rpm"]):
        raise BadInput(
            found=f"the table was given as '{told['table_rpm'][:40]}'",
            needed="its turns a minute are needed",
            remedy="write it like 20, or 0 for none",
        )
    example = LapEntry(at=now, name="lap", told={"diameter": "100mm"})
    shelf_from_toml(_file((example,), table=told).encode(), name="laps.toml")
    with shop.record() as record:
        return record.once(form, lambda: record.add(Turntable(at=now, told=told)))[1]


def laps_in_use(record: Record) -> tuple[LapEntry, ...]:
    """The laps that are in use."""
    return tuple(each for each in record.listing(LapEntry) if each.told.get("used") != NOT_USED)


def told_table(record: Record) -> dict[str, str]:
    """What was told of table and polish, empty where nothing was."""
    found = record.listing(Turntable, newest_first=True, limit=1)
    return dict(found[0].told) if found else {}


def laps_file(record: Record) -> str:
    """The file of the laps in use; raises BadInput where there are none."""
    laps = laps_in_use(record)
    if not laps:
        raise BadInput(found="the shop has no laps", needed="what it can be worked with is needed", remedy="enter the laps under Shop")
    return _file(laps, table=told_table(record))


def shelf_of_file(text: str) -> Shelf:
    """The laps of such a file; raises BadInput."""
    return shelf_from_toml(text.encode(), name="laps.toml")


def _file(laps: tuple[LapEntry, ...], *, table: Mapping[str, str]) -> str:
    lines = [f"table_rpm = {float(table['table_rpm']):g}"] if "table_rpm" in table else []
    lines += [f"polish = {json.dumps(table['polish'], ensure_ascii=False)}"] if "polish" in table else []
    for lap in laps:
        lines += ["", "[[lap]]", f"name = {json.dumps(lap.name, ensure_ascii=False)}"]
        lines.append(f"diameter_mm = {parse_length_mm(lap.told['diameter'], what='the diameter of the lap'):g}")
        lines += [f"weight_n = {float(lap.told['weight']):g}"] if "weight" in lap.told else []
        lines += [f"strokes_per_min = {float(lap.told['strokes_per_min']):g}"] if "strokes_per_min" in lap.told else []
        ways = [way.strip() for way in lap.told.get("ways", "").split(",") if way.strip()]
        lines += [f"ways = {json.dumps(ways)}"] if ways else []
    return "\n".join(lines) + "\n"


def lap_rows(record: Record) -> tuple[tuple[str, str], ...]:
    """Name and what is told of each lap."""
    return tuple((lap.name, _lap_words(lap)) for lap in record.listing(LapEntry))


def _lap_words(lap: LapEntry) -> str:
    told = lap.told
    parts = [told["diameter"]]
    parts += [f"{told['weight']} N"] if "weight" in told else []
    parts += [f"{told['strokes_per_min']} strokes a minute"] if "strokes_per_min" in told else []
    parts += [told["ways"].replace(",", ", ")] if "ways" in told else []
    parts += ["no longer in use"] if told.get("used") == NOT_USED else []
    return ", ".join(parts)


def table_rows(record: Record) -> tuple[tuple[str, str], ...]:
    """What holds of table and polish."""
    told = told_table(record)
    return (
        ("Table", f"{told.get('table_rpm', f'{DEFAULT_TABLE_RPM:g}')} turns a minute"),
        ("Polish", told.get("polish", DEFAULT_POLISH)),
    )


USUAL_STROKES = f"{DEFAULT_STROKES_PER_MIN:g}"
WAY_NAMES = tuple(WAYS)
