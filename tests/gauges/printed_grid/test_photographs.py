"""Grey places found on rendered photographs of a grid whose truth is known: blur, veil, tilt of 10 degrees, uneven light, JPEG.

The renderer knows nothing of the reader (synthetic/printed_grid.py). `benchmarks/backs.py` does the same on many more.
"""

from dataclasses import replace

import numpy as np
import pytest

from straightband.errors import GridNotFound, OutlineNotFound
from straightband.face.shapes import rectangle
from straightband.gauges.printed_grid.zones import CLEAR_ENOUGH
from straightband.synthetic.grid_campaign import grid_truth, random_grid_scene
from straightband.synthetic.printed_grid import GreyZone, render_grid
from straightband.workflows.clear import GridSetup, look_at_back


def scene_of(seed):
    scene = random_grid_scene(np.random.default_rng(seed), width_px=1200, height_px=900)

    return scene


def mark_of(scene):
    hour = (12.0 - scene.view.rotation_deg / 30.0 - 1e-9) % 12.0
    return hour if hour >= 1.0 else hour + 12.0


def looked_at(scene, seed=0, **told):
    setup = GridSetup(face=scene.face, mark_hour=mark_of(scene), **told)
    return look_at_back([("grid.jpg", render_grid(scene, rng=np.random.default_rng(seed)))], minutes=(0.0,), setup=setup).last


@pytest.mark.parametrize("seed", [0, 1, 3, 13, 20])
def test_grey_places_are_found(seed):
    """Centre within 3 %, radius within 5 % of the semi-minor axis, clear share within 0.03; the mirror is found unaided."""
    scene = scene_of(seed)
    truth, back = grid_truth(scene, enough=CLEAR_ENOUGH), looked_at(scene, seed)
    semi, zone = scene.face.semi_u_mm, back.clearing.zones[0]
    assert np.hypot(zone.u_mm - truth.u_mm, zone.v_mm - truth.v_mm) < 0.03 * semi  # 1 % from perspective, the rest from the averaging
    assert abs(zone.radius_mm - truth.radius_mm) < 0.05 * semi
    assert abs(back.clearing.fraction - truth.clear_fraction) < 0.03
    assert abs(back.clearing.fraction - truth.clear_fraction) < back.clearing.uncertainty
    assert abs(zone.radius_mm - truth.radius_mm) < zone.radius_uncertainty_mm
    assert zone.passed == pytest.approx(scene.zones[0].specular, abs=0.05)  # five hundredths are a tenth of "clear enough"
    assert back.clear.beside


@pytest.fixture(scope="module")
def plain():
    return scene_of(0)


def test_a_clear_back_is_clear(plain):
    """Without a grey place all of the face is clear and the roughness has an upper bound only."""
    back = looked_at(replace(plain, zones=()))
    assert back.clearing.zones == ()
    assert back.clearing.fraction == 1.0
    assert back.roughness.bound == "at most"


def test_a_back_grey_all_over_is_told_from_the_sheet_beside(plain):
    """Compared with the sheet beside it an evenly grey back is not clear anywhere, though it is as even as a clear one."""
    back = looked_at(replace(plain, zones=(), specular=0.2))
    assert back.clear.beside
    assert back.clearing.fraction < 0.01
    assert np.nanmedian(back.clear.passed) == pytest.approx(0.2, abs=0.05)


def test_without_grid_beside_the_clear_ring_is_compared_with(plain):
    """With the sheet no larger than the mirror the clearest part stands for clear, and that is said."""
    reach = 0.985 * plain.face.semi_u_mm
    small = replace(plain, sheet=replace(plain.sheet, reach_mm=reach, angle_deg=0.0))
    told = looked_at(plain).outline
    back = looked_at(small, outlines=(replace(told, told=True),))
    assert "compared-with-clear-ring" in back.flags
    truth = grid_truth(plain, enough=CLEAR_ENOUGH)
    assert back.clearing.zones[0].radius_mm > 0.8 * truth.radius_mm


def test_a_veil_hides_the_grid_but_not_the_light(plain):
    """A bright reflection lowers clearness; that the light passes all the same is seen in the mean, and said."""
    veiled = replace(plain, zones=(GreyZone(u_mm=0.0, v_mm=0.0, radius_mm=0.4 * plain.face.semi_u_mm, specular=1.0, veil=1.2),))
    back = looked_at(replace(veiled, sensor=replace(plain.sensor, exposure=0.25)))
    assert "stray-light" in back.flags
    assert back.clearing.zones[0].clearness < CLEAR_ENOUGH
    assert back.clearing.zones[0].passed > 0.8


def test_the_mark_turns_the_answer(plain):
    """A mark on the other end turns the place by half a turn."""
    data = render_grid(plain, rng=np.random.default_rng(0))
    up, down = (
        look_at_back([("a.jpg", data)], minutes=(0.0,), setup=GridSetup(face=plain.face, mark_hour=hour)).last.clearing.zones[0]
        for hour in (mark_of(plain), (mark_of(plain) + 6.0 - 1e-9) % 12.0)
    )
    assert (up.u_mm, up.v_mm) == pytest.approx((-down.u_mm, -down.v_mm), abs=0.05)


def test_no_grid_and_no_mirror_are_refused(plain):
    """A sheet without print has no grid; a grid without a mirror has no outline; a rectangle over a grid wants its outline told."""
    blank = replace(plain, sheet=replace(plain.sheet, ink=plain.sheet.paper))
    with pytest.raises(GridNotFound, match="no printed grid shows"):
        looked_at(blank)
    bare = replace(plain, zones=(), bevel_mm=0.0, shift_mm=(0.0, 0.0), transmittance=1.0)
    with pytest.raises(OutlineNotFound, match="give its place with --outline"):
        looked_at(bare)
    with pytest.raises(OutlineNotFound, match="give its place with --outline"):
        looked_at(replace(plain, face=rectangle(width_mm=plain.face.semi_u_mm, length_mm=plain.face.semi_v_mm)))
