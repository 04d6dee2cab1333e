"""Glass as it really lies, in the budget of a reading.

Sources: as tests/glass.
"""

import math

import numpy as np
import pytest

from straightband.face.shapes import ellipse, rectangle, round_face
from straightband.fringes.budget import sum_up
from straightband.fringes.rest import WARM_LIMIT_NM, Rest, Support, rest_causes, rest_facts, rest_state
from straightband.glass import GLASSES, GRAVITY_M_S2, weight_kg
from straightband.glass.film import settling_s
from straightband.glass.heat import bend_after_nm
from straightband.heightmap.figures import Points

BOROSILICATE = GLASSES["borosilicate"]
PLATE = round_face(diameter_mm=200.0)


def points_on(face, count=61):
    axis = np.linspace(-1.0, 1.0, count)
    u, v = np.meshgrid(face.semi_u_mm * axis, face.semi_v_mm * axis)
    inside = face.contains(u, v)
    return Points(u_mm=u[inside], v_mm=v[inside], area=np.ones(int(inside.sum())), clear=face)


def rest(**changes):
    return Rest(**{"glass": BOROSILICATE, "thickness_mm": 25.0, **changes})


def test_nothing_told_is_nothing_counted():
    """Without glass and thickness there is no such line."""
    assert rest_causes(None, face=PLATE, points=points_on(PLATE)) == []


def test_the_rim_carried_plate_in_the_budget():
    """Carried at its rim a 200 mm plate has 42.64 nm of PV and power from its weight (GRAV-1; power of the best sphere is a little less)."""
    points = points_on(PLATE)
    causes = rest_causes(rest(support=Support.RIM), face=PLATE, points=points)
    budget = sum_up(causes, points=points, heights_nm=np.zeros(points.area.size))
    assert budget.expanded_nm["pv_nm"] == pytest.approx(42.644, rel=2e-3)  # the points leave out the very rim
    assert budget.expanded_nm["power_nm"] == pytest.approx(budget.expanded_nm["pv_nm"], rel=0.1)
    assert [cause.name for cause in causes] == ["weight on its support"]


def test_three_points_inside_are_the_best_and_at_the_rim_the_worst():
    """A round plate on three points: 16.2 nm at 0.645 (GRAV-2), and much more at the rim, as a shim gives."""
    inside = rest_state(rest(support=Support.THREE_INSIDE), face=PLATE)
    assert inside.weight_pv_nm == pytest.approx(16.199, rel=0.02)
    assert rest_state(rest(), face=PLATE).weight_pv_nm > 3.0 * inside.weight_pv_nm


def test_heat_is_power_that_fades():
    """Four minutes after a hand the line is a sphere of the two bends' sum; a glass that hardly expands has none to speak of."""
    face = ellipse(minor_mm=90.0)
    points = points_on(face)
    heat = rest_causes(rest(thickness_mm=15.0, handled_s=240.0), face=face, points=points)[1]
    expected = sum(bend_after_nm(BOROSILICATE, width_mm=2.0 * face.semi_major_mm, thickness_mm=15.0, seconds=240.0))
    budget = sum_up([heat], points=points, heights_nm=np.zeros(points.area.size))
    assert budget.expanded_nm["power_nm"] == pytest.approx(expected, rel=1e-6)
    later = rest_state(rest(thickness_mm=15.0, handled_s=3600.0), face=face)
    assert later.heat_nm < expected
    assert rest_state(rest(glass=GLASSES["glass-ceramic"], handled_s=600.0), face=face).heat_nm < WARM_LIMIT_NM


def test_doubts_of_time():
    """Photographed sooner than the wait or before the plate has sunk: each has its doubt; without handling there is none."""
    state = rest_state(rest(handled_s=2.0), face=PLATE)
    assert state.flags == ("still-warm", "still-settling")
    load = weight_kg(BOROSILICATE, volume_mm3=math.pi * 100.0**2 * 25.0) * GRAVITY_M_S2
    assert state.settling_s == pytest.approx(settling_s(load_n=load, radius_mm=100.0, from_um=50.0, to_um=3.0))
    assert rest_state(rest(handled_s=state.wait_s + 1.0), face=PLATE).flags == ()
    assert rest_state(rest(), face=PLATE).flags == ()


@pytest.mark.parametrize("face", [rectangle(width_mm=40.0, length_mm=120.0), ellipse(minor_mm=50.0)])
@pytest.mark.parametrize("support", list(Support))
def test_every_outline_on_every_support(face, support):
    """Each outline bends by some nanometres on each support, and all of it can be written down as JSON."""
    facts = rest_facts(rest(thickness_mm=10.0, support=support, handled_s=60.0), face=face)
    assert 0.1 < facts["weight_pv_nm"] < 200.0
    assert all(isinstance(value, str | float | int) for value in facts.values())
