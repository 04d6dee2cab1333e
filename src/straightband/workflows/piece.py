"""The piece file: a small TOML that says what a piece is, how it was photographed and what it must be good enough for.

Lengths and wavelengths are text with their unit, as on the command line; clock hours and counts may be numbers. Whatever the program
does not know is refused by name, since a misspelt `thicker` would otherwise cost the sign without a word.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from straightband.errors import BadInput, StraightbandError
from straightband.workflows.read import Setup
from straightband.workflows.requirement import DEFAULT_LIGHT, DEFAULT_STREHL, Requirement, mounting_from_text, requirement_from_text
from straightband.workflows.setup import setup_from_text
from straightband.workflows.together import MOST_FRAMES, MOST_PHOTOGRAPHS, STACK
from straightband.workflows.toml_table import table_from_toml

LONGEST_TEXT = 300
LARGEST_NUMBER = 1e6  # beyond any hour, count or ratio; whole numbers may be too long for a decimal
_SIZES = ("minor", "major", "diameter", "width", "length")
_RESTING = ("support", "handled")  # with which glass and thickness count in the uncertainty
_READING = ("light", "outline", "thicker", "pressed", "mark", "mirrored", "camera", "lens_distortion", "margin", *_RESTING)
_TOGETHER = "together"
_TOLD = ("customer", "order", "glass", "thickness")
_TABLES = {
    "telescope": ("aperture", "focal_length", "focal_ratio", "intercept", "full_field", "offset", "wide_end", "strehl", "iso", "light"),
    "shop": ("name", "signed_by", "date"),
}
_KEYS = ("name", "shape", *_SIZES, *_READING, _TOGETHER, "photographs", "photographed", "reference", *_TOLD, *_TABLES)
_NUMBERS = ("thicker", "pressed", "mark", "mirrored", "focal_ratio", "strehl")  # which may be written without quotes


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A piece, its measurement and its task.

    Attributes
    ----------
    name
        What the shop calls it.
    setup
        What the photographs show.
    photographs
        Names of files, as written: relative to the piece file.
    stacked
        Whether they are a stack of frames, nothing touched between them.
    reference
        Name of the map of the flat tested against, or None.
    requirement
        What it must be good enough for.
    told
        Further facts for the certificate: customer, order, glass, thickness; those that were given.
    shop, signed_by, date
        For the certificate; empty where not given.
    """

    name: str
    setup: Setup
    photographs: tuple[str, ...]
    stacked: bool
    reference: str | None
    requirement: Requirement
    told: dict[str, str]
    shop: str
    signed_by: str
    date: str


def piece_from_toml(data: bytes, *, name: str) -> Piece:
    """The piece in the bytes of a file called `name`; raises BadInput with the first thing that can't be used."""
    shown = f"the piece file '{name[:60]}'"
    try:
        return _piece(table_from_toml(data, shown=shown, needed='lines like name = "D-118" are needed', refusal=_InPiece), shown=shown)
    except _InPiece:
        raise
    except StraightbandError as fault:
        # The parts were worded for the command line; keys of the file are its options with underscores.
        raise BadInput(
            found=f"in {shown}, {_as_keys(fault.found)}", needed=_as_keys(fault.needed), remedy=_as_keys(fault.remedy)
        ) from fault


class _InPiece(BadInput):
    """Already worded for the piece file."""


def _as_keys(words: str) -> str:
    return re.sub(r"--([a-z]+(?:-[a-z]+)*)", lambda found: f"'{found[1].replace('-', '_')}'", words)


def _piece(table: dict[str, Any], *, shown: str) -> Piece:
    top = _texts(table, keys=_KEYS, where=shown, leave=("photographs", *_TABLES))
    telescope = _texts(_table(table, "telescope", shown=shown), keys=_TABLES["telescope"], where=f"[telescope] in {shown}")
    shop = _texts(_table(table, "shop", shown=shown), keys=_TABLES["shop"], where=f"[shop] in {shown}")
    for key in ("name", "light"):
        if key not in top:
            raise _missing(key, shown=shown)
    if not telescope:
        raise _InPiece(
            found=f"{shown} has no [telescope]",
            needed="what the mirror is for must be known before it can be judged",
            remedy="add [telescope] with aperture, focal_length and intercept",
        )
    stacked = _stacked(top, shown=shown)
    return Piece(
        name=top["name"],
        setup=setup_from_text(
            light=top["light"],
            shape=top.get("shape", "ellipse"),
            today=top.get("photographed"),
            **{key: top.get(key) for key in (*_SIZES, *_READING) if key != "light"},
            **({key: top.get(key) for key in ("glass", "thickness")} if any(key in top for key in _RESTING) else {}),
        ),
        photographs=_photographs(table, most=MOST_FRAMES if stacked else MOST_PHOTOGRAPHS, shown=shown),
        stacked=stacked,
        reference=top.get("reference"),
        requirement=_requirement(telescope),
        told={key: top[key] for key in _TOLD if key in top},
        shop=shop.get("name", ""),
        signed_by=shop.get("signed_by", ""),
        date=shop.get("date", ""),
    )


def _requirement(told: dict[str, str]) -> Requirement:
    return requirement_from_text(
        aperture=told.get("aperture"),
        intercept=told.get("intercept"),
        focal_length=told.get("focal_length"),
        focal_ratio=told.get("focal_ratio"),
        full_field=told.get("full_field"),
        strehl=told.get("strehl", DEFAULT_STREHL),
        iso=told.get("iso"),
        light_judged=told.get("light", DEFAULT_LIGHT),
        mounting=mounting_from_text(offset=told.get("offset"), wide_end=told.get("wide_end")),
    )


def _missing(key: str, *, shown: str) -> _InPiece:
    example = {"name": '"D-118"', "light": '"sodium" or "632.8nm"', "photographs": '["bands.jpg"]'}[key]
    return _InPiece(found=f"{shown} has no '{key}'", needed="it is needed for every piece", remedy=f"add {key} = {example}")


def _table(table: dict[str, Any], key: str, *, shown: str) -> dict[str, Any]:
    found = table.get(key, {})
    if not isinstance(found, dict):
        raise _InPiece(
            found=f"'{key}' in {shown} is {_kind(found)}", needed="a table is needed", remedy=f"write [{key}] on a line of its own"
        )
    return found


def _texts(table: dict[str, Any], *, keys: tuple[str, ...], where: str, leave: tuple[str, ...] = ()) -> dict[str, str]:
    """The entries as text, all of them known and of the right kind; those to leave are looked at elsewhere."""
    for key in table:
        if key not in keys:
            raise _InPiece(
                found=f"{where} has '{key[:40]}', which is not known",
                needed=f"the keys are {', '.join(keys)}",
                remedy="correct its name or take it out",
            )
    return {key: _text(value, key=key, where=where) for key, value in table.items() if key not in leave}


def _text(value: Any, *, key: str, where: str) -> str:
    if key in _NUMBERS and isinstance(value, int | float) and not isinstance(value, bool):
        return f"{value:g}" if abs(value) < LARGEST_NUMBER else str(value)[:LONGEST_TEXT]
    if not isinstance(value, str):
        raise _InPiece(
            found=f"'{key}' in {where} is {_kind(value)}", needed="text in quotes is needed", remedy=f'write it like {key} = "..."'
        )
    if not value.strip() or len(value) > LONGEST_TEXT:
        raise _InPiece(
            found=f"'{key}' in {where} is {'empty' if not value.strip() else f'{len(value)} letters long'}",
            needed=f"1 to {LONGEST_TEXT} letters are needed",
            remedy="shorten it, or take it out",
        )
    return value.strip()


def _stacked(top: dict[str, str], *, shown: str) -> bool:
    if top.get(_TOGETHER, STACK) != STACK:
        raise _InPiece(
            found=f"'{_TOGETHER}' in {shown} is '{top[_TOGETHER][:40]}'",
            needed=f"only '{STACK}' is known, for frames with nothing touched between them",
            remedy="correct it, or take it out for photographs with the wedge turned between them",
        )
    return _TOGETHER in top


def _photographs(table: dict[str, Any], *, most: int, shown: str) -> tuple[str, ...]:
    if "photographs" not in table:
        raise _missing("photographs", shown=shown)
    names = table["photographs"]
    if not isinstance(names, list) or not all(isinstance(name, str) and name for name in names):
        raise _InPiece(
            found=f"'photographs' in {shown} is {_kind(names)}",
            needed="a list of file names in quotes is needed",
            remedy='write it like photographs = ["bands.jpg"]',
        )
    if not 1 <= len(names) <= most:
        raise _InPiece(
            found=f"'photographs' in {shown} names {len(names)} files",
            needed=f"1 to {most} are needed",
            remedy="name the photographs that the certificate is to rest on",
        )
    if len(set(names)) < len(names):
        raise _InPiece(
            found=f"'photographs' in {shown} names a file twice",
            needed="each must add something new",
            remedy="take the second out",
        )
    return tuple(names)


def _kind(value: Any) -> str:
    kinds = {bool: "true or false", int: "a number", float: "a number", str: "text", list: "a list", dict: "a table"}
    return kinds.get(type(value), "a date or time")
