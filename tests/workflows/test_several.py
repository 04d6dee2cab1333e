"""Several photographs of one face: the figure they share, what their scatter says, and the sign when the wedge was turned between them."""

import hashlib
import math
import sys
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from benchmarks.exact import exact_reading
from straightband.errors import BadInput
from straightband.fringes.reading import read_phase
from straightband.fringes.repeat import student_95
from straightband.heightmap.figures import figures, without_tilt
from straightband.light.lines import LAMPS
from straightband.photo.outline import Outline
from straightband.synthetic.bands import smallest_gap_nm
from straightband.synthetic.golden import golden_scene
from straightband.synthetic.render import render
from straightband.synthetic.truth import mark_hour, thicker_hour, truth_map, truth_of
from straightband.workflows.doubts import DRAWS, draws_of
from straightband.workflows.read import Setup, cell_means
from straightband.workflows.several import joint_reading, read_photos


def setup_for(rendered, **changes):
    seen = rendered.truth.outline_px
    outline = Outline(
        shape=rendered.scene.face.shape,
        cx=seen.cx,
        cy=seen.cy,
        semi_major=seen.semi_major,
        semi_minor=seen.semi_minor,
        angle_deg=seen.angle_deg,
        corners=None,
        standard_px=0.3,
        support=1.0,
        flags=(),
        told=False,
    )
    told = Setup(face=rendered.scene.face, lamp=LAMPS["mercury-green"], outline=outline, mark_hour=mark_hour(rendered.scene))
    return replace(told, **changes)


@pytest.fixture(scope="module", autouse=True)
def _read_once():
    """The same square-on picture has the same phase (tests/fringes/test_reading.py), so that of a picture seen before is remembered."""
    seen = {}

    def remembered(picture, *, clear, coherent_bands):
        key = (picture.light.tobytes(), picture.missing.tobytes(), clear, coherent_bands)
        if key not in seen:
            seen[key] = read_phase(picture, clear=clear, coherent_bands=coherent_bands)
        return seen[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("straightband.workflows.read.read_phase", remembered)
        yield


@pytest.fixture(scope="module")
def shots():
    """Two photographs of the golden face, the wedge as it is and reversed, as (name, bytes) with the hour of the thicker side."""
    scene = golden_scene(width_px=1200, height_px=900)
    found = []
    for k, made in enumerate((scene, replace(scene, bands_u=-scene.bands_u, bands_v=-scene.bands_v, gap_nm=2300.0))):
        rendered = render(made, rng=np.random.default_rng(20 + k))
        found.append((f"bands{k}.jpg", rendered.encode("jpeg"), thicker_hour(made), rendered))
    return found


@pytest.fixture(scope="module")
def told(shots):
    """The mean of both, the thicker side told for each."""
    setup = setup_for(shots[0][3], thicker=tuple(hour for _, _, hour, _ in shots))
    return read_photos([(name, data) for name, data, _, _ in shots], setup=setup)


@pytest.fixture(scope="module")
def singles(shots):
    """Each read by itself."""
    return [read_photos([(name, data)], setup=setup_for(rendered, thicker=hour)) for name, data, hour, rendered in shots]


def test_one_photograph_is_simply_read(singles):
    """Of one photograph the reading is its own, and the repeat is said not to be known."""
    assert [cause.origin for cause in singles[0].causes if cause.name == "repeat"] == ["one photograph: not known"]
    assert len(singles[0].sources) == 1


def test_a_reversed_wedge_with_its_own_thicker_side_gives_the_same_hills(shots, told):
    """The wedge turned round between the photographs, each told: the mean is the face, within half a nanometre of its closed form."""
    found = told.height_map
    truth = truth_map(shots[0][3].scene, u_mm=found.u_mm, v_mm=found.v_mm)
    off = found.heights_nm - truth.heights_nm
    u, v = np.meshgrid(found.u_mm, found.v_mm)
    kept = np.isfinite(off)
    terms = np.stack([np.ones(kept.sum()), u[kept], v[kept]])
    off = off[kept] - np.linalg.lstsq(terms.T, off[kept], rcond=None)[0] @ terms
    assert np.sqrt(np.mean(off**2)) < 0.5  # noise leaves 0.1 in each; JPEG and 8 bits the rest
    assert told.sign == "known"


def test_without_lens_errors_the_figure_is_the_mean_and_both_photographs_are_named(shots, told, singles):
    """Where nothing is wrong with lens and view the heights are the mean of the two maps; figures are those of it, files named by their SHA-256."""
    mean = (singles[0].height_map.heights_nm + singles[1].height_map.heights_nm) / 2.0
    assert np.nanmax(np.abs(told.height_map.heights_nm - mean)) < 0.3  # nm: what noise makes of strengths that are nothing
    assert told.figures == figures(told.height_map)
    digests = [hashlib.sha256(data).hexdigest() for _, data, _, _ in shots]
    assert [source.sha256 for source in told.sources] == digests
    assert [each["sha256"] for each in told.height_map.meta["photographs"]] == digests


def test_the_scatter_becomes_the_repeat_term(told, singles):
    """GUM 4.2.3: |h1 - h2| / 2 of what the photographs still differ by is a standard uncertainty; Student's factor for it lies between 1.96 and 12.7, bending by its own odds included."""
    line = next(cause for cause in told.causes if cause.name == "repeat")
    assert line.origin == "scatter of 2 photographs"
    apart = np.subtract(*(cell_means(reading.flat.heights_nm, singles[0].phase) for reading in singles))
    found = np.sqrt(np.sum(line.modes_nm**2, axis=0))
    factor = np.sqrt(np.mean(found**2)) / (0.5 * np.sqrt(np.mean(apart**2)))  # less what lens and view took
    assert 0.8 * 1.96 < factor < student_95(2)


def test_what_photographs_share_is_not_divided_and_what_they_tell_is_earned(told, singles):
    """Lamp and outline stand as in one photograph, to what the mean map changes; lens and noise shrink by what the reversed wedge tells."""
    one = {effect.name: effect.expanded_nm["power_nm"] for effect in singles[0].budget.effects}
    both = {effect.name: effect.expanded_nm["power_nm"] for effect in told.budget.effects}
    for name in ("outline and scale", "wavelength and lamp"):
        assert both[name] == pytest.approx(one[name], rel=0.05, abs=1e-3)  # the two maps differ by a per cent
    lens = "lens distortion x bands"
    assert _line(told, lens) < 0.6 * _line(singles[0], lens)  # six noisy bands; 13 tell more, below
    assert both["fit noise"] == pytest.approx(one["fit noise"] / math.sqrt(2.0), rel=0.25)  # 200 draws
    total = math.hypot(*both.values())
    assert told.budget.expanded_nm["power_nm"] == pytest.approx(total, rel=1e-12)  # one formula


def test_the_scatter_goes_on_to_the_verdict(told):
    """What a verdict draws its alternative maps from holds the repeat as well, and can be drawn."""
    assert [cause.name for cause in told.causes].count("repeat") == 1
    assert next(cause for cause in told.causes if cause.name == "repeat").origin == "scatter of 2 photographs"
    assert draws_of(told).shape == (DRAWS, *told.height_map.heights_nm.shape)


def test_two_maps_of_unknown_sign_are_turned_to_agree(singles):
    """Without a thicker side the two maps come out of either sign: the mean is the face up to its sign, never the half-cancelled one."""
    unknown = [
        replace(reading, sign="unknown", flat=replace(reading.flat, heights_nm=sign * reading.flat.heights_nm))
        for reading, sign in zip(singles, (1.0, -1.0), strict=True)
    ]
    mean = joint_reading(unknown)
    assert mean.sign == "unknown"
    assert mean.figures.rms_nm == pytest.approx(singles[0].figures.rms_nm, rel=0.02)  # noise of two photographs


def test_one_thicker_side_for_a_wedge_that_was_turned_is_refused(shots):
    """Hills in one and the same holes in the other can't be one face: which photograph, and what to write, is said."""
    setup = setup_for(shots[0][3], thicker=shots[0][2])
    with pytest.raises(BadInput) as caught:
        read_photos([(name, data) for name, data, _, _ in shots], setup=setup)
    assert str(caught.value) == (
        "photograph 2 shows as holes what the first shows as hills; the thicker side of each photograph is needed; "
        "write one for each with --thicker, like 3,9, in the order of the photographs."
    )


def test_as_many_thicker_sides_as_photographs(shots):
    """Three sides for two photographs are refused before anything is read."""
    setup = setup_for(shots[0][3], thicker=(3.0, 9.0, 3.0))
    with pytest.raises(BadInput) as caught:
        read_photos([(name, data) for name, data, _, _ in shots], setup=setup)
    assert str(caught.value) == (
        "3 thicker sides were given for 2 photographs; one for all or one for each is needed; "
        "write them in the order of the photographs, like 3,9."
    )


def test_photographs_that_differ_by_more_than_they_should_are_flagged(singles):
    """A face that has changed by 20 nm between two photographs that are sure to a few is said to differ; one that has not is not."""
    assert "photographs-differ" not in joint_reading(singles).flags
    u, v = np.meshgrid(singles[1].flat.u_mm, singles[1].flat.v_mm)
    changed = singles[1].flat.heights_nm + 60.0 * (u * u - 0.5 * v * v) / 45.0**2
    other = replace(singles[1], flat=replace(singles[1].flat, heights_nm=changed))
    assert "photographs-differ" in joint_reading([singles[0], other]).flags


def test_one_thicker_side_is_enough_when_the_maps_are_alike(singles):
    """The first photograph's side is known, the second's is not: it shows the same figure, so its hills are the same hills."""
    unknown = replace(
        singles[1],
        sign="unknown",
        flags=("sign-unknown",),
        flat=replace(singles[1].flat, heights_nm=-singles[1].flat.heights_nm),
        sense=-singles[1].sense,
    )
    found = joint_reading([singles[0], unknown])
    assert found.sign == found.height_map.meta["sign"] == "known"
    assert "sign-unknown" not in found.flags
    assert found.figures.power_nm == pytest.approx(singles[0].figures.power_nm, rel=0.02)


@pytest.fixture(scope="module")
def pressed():
    """The golden face, and again with its rim pressed at the hour named; no thicker side told."""
    scene = golden_scene(width_px=1000, height_px=750)
    after = replace(scene, bands_u=scene.bands_u, bands_v=scene.bands_v - 1.5)
    readings = []
    for k, made in enumerate((scene, after)):
        rendered = render(made, rng=np.random.default_rng(40 + k))
        readings += [read_photos([("x.jpg", rendered.encode("jpeg"))], setup=setup_for(rendered))]
    return scene, readings


def test_pressing_the_rim_tells_hill_from_hole(pressed):
    """The gap closes by 1.5 bands toward the mark, where the finger is (NEWTON-8 d): the golden face comes out hollow, as it is; pressed opposite, a hill."""
    scene, readings = pressed
    hour = mark_hour(scene)
    assert joint_reading(readings).sign == "unknown"
    found = joint_reading(readings, pressed_hour=hour)
    truth = figures(truth_map(scene, u_mm=found.height_map.u_mm, v_mm=found.height_map.v_mm))
    assert (found.sign, found.flags.count("sign-unknown")) == ("known", 0)
    assert found.figures.power_nm == pytest.approx(truth.power_nm, abs=2.0)  # nm: two noisy photographs
    assert joint_reading(readings, pressed_hour=(hour + 6.0) % 12.0).figures.power_nm == pytest.approx(-truth.power_nm, abs=2.0)


def test_pressing_across_the_change_decides_nothing(pressed):
    """A finger said to have been where the gap did not change leaves the sign unknown."""
    scene, readings = pressed
    assert joint_reading(readings, pressed_hour=(mark_hour(scene) + 3.0) % 12.0).sign == "unknown"


def barrel(wedges, *, bands=13.0, tilt_deg=8.0, camera_mm=2000.0, seed=0):
    """Readings of the golden face through a lens with 2 % of barrel, 8 degrees off normal, 13 bands along each wedge, with the scene."""
    scene = golden_scene(width_px=1600, height_px=1200)
    view = replace(scene.view, distortion_percent=2.0, tilt_deg=tilt_deg, tilt_azimuth_deg=40.0, camera_distance_mm=camera_mm)
    per_band = bands / math.hypot(scene.bands_u, scene.bands_v)
    readings = []
    for k, (along_u, along_v) in enumerate(wedges):
        made = replace(
            scene,
            view=view,
            bands_u=along_u * per_band * scene.bands_u,
            bands_v=along_v * per_band * scene.bands_v,
            gap_nm=3000.0,
            sensor=replace(scene.sensor, read_noise=0.01),
        )
        rendered = render(made, rng=np.random.default_rng(seed + k))
        setup = setup_for(rendered, thicker=thicker_hour(made), camera_mm=camera_mm)
        readings.append(read_photos([(f"b{k}.jpg", rendered.encode("jpeg"))], setup=setup))
    return scene, readings


def rms_off(reading, scene):
    found = reading.height_map
    truth = truth_map(scene, u_mm=found.u_mm, v_mm=found.v_mm)
    return figures(without_tilt(replace(found, heights_nm=found.heights_nm - truth.heights_nm))).rms_nm


@pytest.fixture(scope="module")
def reversed_wedge():
    """The wedge and its reverse through such a lens."""
    return barrel(((1.0, 1.0), (-1.0, -1.0)))


def test_a_reversed_wedge_tells_the_lens(reversed_wedge):
    """2 % of barrel, 8 degrees and 13 bands: two photographs leave under 1.5 nm rms and less than either, and name the distortion within what they state."""
    scene, readings = reversed_wedge
    together = joint_reading(readings)
    assert rms_off(together, scene) < min(1.5, 0.75 * min(rms_off(reading, scene) for reading in readings))
    lens = together.height_map.meta["lens"]
    assert lens["distortion_percent"] == pytest.approx(2.0, abs=1.1 * lens["uncertainty_percent"])  # 1 % was expected at most, which pulls


def test_the_lens_term_shrinks_by_what_was_earned(reversed_wedge):
    """The line of the lens falls to a fraction of that of one photograph; two photographs with the same wedge tell nothing of it, and it stays."""
    _, readings = reversed_wedge
    alone = _line(readings[0], "lens distortion x bands")
    assert _line(joint_reading(readings), "lens distortion x bands") < 0.3 * alone
    assert _line(joint_reading([readings[0], readings[0]]), "lens distortion x bands") == pytest.approx(alone, rel=0.02)


def _line(reading, name):
    modes = next(cause for cause in reading.causes if cause.name == name).modes_nm
    return float(np.sqrt(np.mean(np.sum(modes**2, axis=0))))


def test_uneven_wedges_are_not_averaged_but_solved():
    """A wedge of 13 bands and another of 5 the other way: the mean of the maps keeps a third of the lens, the joint solution does not."""
    scene, readings = barrel(((1.0, 1.0), (-0.4, -0.4)), tilt_deg=0.0, camera_mm=1e6)
    flats = [reading.flat.heights_nm for reading in readings]
    plain = replace(readings[0], height_map=replace(readings[0].height_map, heights_nm=(flats[0] + flats[1]) / 2.0))
    together = joint_reading(readings)
    assert rms_off(together, scene) < 0.6 * rms_off(plain, scene)


def from_one_metre(*, gap_um, colours):
    """Readings without noise of the golden face on a wedge and its reverse, the plates nowhere nearer than `gap_um`, the camera told to be at 1 m."""
    scene = golden_scene(width_px=1200, height_px=900)
    view = replace(scene.view, camera_distance_mm=1000.0)
    readings = []
    for way, told in zip((1.0, -1.0), colours, strict=True):
        made = replace(scene, view=view, bands_u=way * scene.bands_u, bands_v=way * scene.bands_v, gap_nm=0.0)
        lifted = replace(made, gap_nm=1000.0 * gap_um - smallest_gap_nm(made))
        setup = setup_for(
            SimpleNamespace(scene=lifted, truth=truth_of(lifted)),
            thicker=thicker_hour(lifted),
            camera_mm=1000.0,
            least_gap_nm=1000.0 * gap_um if told else None,
        )
        readings.append(exact_reading(lifted, setup=setup))
    return scene, readings


def test_a_gap_that_colours_tell_leaves_no_false_power():
    """5 um between all of two photographs' plates from 1 m write 2 nm rms that no wedge shows; the gap told, it is gone, and so is its doubt."""
    scene, told = from_one_metre(gap_um=5.0, colours=(True, True))
    _, untold = from_one_metre(gap_um=5.0, colours=(False, False))
    blind, seeing = joint_reading(untold), joint_reading(told)
    assert rms_off(blind, scene) > 1.5
    assert rms_off(seeing, scene) < 0.2
    assert _line(seeing, "near camera") < 0.4 * _line(blind, "near camera")  # the distance told to 5 % is left


def test_one_gap_that_is_told_tells_of_the_other():
    """Colours told the gap of the first photograph only: what it differs by from the second is the second's gap, or a bend of the glass; part comes off, the rest is stated."""
    scene, mixed = from_one_metre(gap_um=5.0, colours=(True, False))
    found = joint_reading(mixed)
    plain = replace(mixed[0], height_map=replace(mixed[0].height_map, heights_nm=0.5 * sum(each.flat.heights_nm for each in mixed)))
    assert rms_off(found, scene) < 0.9 * rms_off(plain, scene)
    assert rms_off(found, scene) < math.hypot(_line(found, "near camera"), _line(found, "repeat"))
