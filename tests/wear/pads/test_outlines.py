"""Outlines of pads and their parts, against areas in closed form."""

import math

import numpy as np
import pytest
import shapely

from straightband.errors import BadInput
from straightband.wear.pads.outlines import (
    PER_PAD,
    SAWN_MM,
    Cut,
    centred,
    cut_pieces,
    given_pad,
    petalled_pad,
    placed,
    reach_mm,
    round_pad,
    square_pad,
)


def test_areas_of_whole_pads():
    """A disc, a square, a given rectangle, and six petals r = a (1 - d/2 (1 - cos 6t)), whose area is pi a2 ((1 - d/2)^2 + d2/8)."""
    assert round_pad(diameter_mm=50.0).outline.area == pytest.approx(math.pi * 25.0**2, rel=1e-3)  # 96 corners lie inside the disc
    assert square_pad(side_mm=40.0).outline.area == 1600.0
    assert given_pad(np.array([(0, 0), (40, 0), (40, 25), (0, 25)])).outline.area == 1000.0
    depth = 0.18
    assert petalled_pad(diameter_mm=50.0).outline.area == pytest.approx(math.pi * 25.0**2 * ((1 - depth / 2) ** 2 + depth**2 / 8), rel=2e-3)


def test_no_corner_lies_outside_the_disc():
    """The polygon of a round pad never promises more than the pad is."""
    assert reach_mm(round_pad(diameter_mm=50.0).outline) <= 25.0 + 1e-9


@pytest.mark.parametrize(
    "pad", [round_pad(diameter_mm=50.0), petalled_pad(diameter_mm=50.0), square_pad(side_mm=40.0)], ids=lambda p: p.name
)
@pytest.mark.parametrize("cut", [Cut.HALF, Cut.PETAL])
def test_parts_are_alike_and_lose_only_the_cut(pad, cut):
    """Halves are alike, and all parts together are the pad less the width of the cuts; none lies over another."""
    parts = cut_pieces(pad, cut)
    assert len(parts) == PER_PAD[cut]
    if cut is Cut.HALF or pad.name != "square":
        assert [part.area for part in parts] == pytest.approx([parts[0].area] * len(parts), rel=1e-6)
    turns = [math.pi * k / (len(parts) // 2) for k in range(len(parts) // 2)]
    cuts = [shapely.LineString([(-99 * math.cos(t), -99 * math.sin(t)), (99 * math.cos(t), 99 * math.sin(t))]) for t in turns]
    length = sum(line.intersection(pad.outline).length for line in cuts)
    assert pad.outline.area - sum(part.area for part in parts) == pytest.approx(SAWN_MM * length, rel=0.05)  # where cuts cross they share
    for number, part in enumerate(parts):
        assert part.difference(pad.outline).area < 1e-9
        assert all(part.distance(other) >= SAWN_MM - 1e-6 for other in parts[:number])


def test_placing_turns_and_moves():
    """A piece keeps its shape; its middle lands where it was put, turned anticlockwise."""
    bar = centred(shapely.box(0.0, 0.0, 30.0, 10.0))
    there = placed(bar, x_mm=5.0, y_mm=-7.0, turn_rad=math.pi / 2.0)
    assert there.bounds == pytest.approx((0.0, -22.0, 10.0, 8.0))
    wedge = placed(shapely.Polygon([(0, 0), (10, 0), (0, 1)]), x_mm=0.0, y_mm=0.0, turn_rad=math.pi / 2.0)
    assert wedge.bounds == pytest.approx((-1.0, 0.0, 0.0, 10.0))


@pytest.mark.parametrize(
    ("corners", "found"),
    [
        ([(0, 0), (10, 0)], "the pad's outline has 2 corners"),
        ([(0, 0), (10, 10), (10, 0), (0, 10)], "the pad's outline crosses itself or has no area"),
        ([(0, 0), (10, 0), (20, 0)], "the pad's outline crosses itself or has no area"),
        ([(0, 0), (1, 0), (1, 1)], "the pad is about 1.49 mm across"),
    ],
)
def test_outlines_that_are_none_are_refused(corners, found):
    """A line, a bow tie and a crumb are refused in a sentence."""
    with pytest.raises(BadInput) as refusal:
        given_pad(np.array(corners, dtype=float))
    assert str(refusal.value).startswith(found)
