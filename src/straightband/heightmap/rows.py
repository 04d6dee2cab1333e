"""Maps as `.csv`: one point a line, for spreadsheets and for reading by eye.

Lines that begin with `#` come first; the one that begins with `# about ` carries the face and all that is known of the map as JSON.
Heights are written to 0.0001 nm, coordinates to nine figures: far finer than any reading.
"""

from __future__ import annotations

import io
import warnings
from typing import Any

import numpy as np
from numpy.typing import NDArray

from straightband.heightmap.map import HeightMap
from straightband.heightmap.record import MOST_POINTS, about_from_text, about_text, assembled, check_size, refuse

COLUMNS = ("u_mm", "v_mm", "height_nm", "uncertainty_nm")
_ABOUT = "# about "
_HEADING = (
    "# Heights of a face as seen looking at it; positive where glass stands proud; nan where there is none.",
    "# u along the minor axis, v along the major axis, from the centre; uncertainty expanded, 95 %.",
)
_LARGEST = 80 * MOST_POINTS  # bytes; no line is longer
_NEED = "lines of u_mm,v_mm,height_nm,uncertainty_nm are needed"


def to_csv(height_map: HeightMap) -> bytes:
    """The map as comma-separated lines, row by row from the lowest v; the same map gives the same bytes."""
    us = [f"{u:.9g}" for u in height_map.u_mm.tolist()]
    vs = [f"{v:.9g}" for v in height_map.v_mm.tolist()]
    lines = [*_HEADING, _ABOUT + about_text(height_map), ",".join(COLUMNS)]
    for v, heights, uncertainties in zip(vs, height_map.heights_nm.tolist(), height_map.uncertainty_nm.tolist(), strict=True):
        lines += [f"{u},{v},{h:.4f},{s:.4f}" for u, h, s in zip(us, heights, uncertainties, strict=True)]
    return ("\n".join(lines) + "\n").encode("ascii")


def from_csv(data: bytes, *, name: str = "the map file") -> HeightMap:
    """The map in comma-separated lines, in any order; raises RecordUnreadable when they hold none."""
    if len(data) > _LARGEST or data.count(b"\n") > MOST_POINTS + 1000:
        refuse(f"{name} has more lines than a map of {MOST_POINTS} points")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        refuse(f"{name} is not plain text", needed=_NEED)
    table = _table(text, name=name)
    u, col = np.unique(table[:, 0], return_inverse=True)
    v, row = np.unique(table[:, 1], return_inverse=True)
    check_size(rows=v.size, cols=u.size, name=name)
    heights, uncertainty = np.full((2, v.size, u.size), np.nan)
    heights[row, col], uncertainty[row, col] = table[:, 2], table[:, 3]
    if len(np.unique(row * u.size + col)) != len(table):
        refuse(f"{name} gives the same point twice", needed=_NEED)
    return assembled(heights_nm=heights, u_mm=u, v_mm=v, uncertainty_nm=uncertainty, about=_about(text, name=name), name=name)


def _about(text: str, *, name: str) -> dict[str, Any]:
    for line in io.StringIO(text):
        if not line.startswith("#"):
            return {}
        if line.startswith(_ABOUT):
            return about_from_text(line[len(_ABOUT) :], name=name)
    return {}


def _table(text: str, *, name: str) -> NDArray:
    body = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    if not body or tuple(cell.strip() for cell in body[0].split(",")) != COLUMNS:
        refuse(f"the first line of {name} is not {','.join(COLUMNS)}", needed=_NEED)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")  # an empty table is only warned of
            table = np.loadtxt(body[1:], delimiter=",", comments=None, ndmin=2)
    except (ValueError, UserWarning):
        refuse(f"{name} has a line that is not four numbers, or none at all", needed=_NEED)
    if table.shape[1] != len(COLUMNS):
        refuse(f"{name} has {table.shape[1]} numbers on a line", needed=_NEED)
    return table
