"""Two faces that lie on each other: what their pair map is made of.

A pair map is kept in the frame of one of the two, looking at its face. The other faces it, so its u runs the other way; it may be turned and
shifted as well. The heights of the pair are the sum of both: M(u, v) = A(u, v) + B(where that place lies on B).

Sources
-------
U. Griesmann, Three-flat test solutions based on simple mirror symmetry, Appl. Opt. 45, 5856-5865 (2006), for the reversal of one coordinate.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from numpy.typing import NDArray

from straightband.face.shapes import Face
from straightband.heightmap.map import HeightMap


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """Two flats and the map of their sum.

    Attributes
    ----------
    piece
        Name of the one in whose frame the map is.
    other
        Name of the one facing it.
    height_map
        Heights of the pair.
    turn_rad
        How far the other was turned from mark to mark, counter-clockwise looking at its own face.
    shift_mm
        Where the centre of the other lay, as (u, v) on the face of the piece.
    """

    piece: str
    other: str
    height_map: HeightMap
    turn_rad: float = 0.0
    shift_mm: tuple[float, float] = (0.0, 0.0)

    @property
    def label(self) -> str:
        """How the pair is spoken of."""
        turned = f" turned {math.degrees(self.turn_rad):g} deg" if self.turn_rad else ""
        shifted = f" shifted {self.shift_mm[0]:g}, {self.shift_mm[1]:g} mm" if any(self.shift_mm) else ""
        return f"{self.piece} on {self.other}{turned}{shifted}"


def place_on_other(pair: Pair, *, u_mm: NDArray, v_mm: NDArray) -> tuple[NDArray, NDArray]:
    """Where points (u, v) of the piece lie on the face of the other, in the other's own frame.

    Example
    -------
    >>> import numpy as np
    >>> from straightband.face.shapes import round_face
    >>> axis = np.array([-1.0, 1.0])
    >>> flat = HeightMap(heights_nm=np.zeros((2, 2)), u_mm=axis, v_mm=axis, uncertainty_nm=np.zeros((2, 2)), face=round_face(diameter_mm=4))
    >>> u, v = place_on_other(Pair(piece="A", other="B", height_map=flat, turn_rad=np.pi / 2), u_mm=np.array([1.0]), v_mm=np.array([0.0]))
    >>> float(abs(u[0]).round(9)), float(v[0].round(9))
    (0.0, 1.0)
    """
    across, along = -(u_mm - pair.shift_mm[0]), v_mm - pair.shift_mm[1]
    cos, sin = math.cos(pair.turn_rad), math.sin(pair.turn_rad)
    # The glass that lies at a fixed place came there by the turn, so its own coordinates are those turned back.
    return cos * across + sin * along, cos * along - sin * across


@dataclass(frozen=True, slots=True, kw_only=True)
class Flat:
    """One of the flats, before it is known.

    Attributes
    ----------
    name
        As in the pairs.
    face
        Its outline.
    clear_margin
        Share of each semi-axis left out.
    """

    name: str
    face: Face
    clear_margin: float

    @property
    def clear(self) -> Face:
        """Its clear aperture."""
        return self.face.clear_aperture(self.clear_margin)


def flats_in(pairs: tuple[Pair, ...]) -> tuple[Flat, ...]:
    """The flats that the pairs name, each with the largest face seen of it: its own frame first, else the face it lay on."""
    found: dict[str, Flat] = {}
    for name in dict.fromkeys(name for pair in pairs for name in (pair.piece, pair.other)):
        own = [pair.height_map for pair in pairs if pair.piece == name] or [pair.height_map for pair in pairs if pair.other == name]
        largest = max(own, key=lambda each: each.clear.area_mm2)
        found[name] = Flat(name=name, face=largest.face, clear_margin=largest.clear_margin)
    return tuple(found.values())
