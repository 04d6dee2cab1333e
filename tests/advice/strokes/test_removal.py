"""Wear of single strokes against Preston's equation, the balance of the load, overhanging plates and the slow simulation of whole faces."""

import math
from dataclasses import replace

import numpy as np
import pytest

from straightband.advice.strokes.edge import rim_of
from straightband.advice.strokes.library import CELLS, library_of, removed_on
from straightband.advice.strokes.removal import PRESTON_PER_PA, poses_for, removal_nm_min
from straightband.advice.strokes.stroke import Lap, Stroke, Way
from straightband.errors import BadInput
from straightband.face.shapes import ellipse, round_face
from straightband.wear import whole
from straightband.wear.surface import flat_surface

FACE = ellipse(minor_mm=80.0)
FULL = Lap(name="full", diameter_mm=110.0, force_n=25.0, strokes_per_min=40.0)
HALF = Lap(name="half", diameter_mm=40.0, force_n=6.0, strokes_per_min=60.0)
SURFACE = flat_surface(FACE, cells=CELLS)
LOCAL = Stroke(lap=HALF, way=Way.STILL, table_rpm=0.0, travel_mm=20.0, swing_mm=8.0, u_mm=12.0, v_mm=20.0, along_deg=30.0)
TURNING = Stroke(lap=HALF, way=Way.TURNING, table_rpm=20.0, travel_mm=20.0, swing_mm=8.0, side_mm=20.0)


def places(face):
    u, v = np.meshgrid(np.linspace(-face.semi_u_mm, face.semi_u_mm, 31), np.linspace(-face.semi_v_mm, face.semi_v_mm, 31))
    inside = face.clear_aperture().contains(u, v)
    return {"u_mm": u[inside], "v_mm": v[inside]}


def test_the_usual_rate_lies_where_rates_were_measured():
    """The default coefficient lies between the two published figures, 1e-13 and 1.6e-12 per Pa, which is a band and no limit (Preston's k)."""
    assert 1e-13 <= PRESTON_PER_PA <= 1.6e-12


def test_the_glass_taken_off_is_load_times_path():
    """All that a lap takes off in a minute is k times its load times its path: 2 x travel a stroke (Preston 1927 and the balance of the load)."""
    slow_hand = removal_nm_min(LOCAL, surface=SURFACE)
    volume_mm3 = 1e-6 * float(np.sum(slow_hand * SURFACE.areas_mm2))
    path_m = 60.0 * 2.0 * 20.0e-3
    expected = PRESTON_PER_PA * 6.0 * path_m * 1e9  # m3 to mm3
    assert volume_mm3 == pytest.approx(expected, rel=0.05)  # the hand's slow turning adds some of it


@pytest.mark.parametrize(
    ("lap", "stroke"), [(HALF, LOCAL), (HALF, TURNING), (FULL, Stroke(lap=FULL, way=Way.TURNING, table_rpm=20.0, travel_mm=35.0))]
)
def test_against_the_simulation_of_whole_faces(lap, stroke):
    """The slow simulation of two whole plates, with the lap as a plate and looking up one grid in the other, wears alike (independent code)."""
    plate = flat_surface(round_face(diameter_mm=lap.diameter_mm), cells=81)
    grit = whole.Grit(stiffness_kpa_um=5.0, top_per_pa=0.0, bottom_per_pa=PRESTON_PER_PA)
    slow = 1000.0 * whole.wear_rates(plate, SURFACE, poses=poses_for(stroke), grit=grit, force_n=lap.force_n).bottom_um_min
    fast = removal_nm_min(stroke, surface=SURFACE)
    if stroke.way is Way.TURNING:  # alike in the four quarters, whose mean is what the advice uses
        slow, fast = ((rate + rate[::-1] + rate[:, ::-1] + rate[::-1, ::-1]) / 4.0 for rate in (slow, fast))
    inside = SURFACE.areas_mm2 > 0.999 * SURFACE.areas_mm2.max()
    assert np.abs(fast - slow)[inside].max() < 0.06 * slow.max()  # a lap's rim is a cell wide in one, a fraction in the other
    assert float(np.sum(fast * SURFACE.areas_mm2)) == pytest.approx(float(np.sum(slow * SURFACE.areas_mm2)), rel=0.01)


def test_a_stiff_lap_bears_on_hills():
    """On a bumpy face under a stiff lap the slow simulation of whole plates wears alike, and both take more off what stands proud."""
    bumpy = replace(SURFACE, heights_um=0.3 * np.cos(SURFACE.u_mm / 8.0)[None, :] * np.ones((CELLS, 1)))
    stroke = Stroke(lap=FULL, way=Way.TURNING, table_rpm=20.0, travel_mm=35.0)
    plate = flat_surface(round_face(diameter_mm=FULL.diameter_mm), cells=81)
    grit = whole.Grit(stiffness_kpa_um=3.0, top_per_pa=0.0, bottom_per_pa=PRESTON_PER_PA)
    slow = 1000.0 * whole.wear_rates(plate, bumpy, poses=poses_for(stroke), grit=grit, force_n=FULL.force_n).bottom_um_min
    fast = removal_nm_min(stroke, surface=bumpy, layer_kpa_um=3.0)
    inside = SURFACE.areas_mm2 > 0.999 * SURFACE.areas_mm2.max()
    assert np.abs(fast - slow)[inside].max() < 0.03 * slow.max()
    more = fast - removal_nm_min(stroke, surface=SURFACE)
    assert np.corrcoef(more[inside], bumpy.heights_um[inside])[0, 1] > 0.8


def test_on_top_the_middle_wears_below_the_rim():
    """An overhanging stroke wears the upper plate's middle more and the lower plate's rim more (overhanging discs, statics)."""
    face = round_face(diameter_mm=100.0)
    lap = replace(FULL, diameter_mm=100.0)
    strokes = tuple(Stroke(lap=lap, way=way, table_rpm=20.0, travel_mm=50.0) for way in (Way.MIRROR_TURNED, Way.TURNING))
    library = library_of(strokes, face=face, **places(face))
    on_top, below = (rim_of(rate, library=library, clear=face.clear_aperture()).ratio for rate in library.rates_nm_min)
    assert on_top < 0.9
    assert below > 1.1


def test_a_turning_table_wears_an_ellipse_unevenly():
    """A lap held beside the middle meets the ends of the short axis and misses those of the long one; a round face has no ends."""
    strokes = (replace(TURNING, side_mm=24.0),)
    ends = [
        rim_of(library.rates_nm_min[0], library=library, clear=library.face.clear_aperture()).ends_ratio
        for library in (library_of(strokes, face=face, **places(face)) for face in (FACE, round_face(diameter_mm=80.0)))
    ]
    assert ends[0] < 0.5
    assert ends[1] == pytest.approx(1.0, abs=0.05)  # 160 poses scatter by so much


@pytest.mark.parametrize(("over_u", "over_v"), [(False, True), (True, False), (True, True)])
def test_the_quarters_of_an_outline_are_mirror_images(over_u, over_v):
    """A stroke in another quarter, taken over from the first, wears as if it had been worked out by itself."""
    along = LOCAL.along_deg if over_u == over_v else 180.0 - LOCAL.along_deg
    other = replace(LOCAL, u_mm=-12.0 if over_u else 12.0, v_mm=-20.0 if over_v else 20.0, along_deg=along)
    library = library_of((other,), face=FACE, **places(FACE))
    alone = removal_nm_min(other, surface=SURFACE)
    # The hand turns the lap one way only, which a mirror image does not: a few per cent of the speed.
    assert np.abs(library.grids_nm_min[0] - alone).max() < 0.1 * alone.max()
    assert float(library.grids_nm_min[0].sum()) == pytest.approx(float(alone.sum()), rel=0.02)


def test_wear_adds_up():
    """Minutes times rates times factors, at any place of the face (definition)."""
    library = library_of((LOCAL, TURNING), face=FACE, **places(FACE))
    depth = removed_on(library, np.array([3.0, 5.0]), factors=np.array([2.0, 0.5]), u_mm=library.u_mm, v_mm=library.v_mm)
    assert depth == pytest.approx(6.0 * library.rates_nm_min[0] + 2.5 * library.rates_nm_min[1], abs=1e-9)


def test_a_lap_that_falls_off_is_left_out():
    """A stroke whose lap leaves the glass is no choice, and where none is left the laps are refused."""
    off = replace(LOCAL, u_mm=60.0, v_mm=0.0)
    with pytest.raises(BadInput, match="none of the strokes can be done"):
        library_of((off,), face=FACE, **places(FACE))
    assert library_of((off, LOCAL), face=FACE, **places(FACE)).strokes == (LOCAL,)
    assert math.isfinite(removal_nm_min(LOCAL, surface=SURFACE).max())
