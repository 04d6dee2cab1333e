"""From names of files and options to pairs of flats."""

from __future__ import annotations

import math
import re
from pathlib import PurePath

from straightband import provenance
from straightband.combine.flats import ORDER
from straightband.combine.pairs import Pair
from straightband.errors import BadInput
from straightband.face.shapes import Shape
from straightband.heightmap.map import HeightMap
from straightband.quantities import whole_number
from straightband.workflows.copies import without_copies
from straightband.workflows.gauge_text import signed_um
from straightband.workflows.maps import map_from_file
from straightband.workflows.reference import day_from_text
from straightband.workflows.threeflat import RECHECK_MONTHS, FlatsRequest

MOST_MAPS = 60
HIGHEST_ORDER = 12
_NAME = r"[A-Za-z][A-Za-z0-9]{0,19}"
_TURN = r"(?:[-_ ]?(?P<turn>\d{1,3}(?:\.\d{1,25})?)deg)?"
_AGAIN = r"(?:[-_ ]\d{1,3})?"
_STEM = re.compile(rf"^(?:(?P<one>[A-Za-z])(?P<two>[A-Za-z])|(?P<piece>{_NAME})-on-(?P<other>{_NAME})){_TURN}{_AGAIN}$")
_DEGREES = re.compile(r"^([+-]?\d{1,3}(?:\.\d{1,25})?) ?deg$")


def request_from_text(
    files: list[tuple[str, bytes]],
    *,
    told: list[str],
    order: str | None = None,
    measured: str | None = None,
    recheck: str | None = None,
) -> FlatsRequest:
    """The request from map files (name without folder, bytes) and options; raises BadInput or RecordUnreadable."""
    if len(files) > MOST_MAPS:
        raise BadInput(found=f"{len(files)} maps were given", needed=f"at most {MOST_MAPS} can be taken", remedy="leave some out")
    files = list(without_copies(files, what="map"))
    by_file = _told(told, names=[name for name, _ in files])
    pairs = tuple(_pair(name, map_from_file(data, name), told=by_file.get(name)) for name, data in files)
    return FlatsRequest(
        pairs=pairs,
        sources=tuple(provenance.source_of(name, data) for name, data in files),
        order=ORDER if order is None else order_from_text(order),
        measured=None if measured is None else day_from_text(measured, what="the day of measuring"),
        recheck_months=RECHECK_MONTHS if recheck is None else recheck_from_text(recheck),
    )


def _told(told: list[str], *, names: list[str]) -> dict[str, tuple[str, ...]]:
    found = {}
    for text in told:
        name, equals, rest = text.partition("=")
        parts = tuple(part.strip() for part in rest.split(","))
        if not equals or len(parts) not in {2, 3, 5}:
            raise BadInput(
                found=f"a pair was told as '{text[:60]}'",
                needed="the file, the two flats, and if need be the turn and the shift are needed",
                remedy="write it like --pair MAP.npz=A,B,54deg or --pair MAP.npz=A,B,0deg,10mm,-5mm",
            )
        file = PurePath(name).name
        if file not in names:
            raise BadInput(
                found=f"a pair was told of '{file[:60]}', which is not among the maps",
                needed="one of the maps is needed",
                remedy="check its name",
            )
        found[file] = parts
    return found


def _pair(name: str, height_map: HeightMap, *, told: tuple[str, ...] | None) -> Pair:
    if told is None:
        match = _STEM.match(PurePath(name).stem)
        if match is None:
            raise BadInput(
                found=f"the name '{name[:60]}' does not say which two flats it shows",
                needed="two letters like AB.npz, or A-on-B.npz, and the turn like AB-54deg.npz, are needed",
                remedy=f"rename it or add --pair '{name[:60]}=A,B'",
            )
        told = (match["one"] or match["piece"], match["two"] or match["other"], f"{match['turn'] or 0}deg")
    for flat in told[:2]:
        if not re.fullmatch(_NAME, flat):
            raise BadInput(
                found=f"a flat was named '{flat[:40]}'", needed="a letter, then letters and figures, are needed", remedy="name it like A"
            )
    return placed_pair((told[0], told[1]), height_map, turn=told[2] if len(told) > 2 else "0deg", shift=",".join(told[3:5]))


def placed_pair(names: tuple[str, str], height_map: HeightMap, *, turn: str, shift: str = "") -> Pair:
    """A pair of flats by name, from the turn of the second and where its centre lay on the first, like `10mm,-5mm`; raises BadInput."""
    degrees = _degrees(turn)
    parts = [part.strip() for part in shift.split(",")] if shift.strip() else []
    if len(parts) not in {0, 2}:
        raise BadInput(
            found=f"the shift was given as '{shift[:40]}'",
            needed="two lengths, along u and v, are needed",
            remedy="write it like 10mm,-5mm",
        )
    u, v = (signed_um(part, what="the shift") / 1000.0 for part in parts) if parts else (0.0, 0.0)
    if degrees % 360.0 and height_map.face.shape is Shape.RECTANGLE and degrees % 180.0:
        raise BadInput(
            found=f"{names[1]} was turned by {degrees:g} deg under a rectangle",
            needed="half a turn, or none, is what two rectangles can be measured at",
            remedy="leave this map out",
        )
    return Pair(piece=names[0], other=names[1], height_map=height_map, turn_rad=math.radians(degrees), shift_mm=(u, v))


def _degrees(text: str) -> float:
    match = _DEGREES.match(text)
    if match is None or abs(float(match[1])) > 360.0:
        raise BadInput(
            found=f"the turn was given as '{text[:40]}'", needed="an angle up to 360 deg is needed", remedy="write it like 54deg"
        )
    return float(match[1])


def order_from_text(text: str) -> int:
    """Highest order of the polynomials; raises BadInput."""
    order = whole_number(text)
    if order is None or not 2 <= order <= HIGHEST_ORDER:
        raise BadInput(
            found=f"the order was given as '{text[:40]}'",
            needed=f"a whole number from 2 to {HIGHEST_ORDER} is needed",
            remedy="leave it out for 6",
        )
    return order


def recheck_from_text(text: str) -> float:
    """Months until flats are due again, from text like `12months`; raises BadInput."""
    match = re.fullmatch(r"(\d{1,3}) ?months?", text.strip())
    if match is None or not 0 < int(match[1]) <= 240:
        raise BadInput(
            found=f"the time to the next check was given as '{text[:40]}'",
            needed="1 to 240 months are needed",
            remedy="write it like 12months",
        )
    return float(match[1])
