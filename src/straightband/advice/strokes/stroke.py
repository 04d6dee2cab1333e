"""Laps a shop has, and a stroke with one of them: who lies on top, what turns, where the upper plate goes.

Positions and directions are those of the face, looking at it: u right, v up, the pencil mark at +v, which is 12 on its clock.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from straightband.errors import BadInput


class Way(StrEnum):
    """How mirror and lap lie and move.

    `TURNING`: mirror below on the turning table, lap stroked over it. `STILL`: mirror below, not turning, lap stroked over one place.
    `MIRROR_TURNED`: lap below on the turning table, mirror face down over it and turned by the hands. `MIRROR_HELD`: the same, not turned.
    """

    TURNING = "lap on top, table turning"
    STILL = "lap on top, table still"
    MIRROR_TURNED = "mirror on top, turned by hand"
    MIRROR_HELD = "mirror on top, held"


@dataclass(frozen=True, slots=True, kw_only=True)
class Lap:
    """A round pitch lap.

    Attributes
    ----------
    name
        What the shop calls it, without commas.
    diameter_mm
        Of its pitch.
    force_n
        What presses: the weight of whatever lies on top, and the push of the hand.
    strokes_per_min
        To and fro counts as one.
    ways
        How it may be used.
    """

    name: str
    diameter_mm: float
    force_n: float
    strokes_per_min: float
    ways: tuple[Way, ...] = tuple(Way)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """One way of moving one lap.

    Attributes
    ----------
    lap, way
        With what, and how they lie.
    table_rpm
        Turns of the spindle, 0 where it stands still.
    travel_mm
        Travel of the upper plate's middle from end to end.
    swing_mm
        How far, from end to end, its line swings sideways meanwhile: slowly, over many strokes.
    side_mm
        How far the line of the stroke passes beside the middle of the lower plate; 0 with the table still.
    u_mm, v_mm
        Where on the face the middle of the stroke lies; 0 unless the table is still.
    along_deg
        Direction of the stroke on the face, from +u toward +v, 0 to 180; 0 where the mirror turns.
    """

    lap: Lap
    way: Way
    table_rpm: float
    travel_mm: float
    swing_mm: float = 0.0
    side_mm: float = 0.0
    u_mm: float = 0.0
    v_mm: float = 0.0
    along_deg: float = 0.0


_NUMBER = r"([+-]?\d{1,4}(?:\.\d{1,25})?)"
_MOVED = rf"travel {_NUMBER} mm, swing {_NUMBER} mm"
_WRITTEN = {
    Way.TURNING: re.compile(rf"table {_NUMBER} rpm, {_MOVED}, {_NUMBER} mm beside the middle"),
    Way.STILL: re.compile(rf"{_MOVED}, along {_NUMBER} deg over u {_NUMBER} mm v {_NUMBER} mm"),
    Way.MIRROR_TURNED: re.compile(rf"table {_NUMBER} rpm, {_MOVED}, {_NUMBER} mm beside the middle"),
    Way.MIRROR_HELD: re.compile(rf"table {_NUMBER} rpm, {_MOVED}, along {_NUMBER} deg"),
}
_FIELDS = {
    Way.TURNING: ("table_rpm", "travel_mm", "swing_mm", "side_mm"),
    Way.STILL: ("travel_mm", "swing_mm", "along_deg", "u_mm", "v_mm"),
    Way.MIRROR_TURNED: ("table_rpm", "travel_mm", "swing_mm", "side_mm"),
    Way.MIRROR_HELD: ("table_rpm", "travel_mm", "swing_mm", "along_deg"),
}


def written(stroke: Stroke) -> str:
    """The stroke in one line, from which `stroke_from_words` makes it again."""
    table, moved = f"table {stroke.table_rpm:g} rpm", f"travel {stroke.travel_mm:g} mm, swing {stroke.swing_mm:g} mm"
    beside = f"{stroke.side_mm:g} mm beside the middle"
    how = {
        Way.TURNING: f"{table}, {moved}, {beside}",
        Way.STILL: f"{moved}, along {stroke.along_deg:g} deg over u {stroke.u_mm:+g} mm v {stroke.v_mm:+g} mm",
        Way.MIRROR_TURNED: f"{table}, {moved}, {beside}",
        Way.MIRROR_HELD: f"{table}, {moved}, along {stroke.along_deg:g} deg",
    }[stroke.way]
    return f"{stroke.lap.name}: {stroke.way}, {how}"


def stroke_from_words(words: str, *, laps: tuple[Lap, ...]) -> Stroke:
    """The stroke that `written` wrote, with a lap of that name; raises BadInput."""
    name, _, rest = words.strip().partition(": ")
    lap = next((each for each in laps if each.name == name), None)
    if lap is None:
        raise BadInput(
            found=f"a stroke is told for the lap '{name[:40]}'",
            needed=f"one of the shop's laps is needed: {', '.join(each.name for each in laps)}",
            remedy="correct the name, or add the lap",
        )
    for way, pattern in _WRITTEN.items():
        match = pattern.fullmatch(rest.removeprefix(f"{way}, "))
        if rest.startswith(way) and match is not None:
            told = dict(zip(_FIELDS[way], map(float, match.groups()), strict=True))
            return Stroke(lap=lap, way=way, **({"table_rpm": 0.0} | told))
    raise BadInput(
        found=f"a stroke is told as '{words[:120]}'",
        needed="a line as the program writes it is needed",
        remedy=f"write it like {written(Stroke(lap=lap, way=Way.TURNING, table_rpm=20.0, travel_mm=30.0, swing_mm=5.0, side_mm=10.0))}",
    )


def clock_hour(u_mm: float, v_mm: float) -> int:
    """The hour toward which a place of the face lies, looking at it with the mark at 12.

    Example
    -------
    >>> clock_hour(10.0, 0.0), clock_hour(0.0, 5.0), clock_hour(-1.0, -1.8)
    (3, 12, 7)
    """
    return round(math.degrees(math.atan2(u_mm, v_mm)) / 30.0) % 12 or 12


def zone_of(stroke: Stroke) -> NDArray:
    """(n, 2) outline, u and v in mm, of the box in which the middle of the lap goes with the table still: what is drawn with a wax pencil."""
    turn = np.radians(stroke.along_deg)
    radius = min(stroke.travel_mm, stroke.swing_mm) / 4.0
    corner = np.linspace(0.0, np.pi / 2.0, 8)[None, :] + np.arange(4)[:, None] * np.pi / 2.0
    x = (np.array([1, -1, -1, 1])[:, None] * (stroke.travel_mm / 2.0 - radius) + radius * np.cos(corner)).ravel()
    y = (np.array([1, 1, -1, -1])[:, None] * (stroke.swing_mm / 2.0 - radius) + radius * np.sin(corner)).ravel()
    u = stroke.u_mm + x * np.cos(turn) - y * np.sin(turn)
    v = stroke.v_mm + x * np.sin(turn) + y * np.cos(turn)
    return np.column_stack([u, v])
