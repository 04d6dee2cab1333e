"""Wear by rings: laws of curvature, the plates of three centuries of practice, and whole faces as the slow oracle."""

from dataclasses import replace

import numpy as np
import pytest

from straightband.errors import BadInput
from straightband.face.shapes import ellipse, rectangle, round_face
from straightband.wear import whole
from straightband.wear.kinematics import Motion
from straightband.wear.radial import Grind, grind_rings, meeting_of, wear_of_rings
from straightband.wear.rings import rings_of, sag_of_rings_um, spherical_rings
from straightband.wear.surface import flat_surface, sag_um, spherical_surface

COEFFICIENT_PER_PA = 1.5e-10
GRIND = Grind(stiffness_kpa_um=0.7, top_per_pa=COEFFICIENT_PER_PA, bottom_per_pa=COEFFICIENT_PER_PA, force_n=20.0)
BENCH = Motion(spindle_rpm=30.0, top_rpm=3.0, stroke_mm=25.0, strokes_per_min=40.0)
# Hardly any stroke, and so quick that it alone sets the speed: both faces wear alike everywhere.
EVEN = Motion(spindle_rpm=0.0, top_rpm=0.0, stroke_mm=0.02, strokes_per_min=2e5)


SQUEEZE_UM = 20.0 / (np.pi * 75.0**2) * 1e3 / 0.7  # of the layer, under 20 N on a disc 150 mm across: 1.6 um


def _run(faces, heights, *, top, bottom, minutes, motion=BENCH, grind=GRIND):
    meeting = meeting_of(faces[top], faces[bottom], motion=motion)
    heights[top], heights[bottom] = grind_rings(heights[top], heights[bottom], meeting=meeting, grind=grind, minutes=minutes)


def _spheres(faces, sags):
    return [spherical_rings(face, sag_um=np.array([sag])) for face, sag in zip(faces, sags, strict=True)]


def _sags(faces, heights):
    return np.array([float(sag_of_rings_um(one, face)[0]) for face, one in zip(faces, heights, strict=True)])


def _cycle(sags):
    """Three equal plates after (12)(23)(31), each pairing worn until it mates, wearing alike."""
    faces = [rings_of(round_face(diameter_mm=100.0))] * 3
    heights = _spheres(faces, sags)
    for top, bottom in ((0, 1), (1, 2), (2, 0)):
        _run(faces, heights, top=top, bottom=bottom, minutes=30.0, motion=EVEN)
    return _sags(faces, heights)


def test_three_equal_plates_converge_as_projections():
    """Equal wear until each pair mates takes (1, 1, 1) to (-1/4, -1/2, 1/4), and shrinks by 0.35355 a cycle (Kaczmarz, closed form)."""
    assert _cycle([1.0, 1.0, 1.0]) == pytest.approx([-0.25, -0.5, 0.25], abs=1e-3)  # what the exponential approach leaves
    matrix = np.stack([_cycle(start) for start in np.eye(3)], axis=-1)
    assert matrix[:, 0] == pytest.approx([0.125, -0.25, -0.125], abs=1e-3)
    assert np.abs(np.linalg.eigvals(matrix)).max() == pytest.approx(0.3535533906, abs=1e-3)
    assert np.abs(np.linalg.matrix_power(matrix, 3)[:, 0]).max() == pytest.approx(0.033203125, abs=1e-3)


def test_two_plates_end_as_mating_spheres():
    """Two plates alone fit each other and are not flat: their sags add up to nothing, each stays far from it (Whitworth 1858)."""
    faces = [rings_of(round_face(diameter_mm=150.0))] * 2
    heights = _spheres(faces, [12.0, 4.0])
    for top, bottom in ((0, 1), (1, 0)) * 6:
        _run(faces, heights, top=top, bottom=bottom, minutes=1.0)
    first, second = _sags(faces, heights)
    assert abs(first + second) < 1.5 * SQUEEZE_UM  # the rim runs faster, so it carries less: a share of the squeeze
    assert first - second == pytest.approx(8.0, abs=1.0)  # the difference is what wearing alike keeps


def _worked_round(faces, sags, *, pairs, rounds, minutes, grind=GRIND):
    """Sags after so many rounds, each pair both ways; which way first changes from round to round."""
    heights = _spheres(faces, sags)
    for number in range(rounds):
        for one, other in pairs:
            for top, bottom in ((one, other), (other, one))[:: 1 if number % 2 else -1]:
                _run(faces, heights, top=top, bottom=bottom, minutes=minutes, grind=grind)
    return _sags(faces, heights)


@pytest.mark.parametrize("stiffer", [1.0, 4.0])
def test_three_plates_end_flat(stiffer):
    """Three plates in turn end flat to about the layer's squeeze, from any start, and flatter with a stiffer layer (Whitworth 1858)."""
    faces = [rings_of(round_face(diameter_mm=150.0))] * 3
    grind = replace(GRIND, stiffness_kpa_um=0.7 * stiffer)
    pairs = ((0, 1), (1, 2), (2, 0))
    after = _worked_round(faces, [20.0, -9.0, 14.0], pairs=pairs, rounds=8, minutes=0.5, grind=grind)
    after = _worked_round(faces, after, pairs=pairs, rounds=8, minutes=0.5 / stiffer, grind=grind)
    assert np.abs(after).max() < 1.2 * SQUEEZE_UM / stiffer


def test_four_plates_of_unlike_size_end_flat():
    """A round plate, two ellipses and a rectangle, unlike by a quarter, end flat to the layer's squeeze when worked round odd rings."""
    shapes = (round_face(diameter_mm=130.0), ellipse(minor_mm=85.0), ellipse(minor_mm=95.0), rectangle(width_mm=85.0, length_mm=110.0))
    faces = [rings_of(shape) for shape in shapes]
    pairs = ((0, 1), (1, 2), (2, 3), (3, 1), (0, 2))
    after = _worked_round(faces, [25.0, -15.0, 20.0, 10.0], pairs=pairs, rounds=10, minutes=0.25)
    assert np.abs(after).max() < 3.0


def test_the_upper_plate_goes_hollow_and_more_with_more_stroke():
    """Of two equal flat plates the upper goes concave and the lower convex, about as the square of the stroke (rigid plates, closed form)."""
    faces = [rings_of(round_face(diameter_mm=150.0))] * 2
    kept = []
    for stroke in (10.0, 20.0, 40.0):
        heights = _spheres(faces, [0.0, 0.0])
        quick = Motion(spindle_rpm=0.0, top_rpm=0.0, stroke_mm=stroke, strokes_per_min=2000.0 / stroke)
        _run(faces, heights, top=0, bottom=1, minutes=30.0, motion=quick)
        top, bottom = _sags(faces, heights)
        kept.append((top - bottom) / 2.0)
    assert top < 0.0 < bottom
    assert kept[0] < 0.0
    assert kept[1] / kept[0] == pytest.approx(4.0, rel=0.15)  # lift-off and the fourth power come in
    assert kept[2] / kept[1] == pytest.approx(4.0, rel=0.15)


def test_both_faces_lose_the_same_glass():
    """Equal coefficients take equal volumes off both, whatever their sizes: what a point loses is shared out whole."""
    faces = [rings_of(ellipse(minor_mm=90.0)), rings_of(round_face(diameter_mm=150.0))]
    for top, bottom in ((0, 1), (1, 0)):
        meeting = meeting_of(faces[top], faces[bottom], motion=BENCH)
        start = _spheres(faces, [5.0, -3.0])
        pressed = wear_of_rings(start[top], start[bottom], meeting=meeting, grind=GRIND)
        lost = [float(rate[:, 0] @ faces[which].areas_mm2) for rate, which in ((pressed.top_um_min, top), (pressed.bottom_um_min, bottom))]
        assert lost[0] == pytest.approx(lost[1], rel=1e-6)


def test_the_contact_carries_the_load():
    """Pressure over the whole contact adds up to the load at each moment of the stroke (statics)."""
    faces = [rings_of(ellipse(minor_mm=90.0)), rings_of(round_face(diameter_mm=150.0))]
    meeting = meeting_of(faces[0], faces[1], motion=BENCH)
    start = _spheres(faces, [5.0, -3.0])
    pressure = wear_of_rings(start[0], start[1], meeting=meeting, grind=GRIND).contact.pressure_kpa
    assert (pressure * meeting.places.areas_mm2).sum(axis=-1) * 1e-3 == pytest.approx(np.full((1, 4), 20.0), rel=1e-6)


def test_many_draws_are_the_draws_one_by_one():
    """Draws worked together come out as each alone with the same steps, for other coefficients, loads and starts."""
    face = rings_of(round_face(diameter_mm=120.0))
    meeting = meeting_of(face, face, motion=BENCH)
    sags, coefficients, forces = np.array([8.0, -4.0]), np.array([1.5e-10, 1.5e-10]), np.array([10.0, 25.0])
    grind = Grind(stiffness_kpa_um=0.7, top_per_pa=coefficients, bottom_per_pa=coefficients, force_n=forces)
    flat = np.zeros((64, 2))
    together = grind_rings(spherical_rings(face, sag_um=sags), flat, meeting=meeting, grind=grind, minutes=2.0)
    for k in range(2):
        one = Grind(stiffness_kpa_um=0.7, top_per_pa=1.5e-10, bottom_per_pa=1.5e-10, force_n=float(forces[k]))
        alone = grind_rings(spherical_rings(face, sag_um=sags[k : k + 1]), flat[:, :1], meeting=meeting, grind=one, minutes=2.0)
        for batch, single in zip(together, alone, strict=True):
            assert batch[:, k] == pytest.approx(single[:, 0], abs=1e-6)


@pytest.mark.parametrize(
    ("top", "bottom"),
    [
        (round_face(diameter_mm=150.0), round_face(diameter_mm=150.0)),
        (ellipse(minor_mm=90.0), round_face(diameter_mm=150.0)),
        (round_face(diameter_mm=150.0), ellipse(minor_mm=90.0)),
        (rectangle(width_mm=80.0, length_mm=120.0), ellipse(minor_mm=90.0)),
    ],
    ids=["round on round", "ellipse on round", "round on ellipse", "rectangle on ellipse"],
)
def test_rings_agree_with_whole_faces(top, bottom):
    """Sags and mean wear by rings are those of whole faces that turn through all angles (independent slow implementation)."""
    motion = Motion(spindle_rpm=30.0, top_rpm=3.0, stroke_mm=30.0, strokes_per_min=40.0)
    faces = [rings_of(top), rings_of(bottom)]
    heights = _spheres(faces, [20.0, 0.0])
    _run(faces, heights, top=0, bottom=1, minutes=5.0, motion=motion)
    grit = whole.Grit(stiffness_kpa_um=0.7, top_per_pa=COEFFICIENT_PER_PA, bottom_per_pa=COEFFICIENT_PER_PA)
    start = spherical_surface(top, cells=35, sag_um=20.0), flat_surface(bottom, cells=35)
    ends = whole.work(*start, motion=motion, grit=grit, force_n=20.0, minutes=5.0)
    for face, rings, surface in zip(faces, heights, ends, strict=True):
        mean = float(rings[:, 0] @ face.areas_mm2 / face.areas_mm2.sum())
        assert mean == pytest.approx(float(np.sum(surface.heights_um * surface.areas_mm2) / surface.areas_mm2.sum()), rel=0.01)
    assert _sags(faces, heights) == pytest.approx([sag_um(surface) for surface in ends], abs=0.7)  # corners wear the rectangle unevenly


def test_rings_know_no_stroke_beside_the_middle():
    """A stroke that passes the spindle is refused, since rings would see it as one over the middle."""
    face = rings_of(round_face(diameter_mm=100.0))
    aside = Motion(spindle_rpm=30.0, top_rpm=3.0, stroke_mm=25.0, strokes_per_min=40.0, side_mm=5.0)
    with pytest.raises(
        BadInput, match=r"^the stroke passes 5 mm beside the spindle; a stroke over the middle is needed for rings; set side_mm to 0, "
    ):
        meeting_of(face, face, motion=aside)


def test_endless_runs_are_refused():
    """Minutes that would take hours to follow are refused with a sentence."""
    face = rings_of(round_face(diameter_mm=100.0))
    with pytest.raises(BadInput, match=r"minutes wear the layer through \d+ times; at most 4000 can be followed; make the run shorter\.$"):
        _run([face, face], _spheres([face, face], [0.0, 0.0]), top=0, bottom=1, minutes=1e6)
