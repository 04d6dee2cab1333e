"""The batch file: the blanks to be ground together, and the bench they are ground on, as TOML with plain numbers whose key ends in the unit.

What the program does not know is refused by name, and numbers that no blank or bench has are taken for a mix-up of units rather than used.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from straightband.errors import BadInput
from straightband.face.shapes import Face, Shape, ellipse, rectangle, round_face
from straightband.glass import GRAVITY_M_S2, Glass, glass_from_text, weight_kg
from straightband.workflows.toml_table import table_from_toml

MOST_PIECES = 12
LONGEST_NAME = 30
_SIZES_MM = (10.0, 1000.0)  # of a blank that is ground by hand
_THICKNESS_MM = (1.0, 200.0)
_MOST_SAG_UM = 500.0
_ABRASIVES_UM = (1.0, 400.0)  # loose grains from the finest alumina to the coarsest carborundum
_MESH_FROM = 60.0  # numbers that only grow and begin here are mesh numbers, not um
_MINUTES = (0.5, 240.0)
_SPINDLE_RPM = (1.0, 300.0)
_LOAD_N = (0.0, 500.0)
_KEYS = {
    Shape.ELLIPSE: ("minor_mm", "major_mm"),
    Shape.ROUND: ("diameter_mm",),
    Shape.RECTANGLE: ("width_mm", "length_mm"),
}
_PIECE = ("name", "shape", "minor_mm", "major_mm", "diameter_mm", "width_mm", "length_mm", "thickness_mm", "glass", "sag_um")
_GRINDING = ("abrasives_um", "minutes", "spindle_rpm", "load_n")
_EXAMPLE = 'write it like name = "A", shape = "ellipse", minor_mm = 90, thickness_mm = 15, glass = "borosilicate"'


@dataclass(frozen=True, slots=True, kw_only=True)
class Blank:
    """One piece of the batch.

    Attributes
    ----------
    name
        What the shop calls it.
    face
        Its outline.
    thickness_mm, glass
        What it weighs by.
    sag_um
        Of its face now, over the longer half axis, plus for a hill; None where it was not gauged.
    """

    name: str
    face: Face
    thickness_mm: float
    glass: Glass
    sag_um: float | None

    @property
    def weight_n(self) -> float:
        """Its weight."""
        return weight_kg(self.glass, volume_mm3=self.face.area_mm2 * self.thickness_mm) * GRAVITY_M_S2


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """What is to be ground, and how.

    Attributes
    ----------
    blanks
        Two or more.
    abrasives_um
        Mean grains, coarse to fine.
    reordered
        Whether they stood in another order.
    minutes
        Of every run, or None where the plan is to say.
    spindle_rpm, load_n
        None where not told.
    """

    blanks: tuple[Blank, ...]
    abrasives_um: tuple[float, ...]
    reordered: bool
    minutes: float | None
    spindle_rpm: float | None
    load_n: float | None


def batch_from_toml(data: bytes, *, name: str) -> Batch:
    """The batch in the bytes of a file called `name`; raises BadInput with the first thing that can't be used."""
    shown = f"the batch file '{name[:60]}'"
    table = table_from_toml(data, shown=shown, needed="tables like [[piece]] are needed")
    _known(table, keys=("piece", "grinding"), where=shown)
    pieces = table.get("piece", [])
    if not isinstance(pieces, list) or not all(isinstance(piece, dict) for piece in pieces):
        raise BadInput(
            found=f"'piece' in {shown} is no list of tables", needed="a table for each is needed", remedy="head each with [[piece]]"
        )
    if not 2 <= len(pieces) <= MOST_PIECES:
        raise BadInput(
            found=f"{shown} holds {'no piece' if not pieces else 'one piece' if len(pieces) == 1 else f'{len(pieces)} pieces'}",
            needed=f"2 to {MOST_PIECES} are needed, since a face is ground on another",
            remedy="add a [[piece]], for instance a round plate of about the same size"
            if len(pieces) < 2
            else "plan them in smaller batches",
        )
    blanks = tuple(_blank(piece, where=f"piece {number} in {shown}") for number, piece in enumerate(pieces, start=1))
    _told_apart([blank.name for blank in blanks], shown=shown)
    grinding = table.get("grinding")
    if not isinstance(grinding, dict):
        raise BadInput(
            found=f"{shown} has no [grinding]",
            needed="the abrasives are needed",
            remedy="add [grinding] with abrasives_um = [40, 20, 10, 5]",
        )
    return _batch(blanks, grinding, where=f"[grinding] in {shown}")


def _batch(blanks: tuple[Blank, ...], grinding: dict[str, Any], *, where: str) -> Batch:
    _known(grinding, keys=_GRINDING, where=where)
    abrasives = _abrasives(grinding.get("abrasives_um"), where=where)
    told = {
        key: None if key not in grinding else _number(grinding[key], key=key, where=where, limits=limits, unit=unit)
        for key, limits, unit in (
            ("minutes", _MINUTES, "minutes"),
            ("spindle_rpm", _SPINDLE_RPM, "turns a minute"),
            ("load_n", _LOAD_N, "N"),
        )
    }
    ordered = tuple(sorted(abrasives, reverse=True))
    return Batch(blanks=blanks, abrasives_um=ordered, reordered=ordered != abrasives, **told)


def _abrasives(given: Any, *, where: str) -> tuple[float, ...]:
    if not isinstance(given, list) or not given:
        raise BadInput(
            found=f"'abrasives_um' in {where} is {'missing' if given is None else 'no list of numbers'}",
            needed="the mean grain of each abrasive in um is needed",
            remedy="write it like abrasives_um = [40, 20, 10, 5]",
        )
    sizes = tuple(_number(size, key="abrasives_um", where=where, limits=_ABRASIVES_UM, unit="um") for size in given)
    if len(set(sizes)) < len(sizes):
        raise BadInput(
            found=f"'abrasives_um' in {where} names a size twice", needed="each grade is worked once", remedy="take the second out"
        )
    if len(sizes) > 1 and min(sizes) >= _MESH_FROM and list(sizes) == sorted(sizes):
        raise BadInput(
            found=f"the abrasives in {where} grow from {min(sizes):g} to {max(sizes):g}, as mesh numbers do",
            needed="mean grains in um are needed, coarse to fine",
            remedy="look the um up on the packet, since mesh numbers of different makers differ",
        )
    return sizes


def _blank(piece: dict[str, Any], *, where: str) -> Blank:
    _known(piece, keys=_PIECE, where=where)
    for key in ("name", "shape", "thickness_mm", "glass"):
        if key not in piece:
            raise BadInput(found=f"{where} has no '{key}'", needed="it is needed for every piece", remedy=_EXAMPLE)
    name = _text(piece["name"], key="name", where=where, longest=LONGEST_NAME)
    where = f"'{name}' in {where.partition(' in ')[2]}"
    face = _face(piece, where=where)
    thickness = _number(piece["thickness_mm"], key="thickness_mm", where=where, limits=_THICKNESS_MM, unit="mm")
    shortest = 2.0 * min(face.semi_u_mm, face.semi_v_mm)
    if thickness > shortest:
        raise BadInput(
            found=f"{where} is {thickness:g} mm thick and {shortest:g} mm across",
            needed="a plate thinner than it is wide is needed, or it topples",
            remedy="check both, with their units",
        )
    sag = _sag(piece, where=where)
    glass = glass_from_text(_text(piece["glass"], key="glass", where=where, longest=40))
    return Blank(name=name, face=face, thickness_mm=thickness, glass=glass, sag_um=sag)


def _sag(piece: dict[str, Any], *, where: str) -> float | None:
    if "sag_um" not in piece:
        return None
    return _number(piece["sag_um"], key="sag_um", where=where, limits=(-_MOST_SAG_UM, _MOST_SAG_UM), unit="um")


def _face(piece: dict[str, Any], *, where: str) -> Face:
    given = piece["shape"]
    if given not in tuple(Shape):
        raise BadInput(
            found=f"the shape of {where} was given as '{str(given)[:40]}'",
            needed="ellipse, round or rectangle is needed",
            remedy="write one of the three",
        )
    shape = Shape(given)
    for key in (key for keys in _KEYS.values() for key in keys if key not in _KEYS[shape]):
        if key in piece:
            raise BadInput(
                found=f"{where} is {shape} and has '{key}'", needed=f"{' and '.join(_KEYS[shape])} are its sizes", remedy="take it out"
            )
    sizes = {key: _number(piece[key], key=key, where=where, limits=_SIZES_MM, unit="mm") for key in _KEYS[shape] if key in piece}
    for key in _KEYS[shape]:
        if key not in sizes and key != "major_mm":
            raise BadInput(found=f"{where} has no '{key}'", needed=f"it is needed for shape {shape}", remedy=f"add it like {key} = 90")
    makers: dict[Shape, Any] = {Shape.ELLIPSE: ellipse, Shape.ROUND: round_face, Shape.RECTANGLE: rectangle}
    face: Face = makers[shape](**sizes)
    if face.semi_major_mm > 4.0 * min(face.semi_u_mm, face.semi_v_mm):
        raise BadInput(
            found=f"{where} is {2 * face.semi_major_mm:g} mm long and {2 * min(face.semi_u_mm, face.semi_v_mm):g} mm wide",
            needed="a face at most four times as long as wide is needed, or it rocks",
            remedy="check both sizes, with their units",
        )
    return face


def _known(table: dict[str, Any], *, keys: Sequence[str], where: str) -> None:
    for key in table:
        if key not in keys:
            raise BadInput(
                found=f"{where} has '{key[:40]}', which is not known",
                needed=f"the keys are {', '.join(keys)}",
                remedy="correct its name or take it out",
            )


def _number(value: Any, *, key: str, where: str, limits: tuple[float, float], unit: str) -> float:
    low, high = limits
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise BadInput(
            found=f"'{key}' in {where} is no number", needed=f"a plain number of {unit} is needed", remedy=f"write it like {key} = {high:g}"
        )
    if not low <= value <= high:  # which no NaN passes
        shown = f"{value:g}" if isinstance(value, float) or abs(value) < 1e15 else "a number beyond all"
        raise BadInput(
            found=f"'{key}' in {where} is {shown}",
            needed=f"{low:g} to {high:g} {unit} is needed",
            remedy="check the number and its unit",
        )
    return float(value)


def _text(value: Any, *, key: str, where: str, longest: int) -> str:
    if not isinstance(value, str) or not value.strip() or len(value) > longest:
        raise BadInput(
            found=f"'{key}' in {where} is {'no text' if not isinstance(value, str) else 'empty' if not value.strip() else 'too long'}",
            needed=f"1 to {longest} letters in quotes are needed",
            remedy=f'write it like {key} = "..."',
        )
    return value.strip()


def _told_apart(names: list[str], *, shown: str) -> None:
    seen = set()
    for name in names:
        if name.casefold() in seen:
            raise BadInput(found=f"{shown} has two pieces called '{name}'", needed="names that differ are needed", remedy="rename one")
        seen.add(name.casefold())
