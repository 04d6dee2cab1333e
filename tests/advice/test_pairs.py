"""Which plates can run together: signs and limits that mechanics gives."""

import pytest

from straightband.advice.pairs import Bench, Misfit, Plate, pair_up
from straightband.face.shapes import ellipse, round_face

BENCH = Bench(spindle_rpm=30.0, top_rpm=3.0, strokes_per_min=40.0, load_n=10.0)


def disc(diameter_mm, name="R"):
    return Plate(name=f"{name}{diameter_mm:g}", face=round_face(diameter_mm=diameter_mm), weight_n=8.0, sag_um=0.0)


def oval(minor_mm, name="E"):
    return Plate(name=f"{name}{minor_mm:g}", face=ellipse(minor_mm=minor_mm), weight_n=8.0, sag_um=0.0)


def test_equal_plates_share_the_time():
    """Equal plates run either way up for the same time with the same stroke, about a third of their diameter (common practice, no source)."""
    pairing = pair_up((0, 1), plates=(disc(100.0), disc(100.0)), bench=BENCH)
    assert [way.share for way in pairing.ways] == pytest.approx([0.5, 0.5], abs=1e-6)
    assert [way.stroke_mm for way in pairing.ways] == pytest.approx([100.0 / 3.0] * 2, rel=1e-6)
    assert {(way.top, way.bottom) for way in pairing.ways} == {(0, 1), (1, 0)}
    assert pairing.bends_um_min == 0.0


def test_what_one_way_bends_the_other_undoes():
    """For sizes near each other the bending of both ways, weighed by their times, adds up to nothing, and each is that of the one on top."""
    pairing = pair_up((0, 1), plates=(disc(100.0), disc(92.0)), bench=BENCH)
    small_on_top, large_on_top = pairing.ways
    assert (small_on_top.top, large_on_top.top) == (1, 0)
    assert small_on_top.bends_um_min < 0.0 < large_on_top.bends_um_min  # the one on top goes hollow
    total = sum(way.share * way.bends_um_min for way in pairing.ways)
    assert total == pytest.approx(0.0, abs=1e-6 * abs(large_on_top.bends_um_min))
    assert sum(way.share for way in pairing.ways) == pytest.approx(1.0)


def test_the_smaller_needs_a_longer_stroke_the_smaller_it_is():
    """On top, a smaller plate must overhang more to undo what its working the middle does."""
    strokes = [pair_up((0, 1), plates=(disc(100.0), disc(size)), bench=BENCH).ways[0].stroke_mm / size for size in (100.0, 92.0, 84.0)]
    assert strokes == sorted(strokes)


def test_order_and_names_make_no_odds():
    """A pair is the same whichever piece comes first in the file."""
    one = pair_up((0, 1), plates=(disc(100.0), oval(80.0)), bench=BENCH)
    other = pair_up((0, 1), plates=(oval(80.0), disc(100.0)), bench=BENCH)
    assert one.ratio == pytest.approx(other.ratio)
    assert [way.stroke_mm for way in one.ways] == pytest.approx([way.stroke_mm for way in other.ways])


def test_a_much_smaller_plate_is_a_misfit_and_the_reason_says_so():
    """Half the size can't run: it would tip; 0.62 of it hollows the larger; both are said with the ratio."""
    tips = pair_up((0, 1), plates=(disc(100.0), disc(50.0)), bench=BENCH)
    assert isinstance(tips, Misfit)
    assert tips.reason.startswith("R50 is 0.50 of R100 across: it would tip on the rim of the larger")
    hollows = pair_up((0, 1), plates=(disc(100.0), disc(62.0)), bench=BENCH)
    assert isinstance(hollows, Misfit)
    assert "it works the middle and hollows the larger" in hollows.reason
    assert "rocks" in hollows.reason


def test_an_unlike_pair_runs_only_one_way_up():
    """At 0.71 only the smaller on top can be made even, with a stroke longer than itself is wide; what it bends is nothing."""
    pairing = pair_up((0, 1), plates=(disc(150.0), oval(90.0)), bench=BENCH)
    assert [(way.top, way.share) for way in pairing.ways] == [(1, 1.0)]
    assert pairing.ways[0].stroke_mm > 0.8 * oval(90.0).diameter_mm
    assert abs(pairing.ways[0].bends_um_min) < 0.03 * pairing.ways[0].bottom_um_min
