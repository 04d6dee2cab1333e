"""What a person types about laps, limits and how the face lies before them, turned into what the advice needs."""

from __future__ import annotations

import re

from straightband.errors import BadInput
from straightband.quantities import parse_duration_s, parse_length_mm
from straightband.workflows.strokes import LONGEST_RUN_MIN, MOST_STROKES, TOLERANCE_NM, Limits
from straightband.workflows.strokes_shelf import DEFAULT_POLISH, DEFAULT_TABLE_RPM, Shelf, shelf_from_diameters
from straightband.workflows.strokes_view import View

_RPM = re.compile(r"(\d{1,3}(?:\.\d{1,25})?)\s*(?:rpm)?")
_COUNT = re.compile(r"\d{1,3}")
_HOUR = re.compile(r"\d{1,2}(?:\.\d{1,25})?")
_TOLERANCE_NM = (5.0, 100_000.0)
_LONGEST_MIN = (1.0, 1000.0)


def shelf_from_text(diameters: list[str], *, table: str | None = None, polish: str | None = None) -> Shelf:
    """The laps from their diameters, the turns of the table such as `20` or `20rpm`, and the polish; raises BadInput."""
    match = None if table is None else _RPM.fullmatch(table.strip())
    if table is not None and match is None:
        raise BadInput(
            found=f"the table was given as '{table[:40]}'", needed="its turns a minute are needed", remedy="write it like 20, or 0 for none"
        )
    return shelf_from_diameters(
        tuple(diameters), table_rpm=DEFAULT_TABLE_RPM if match is None else float(match[1]), polish=polish or DEFAULT_POLISH
    )


def limits_from_text(*, tolerance: str | None = None, most_strokes: str | None = None, longest: str | None = None) -> Limits:
    """What is wanted and what a run may be; raises BadInput."""
    nm = TOLERANCE_NM if tolerance is None else parse_length_mm(tolerance, what="the tolerance") * 1e6
    if not _TOLERANCE_NM[0] <= nm <= _TOLERANCE_NM[1]:
        raise BadInput(
            found=f"the tolerance was given as '{tolerance}'",
            needed=f"{_TOLERANCE_NM[0]:g} nm to {_TOLERANCE_NM[1] / 1000.0:g} um of peak to valley is needed",
            remedy="write it like 79nm",
        )
    if most_strokes is not None and (not _COUNT.fullmatch(most_strokes.strip()) or not 1 <= int(most_strokes) <= 40):
        raise BadInput(
            found=f"the most strokes of a run were given as '{most_strokes[:40]}'",
            needed="a whole number from 1 to 40 is needed",
            remedy="write 8",
        )
    minutes = LONGEST_RUN_MIN if longest is None else parse_duration_s(longest, what="the longest run") / 60.0
    if not _LONGEST_MIN[0] <= minutes <= _LONGEST_MIN[1]:
        raise BadInput(
            found=f"the longest run was given as '{longest}'", needed="1 min to 1000 min is needed", remedy="write it like 60min"
        )
    return Limits(tolerance_nm=nm, most_strokes=MOST_STROKES if most_strokes is None else int(most_strokes), longest_min=minutes)


def view_from_text(*, seen: str = "face", mark: str = "12") -> View:
    """How the face lies before the worker; raises BadInput."""
    if seen not in ("face", "back"):
        raise BadInput(found=f"the side seen was given as '{seen[:40]}'", needed="face or back is needed", remedy="write face or back")
    if not _HOUR.fullmatch(mark.strip()) or not 1.0 <= float(mark) < 13.0:
        raise BadInput(found=f"the mark was given as '{mark[:40]}'", needed="a clock hour from 1 to 12 is needed", remedy="write it like 3")
    return View(mirrored=seen == "back", mark_hour=float(mark))
