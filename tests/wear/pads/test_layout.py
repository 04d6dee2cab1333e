"""Lay-outs: packing bounds, no overlap, no edge, no repeats, and at least twice as even as rows.

Sources: densest packings of equal discs, in the plane pi / (2 sqrt 3), seven in a disc 7/9 (elementary).
"""

import math

import numpy as np
import pytest
import shapely

from straightband.errors import BadInput
from straightband.face.shapes import ellipse, round_face
from straightband.wear.kinematics import Motion
from straightband.wear.pads.evened import Plate, best_stroke, even_pads, stroke_reach_mm
from straightband.wear.pads.hexagonal import hexagonal_layout
from straightband.wear.pads.layout import Layout, Piece, Task, naive_layout, repeats
from straightband.wear.pads.outlines import Cut, petalled_pad, placed, round_pad, square_pad
from straightband.wear.pads.rates import passing_of, unevenness

HAND = Motion(spindle_rpm=3.0, top_rpm=2.0, stroke_mm=42.0, strokes_per_min=60.0)
TABLE = Motion(spindle_rpm=30.0, top_rpm=20.0, stroke_mm=42.0, strokes_per_min=40.0, side_mm=15.0)
CASES = {
    "round by hand": (round_pad(diameter_mm=50.0), 100.0, ellipse(minor_mm=90.0), HAND, 0.0),
    "round cut, beside the middle": (round_pad(diameter_mm=50.0), 100.0, ellipse(minor_mm=90.0), TABLE, 0.5),
    "petalled, round mirror": (petalled_pad(diameter_mm=80.0), 150.0, round_face(diameter_mm=150.0), HAND, 0.0),
    "small squares": (square_pad(side_mm=25.0), 100.0, ellipse(minor_mm=60.0), HAND, 0.0),
}


def plate_of(name):
    pad, radius, face, motion, coverage = CASES[name]
    return Plate(radius_mm=radius, gap_mm=2.0, rim_mm=1.0, least_coverage=coverage, pad=pad, face=face, motion=motion, clear_share=0.97)


@pytest.fixture(scope="module", params=list(CASES))
def laid(request):
    plate = plate_of(request.param)
    return plate, even_pads(plate, rng=np.random.default_rng(1))


def test_no_piece_lies_over_another_or_over_the_edge(laid):
    """All pieces keep the gap and the rim, by their own corners and distances."""
    plate, evened = laid
    outlines = [piece.outline for piece in evened.layout.pieces]
    assert all(a.distance(b) >= plate.gap_mm for number, a in enumerate(outlines) for b in outlines[:number])
    assert all(np.hypot(*shapely.get_coordinates(each).T).max() <= plate.radius_mm - plate.rim_mm for each in outlines)


def test_twice_as_even_as_rows(laid):
    """Largest rate over the smallest, beyond 1, is at most half of that of the hexagonal lay-out for the same stroke."""
    _, evened = laid
    assert evened.found
    assert unevenness(evened.pressed.rate) - 1.0 <= 0.5 * (unevenness(evened.naive_pressed.rate) - 1.0)


def test_no_spacing_repeats(laid):
    """No two pieces lie on one circle about the middle, no two neighbours at one distance; rows repeat both."""
    _, evened = laid
    assert repeats(evened.layout) == 0
    assert repeats(evened.naive) > 0


def test_as_few_pads_as_needed(laid):
    """No more pads than rows take unless coverage is asked for, which is then met by pads cut into parts."""
    plate, evened = laid
    cut = [piece for piece in evened.layout.pieces if piece.cut is not Cut.WHOLE]
    if plate.least_coverage:
        assert cut
        assert evened.layout.coverage >= plate.least_coverage
        assert {(piece.pad, piece.part) for piece in cut} == {
            (piece.pad, k) for piece in cut for k in range({"half": 2, "petal": 6}[piece.cut])
        }
    else:
        assert evened.layout.pads_used <= evened.naive.pads_used + 1


def test_another_stroke_keeps_the_mirror_on_the_plate(laid):
    """The stroke offered is no worse than the one told, and its rim stays on the plate."""
    plate, evened = laid
    stroke = best_stroke(evened.layout, plate=plate)
    motion = Motion(spindle_rpm=1.0, top_rpm=1.0, stroke_mm=stroke.stroke_mm, strokes_per_min=1.0, side_mm=stroke.side_mm)
    assert stroke.uneven <= unevenness(evened.layout.rates) + 1e-9
    assert stroke_reach_mm(plate.face, motion) <= plate.radius_mm + 1e-9


def test_the_same_seed_lays_the_same_pads():
    """A lay-out depends on the generator it is given, and on nothing else."""
    first, second = (even_pads(plate_of("round by hand"), rng=np.random.default_rng(4)).layout for _ in range(2))
    assert [piece.outline.wkb for piece in first.pieces] == [piece.outline.wkb for piece in second.pieces]


def test_seven_discs_in_a_disc():
    """Pads a third of the plate wide fill 7/9 of it in rows (PAD-4), seven of them."""
    found = hexagonal_layout(round_pad(diameter_mm=200.0 / 3.0), plate_radius_mm=100.0, gap_mm=0.0)
    assert len(found) == 7
    assert sum(outline.area for outline in found) / (math.pi * 100.0**2) == pytest.approx(7.0 / 9.0, rel=1e-3)  # 96 corners


@pytest.mark.parametrize("diameter_mm", [4.0, 7.3, 11.0])
def test_rows_stay_under_the_densest_packing(diameter_mm):
    """Round pads in rows never cover more than pi / (2 sqrt 3) = 0.9069 (PAD-4), and small ones come near it."""
    found = hexagonal_layout(round_pad(diameter_mm=diameter_mm), plate_radius_mm=100.0, gap_mm=0.0)
    share = sum(outline.area for outline in found) / (math.pi * 100.0**2)
    assert 0.75 < share < 0.9069


def test_repeats_are_counted():
    """Three pads at the corners of a triangle about the middle: two repeats of radius and two of spacing; moved apart, none."""
    pad = round_pad(diameter_mm=30.0)

    def layout(radii):
        places = [(r * math.cos(t), r * math.sin(t)) for r, t in zip(radii, (0.0, 2.1, 4.2), strict=True)]
        pieces = tuple(
            Piece(outline=placed(pad.outline, x_mm=x, y_mm=y, turn_rad=0.0), cut=Cut.WHOLE, pad=k, part=0)
            for k, (x, y) in enumerate(places)
        )
        return Layout(pieces=pieces, plate_radius_mm=60.0, gap_mm=1.0, rim_mm=0.0, covered=np.ones(1), rates=np.ones(1))

    assert repeats(layout((20.0, 20.0, 20.0))) >= 2
    assert repeats(layout((17.0, 20.0, 25.0))) == 0


def test_a_pad_larger_than_the_plate_is_refused():
    """No pad fits: one sentence."""
    passing = passing_of(HAND, reach_mm=20.0, plate_radius_mm=30.0)
    task = Task(pad=round_pad(diameter_mm=70.0), plate_radius_mm=30.0, gap_mm=2.0, rim_mm=1.0, passing=passing)
    with pytest.raises(BadInput, match="a pad 70 mm across was given for a plate of 60 mm; a pad that lies wholly on the plate is needed"):
        naive_layout(task)


def test_a_mirror_that_tips_off_is_refused():
    """A stroke that takes the mirror's middle off the pads is refused, as in grinding."""
    plate = plate_of("round by hand")
    far = Plate(
        **{name: getattr(plate, name) for name in plate.__slots__ if name != "motion"},
        motion=Motion(spindle_rpm=3.0, top_rpm=2.0, stroke_mm=300.0, strokes_per_min=60.0),
    )
    with pytest.raises(
        BadInput, match="in part of a stroke of 300 mm the middle of the mirror has no pads all round it; pads on all sides"
    ):
        even_pads(far, rng=np.random.default_rng(0))
