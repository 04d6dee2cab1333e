"""What each stroke takes off at the places where a map has heights: worked out once for a face and its laps, used again and again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from straightband.advice.strokes.removal import removal_nm_min
from straightband.advice.strokes.stroke import Stroke, Way
from straightband.errors import BadInput
from straightband.face.shapes import Face
from straightband.wear.surface import Surface, flat_surface, looked_up

CELLS = 41  # across the face in either direction
MOST_PLACES = 1500  # enough for anything as wide as a lap


@dataclass(frozen=True, slots=True, kw_only=True)
class Library:
    """Strokes and their wear.

    Attributes
    ----------
    face
        The whole outline.
    strokes
        Of which there is wear.
    u_mm, v_mm
        (n,) places on the clear aperture, each standing for as much of it.
    grids_nm_min
        (m, CELLS, CELLS) rate [v, u] over the whole face, at the default coefficient.
    rates_nm_min
        (m, n) the same at the places.
    level
        (n, 3) orthonormal columns that span piston and tilt on the places.
    """

    face: Face
    strokes: tuple[Stroke, ...]
    u_mm: NDArray
    v_mm: NDArray
    grids_nm_min: NDArray
    rates_nm_min: NDArray
    level: NDArray


def library_of(
    strokes: tuple[Stroke, ...], *, face: Face, u_mm: NDArray, v_mm: NDArray, told: Callable[[float], None] | None = None
) -> Library:
    """The wear of every stroke that can be done; those under which the upper plate would fall over are left out."""
    surface = flat_surface(face, cells=CELLS)
    done: list[Stroke] = []
    grids: list[NDArray] = []
    known: dict[Stroke, NDArray | None] = {}
    for number, stroke in enumerate(strokes):
        if told is not None:
            told(number / len(strokes))
        twin, turned = _in_first_quarter(stroke)
        if twin not in known:
            known[twin] = _rate_or_none(twin, surface=surface)
        grid = known[twin]
        if grid is not None:
            done.append(stroke)
            grids.append(grid[turned])
    if not done:
        raise BadInput(
            found="none of the strokes can be done: the upper plate would fall over or never touch",
            needed="a lap that finds room on the face, or a face that finds room on a lap, is needed",
            remedy="give a lap between a quarter of the face's shorter axis and somewhat more than its longer one",
        )
    kept = np.array(grids)
    return Library(
        face=face,
        strokes=tuple(done),
        u_mm=u_mm,
        v_mm=v_mm,
        grids_nm_min=kept,
        rates_nm_min=np.array([looked_up(grid, surface, u_mm=u_mm, v_mm=v_mm) for grid in kept]),
        level=level_of(u_mm, v_mm),
    )


def _in_first_quarter(stroke: Stroke) -> tuple[Stroke, tuple[slice, slice]]:
    """The same stroke with u and v of zero or more, and how its grid [v, u] is turned over to be that of the stroke: outlines have two axes."""
    over_u, over_v = stroke.u_mm < 0.0, stroke.v_mm < 0.0
    along = stroke.along_deg if over_u == over_v else (180.0 - stroke.along_deg) % 180.0
    turned = tuple(slice(None, None, -1 if over else 1) for over in (over_v, over_u))
    return replace(stroke, u_mm=abs(stroke.u_mm), v_mm=abs(stroke.v_mm), along_deg=along), (turned[0], turned[1])


def _rate_or_none(stroke: Stroke, *, surface: Surface) -> NDArray | None:
    try:
        rate = removal_nm_min(stroke, surface=surface)
    except BadInput:
        return None
    return _evened(rate) if stroke.way in (Way.TURNING, Way.MIRROR_TURNED) else rate


def _evened(rate: NDArray) -> NDArray:
    """What turning wears is alike in the four quarters of the outline; their mean has half the scatter of the drawn poses."""
    return (rate + rate[::-1] + rate[:, ::-1] + rate[::-1, ::-1]) / 4.0


def level_of(u_mm: NDArray, v_mm: NDArray) -> NDArray:
    """(n, 3) orthonormal columns for piston and tilt on places."""
    return np.asarray(np.linalg.qr(np.column_stack([np.ones_like(u_mm), u_mm, v_mm]))[0])


def without_level(values: NDArray, level: NDArray) -> NDArray:
    """`values` (..., n) less their piston and tilt."""
    return values - (values @ level) @ level.T


def removed_on(library: Library, minutes: NDArray, *, factors: NDArray, u_mm: NDArray, v_mm: NDArray) -> NDArray:
    """Depth in nm at other places of the face, from minutes (m,) and the factor (m,) of each stroke's rate over the default."""
    surface = flat_surface(library.face, cells=CELLS)
    return looked_up(np.tensordot(minutes * factors, library.grids_nm_min, axes=1), surface, u_mm=u_mm, v_mm=v_mm)
