"""The reference flat taken off: never without a sign, and with what its unknown way round leaves in doubt.

Truth: scenes whose figure, reference and turn are known in closed form, read without the noise of a fit.
"""

import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from benchmarks.exact import exact_reading
from benchmarks.photographs import true_outline
from straightband.errors import BadInput
from straightband.face.shapes import ellipse, rectangle, round_face
from straightband.heightmap.figures import NAMES, figures, without_tilt
from straightband.heightmap.map import HeightMap
from straightband.light.lines import LAMPS
from straightband.synthetic.golden import golden_scene
from straightband.synthetic.render import render
from straightband.synthetic.scene import Scene, View
from straightband.synthetic.surfaces import LocalHill, Surface, added, saddle, sphere
from straightband.synthetic.truth import mark_hour, thicker_hour, truth_map, truth_of
from straightband.uncertainty import COVERAGE_95
from straightband.workflows.doubts import draws_of
from straightband.workflows.minus import UNKNOWN_WAY, WAY_ROUND
from straightband.workflows.read import Setup, lying
from straightband.workflows.setup import setup_from_text
from straightband.workflows.several import joint_reading, read_photos
from straightband.workflows.shown import sentence_shown
from straightband.workflows.stack import read_stack

REACH_MM = 75.0
SAID = (
    "hill or hole is not known; it must be before a reference flat is taken off, which with the wrong sign would be added; "
    "say where the gap is thicker with --thicker, or leave --minus out for the heights of the pair."
)
FACES = {"ellipse": ellipse(minor_mm=90.0), "round": round_face(diameter_mm=90.0), "rectangle": rectangle(width_mm=60.0, length_mm=90.0)}


def lopsided(face):
    """Heights of a reference as the piece sees it: another one half a turn round, and another one mirrored."""
    hill = LocalHill(u_mm=0.4 * face.semi_u_mm, v_mm=0.3 * face.semi_v_mm, radius_mm=0.35 * face.semi_u_mm, height_nm=40.0)
    tilted = saddle(face, rise_nm=12.0, axis_deg=30.0)
    return Surface(face=face, coefficients_nm=tilted.coefficients_nm, hills=(hill,))


def even(face):
    """A sphere: the same whichever way round."""
    return sphere(face, sag_nm=60.0)


def shop_map(figure, *, doubt_nm=1.0):
    """The map of a larger flat that met the piece with that figure, looking at its own face."""
    axis = np.linspace(-REACH_MM, REACH_MM, 201)
    u, v = np.meshgrid(axis, axis)
    return HeightMap(
        heights_nm=figure.heights_nm(-u, v),
        u_mm=axis,
        v_mm=axis.copy(),
        uncertainty_nm=np.full(u.shape, doubt_nm),
        face=round_face(diameter_mm=2.0 * REACH_MM),
    )


def scene_on(face, figure, *, rotation_deg=0.0, mirrored=0):
    """A piece on a reference with that figure."""
    return Scene(
        surface=added(sphere(face, sag_nm=-50.0), saddle(face, rise_nm=20.0, axis_deg=70.0)),
        reference=figure,
        bands_u=2.0,
        bands_v=5.0,
        gap_nm=2500.0,
        view=View(
            width_px=1600,
            height_px=1400,
            scale_px_per_mm=9.0,
            centre_x_px=799.5,
            centre_y_px=699.5,
            rotation_deg=rotation_deg,
            mirrored=mirrored,
        ),
    )


def setup_for(scene, **changes):
    """All of it told."""
    told = Setup(
        face=scene.face,
        lamp=LAMPS["mercury-green"],
        outline=true_outline(truth_of(scene), standard_px=0.3),
        mark_hour=mark_hour(scene),
        thicker=thicker_hour(scene),
        mirrored=scene.view.mirrored,
        camera_mm=5000.0,
    )
    return replace(told, **changes)


def line_of(reading):
    return next((effect for effect in reading.budget.effects if effect.name == WAY_ROUND), None)


def true_figures(reading, scene):
    found = reading.height_map
    return figures(truth_map(scene, u_mm=found.u_mm, v_mm=found.v_mm, clear_margin=found.clear_margin))


def holds(reading, scene):
    """Names of the figures whose stated interval does not hold the truth."""
    true = true_figures(reading, scene)
    off = {name: abs(getattr(reading.figures, name) - getattr(true, name)) for name in NAMES}
    return [name for name in NAMES if off[name] > reading.budget.expanded_nm[name]]


@pytest.mark.parametrize("shape", ["ellipse", "rectangle"])
@pytest.mark.parametrize("rotation_deg", [0.0, 180.0])
def test_half_a_turn_that_nobody_told_is_held_by_every_figure(shape, rotation_deg):
    """A lopsided reference, the photograph as it stands or upside down, no mark: the truth of each figure and most of the map lie within what is stated."""
    scene = scene_on(FACES[shape], lopsided(FACES[shape]), rotation_deg=rotation_deg)
    reading = exact_reading(scene, setup=setup_for(scene, mark_hour=None), reference=shop_map(scene.reference))
    assert holds(reading, scene) == []
    found = reading.height_map
    truth = truth_map(scene, u_mm=found.u_mm, v_mm=found.v_mm, clear_margin=found.clear_margin).heights_nm
    turned = truth if rotation_deg == 0.0 else truth[::-1, ::-1]  # the map itself is known up to half a turn
    off = np.abs(without_tilt(replace(found, heights_nm=found.heights_nm - turned)).heights_nm)[found.valid]
    assert np.mean(off <= found.uncertainty_nm[found.valid]) > 0.95
    assert {"half-turn-unknown", UNKNOWN_WAY} <= set(reading.flags)
    assert line_of(reading).origin == "no mark told: 2 ways it may have lain"
    # the test is none unless the reference turned round changes more than all else that is in doubt
    told = exact_reading(scene, setup=setup_for(scene), reference=shop_map(scene.reference))
    assert line_of(reading).expanded_nm["pv_nm"] > 3.0 * told.budget.expanded_nm["pv_nm"]


@pytest.mark.parametrize("rotation_deg", [0.0, 130.0, 245.0])
def test_any_turn_of_a_round_face_is_held(rotation_deg):
    """A round piece without a mark, photographed at any turn on a lopsided reference: each figure's interval holds the truth."""
    scene = scene_on(FACES["round"], lopsided(FACES["round"]), rotation_deg=rotation_deg)
    reading = exact_reading(scene, setup=setup_for(scene, mark_hour=None), reference=shop_map(scene.reference))
    assert holds(reading, scene) == []
    assert line_of(reading).origin == "no mark told: 24 ways it may have lain"


def test_a_view_whose_reversals_nobody_told_is_held():
    """Seen once through the back and nobody said so: the reference is taken off mirrored, and the interval holds the truth; told, there is nothing in doubt."""
    scene = scene_on(FACES["ellipse"], lopsided(FACES["ellipse"]), mirrored=1)
    flat = shop_map(scene.reference)
    untold, told = (exact_reading(scene, setup=setup_for(scene, mirrored=times), reference=flat) for times in (None, 1))
    assert holds(untold, scene) == holds(told, scene) == []
    assert line_of(untold).origin == "no number of reversals told: 2 ways it may have lain"
    assert (line_of(told), UNKNOWN_WAY in told.flags) == (None, False)
    neither = exact_reading(scene, setup=setup_for(scene, mirrored=None, mark_hour=None), reference=flat)
    assert line_of(neither).origin == "no mark and no number of reversals told: 4 ways it may have lain"


def test_a_reference_that_was_measured_without_its_mark_or_sign():
    """A reference whose own turn nobody knows is counted at any turn, marked piece or not; one whose own sign nobody knows is refused."""
    scene = scene_on(FACES["ellipse"], lopsided(FACES["ellipse"]))
    flat = shop_map(scene.reference)
    reading = exact_reading(scene, setup=setup_for(scene), reference=replace(flat, meta={"flags": ["pair-without-mark"]}))
    assert line_of(reading).origin == "no mark of the reference told: 24 ways it may have lain"
    assert line_of(reading).expanded_nm["pv_nm"] > 10.0  # of a hill of 40 nm
    with pytest.raises(BadInput) as refused:
        exact_reading(scene, setup=setup_for(scene), reference=replace(flat, meta={"sign": "unknown"}))
    assert str(refused.value) == (
        "the reference map itself does not tell hill from hole; a map whose sign is known is needed; "
        "measure the reference with the thicker side told, or leave --minus out for the heights of the pair."
    )
    assert "--" not in sentence_shown(str(refused.value))


def test_what_is_alike_every_way_round_costs_nothing():
    """A reference that is a sphere adds nothing to any figure, whatever was not told."""
    for face in FACES.values():
        scene = scene_on(face, even(face))
        reading = exact_reading(scene, setup=setup_for(scene, mark_hour=None, mirrored=None), reference=shop_map(scene.reference))
        assert max(line_of(reading).expanded_nm.values()) < 0.05  # nm: a sphere between the points of a map 0.75 mm apart


@pytest.mark.parametrize(
    ("thicker", "before"), [(None, ""), ("along", "the thicker side that was given lies along the bands or does not fit them, so ")]
)
def test_without_a_sign_no_reference_is_taken_off(thicker, before):
    """No thicker side, or one along the bands: one sentence, on the command line and on a page."""
    scene = scene_on(FACES["ellipse"], lopsided(FACES["ellipse"]))
    hour = None if thicker is None else (thicker_hour(scene) + 3.0 - 1.0) % 12.0 + 1.0
    setup = setup_for(scene, thicker=hour)
    with pytest.raises(BadInput) as refused:
        exact_reading(scene, setup=setup, reference=shop_map(scene.reference))
    assert str(refused.value) == before + SAID
    assert "--" not in sentence_shown(str(refused.value))
    assert exact_reading(scene, setup=setup).sign == "unknown"  # the pair can be read


def test_photographs_that_together_tell_the_sign_are_enough():
    """The thicker side of one of two photographs, the wedge reversed: the reference comes off both, in the one sign that there is."""
    first = scene_on(FACES["ellipse"], lopsided(FACES["ellipse"]))
    second = replace(first, bands_u=-first.bands_u, bands_v=-first.bands_v)
    readings = [exact_reading(first, setup=setup_for(first)), exact_reading(second, setup=setup_for(second, thicker=None))]
    on = lying(setup_for(first), reference=shop_map(first.reference))
    found = joint_reading(readings, on=on)
    off = without_tilt(replace(found.height_map, heights_nm=found.height_map.heights_nm - truth_map(
        first, u_mm=found.height_map.u_mm, v_mm=found.height_map.v_mm).heights_nm))  # fmt: skip
    assert figures(off).rms_nm < 0.1  # nm; the reference added instead of taken off leaves 20
    assert (found.sign, found.height_map.meta["minus"]) == ("known", "flat")
    assert found.height_map.meta["flags"] == list(found.flags)
    assert "reference-not-told" not in found.flags
    with pytest.raises(BadInput, match="hill or hole is not known"):
        joint_reading([replace(reading, sign="unknown") for reading in readings], on=on)


def test_a_stack_and_several_photographs_go_the_same_way():
    """Three frames, or two photographs, less a reference: what is left is the piece; without a sign it is refused after the first frame, the others never asked for."""
    scene = replace(golden_scene(width_px=640, height_px=480), reference=sphere(FACES["ellipse"], sag_nm=80.0))
    frames = [
        (f"f{k}.jpg", render(replace(scene, gap_nm=1500.0 + 20.0 * k), rng=np.random.default_rng(k)).encode("jpeg")) for k in range(3)
    ]
    told = {"light": "mercury-green", "minor": "90mm", "mark": "3", "mirrored": "0"}

    def stack_of(setup, some):
        with ThreadPoolExecutor(1) as executor:
            return read_stack(some, setup=setup, reference=shop_map(scene.reference), executor=executor, workers=1, tell=lambda _: None)

    known = setup_from_text(**told, thicker="2.5")
    for found in (stack_of(known, frames), read_photos(frames[:2], setup=known, reference=shop_map(scene.reference))):
        true = true_figures(found, scene)
        assert found.figures.power_nm == pytest.approx(true.power_nm, abs=found.budget.expanded_nm["power_nm"])
        assert found.budget.expanded_nm["power_nm"] < 15.0  # of the 80 nm of the reference
        assert "reference-not-told" not in found.flags
    rest = iter(frames)
    with pytest.raises(BadInput) as refused:
        stack_of(setup_from_text(**told), rest)
    assert str(refused.value) == SAID
    assert len(list(rest)) == 2


def test_the_verdict_draws_every_way_round():
    """The maps that a verdict is tried on hold the reference turned as often as not, so that 1.96 of their scatter holds what the turn changes."""
    scene = scene_on(FACES["ellipse"], lopsided(FACES["ellipse"]))
    reading = exact_reading(scene, setup=setup_for(scene, mark_hour=None), reference=shop_map(scene.reference))
    only = tuple(cause for cause in reading.causes if cause.name == WAY_ROUND)
    drawn = draws_of(replace(reading, causes=only)) - reading.height_map.heights_nm
    changed = np.nanmax(np.abs(drawn), axis=(1, 2)) > 1.0
    assert np.count_nonzero(changed) == len(drawn) // 2
    scatter = COVERAGE_95 * np.sqrt(np.mean(drawn**2, axis=0))
    assert np.nanmax(scatter - np.abs(drawn[changed][0])) > 0.0
    assert np.nanmin(scatter - np.abs(drawn[changed][0])) > -1e-9  # nm, rounding


def test_a_reference_that_is_due_says_so_in_the_map_too():
    """What a reference's own record says of its age stands on the map as on the reading."""
    scene = scene_on(FACES["ellipse"], even(FACES["ellipse"]))
    aged = replace(shop_map(scene.reference), meta={"reference": {"flat": "A", "recheck_due": "2027-01-01"}})
    reading = exact_reading(scene, setup=setup_for(scene, today=date(2027, 6, 1)), reference=aged)
    assert "reference-recheck-due" in reading.flags
    assert reading.height_map.meta["flags"] == list(reading.flags)
    assert reading.height_map.meta["minus"] == "A"
