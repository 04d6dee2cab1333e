"""From what a person writes of photographs of a back to what looking at it needs."""

from __future__ import annotations

from typing import Any

from straightband.errors import BadInput
from straightband.face.shapes import CLEAR_MARGIN
from straightband.gauges.clearing_time import PastBack
from straightband.glass import glass_from_text
from straightband.photo.outline import outline_from_text
from straightband.quantities import parse_duration_s, parse_length_mm
from straightband.workflows.clear import GridSetup
from straightband.workflows.setup import camera_from_text, clock_hour, face_from_text, margin_from_text
from straightband.workflows.toml_table import table_from_toml

KNOWN_INDEX_DOUBT = 0.005  # from melt to melt and over the visible, 95 %
MOST_PHOTOGRAPHS = 20
LONGEST_SPELL_MIN = 24.0 * 60.0
_PAST = 'each needs minor = "60mm" (or the diameter) and minutes = 32, from fine ground to clear'


def grid_setup_from_text(
    *,
    outline: list[str] | None = None,
    mark: str | None = None,
    margin: str | None = None,
    camera: str | None = None,
    glass: str | None = None,
    **face: str | None,
) -> GridSetup:
    """The set-up from its texts, an empty outline being one that is found; raises BadInput with the first that can't be used."""
    the_face = face_from_text(shape=face.pop("shape", None) or "ellipse", **face)
    indexed: dict[str, float] = {} if glass is None else dict(index=glass_from_text(glass).index, index_doubt=KNOWN_INDEX_DOUBT)
    return GridSetup(
        face=the_face,
        outlines=tuple(outline_from_text(text, face=the_face) if text else None for text in outline or ()),
        mark_hour=None if mark is None else clock_hour(mark, what="the mark"),
        margin=CLEAR_MARGIN if margin is None else margin_from_text(margin),
        camera_mm=None if camera is None else camera_from_text(camera, face=the_face),
        **indexed,
    )


def spells_from_text(first: str, after: list[str]) -> tuple[tuple[str, ...], tuple[float, ...]]:
    """Names of the photographs and minutes of polishing since the first; `after` holds a duration and a name in turn.

    Each duration counts from the photograph before it. Raises BadInput.

    Example
    -------
    >>> spells_from_text("a.jpg", ["20min", "b.jpg", "5min", "c.jpg"])
    (('a.jpg', 'b.jpg', 'c.jpg'), (0.0, 20.0, 25.0))
    """
    if len(after) % 2:
        raise BadInput(
            found=f"--after was followed by {len(after)} words",
            needed="minutes of polishing and then the photograph taken after them are needed",
            remedy="write it like --after 20min later.jpg",
        )
    if len(after) // 2 >= MOST_PHOTOGRAPHS:
        raise BadInput(
            found=f"{1 + len(after) // 2} photographs were given",
            needed=f"at most {MOST_PHOTOGRAPHS} can be taken",
            remedy="leave the earliest out",
        )
    minutes = [0.0]
    for text in after[::2]:
        minutes.append(minutes[-1] + _spell_min(text, what="the time between two photographs"))
    return (first, *after[1::2]), tuple(minutes)


def _spell_min(text: str, *, what: str) -> float:
    spell = parse_duration_s(text, what=what) / 60.0
    if not 0.0 < spell <= LONGEST_SPELL_MIN:
        raise BadInput(
            found=f"{what} was given as '{text}'", needed="more than none and up to a day is needed", remedy="write it like 20min"
        )
    return spell


def polished_from_text(text: str) -> float:
    """Minutes polished before the first photograph; raises BadInput."""
    return _spell_min(text, what="the time polished before the first photograph")


def past_backs_from_toml(data: bytes, *, name: str) -> tuple[PastBack, ...]:
    """The shop's past backs from [[back]] tables with `minor` and `minutes`; raises BadInput."""
    shown = f"the file of past backs '{name[:60]}'"
    table = table_from_toml(data, shown=shown, needed=_PAST)
    backs = table.get("back")
    if set(table) != {"back"} or not isinstance(backs, list) or not all(isinstance(back, dict) for back in backs):
        raise _not_past(f"{shown} holds something else than [[back]] tables")
    return tuple(_past_back(back, shown=shown) for back in backs)


def _past_back(back: dict[str, Any], *, shown: str) -> PastBack:
    minor, minutes = back.get("minor"), back.get("minutes")
    if set(back) != {"minor", "minutes"} or not isinstance(minor, str) or not isinstance(minutes, int | float) or isinstance(minutes, bool):
        raise _not_past(f"a [[back]] in {shown} has other entries")
    if not 0.0 < minutes <= LONGEST_SPELL_MIN:
        raise _not_past(f"a [[back]] in {shown} took {minutes:g} minutes")
    return PastBack(semi_mm=parse_length_mm(minor, what=f"'minor' in {shown}") / 2.0, minutes=float(minutes))


def _not_past(found: str) -> BadInput:
    return BadInput(
        found=found,
        needed=_PAST,
        remedy="correct it and call again",
    )
