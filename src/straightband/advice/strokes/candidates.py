"""Which strokes are worth trying with the laps a shop has, on a face of that size.

With the table turning, travels run up to half the lap. With it still, a lap is worked over places about half its width apart, all over the
face; where it comes to the rim it may hang over, as long as its middle stays on the glass.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from straightband.advice.strokes.stroke import Lap, Stroke, Way
from straightband.face.shapes import Face

OVERHANG = 0.42  # of the lap's diameter beyond the outline, at the end of a stroke: beyond a half it tips off
FULL_LAP = 0.75  # of the shorter axis: a smaller lap carries no mirror on top
_SIDES = (0.0, 0.25, 0.5, 0.75, 1.0)  # of what room there is beside the middle
_TRAVELS = (1.0 / 6.0, 1.0 / 3.0, 1.0 / 2.0)  # of the lap's diameter
_SWING = 0.2  # of the lap's diameter: enough to leave no groove, our choice
_MOVES = 30  # steps from a place to the middle
_RIM = (0.7, 0.1)  # the same along the rim, hanging over it all the time: what lowers a turned-up edge
_INSIDE_RIM = (0.5, 0.1)  # the same along the rim, the lap's edge just inside it: what levels a face whose rim is already low
_AWAY = (0.0, 0.15)  # from the rim to the lap's edge, of the lap's diameter
_AT_RIM = 0.95  # of the room: places beyond are the outermost ring
_MOSTLY = 0.85  # two sines are seldom at their ends at once
_LOCAL = ((0.5, 0.35), (1.3, 0.6))  # travel and swing of a stroke over one place, of the lap's diameter
APART = 0.55  # of the lap's diameter, between places that are worked by themselves: wear of neighbours then overlaps by half


def candidate_strokes(face: Face, *, laps: tuple[Lap, ...], table_rpm: float) -> tuple[Stroke, ...]:
    """Strokes without doubles; numbers are rounded to what a hand can keep."""
    found: dict[Stroke, None] = {}
    for lap in laps:
        for way in lap.ways:
            if way is not Way.STILL and not table_rpm:
                continue
            found.update(dict.fromkeys(_MAKERS[way](lap, face=face, table_rpm=table_rpm)))
    return tuple(found)


def _turning(lap: Lap, *, face: Face, table_rpm: float) -> Iterator[Stroke]:
    room = min(face.semi_u_mm, face.semi_v_mm) - (0.5 - OVERHANG) * lap.diameter_mm - _swing(lap) / 2.0
    for side in _SIDES:
        for travel in _TRAVELS:
            travel_mm, side_mm = _to_step(travel * lap.diameter_mm), round(side * room)
            if math.hypot(side_mm, travel_mm / 2.0) <= room + 1.0:
                yield Stroke(
                    lap=lap, way=Way.TURNING, table_rpm=table_rpm, travel_mm=travel_mm, swing_mm=_swing(lap), side_mm=float(side_mm)
                )


def _mirror_turned(lap: Lap, *, face: Face, table_rpm: float) -> Iterator[Stroke]:
    if lap.diameter_mm < FULL_LAP * 2.0 * min(face.semi_u_mm, face.semi_v_mm):
        return
    for travel in _TRAVELS:
        for side in (0.0, 1.0 / 6.0):
            travel_mm, side_mm = _to_step(travel * lap.diameter_mm), float(round(side * lap.diameter_mm))
            yield Stroke(lap=lap, way=Way.MIRROR_TURNED, table_rpm=table_rpm, travel_mm=travel_mm, swing_mm=_swing(lap), side_mm=side_mm)


def _mirror_held(lap: Lap, *, face: Face, table_rpm: float) -> Iterator[Stroke]:
    if lap.diameter_mm < FULL_LAP * 2.0 * min(face.semi_u_mm, face.semi_v_mm):
        return
    for travel in _TRAVELS[1:]:
        for along in (0.0, 45.0, 90.0, 135.0):
            travel_mm = _to_step(travel * lap.diameter_mm)
            yield Stroke(lap=lap, way=Way.MIRROR_HELD, table_rpm=table_rpm, travel_mm=travel_mm, swing_mm=_swing(lap), along_deg=along)


def _still(lap: Lap, *, face: Face, table_rpm: float) -> Iterator[Stroke]:
    del table_rpm  # it stands
    yield from _inside_rim(lap, face=face)
    inset = (0.5 - OVERHANG) * lap.diameter_mm
    room = (face.semi_u_mm - inset, face.semi_v_mm - inset)
    if min(room) <= 0.0:
        return
    for u, v in _places(*room, apart_mm=APART * lap.diameter_mm):
        directions = _directions(face, u_mm=u, v_mm=v)
        kinds = [(along, travel, swing) for along in directions for travel, swing in _LOCAL]
        at_rim = math.hypot(u / room[0], v / room[1]) > _AT_RIM
        for along, travel, swing in [*kinds, *([(directions[1], *_RIM)] if at_rim else [])]:
            stroke = Stroke(
                lap=lap,
                way=Way.STILL,
                table_rpm=0.0,
                travel_mm=_to_step(travel * lap.diameter_mm),
                swing_mm=_to_step(swing * lap.diameter_mm),
                u_mm=u,
                v_mm=v,
                along_deg=along,
            )
            yield from _moved_in(stroke, room_mm=room)


def _inside_rim(lap: Lap, *, face: Face) -> Iterator[Stroke]:
    """Strokes along the rim that leave the rim itself alone: a low rim can't be raised, so what lies beside it has to come down."""
    travel_mm, swing_mm = (_to_step(share * lap.diameter_mm) for share in _INSIDE_RIM)
    for away in _AWAY:
        inset = (0.5 + away) * lap.diameter_mm + swing_mm / 2.0
        room = (face.semi_u_mm - inset, face.semi_v_mm - inset)
        if min(room) <= 0.0:
            continue
        for u, v in _ring(*room, apart_mm=APART * lap.diameter_mm):
            along = _directions(face, u_mm=u, v_mm=v)[1]
            yield Stroke(lap=lap, way=Way.STILL, table_rpm=0.0, travel_mm=travel_mm, swing_mm=swing_mm, u_mm=u, v_mm=v, along_deg=along)


def _places(room_u: float, room_v: float, *, apart_mm: float) -> Iterator[tuple[float, float]]:
    """Places on rings like the outline, from the rim inward, about so far apart."""
    rings = max(1, round(min(room_u, room_v) / apart_mm))
    for ring in range(rings, 0, -1):
        yield from _ring(ring / rings * room_u, ring / rings * room_v, apart_mm=apart_mm)
    yield 0.0, 0.0


def _ring(semi_u: float, semi_v: float, *, apart_mm: float) -> Iterator[tuple[float, float]]:
    """Places on one ring, about so far apart."""
    around = max(4, 2 * round(math.pi * (semi_u + semi_v) / 2.0 / apart_mm))
    for number in range(around):
        turn = 2.0 * math.pi * number / around
        yield float(round(semi_u * math.cos(turn))), float(round(semi_v * math.sin(turn)))


def _directions(face: Face, *, u_mm: float, v_mm: float) -> tuple[float, ...]:
    """Toward the rim and along it; in the middle along both axes and both diagonals."""
    if u_mm == 0.0 and v_mm == 0.0:
        return 0.0, 45.0, 90.0, 135.0
    out = math.degrees(math.atan2(v_mm / face.semi_v_mm**2, u_mm / face.semi_u_mm**2))
    return _to_15(out), _to_15(out + 90.0)


def _moved_in(stroke: Stroke, *, room_mm: tuple[float, float]) -> Iterator[Stroke]:
    """The stroke, moved toward the middle until the lap's own middle stays where it may go; nothing where it is too long for that."""
    along = math.radians(stroke.along_deg)
    half, aside = stroke.travel_mm / 2.0, _MOSTLY * stroke.swing_mm / 2.0
    for number in range(_MOVES):
        u, v = (stroke.u_mm * (1.0 - number / _MOVES), stroke.v_mm * (1.0 - number / _MOVES))
        corners = (
            (u + x * math.cos(along) - y * math.sin(along), v + x * math.sin(along) + y * math.cos(along))
            for x, y in ((half, aside), (half, -aside), (-half, aside), (-half, -aside))
        )
        if all(math.hypot(x / room_mm[0], y / room_mm[1]) <= 1.0 for x, y in corners):
            yield replace(stroke, u_mm=float(round(u)), v_mm=float(round(v)))
            return


def _swing(lap: Lap) -> float:
    return _to_step(_SWING * lap.diameter_mm)


def _to_step(length_mm: float) -> float:
    """To 5 mm, short ones to 2 mm."""
    step = 5.0 if length_mm > 15.0 else 2.0
    return max(step, step * round(length_mm / step))


def _to_15(angle_deg: float) -> float:
    return 15.0 * (round(angle_deg / 15.0) % 12)


_MAKERS = {Way.TURNING: _turning, Way.STILL: _still, Way.MIRROR_TURNED: _mirror_turned, Way.MIRROR_HELD: _mirror_held}
