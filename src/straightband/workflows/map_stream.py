"""A map for the screen: whole numbers of a tenth of a nanometre, thinned, so that it is small enough for a telephone and exact enough to point at.

Layout: little-endian int16, heights then expanded uncertainties (95 %), each [v, u] with v ascending, `NOTHING` off the face. Rows are
differences from the row before (the first from zero, modulo 2^16), which packs to a third.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from straightband.heightmap.figures import without_tilt
from straightband.heightmap.map import HeightMap
from straightband.shop.folder import Shop
from straightband.workflows.maps import band_of, map_from_file

STEP_NM = 0.1
NOTHING = -32768
MOST_ACROSS = 128


@dataclass(frozen=True, slots=True, kw_only=True)
class MapStream:
    """A map ready to be sent.

    Attributes
    ----------
    data
        The numbers.
    columns, rows
        How many.
    left_mm, low_mm, step_u_mm, step_v_mm
        Place of the first, and distances between them.
    step_nm
        What a whole number counts.
    lowest, highest
        Of the heights, in such numbers.
    band_nm
        Height of a band.
    """

    data: bytes
    columns: int
    rows: int
    left_mm: float
    low_mm: float
    step_u_mm: float
    step_v_mm: float
    step_nm: float
    lowest: int
    highest: int
    band_nm: float


@lru_cache(maxsize=16)
def kept_stream(shop: Shop, map_sha256: str) -> MapStream:
    """The numbers of a map of the shop's record, which never change; raises RecordUnreadable."""
    return map_stream(map_from_file(shop.maps.read(map_sha256), "map.npz"))


def map_stream(height_map: HeightMap) -> MapStream:
    """The map less its tilt; the step grows where heights would not fit."""
    level = without_tilt(height_map)
    thin = max(1, math.ceil(min(level.heights_nm.shape) / MOST_ACROSS))
    heights = np.where(level.valid, level.heights_nm, np.nan)[::thin, ::thin]
    doubts = np.where(level.valid, level.uncertainty_nm, np.nan)[::thin, ::thin]
    u, v = height_map.u_mm[::thin], height_map.v_mm[::thin]
    largest = max(float(np.nanmax(np.abs(heights))), float(np.nanmax(doubts)))
    step = STEP_NM * max(1.0, math.ceil(largest / STEP_NM / 32000.0))
    whole, unsure = _whole(heights, step=step), _whole(doubts, step=step)
    known = whole[whole != NOTHING]
    return MapStream(
        data=_by_rows(whole) + _by_rows(unsure),
        columns=len(u),
        rows=len(v),
        left_mm=float(u[0]),
        low_mm=float(v[0]),
        step_u_mm=float(u[1] - u[0]),
        step_v_mm=float(v[1] - v[0]),
        step_nm=step,
        lowest=int(known.min()),
        highest=int(known.max()),
        band_nm=band_of(height_map),
    )


def _whole(values: NDArray, *, step: float) -> NDArray[np.int16]:
    rounded = np.round(values / step)
    return np.where(np.isfinite(rounded), rounded, NOTHING).astype("<i2")


def _by_rows(whole: NDArray[np.int16]) -> bytes:
    wide = whole.astype(np.int64)
    return np.diff(wide, axis=0, prepend=0).astype("<i2").tobytes()
