"""Strokes as words, and the zone that is drawn for one."""

import itertools

import numpy as np
import pytest

from straightband.advice.strokes.candidates import candidate_strokes
from straightband.advice.strokes.stroke import Lap, Stroke, Way, stroke_from_words, written, zone_of
from straightband.errors import BadInput
from straightband.face.shapes import ellipse, rectangle, round_face

LAPS = (
    Lap(name="full", diameter_mm=110.0, force_n=25.0, strokes_per_min=40.0),
    Lap(name="half lap", diameter_mm=45.0, force_n=6.0, strokes_per_min=60.0),
)


@pytest.mark.parametrize("face", [ellipse(minor_mm=80.0), round_face(diameter_mm=90.0), rectangle(width_mm=70.0, length_mm=110.0)])
def test_every_stroke_is_made_again_from_its_words(face):
    """What the program writes of a stroke is what it reads: a run kept in a file is the run that was advised."""
    strokes = candidate_strokes(face, laps=LAPS, table_rpm=20.0)
    assert {stroke.way for stroke in strokes} == set(Way)
    assert [stroke_from_words(written(stroke), laps=LAPS) for stroke in strokes] == list(strokes)


def test_without_a_table_nothing_turns():
    """A shop without a turning table is advised strokes over one place only."""
    strokes = candidate_strokes(ellipse(minor_mm=80.0), laps=LAPS, table_rpm=0.0)
    assert {stroke.way for stroke in strokes} == {Way.STILL}


def test_a_small_lap_carries_no_mirror():
    """A mirror is laid only on laps not much smaller than itself."""
    strokes = candidate_strokes(ellipse(minor_mm=80.0), laps=LAPS, table_rpm=20.0)
    assert {stroke.lap.name for stroke in strokes if stroke.way in (Way.MIRROR_TURNED, Way.MIRROR_HELD)} == {"full"}


@pytest.mark.parametrize(
    "words", ["small: lap on top, table still", "full: lap on top, table still, travel lots", "full", "", "full: " + "9" * 400]
)
def test_other_words_are_refused(words):
    """A line that no stroke was written as is refused with what is needed."""
    with pytest.raises(BadInput, match="needed"):
        stroke_from_words(words, laps=LAPS)


def test_the_zone_is_where_the_lap_s_middle_goes():
    """Turned by its direction, the box is as long as the travel and as wide as the swing, about its place (definition)."""
    stroke = Stroke(lap=LAPS[1], way=Way.STILL, table_rpm=0.0, travel_mm=40.0, swing_mm=10.0, u_mm=5.0, v_mm=-3.0, along_deg=30.0)
    zone = zone_of(stroke) - [5.0, -3.0]
    along, across = np.array([np.cos(np.pi / 6), np.sin(np.pi / 6)]), np.array([-np.sin(np.pi / 6), np.cos(np.pi / 6)])
    assert np.ptp(zone @ along) == pytest.approx(40.0)
    assert np.ptp(zone @ across) == pytest.approx(10.0)
    assert zone.mean(axis=0) == pytest.approx([0.0, 0.0], abs=1e-9)


def test_candidates_are_told_apart():
    """No stroke is tried twice."""
    strokes = candidate_strokes(ellipse(minor_mm=80.0), laps=LAPS, table_rpm=20.0)
    assert all(one != other for one, other in itertools.combinations(strokes, 2))
