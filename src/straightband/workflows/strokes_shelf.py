"""From what a person writes of laps and earlier runs to what the advice needs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from straightband.advice.strokes.stroke import Lap, Stroke, Way, stroke_from_words
from straightband.errors import BadInput
from straightband.heightmap.map import HeightMap
from straightband.quantities import parse_length_mm
from straightband.workflows.toml_table import table_from_toml

MOST_LAPS, MOST_RUNS, MOST_STROKES_OF_RUN = 8, 60, 60
DEFAULT_POLISH = "cerium oxide"
DEFAULT_TABLE_RPM = 20.0
DEFAULT_STROKES_PER_MIN = 40.0
PRESSURE_KPA = 3.0  # under a lap whose weight is not told: our choice, what a hand keeps up
LONGEST_NAME = 30
WAYS = {"turning": Way.TURNING, "still": Way.STILL, "mirror-turned": Way.MIRROR_TURNED, "mirror-held": Way.MIRROR_HELD}
_LAP_KEYS = ("name", "diameter_mm", "weight_n", "strokes_per_min", "ways")
_DIAMETER_MM, _WEIGHT_N, _STROKES, _TABLE_RPM, _MINUTES = (5.0, 1000.0), (0.05, 2000.0), (1.0, 300.0), (0.0, 300.0), (0.1, 1000.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelf:
    """The laps of a shop.

    Attributes
    ----------
    laps
        One or more, with names that differ.
    polish
        What is on them.
    table_rpm
        Of the turning table; 0 for none.
    new_pitch
        Names of the laps that were pitched anew since the last run.
    """

    laps: tuple[Lap, ...]
    polish: str = DEFAULT_POLISH
    table_rpm: float = DEFAULT_TABLE_RPM
    new_pitch: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PastRun:
    """A run that was done, with the maps before and after it.

    Attributes
    ----------
    before, after
        Of one face, in one position.
    strokes, minutes
        What was done.
    polish
        What was on the laps.
    new_pitch
        Names of the laps that had been pitched anew before it.
    """

    before: HeightMap
    after: HeightMap
    strokes: tuple[Stroke, ...]
    minutes: tuple[float, ...]
    polish: str = DEFAULT_POLISH
    new_pitch: tuple[str, ...] = ()


def shelf_from_toml(data: bytes, *, name: str) -> Shelf:
    """The laps in the bytes of a file called `name`; raises BadInput with the first thing that can't be used."""
    shown = f"the file of laps '{name[:60]}'"
    table = table_from_toml(data, shown=shown, needed="tables like [[lap]] are needed")
    _known(table, keys=("lap", "polish", "table_rpm"), where=shown)
    laps = table.get("lap", [])
    if not isinstance(laps, list) or not all(isinstance(lap, dict) for lap in laps) or not 1 <= len(laps) <= MOST_LAPS:
        raise BadInput(
            found=f"{shown} holds {'no list of laps' if not isinstance(laps, list) or not laps else f'{len(laps)} laps'}",
            needed=f"1 to {MOST_LAPS} are needed",
            remedy="head each with [[lap]] and give it a name and diameter_mm",
        )
    return Shelf(
        laps=_told_apart(tuple(_lap(lap, where=f"lap {number} in {shown}") for number, lap in enumerate(laps, start=1))),
        polish=_text(table.get("polish", DEFAULT_POLISH), key="polish", where=shown),
        table_rpm=_number(table.get("table_rpm", DEFAULT_TABLE_RPM), key="table_rpm", where=shown, limits=_TABLE_RPM),
    )


def shelf_from_diameters(texts: tuple[str, ...], *, table_rpm: float = DEFAULT_TABLE_RPM, polish: str = DEFAULT_POLISH) -> Shelf:
    """Laps from diameters such as `120mm`, each called by its own, with the usual weight and strokes; raises BadInput."""
    laps = []
    for text in texts[: MOST_LAPS + 1]:
        diameter = parse_length_mm(text, what="the diameter of a lap")
        laps.append(_lap({"name": f"{diameter:g} mm lap", "diameter_mm": diameter}, where=f"the lap of '{text[:20]}'"))
    if not 1 <= len(texts) <= MOST_LAPS:
        raise BadInput(
            found=f"{len(texts) or 'no'} laps were given",
            needed=f"1 to {MOST_LAPS} are needed",
            remedy="give --lap 120mm, or --laps LAPS.toml",
        )
    rpm = _number(table_rpm, key="table_rpm", where="what was told of the table", limits=_TABLE_RPM)
    return Shelf(laps=_told_apart(tuple(laps)), polish=_text(polish, key="polish", where="what was told"), table_rpm=rpm)


def with_new_pitch(shelf: Shelf, names: tuple[str, ...]) -> Shelf:
    """The shelf, some of whose laps were pitched anew since the last run; raises BadInput."""
    return replace(shelf, new_pitch=_pitched(list(names), where="what was told of new pitch", shelf=shelf))


def runs_from_toml(data: bytes, *, name: str, shelf: Shelf, now: HeightMap, map_of: Callable[[str], HeightMap]) -> tuple[PastRun, ...]:
    """The runs in the bytes of a file called `name`, in their order; `map_of` reads the map of a name. Raises BadInput.

    A run without `after` ended in the map from which the next began, the last one in the map that there is `now`.
    """
    shown = f"the file of runs '{name[:60]}'"
    table = table_from_toml(data, shown=shown, needed="tables like [[run]] are needed")
    _known(table, keys=("run",), where=shown)
    runs = table.get("run", [])
    if not isinstance(runs, list) or not all(isinstance(run, dict) for run in runs) or not 1 <= len(runs) <= MOST_RUNS:
        raise BadInput(
            found=f"{shown} holds no list of 1 to {MOST_RUNS} runs",
            needed="tables like [[run]] are needed",
            remedy="head each with [[run]]",
        )
    befores = [
        map_of(_text(run.get("before"), key="before", where=f"run {k} in {shown}", longest=200)) for k, run in enumerate(runs, start=1)
    ]
    found = []
    for number, run in enumerate(runs):
        where = f"run {number + 1} in {shown}"
        _known(run, keys=("before", "after", "polish", "new_pitch", "stroke"), where=where)
        following = befores[number + 1] if number + 1 < len(runs) else now
        after = map_of(_text(run["after"], key="after", where=where, longest=200)) if "after" in run else following
        strokes, minutes = _strokes(run.get("stroke"), where=where, shelf=shelf)
        polish = _text(run.get("polish", shelf.polish), key="polish", where=where)
        pitched = _pitched(run.get("new_pitch", []), where=f"'new_pitch' of {where}", shelf=shelf)
        found.append(PastRun(before=befores[number], after=after, strokes=strokes, minutes=minutes, polish=polish, new_pitch=pitched))
    return tuple(found)


def _pitched(given: Any, *, where: str, shelf: Shelf) -> tuple[str, ...]:
    names = [lap.name for lap in shelf.laps]
    wrong = [name for name in given if name not in names] if isinstance(given, list) else [given]
    if wrong:
        raise BadInput(
            found=f"{where} names '{str(wrong[0])[:40]}'",
            needed=f"laps of the shop are needed: {', '.join(names)}",
            remedy="correct the name, or add the lap",
        )
    return tuple(dict.fromkeys(given))


def _strokes(given: Any, *, where: str, shelf: Shelf) -> tuple[tuple[Stroke, ...], tuple[float, ...]]:
    if not isinstance(given, list) or not all(isinstance(one, dict) for one in given) or not 1 <= len(given) <= MOST_STROKES_OF_RUN:
        raise BadInput(
            found=f"{where} has no list of 1 to {MOST_STROKES_OF_RUN} strokes",
            needed="what was done is needed",
            remedy='add [[run.stroke]] with stroke = "..." and minutes = 10',
        )
    strokes, minutes = [], []
    for one in given:
        _known(one, keys=("stroke", "minutes"), where=f"a stroke of {where}")
        strokes.append(stroke_from_words(_text(one.get("stroke"), key="stroke", where=where, longest=300), laps=shelf.laps))
        minutes.append(_number(one.get("minutes"), key="minutes", where=where, limits=_MINUTES))
    return tuple(strokes), tuple(minutes)


def _lap(lap: dict[str, Any], *, where: str) -> Lap:
    _known(lap, keys=_LAP_KEYS, where=where)
    name = _text(lap.get("name"), key="name", where=where)
    if ":" in name or "," in name:
        raise BadInput(found=f"{where} is called '{name}'", needed="a name without colon or comma is needed", remedy="rename it")
    diameter = _number(lap.get("diameter_mm"), key="diameter_mm", where=where, limits=_DIAMETER_MM)
    usual = PRESSURE_KPA * 1e-3 * 0.785398 * diameter**2
    return Lap(
        name=name,
        diameter_mm=diameter,
        force_n=_number(lap.get("weight_n", round(usual, 2)), key="weight_n", where=where, limits=_WEIGHT_N),
        strokes_per_min=_number(lap.get("strokes_per_min", DEFAULT_STROKES_PER_MIN), key="strokes_per_min", where=where, limits=_STROKES),
        ways=_ways(lap.get("ways"), where=where),
    )


def _ways(given: Any, *, where: str) -> tuple[Way, ...]:
    if given is None:
        return tuple(Way)
    if not isinstance(given, list) or not given or not all(isinstance(way, str) and way in WAYS for way in given):
        raise BadInput(
            found=f"'ways' of {where} is not a list of ways to work",
            needed=f"{', '.join(WAYS)} are the ways",
            remedy='write ways = ["still"]',
        )
    return tuple(WAYS[way] for way in dict.fromkeys(given))


def _told_apart(laps: tuple[Lap, ...]) -> tuple[Lap, ...]:
    names = [lap.name.casefold() for lap in laps]
    twice = next((lap.name for number, lap in enumerate(laps) if lap.name.casefold() in names[:number]), None)
    if twice is not None:
        raise BadInput(found=f"two laps are called '{twice}'", needed="names that differ are needed", remedy="rename one")
    return laps


def _known(table: dict[str, Any], *, keys: tuple[str, ...], where: str) -> None:
    for key in table:
        if key not in keys:
            raise BadInput(
                found=f"{where} has '{key[:40]}', which is not known",
                needed=f"the keys are {', '.join(keys)}",
                remedy="correct it or take it out",
            )


def _number(value: Any, *, key: str, where: str, limits: tuple[float, float]) -> float:
    low, high = limits
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        shown = f"{value:g}" if isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e15 else "no usable number"
        raise BadInput(
            found=f"'{key}' in {where} is {'missing' if value is None else shown}",
            needed=f"a plain number from {low:g} to {high:g} is needed",
            remedy="check it and its unit",
        )
    return float(value)


def _text(value: Any, *, key: str, where: str, longest: int = LONGEST_NAME) -> str:
    if not isinstance(value, str) or not value.strip() or len(value) > longest:
        raise BadInput(
            found=f"'{key}' in {where} is {'missing' if value is None else 'empty, too long or no text'}",
            needed=f"1 to {longest} letters in quotes are needed",
            remedy=f'write it like {key} = "..."',
        )
    return value.strip()
