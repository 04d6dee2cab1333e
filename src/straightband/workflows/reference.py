"""The reference flat as it ages: when it was measured, what happened to it since, when it is due again."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from straightband.errors import BadInput
from straightband.heightmap.map import HeightMap

LONGEST_NOTE = 200


def ageing_flags(reference: HeightMap | None, *, now: date | None) -> tuple[str, ...]:
    """Doubts about a reference map by its age on the day `now`; none for a map that says nothing of it, or where the day is not told."""
    record = None if reference is None else reference.meta.get("reference")
    if not isinstance(record, dict):
        return ()
    found = []
    if record.get("handled"):
        found.append("reference-handled-since")
    due = _day(record.get("recheck_due"))
    if due is None:
        found.append("reference-undated")
    elif now is not None and now > due:
        found.append("reference-recheck-due")
    if "part-undetermined" in reference.meta.get("flags", []):  # type: ignore[union-attr]
        found.append("reference-part-undetermined")
    return tuple(found)


def _day(text: object) -> date | None:
    try:
        return date.fromisoformat(str(text))
    except ValueError:
        return None


def day_from_text(text: str, *, what: str) -> date:
    """A day written like 2026-11-25; raises BadInput.

    Example
    -------
    >>> day_from_text("2026-11-25", what="the day").isoformat()
    '2026-11-25'
    """
    day = _day(text.strip())
    if day is None:
        raise BadInput(
            found=f"{what} was given as '{text[:40]}'", needed="year, month and day are needed", remedy="write it like 2026-11-25"
        )
    return day


def with_note(reference: HeightMap, *, day: date, what: str) -> HeightMap:
    """The reference with a note of what was done to it on a day; raises BadInput unless it is a reference flat and the note is short text."""
    record = reference.meta.get("reference")
    if not isinstance(record, dict):
        raise BadInput(
            found="the map is not that of a reference flat",
            needed="a map that threeflat has written is needed",
            remedy="give the flat's own map, like A.npz",
        )
    text = " ".join(what.split())
    if not 0 < len(text) <= LONGEST_NOTE:
        raise BadInput(
            found=f"the note has {len(text)} letters", needed=f"1 to {LONGEST_NOTE} are needed", remedy="say in a few words what was done"
        )
    handled = [*record.get("handled", []), {"day": day.isoformat(), "what": text}]
    return replace(reference, meta={**reference.meta, "reference": {**record, "handled": handled}})
