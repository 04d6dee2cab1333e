"""What every file of a height map holds, checked once whatever the format.

The face, the clear margin and all that is known of the map travel as one JSON object, `about`: the map's own `meta` plus the two
reserved names `face` and `clear_margin`. A file that says nothing of its face (another program wrote it) gets the one its heights
fill, and `meta["face_from"]` says so.
"""

from __future__ import annotations

import json
import math
from typing import Any, NoReturn

import numpy as np
from numpy.typing import ArrayLike, NDArray

from straightband.errors import RecordUnreadable
from straightband.face.shapes import Face, Shape
from straightband.heightmap.map import HeightMap

MOST_POINTS = 16_000_000  # a 4000 x 4000 map: 256 MB with its uncertainty, what a small computer still holds
LONGEST_ABOUT = 4_000_000  # characters of JSON; a real one has a few thousand
FARTHEST_MM = 100_000.0  # beyond any face; keeps squares and products finite
HIGHEST_NM = 1e9  # a metre; the same
EVEN_STEP = 1e-3  # share of a step that rows and columns may stray by: single-precision coordinates stray 3e-5
FACE_FROM_EXTENT = "extent of the heights"
FILL_TOLERANCE = 0.03  # share of the box; a rim of one point on a 100-point map is 0.02, ellipse and rectangle differ by 0.21
_RESERVED = ("face", "clear_margin")


def refuse(
    found: str,
    *,
    needed: str = "a whole height map is needed",
    remedy: str = "save the map again, or read the photograph again",
) -> NoReturn:
    """Raise RecordUnreadable with its three parts."""
    raise RecordUnreadable(found=found, needed=needed, remedy=remedy)


def about_text(height_map: HeightMap) -> str:
    """The face, the clear margin and the map's `meta` as one line of JSON, names sorted."""
    face = height_map.face
    about = {
        **height_map.meta,
        "face": {"shape": face.shape.value, "semi_u_mm": float(face.semi_u_mm), "semi_v_mm": float(face.semi_v_mm)},
        "clear_margin": float(height_map.clear_margin),
    }
    return json.dumps(about, sort_keys=True, allow_nan=False, separators=(",", ":"))


def about_from_text(text: str, *, name: str) -> dict[str, Any]:
    """The JSON object of `about_text`; raises RecordUnreadable when it is none."""
    if len(text) > LONGEST_ABOUT:
        refuse(f"{name} carries {len(text)} characters about its map", needed=f"at most {LONGEST_ABOUT} are needed")
    try:
        about = json.loads(text, parse_constant=_no_constant)
    except (ValueError, RecursionError):
        about = None
    if not isinstance(about, dict):
        refuse(f"what {name} says about its map is not a JSON object")
    return about


def _no_constant(constant: str) -> NoReturn:
    raise ValueError(constant)  # NaN and Infinity are no JSON; `about_from_text` turns this into a sentence


def assembled(
    *, heights_nm: ArrayLike, u_mm: ArrayLike, v_mm: ArrayLike, uncertainty_nm: ArrayLike, about: dict[str, Any], name: str
) -> HeightMap:
    """A height map from the parts of a file; raises RecordUnreadable when they do not make one."""
    heights, uncertainty = _plain(heights_nm, name=name), _plain(uncertainty_nm, name=name)
    u, v = _plain(u_mm, name=name), _plain(v_mm, name=name)
    _check_shapes(heights, uncertainty, u=u, v=v, name=name)
    for axis, what in ((u, "u_mm"), (v, "v_mm")):
        _check_axis(axis, what=what, name=name)
    _check_values(heights, uncertainty, name=name)
    meta = {key: value for key, value in about.items() if key not in _RESERVED}
    if "face" in about:
        face, margin = _face_from(about, name=name)
    else:
        face, u, v = _face_from_extent(heights, u=u, v=v, name=name)
        margin, meta["face_from"] = 0.0, FACE_FROM_EXTENT
    height_map = HeightMap(heights_nm=heights, u_mm=u, v_mm=v, uncertainty_nm=uncertainty, face=face, clear_margin=margin, meta=meta)
    if not height_map.valid.any():
        refuse(f"{name} holds no height inside the clear aperture of its face")
    return height_map


def _plain(values: ArrayLike, *, name: str) -> NDArray[np.float64]:
    try:
        return np.array(values, dtype=np.float64, order="C")
    except (TypeError, ValueError):
        refuse(f"{name} holds something other than numbers where its heights or coordinates should be")


def _check_shapes(heights: NDArray, uncertainty: NDArray, *, u: NDArray, v: NDArray, name: str) -> None:
    if heights.ndim != 2 or heights.shape != (v.size, u.size) or u.ndim != 1 or v.ndim != 1:
        refuse(f"the heights in {name} ({_by(heights)}) do not match its rows and columns ({v.size} by {u.size})")
    if uncertainty.shape != heights.shape:
        refuse(f"the uncertainty in {name} ({_by(uncertainty)}) does not match its heights ({_by(heights)})")
    check_size(rows=heights.shape[0], cols=heights.shape[1], name=name)


def _by(array: NDArray) -> str:
    return " by ".join(str(n) for n in array.shape) or "a single number"


def check_size(*, rows: int, cols: int, name: str) -> None:
    """Raise RecordUnreadable unless a map of this size can be held and drawn; called before anything is allotted."""
    if min(rows, cols) < 2 or rows * cols > MOST_POINTS:
        refuse(
            f"{name} says its map is {rows} by {cols} points",
            needed=f"at least 2 by 2 and at most {MOST_POINTS} points are needed",
            remedy="save the map again with fewer or more points",
        )


def _check_axis(axis: NDArray, *, what: str, name: str) -> None:
    if not np.all(np.abs(axis) <= FARTHEST_MM):  # also true of NaN
        refuse(f"{what} in {name} is not a list of lengths on a face")
    step = (axis[-1] - axis[0]) / (axis.size - 1)
    if not step > 0.0 or np.max(np.abs(np.diff(axis) - step)) > EVEN_STEP * step:
        refuse(f"{what} in {name} does not rise in even steps", needed="evenly spaced rows and columns are needed")


def _check_values(heights: NDArray, uncertainty: NDArray, *, name: str) -> None:
    present = np.isfinite(heights)
    if not present.any():
        refuse(f"{name} holds no height at all")
    if np.isinf(heights).any() or np.max(np.abs(heights[present])) > HIGHEST_NM:
        refuse(f"{name} holds heights beyond a metre", needed="heights in nm are needed", remedy="check the unit it was saved in")
    if np.isinf(uncertainty).any() or (uncertainty < 0.0).any() or (uncertainty > HIGHEST_NM).any():
        refuse(f"{name} holds an uncertainty that is negative or endless")


def _face_from(about: dict[str, Any], *, name: str) -> tuple[Face, float]:
    record, margin = about["face"], about.get("clear_margin", 0.0)
    try:
        face = Face(shape=Shape(record["shape"]), semi_u_mm=float(record["semi_u_mm"]), semi_v_mm=float(record["semi_v_mm"]))
        margin = float(margin)
    except (KeyError, TypeError, ValueError, OverflowError):
        refuse(f"the face that {name} speaks of is not an ellipse, round or rectangle with its half axes in mm")
    if not (0.0 < face.semi_u_mm <= FARTHEST_MM and 0.0 < face.semi_v_mm <= FARTHEST_MM and 0.0 <= margin < 1.0):
        refuse(f"the face that {name} speaks of has no size, or a clear margin outside 0 to 1")
    return face, margin


def _face_from_extent(heights: NDArray, *, u: NDArray, v: NDArray, name: str) -> tuple[Face, NDArray, NDArray]:
    """The face that the heights fill, and the coordinates moved so that its centre is the origin."""
    present = np.isfinite(heights)
    cols, rows = np.flatnonzero(present.any(axis=0)), np.flatnonzero(present.any(axis=1))
    fill = present.sum() / ((cols[-1] - cols[0] + 1) * (rows[-1] - rows[0] + 1))
    # Each point stands for the cell around it, hence half a step more than the outermost points.
    semi_u = (u[cols[-1]] - u[cols[0]] + (u[1] - u[0])) / 2.0
    semi_v = (v[rows[-1]] - v[rows[0]] + (v[1] - v[0])) / 2.0
    if fill > 1.0 - FILL_TOLERANCE:
        shape = Shape.RECTANGLE
    elif abs(fill - math.pi / 4.0) < FILL_TOLERANCE:
        shape = Shape.ROUND if abs(semi_u / semi_v - 1.0) < FILL_TOLERANCE else Shape.ELLIPSE
    else:
        refuse(
            f"{name} does not say what face it is of, and its heights fill {fill:.0%} of their box",
            needed="a face given in the file, or heights over a whole ellipse, circle or rectangle, are needed",
            remedy="save the map again from where it was made, with its face",
        )
    if shape is Shape.ELLIPSE and semi_u > semi_v:
        refuse(
            f"{name} does not say what face it is of, and its heights are wider ({2 * semi_u:.4g} mm) than tall ({2 * semi_v:.4g} mm)",
            needed="u along the minor axis is needed",
            remedy="turn the map a quarter turn where it was made",
        )
    return (
        Face(shape=shape, semi_u_mm=float(semi_u), semi_v_mm=float(semi_v)),
        u - (u[cols[-1]] + u[cols[0]]) / 2.0,
        v - (v[rows[-1]] + v[rows[0]]) / 2.0,
    )
