"""Maps as `.npz`: named arrays that any scientific program opens.

Holds `heights_nm` [v, u] (NaN off the face), `u_mm`, `v_mm`, `uncertainty_nm` (same shape as the heights) and `meta` (JSON text).
Nothing in it is ever unpickled.
"""

from __future__ import annotations

import io
import math
from tokenize import TokenError

import numpy as np
from numpy.lib import format as npy
from numpy.typing import NDArray

from straightband.heightmap.archive import LARGEST_MEMBER, member, member_names, zipped
from straightband.heightmap.map import HeightMap
from straightband.heightmap.record import LONGEST_ABOUT, about_from_text, about_text, assembled, refuse

_HEADERS = {(1, 0): npy.read_array_header_1_0, (2, 0): npy.read_array_header_2_0}


def to_npz(height_map: HeightMap) -> bytes:
    """The map as an `.npz` archive; the same map gives the same bytes."""
    arrays = {
        "heights_nm": height_map.heights_nm,
        "u_mm": height_map.u_mm,
        "v_mm": height_map.v_mm,
        "uncertainty_nm": height_map.uncertainty_nm,
        "meta": np.array(about_text(height_map)),
    }
    return zipped({f"{key}.npy": _npy(array) for key, array in arrays.items()})


def from_npz(data: bytes, *, name: str = "the map file") -> HeightMap:
    """The map in an `.npz` archive; raises RecordUnreadable when there is none in it."""
    heights, u, v, uncertainty = (_array(data, key, name=name) for key in ("heights_nm", "u_mm", "v_mm", "uncertainty_nm"))
    return assembled(heights_nm=heights, u_mm=u, v_mm=v, uncertainty_nm=uncertainty, about=_about(data, name=name), name=name)


def _npy(array: NDArray) -> bytes:
    out = io.BytesIO()
    npy.write_array(out, np.asarray(array, order="C"), version=(1, 0), allow_pickle=False)
    return out.getvalue()


def _about(data: bytes, *, name: str) -> dict:
    if "meta.npy" not in member_names(data, name=name):
        return {}
    meta = _array(data, "meta", name=name, most_bytes=4 * LONGEST_ABOUT + 4096)
    if meta.size != 1 or meta.dtype.kind not in "US":
        refuse(f"'meta' in {name} is not one piece of text")
    value = meta.reshape(-1)[0]
    text = value.decode("utf-8", errors="replace") if isinstance(value, bytes) else str(value)
    return about_from_text(text, name=name)


def _array(data: bytes, key: str, *, name: str, most_bytes: int = LARGEST_MEMBER) -> NDArray:
    """One array, its header checked against the bytes there are before anything of the size it claims is allotted."""
    raw = io.BytesIO(member(data, f"{key}.npy", most_bytes=most_bytes, name=name))
    try:
        shape, by_columns, dtype = _HEADERS[npy.read_magic(raw)](raw)
    except (
        KeyError,
        ValueError,
        TypeError,
        OverflowError,
        SyntaxError,
        RecursionError,
        MemoryError,
        TokenError,
    ):  # the last ones found by fuzzing
        refuse(f"'{key}' in {name} is not an array")
    body = raw.read()
    if dtype.kind not in "fiuUS" or math.prod(shape) * dtype.itemsize != len(body) or min(shape, default=1) < 0:
        refuse(f"'{key}' in {name} is not an array of numbers or text, or is cut short")
    return np.frombuffer(body, dtype=dtype).reshape(shape, order="F" if by_columns else "C")
