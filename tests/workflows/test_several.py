"""Several photographs of one face: their mean, what their scatter says, and the sign when the wedge was turned between them."""

import hashlib
import math
from dataclasses import replace

import numpy as np
import pytest

from straightband.errors import BadInput
from straightband.fringes.reading import read_phase
from straightband.fringes.repeat import student_95
from straightband.heightmap.figures import figures
from straightband.light.lines import LAMPS
from straightband.photo.outline import Outline
from straightband.synthetic.golden import golden_scene
from straightband.synthetic.render import render
from straightband.synthetic.truth import mark_hour, thicker_hour, truth_map
from straightband.workflows.doubts import DRAWS, draws_of
from straightband.workflows.read import Setup, cell_means
from straightband.workflows.several import mean_reading, read_photos


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

    def remembered(picture, *, clear):
        key = (picture.light.tobytes(), picture.missing.tobytes(), clear)
        if key not in seen:
            seen[key] = read_phase(picture, clear=clear)
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


def test_the_mean_is_the_mean_and_names_both_photographs(shots, told, singles):
    """Heights are the mean of the two maps, figures those of the mean, and both files are named by their SHA-256."""
    mean = (singles[0].height_map.heights_nm + singles[1].height_map.heights_nm) / 2.0
    assert np.allclose(told.height_map.heights_nm, mean, atol=1e-9, equal_nan=True)  # rounding
    assert told.figures == figures(told.height_map)
    digests = [hashlib.sha256(data).hexdigest() for _, data, _, _ in shots]
    assert [source.sha256 for source in told.sources] == digests
    assert [each["sha256"] for each in told.height_map.meta["photographs"]] == digests


def test_the_scatter_becomes_the_repeat_term(told, singles):
    """GUM 4.2.3 with Student's factor: t s / sqrt(n) of the two powers, 12.706 |P1 - P2| / 2."""
    powers = [-_sphere(singles[0].phase.points, cell_means(reading.flat.heights_nm, singles[0].phase)) for reading in singles]
    line = next(effect for effect in told.budget.effects if effect.name == "repeat")
    assert line.origin == "scatter of 2 photographs"
    assert line.expanded_nm["power_nm"] == pytest.approx(student_95(2) * abs(powers[0] - powers[1]) / 2.0, rel=1e-6)  # one formula


def _sphere(points, heights):
    """Coefficient of the least-squares sphere at the end of the major axis, area by area."""
    a = points.clear.semi_major_mm
    terms = np.stack([np.ones_like(heights), points.u_mm / a, points.v_mm / a, (points.u_mm**2 + points.v_mm**2) / a**2])
    weighted = terms * points.area
    return float(np.linalg.solve(weighted @ terms.T, weighted @ heights)[3])


def test_what_photographs_share_is_not_divided(told, singles):
    """Lens, lamp and outline are the same in both, so their lines stand as in one photograph, to what the mean map changes."""
    one = {effect.name: effect.expanded_nm["power_nm"] for effect in singles[0].budget.effects}
    both = {effect.name: effect.expanded_nm["power_nm"] for effect in told.budget.effects}
    for name in ("lens distortion x bands", "near camera", "wavelength and lamp"):
        assert both[name] == pytest.approx(one[name], rel=0.05, abs=1e-3)  # the two maps differ by a per cent
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
    mean = mean_reading(unknown)
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
    assert "photographs-differ" not in mean_reading(singles).flags
    u, v = np.meshgrid(singles[1].flat.u_mm, singles[1].flat.v_mm)
    changed = singles[1].flat.heights_nm + 60.0 * (u * u - 0.5 * v * v) / 45.0**2
    other = replace(singles[1], flat=replace(singles[1].flat, heights_nm=changed))
    assert "photographs-differ" in mean_reading([singles[0], other]).flags
