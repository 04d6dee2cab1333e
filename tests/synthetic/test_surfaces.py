import math

import numpy as np
import pytest

from straightband.face.polynomials import face_polynomials
from straightband.face.shapes import ellipse, rectangle, round_face
from straightband.synthetic.surfaces import (
    EdgeProfile,
    LocalHill,
    LocalProfile,
    Surface,
    TurnedEdge,
    Zone,
    added,
    edge_distance_mm,
    peak_to_valley_nm,
    random_surface,
    saddle,
    sphere,
)

FACES = [ellipse(minor_mm=90.0), round_face(diameter_mm=120.0), rectangle(width_mm=60.0, length_mm=100.0)]


def _points(face, rng, count=500):
    return rng.uniform(-1.0, 1.0, count) * face.semi_u_mm, rng.uniform(-1.0, 1.0, count) * face.semi_v_mm


@pytest.mark.parametrize("face", FACES, ids=lambda face: face.shape.value)
@pytest.mark.parametrize("order", [0, 2, 5, 8])
def test_heights_are_the_sum_of_the_orthonormal_polynomials(face, order):
    """Horner's scheme gives what the polynomials one by one give: independent slow implementation."""
    rng = np.random.default_rng(order)
    u_mm, v_mm = _points(face, rng)
    basis = face_polynomials(u_mm, v_mm, face=face, order=order)
    coefficients = rng.normal(0.0, 30.0, len(basis))
    found = Surface(face=face, coefficients_nm=tuple(coefficients)).heights_nm(u_mm, v_mm)
    assert found == pytest.approx(coefficients @ basis, abs=1e-8)  # rounding of some thousand nm in double precision


def test_single_precision_of_the_renderer_costs_less_than_a_hundredth_of_a_nanometre():
    """Heights in float32, which the picture is painted with, stay in float32 and agree with double precision."""
    face, rng = FACES[0], np.random.default_rng(5)
    surface = random_surface(face, rng, pv_nm=400.0, order=8)
    u_mm, v_mm = _points(face, rng)
    inside = face.contains(u_mm, v_mm)
    single = surface.heights_nm(u_mm.astype(np.float32), v_mm.astype(np.float32))
    assert single.dtype == np.float32
    assert single[inside] == pytest.approx(surface.heights_nm(u_mm, v_mm)[inside], abs=0.01)  # float32 carries 7 figures, Horner loses two


@pytest.mark.parametrize("face", FACES, ids=lambda face: face.shape.value)
def test_sphere_stands_its_sag_above_the_end_of_the_longer_semi_axis(face):
    """A sphere depends on the distance from the centre only, and falls by the sag over the longer semi-axis: closed form."""
    surface = sphere(face, sag_nm=250.0)
    r = face.semi_major_mm
    centre, up, slant = surface.heights_nm(np.array([0.0, 0.0, r * 0.6]), np.array([0.0, r, r * 0.8]))
    assert centre - up == pytest.approx(250.0, abs=1e-9)  # rounding
    assert slant == pytest.approx(up, abs=1e-9)  # rounding


def test_saddle_rises_along_its_axis_and_falls_across():
    """A saddle at 30 degrees is highest there, lowest 90 degrees on, and level with the centre half way: closed form."""
    face = FACES[0]
    surface = saddle(face, rise_nm=100.0, axis_deg=30.0)
    angle = np.radians([30.0, 120.0, 75.0, 165.0])
    centre = surface.heights_nm(np.zeros(1), np.zeros(1))[0]
    found = surface.heights_nm(face.semi_major_mm * np.cos(angle), face.semi_major_mm * np.sin(angle)) - centre
    assert found == pytest.approx([100.0, -100.0, 0.0, 0.0], abs=1e-9)  # rounding


def test_distance_to_the_rim_of_an_ellipse_is_the_distance_to_its_nearest_point():
    """Near the outline of a 1:sqrt2 ellipse the distance agrees with a search over 100000 rim points: slow implementation."""
    face = FACES[0]
    angle = np.linspace(0.0, 2.0 * np.pi, 100_000)
    rim_u, rim_v = face.semi_u_mm * np.cos(angle), face.semi_v_mm * np.sin(angle)
    for t in (0.0, 0.4, 0.9, 1.3, 2.5):
        u, v = 0.97 * face.semi_u_mm * math.cos(t), 0.97 * face.semi_v_mm * math.sin(t)
        nearest = np.hypot(rim_u - u, rim_v - v).min()
        found = float(edge_distance_mm(np.array(u), np.array(v), face=face))
        assert found == pytest.approx(nearest, rel=0.02)  # second order in depth over radius of curvature, 2 mm over 90 mm


def test_distance_to_the_rim_of_a_rectangle_is_to_the_nearest_side():
    """A point 3 mm from the long side and 8 mm from the short side is 3 mm from the rim: closed form."""
    face = FACES[2]
    assert edge_distance_mm(np.array(27.0), np.array(-42.0), face=face) == pytest.approx(3.0, abs=1e-12)  # rounding


def test_exponential_turned_edge_has_its_depth_at_the_rim_and_a_third_of_it_one_width_in():
    """At the end of the minor axis the drop is the depth, one width in depth / e, far in nothing: closed form."""
    face = FACES[0]
    surface = Surface(face=face, edges=(TurnedEdge(depth_nm=80.0, width_mm=2.0),))
    found = surface.heights_nm(face.semi_u_mm - np.array([0.0, 2.0, 44.0]), np.zeros(3))
    assert found == pytest.approx([-80.0, -80.0 / math.e, 0.0], abs=1e-3)  # the small term that keeps the centre finite is 1e-6


def test_quadratic_turned_edge_ends_at_its_width():
    """Half its width in, a parabola has a quarter of the depth, and beyond its width nothing: closed form."""
    face = FACES[1]
    surface = Surface(face=face, edges=(TurnedEdge(depth_nm=80.0, width_mm=4.0, profile=EdgeProfile.QUADRATIC),))
    found = surface.heights_nm(face.semi_u_mm - np.array([0.0, 2.0, 4.0, 5.0]), np.zeros(4))
    assert found == pytest.approx([-80.0, -20.0, 0.0, 0.0], abs=1e-3)  # the small term that keeps the centre finite is 1e-6


def test_turned_edge_over_part_of_the_rim_leaves_the_rest_alone():
    """An edge about +u within 40 degrees is whole at +u, half at 40 degrees and absent at -u."""
    face = FACES[1]
    surface = Surface(face=face, edges=(TurnedEdge(depth_nm=60.0, width_mm=3.0, middle_deg=0.0, half_span_deg=40.0),))
    angle = np.radians([0.0, 40.0, 180.0])
    found = surface.heights_nm(face.semi_u_mm * np.cos(angle), face.semi_v_mm * np.sin(angle))
    assert found == pytest.approx([-60.0, -30.0, 0.0], abs=1e-6)  # rounding


@pytest.mark.parametrize(("profile", "at_radius"), [(LocalProfile.GAUSSIAN, 30.0 / math.e), (LocalProfile.RAISED_COSINE, 0.0)])
def test_local_hill_has_its_height_at_its_top(profile, at_radius):
    """A hill has its height at its top and the named share of it one radius away: closed form."""
    hill = LocalHill(u_mm=5.0, v_mm=-8.0, radius_mm=6.0, height_nm=30.0, profile=profile)
    surface = Surface(face=FACES[0], hills=(hill,))
    found = surface.heights_nm(np.array([5.0, 11.0, 5.0]), np.array([-8.0, -8.0, 40.0]))
    assert found == pytest.approx([30.0, at_radius, 0.0], abs=1e-9)  # rounding


def test_zone_has_its_crest_at_its_radius():
    """A ring at 0.6 of the outline is as high on the minor as on the major axis, and 1/e one width off."""
    face = FACES[0]
    surface = Surface(face=face, zones=(Zone(radius=0.6, width_mm=4.5, height_nm=-20.0),))
    found = surface.heights_nm(
        np.array([0.6 * face.semi_u_mm, 0.0, 0.6 * face.semi_u_mm + 4.5]), np.array([0.0, 0.6 * face.semi_v_mm, 0.0])
    )
    assert found == pytest.approx([-20.0, -20.0, -20.0 / math.e], abs=1e-9)  # rounding


@pytest.mark.parametrize("face", FACES, ids=lambda face: face.shape.value)
def test_random_surface_has_the_peak_to_valley_asked_for(face):
    """The PV asked for is there, and neither piston nor tilt."""
    surface = random_surface(face, np.random.default_rng(3), pv_nm=77.0)
    assert peak_to_valley_nm(surface) == pytest.approx(77.0, rel=1e-9)  # scaled to it on the same grid
    assert surface.coefficients_nm[:3] == (0.0, 0.0, 0.0)


def test_sum_of_surfaces_is_the_sum_of_heights():
    """Adding surfaces of unlike order and features adds their heights at every point."""
    face, rng = FACES[0], np.random.default_rng(8)
    one = Surface(face=face, coefficients_nm=(1.0, 2.0, 3.0), edges=(TurnedEdge(depth_nm=10.0, width_mm=2.0),))
    other = Surface(face=face, coefficients_nm=(4.0,) * 6, zones=(Zone(radius=0.5, width_mm=3.0, height_nm=5.0),))
    u_mm, v_mm = _points(face, rng)
    assert added(one, other).heights_nm(u_mm, v_mm) == pytest.approx(
        one.heights_nm(u_mm, v_mm) + other.heights_nm(u_mm, v_mm), abs=1e-9
    )  # rounding
