"""Rates by radius against cases in closed form.

Sources: relative velocity of turning plates and the arc of a circle under a disc, elementary (values recomputed by quadrature); wear as pressure
times speed times the share of the circle covered, Preston 1927.
"""

import math

import numpy as np
import pytest
import shapely

from straightband.face.shapes import ellipse, round_face
from straightband.wear.kinematics import Motion
from straightband.wear.pads.outlines import placed, round_pad
from straightband.wear.pads.pressed import pressed_rates
from straightband.wear.pads.rates import covered_share, passing_of, points_in, rates_of, unevenness


def turning(**told):
    return Motion(**{"spindle_rpm": 0.0, "top_rpm": 0.0, "stroke_mm": 0.0, "strokes_per_min": 0.0, "side_mm": 0.0} | told)


def test_plates_that_turn_alike_wear_alike_everywhere():
    """With both turning at 60 rpm, axes 80 mm apart, every point moves at 0.50265 m/s (PAD-1)."""
    passing = passing_of(turning(spindle_rpm=60.0, top_rpm=60.0, side_mm=80.0), reach_mm=50.0, plate_radius_mm=140.0)
    assert passing.speed_mm_s.sum(axis=1) == pytest.approx(np.full(25, 502.6548246), rel=1e-9)


def test_mean_speed_where_the_plate_alone_turns():
    """The plate at 60 rpm, the mirror still, 80 mm apart: 0.55308 m/s at 50 mm from the mirror's centre (PAD-1)."""
    passing = passing_of(turning(spindle_rpm=60.0, side_mm=80.0), reach_mm=50.0, plate_radius_mm=140.0)
    assert passing.speed_mm_s[-1].sum() == pytest.approx(553.0799383, rel=1e-4)


@pytest.mark.parametrize(
    ("radius_mm", "away_mm", "circle_mm", "share"),
    [(50.0, 100.0, 100.0, 0.1608612465), (50.0, 100.0, 75.0, 0.1608612465), (50.0, 100.0, 140.0, 0.08092404249)],
)
def test_arc_of_a_circle_under_a_disc(radius_mm, away_mm, circle_mm, share):
    """The share of a circle about the middle of the plate that a disc covers (PAD-2)."""
    disc = placed(round_pad(diameter_mm=2.0 * radius_mm).outline, x_mm=away_mm, y_mm=0.0, turn_rad=0.0)
    edges = np.array([circle_mm - 0.25, circle_mm + 0.25])
    assert covered_share([disc], edges_mm=edges, step_mm=0.05)[0] == pytest.approx(share, rel=3e-3)  # 96 corners and a raster of 0.05 mm


def test_a_mirror_that_spins_on_a_sector_wears_with_the_radius():
    """Each circle covered alike: twice as far out wears twice as fast (PAD-3)."""
    passing = passing_of(turning(top_rpm=30.0), reach_mm=80.0, plate_radius_mm=100.0)
    sector = shapely.Polygon([(0.0, 0.0), *((200.0 * math.cos(t), 200.0 * math.sin(t)) for t in np.linspace(0.0, 1.0, 50))])
    sector = sector.intersection(shapely.Point(0.0, 0.0).buffer(100.0, quad_segs=64))
    rates = rates_of(covered_share([sector], edges_mm=passing.edges_mm, step_mm=0.2), passing)
    assert rates[24] / rates[12] == pytest.approx(2.0, rel=0.01)  # rings of 1.25 mm
    assert rates[0] == 0.0


def test_a_mirror_that_spins_on_a_radial_bar_wears_evenly():
    """A straight bar of one width covers circles as 1 / r: even wear (PAD-3)."""
    passing = passing_of(turning(top_rpm=30.0), reach_mm=80.0, plate_radius_mm=100.0)
    rates = rates_of(covered_share([shapely.box(0.0, -4.0, 100.0, 4.0)], edges_mm=passing.edges_mm, step_mm=0.1), passing)
    assert rates[24] / rates[12] == pytest.approx(1.0, rel=0.02)  # a point stands for the ring it lies in, 1.25 mm wide


def test_nothing_is_worn_where_no_pad_is_met():
    """Off the plate nothing wears, and unevenness is then without end."""
    passing = passing_of(turning(spindle_rpm=3.0, top_rpm=2.0, stroke_mm=10.0, strokes_per_min=60.0), reach_mm=80.0, plate_radius_mm=60.0)
    rates = rates_of(np.ones(passing.edges_mm.size - 1), passing)
    assert rates[-1] == 0.0
    assert unevenness(rates) == math.inf


def test_points_fill_an_outline():
    """The raster of points stands for the area it fills, to its step."""
    assert len(points_in(shapely.box(0.0, 0.0, 20.0, 10.0), step_mm=0.5)) * 0.25 == pytest.approx(200.0)


def test_pressed_rates_agree_with_even_pressure_where_pressure_is_even():
    """A small mirror on pads all over, in the middle of a plate: balance of moments changes nothing, and neither way of counting does."""
    motion = turning(spindle_rpm=20.0, top_rpm=14.0, stroke_mm=30.0, strokes_per_min=40.0)
    passing = passing_of(motion, reach_mm=29.0, plate_radius_mm=100.0)
    whole = [shapely.Point(0.0, 0.0).buffer(100.0, quad_segs=64)]
    pressed = pressed_rates(
        whole, face=round_face(diameter_mm=60.0), plate_radius_mm=100.0, motion=motion, passing=passing, rng=np.random.default_rng(0)
    )
    even = rates_of(np.ones(passing.edges_mm.size - 1), passing)
    assert pressed.rate == pytest.approx(even, rel=0.02)  # 384 poses against 1024
    assert pressed.lifted == 0.0


def test_a_mirror_that_overhangs_presses_harder_inside():
    """Past the rim of the plate the piece tips: its middle wears faster than even pressure says (the upper plate goes concave)."""
    motion = turning(spindle_rpm=20.0, top_rpm=14.0, stroke_mm=90.0, strokes_per_min=40.0)
    passing = passing_of(motion, reach_mm=61.0, plate_radius_mm=75.0)
    whole = [shapely.Point(0.0, 0.0).buffer(75.0, quad_segs=64)]
    pressed = pressed_rates(
        whole, face=ellipse(minor_mm=90.0), plate_radius_mm=75.0, motion=motion, passing=passing, rng=np.random.default_rng(0)
    )
    even = rates_of(np.ones(passing.edges_mm.size - 1), passing)
    assert pressed.rate[0] / pressed.rate[-1] > 1.05 * even[0] / even[-1]


def test_pads_placed_by_hand_are_in_the_uncertainty():
    """Small pads far apart leave more doubt than one plate of felt."""
    motion = turning(spindle_rpm=3.0, top_rpm=2.0, stroke_mm=20.0, strokes_per_min=60.0)
    passing = passing_of(motion, reach_mm=29.0, plate_radius_mm=60.0)
    small = round_pad(diameter_mm=16.0).outline
    few = [placed(small, x_mm=x, y_mm=y, turn_rad=0.0) for x, y in ((2, 3), (26, 5), (-18, 16), (-15, -13), (13, -20), (10, 24), (-40, 0))]
    felt = [shapely.Point(0.0, 0.0).buffer(60.0)]
    found = [
        pressed_rates(
            outlines, face=round_face(diameter_mm=60.0), plate_radius_mm=60.0, motion=motion, passing=passing, rng=np.random.default_rng(0)
        ).uncertainty
        for outlines in (few, felt)
    ]
    assert found[0].max() > 3.0 * found[1].max()
