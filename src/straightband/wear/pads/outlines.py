"""Outlines of pads, and pads cut into halves and petals, as polygons in mm."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from straightband.errors import BadInput

CORNERS = 96  # of a round outline: a pad of 50 mm departs from round by 0.013 mm, inward
PETALS = 6
PETAL_DEPTH = 0.18  # of the radius, by which a petalled pad draws in between its petals
SAWN_MM = 0.5  # lost along a cut
MOST_CORNERS = 500
SIZE_RANGE_MM = (5.0, 500.0)


class Cut(StrEnum):
    """What has been cut of a pad."""

    WHOLE = "whole"
    HALF = "half"
    PETAL = "petal"


PER_PAD = {Cut.WHOLE: 1, Cut.HALF: 2, Cut.PETAL: 6}


@dataclass(frozen=True, slots=True, kw_only=True)
class Pad:
    """A pad as it comes from the pack, middle of its area on the origin.

    Attributes
    ----------
    name
        round, petalled, square or given.
    outline
        Its polygon.
    """

    name: str
    outline: Polygon


def round_pad(*, diameter_mm: float) -> Pad:
    """A round pad."""
    turn = np.arange(CORNERS) * 2.0 * math.pi / CORNERS
    return Pad(name="round", outline=Polygon(diameter_mm / 2.0 * np.column_stack([np.cos(turn), np.sin(turn)])))


def petalled_pad(*, diameter_mm: float) -> Pad:
    """A pad of six petals."""
    turn = np.arange(2 * CORNERS) * math.pi / CORNERS
    radius = diameter_mm / 2.0 * (1.0 - PETAL_DEPTH / 2.0 * (1.0 - np.cos(PETALS * turn)))
    return Pad(name="petalled", outline=Polygon(np.column_stack([radius * np.cos(turn), radius * np.sin(turn)])))


def square_pad(*, side_mm: float) -> Pad:
    """A square pad."""
    half = side_mm / 2.0
    return Pad(name="square", outline=Polygon([(-half, -half), (half, -half), (half, half), (-half, half)]))


def given_pad(corners_mm: NDArray) -> Pad:
    """A pad of any outline, (n, 2) corners in order; raises BadInput for one that crosses itself or has no area."""
    if not 3 <= len(corners_mm) <= MOST_CORNERS or not np.all(np.isfinite(corners_mm)):
        raise _no_outline(f"the pad's outline has {len(corners_mm)} corners")
    outline = Polygon(corners_mm)
    lowest, highest = SIZE_RANGE_MM
    if not outline.is_valid or outline.area <= 0.0:
        raise _no_outline("the pad's outline crosses itself or has no area")
    if not lowest <= reach_mm(outline) * 2.0 <= highest * math.sqrt(2.0):
        raise _no_outline(f"the pad is about {2.0 * reach_mm(outline):.3g} mm across")
    return Pad(name="given", outline=shapely.transform(outline, lambda points: points - np.array(outline.centroid.coords[0])))


def _no_outline(found: str) -> BadInput:
    return BadInput(
        found=found,
        needed=f"a simple polygon of 3 to {MOST_CORNERS} corners in mm, {SIZE_RANGE_MM[0]:g} to {SIZE_RANGE_MM[1]:g} mm across, is needed",
        remedy="write its corners in order, like 0,0 40,0 40,25 0,25",
    )


def reach_mm(outline: Polygon) -> float:
    """Distance of the farthest corner from the middle of the area."""
    return float(np.max(np.hypot(*(shapely.get_coordinates(outline) - np.array(outline.centroid.coords[0])).T)))


def cut_pieces(pad: Pad, cut: Cut) -> tuple[Polygon, ...]:
    """The pieces a pad gives when cut through its middle, where they lay in it, a saw's width apart."""
    if cut is Cut.WHOLE:
        return (pad.outline,)
    count = PER_PAD[cut]
    far = 3.0 * reach_mm(pad.outline)
    pieces = []
    for number in range(count):
        ends = 2.0 * math.pi * (np.array([number, number + 0.5, number + 1]) / count)
        wedge = Polygon([(0.0, 0.0), *((far * math.cos(end), far * math.sin(end)) for end in ends)])
        if cut is Cut.HALF:
            low, high = (-far, far), ((0.0, far) if number == 0 else (-far, 0.0))
            wedge = shapely.box(low[0], high[0], low[1], high[1])
        piece = pad.outline.intersection(wedge.buffer(-SAWN_MM / 2.0, join_style="mitre"))
        pieces.append(max(piece.geoms, key=lambda part: part.area) if hasattr(piece, "geoms") else piece)
    return tuple(pieces)


def centred(outline: Polygon) -> Polygon:
    """The outline moved so that the middle of its area is the origin."""
    middle = np.array(outline.centroid.coords[0])
    return shapely.transform(outline, lambda points: points - middle)


def placed(outline: Polygon, *, x_mm: float, y_mm: float, turn_rad: float) -> Polygon:
    """The outline turned about the origin and then moved."""
    c, s = math.cos(turn_rad), math.sin(turn_rad)
    turn = np.array([[c, s], [-s, c]])
    return shapely.transform(outline, lambda points: points @ turn + [x_mm, y_mm])
