"""The numbers opticians take from a map, against closed forms on the ellipse, the circle and the rectangle.

Sources: the closed forms are derived from the moments of the area, as said in each test; the golden surface is a sum of the orthonormal ellipse
polynomials of V. N. Mahajan, G.-m. Dai, J. Opt. Soc. Am. A 24, 2994 (2007), whose coefficients are rms values by definition.
"""

from dataclasses import replace
from math import hypot, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from straightband.face.polynomials import ellipse_polynomials
from straightband.face.shapes import ellipse, rectangle, round_face
from straightband.heightmap.figures import Points, figures, figures_of_sums, fitted_heights, many_figures, profile, sample, without_tilt
from straightband.heightmap.map import HeightMap

DIAGONAL = 1 / sqrt(2)
GOLDEN = {4: 25.0, 5: 6.0, 6: 10.0, 8: 4.0, 11: 7.0}  # nm rms of E4, E5, E6, E8, E11
GOLDEN_RMS = sqrt(25**2 + 6**2 + 10**2 + 4**2 + 7**2)
GOLDEN_IRREGULARITY = sqrt(6**2 + 10**2 + 4**2 + 7**2)


def map_of(height, *, face, rows=241, margin=0.0):
    """A map of height(u, v) on a grid of square-ish cells whose centres fill the face."""
    cols = max(21, round(rows * face.semi_u_mm / face.semi_v_mm))
    u, v = (s * (2 * np.arange(n) + 1 - n) / n for s, n in ((face.semi_u_mm, cols), (face.semi_v_mm, rows)))
    uu, vv = np.meshgrid(u, v)
    inside = face.clear_aperture(margin).contains(uu, vv)
    return HeightMap(
        heights_nm=np.where(inside, height(uu, vv), np.nan), u_mm=u, v_mm=v, uncertainty_nm=np.ones_like(uu), face=face, clear_margin=margin
    )  # fmt: skip


def golden(u, v, *, semi_major):
    e = ellipse_polynomials(v / semi_major, u / semi_major, aspect=DIAGONAL)
    return sum(c * e[j - 1] for j, c in GOLDEN.items())


def quadrature(face, *, rings=24, spokes=48):
    """Points of a round or elliptical face with the area each stands for: exact for the polynomials tried here."""
    nodes, weights = np.polynomial.legendre.leggauss(rings)
    r = np.sqrt((nodes + 1) / 2)[:, None]
    angle = 2 * np.pi * np.arange(spokes)[None, :] / spokes
    u, v = (face.semi_u_mm * r * np.cos(angle)).ravel(), (face.semi_v_mm * r * np.sin(angle)).ravel()
    return Points(u_mm=u, v_mm=v, area=np.repeat(weights, spokes), clear=face)


def figures_at(points, heights):
    return {name: value[0] for name, value in many_figures(points, heights[None]).items()}


@pytest.fixture(scope="module")
def golden_figures():
    face = ellipse(minor_mm=60)
    points = quadrature(face, rings=200, spokes=360)
    return figures_at(points, golden(points.u_mm, points.v_mm, semi_major=face.semi_major_mm))


@pytest.mark.parametrize(
    ("figure", "nm", "within"),
    [
        ("rms_nm", GOLDEN_RMS, 1e-9),
        ("irregularity_rms_nm", GOLDEN_IRREGULARITY, 1e-9),
        ("pv_nm", 153.1498714, 2e-3),
        ("irregularity_pv_nm", 90.40022408, 2e-3),
        # A convex surface falls toward its rim: E4 = +25 rises there.
        ("power_nm", -104.4465936, 1e-6),
    ],
)
def test_golden_surface(golden_figures, figure, nm, within):
    """Orthonormal terms of 25, 6, 10, 4 and 7 nm rms add up to the known RMS, PV, irregularity and power; extremes to the sampling, means by exact quadrature."""
    assert golden_figures[figure] == pytest.approx(nm, rel=within)


def test_golden_surface_on_the_grid_of_a_map():
    """On a grid of 241 rows the same figures come out to the steps of its rim."""
    face = ellipse(minor_mm=60)
    found = figures(map_of(lambda u, v: golden(u, v, semi_major=face.semi_major_mm), face=face))
    assert found.rms_nm == pytest.approx(GOLDEN_RMS, rel=5e-3)
    assert found.power_nm == pytest.approx(-104.4465936, rel=5e-3)
    assert found.irregularity_rms_nm == pytest.approx(GOLDEN_IRREGULARITY, rel=5e-3)


@pytest.mark.parametrize("b", [1.0, DIAGONAL, 0.8])
def test_rms_of_pure_curvature(b):
    """A sphere of sag s over the semi-major axis has rms s sqrt((3 - 2 b^2 + 3 b^4) / 48), from the moments of the ellipse."""
    face = ellipse(minor_mm=100 * b, major_mm=100)
    points = quadrature(face)
    found = figures_at(points, 100.0 * (points.u_mm**2 + points.v_mm**2) / 50**2)
    assert found["rms_nm"] == pytest.approx(100 * sqrt((3 - 2 * b**2 + 3 * b**4) / 48), rel=1e-9)
    assert found["irregularity_rms_nm"] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("b", "along_v", "share"), [(1.0, True, 0.5), (DIAGONAL, True, 10 / 11), (DIAGONAL, False, 1 / 11), (0.8, True, 2.36 / 2.9488)]
)
def test_power_that_a_cylinder_reads_as(b, along_v, share):
    """The sphere fitted on an ellipse to v^2 has (3 - b^2) / (3 - 2 b^2 + 3 b^4) of its sag: 91 % on a diagonal, 9 % for u^2, never half."""
    face = ellipse(minor_mm=100 * b, major_mm=100)
    points = quadrature(face)
    bent = -100.0 * ((points.v_mm if along_v else points.u_mm) / 50.0) ** 2
    assert figures_at(points, bent)["power_nm"] == pytest.approx(100 * share, rel=1e-9)


@pytest.mark.parametrize("axis", [0.0, 30.0, 90.0, 135.0])
def test_astigmatism_and_its_axis(axis):
    """Height s rho^2 cos 2(angle - axis) has sags of +s and -s: astigmatism 2 s, highest along the axis; a sphere on top changes neither."""
    face = round_face(diameter_mm=100)
    points = quadrature(face)
    rho2, angle = (points.u_mm**2 + points.v_mm**2) / 2500, np.arctan2(points.v_mm, points.u_mm)
    found = figures_at(points, 20 * rho2 * np.cos(2 * (angle - np.radians(axis))) - 70 * rho2)
    assert found["astigmatism_nm"] == pytest.approx(40.0, rel=1e-9)
    assert (found["astigmatism_axis_deg"] - axis + 90) % 180 - 90 == pytest.approx(0.0, abs=1e-6)
    assert found["power_nm"] == pytest.approx(70.0, rel=1e-9)


def test_a_hill_is_positive_power():
    """Glass that stands highest in the middle is convex, and its power is the height of the middle above the end of the major axis."""
    face = ellipse(minor_mm=60)
    found = figures(map_of(lambda u, v: 50.0 * (1 - (u**2 + v**2) / face.semi_major_mm**2), face=face))
    assert found.power_nm == pytest.approx(50.0, rel=1e-9)


@settings(max_examples=20)
@given(piston=st.floats(-1e4, 1e4), tilt_u=st.floats(-100, 100), tilt_v=st.floats(-100, 100))
def test_piston_and_tilt_change_no_figure(piston, tilt_u, tilt_v):
    """However the piece lies, the figures are the same."""
    face = ellipse(minor_mm=60)
    level = map_of(lambda u, v: golden(u, v, semi_major=face.semi_major_mm), face=face, rows=81)
    tilted = replace(level, heights_nm=level.heights_nm + piston + tilt_u * level.u_mm[None, :] + tilt_v * level.v_mm[:, None])
    for name in ("pv_nm", "rms_nm", "power_nm", "astigmatism_nm", "irregularity_rms_nm", "edge_nm"):
        assert getattr(figures(tilted), name) == pytest.approx(getattr(figures(level), name), abs=1e-6)  # 1e4 nm times rounding
    np.testing.assert_allclose(without_tilt(tilted).points()[2], without_tilt(level).points()[2], atol=1e-6)  # same


def test_a_turned_edge_is_told_by_its_depth():
    """An edge that falls by up to 60 nm over the last 4 mm, as a parabola, is told as its mean fall less what the tilt-free figure takes up."""
    face = round_face(diameter_mm=100)
    down = figures(map_of(lambda u, v: -60.0 * np.clip(np.hypot(u, v) - 46, 0, None) ** 2 / 16, face=face))
    assert down.edge_zone_mm == 5.0
    # Mean over the last 5 mm of 60 (r - 46)^2 / 16 weighted by r: 60/16 x integral of (r - 46)^2 r from 46 to 50, over that of r from 45 to 50.
    mean = 60 / 16 * (46 * 4**3 / 3 + 4**4 / 4) / ((50**2 - 45**2) / 2)
    assert down.edge_nm == pytest.approx(-mean, rel=0.03)  # steps of the grid at the rim
    up = figures(map_of(lambda u, v: 60.0 * np.clip(np.hypot(u, v) - 46, 0, None) ** 2 / 16, face=face))
    assert up.edge_nm == pytest.approx(-down.edge_nm, rel=1e-9)


def test_a_bow_is_no_turned_edge():
    """Power and astigmatism alone leave the edge at zero."""
    face = ellipse(minor_mm=60)
    assert figures(map_of(lambda u, v: 0.1 * u**2 - 0.03 * v**2 + 0.02 * u * v, face=face)).edge_nm == pytest.approx(0.0, abs=1e-9)


def test_figures_keep_to_the_clear_aperture():
    """Heights on the bevel count for nothing."""
    face = ellipse(minor_mm=60)
    plain = map_of(lambda u, v: 0.1 * u**2 + 0.05 * v**2, face=face, margin=0.03)
    full = map_of(lambda u, v: 0.1 * u**2 + 0.05 * v**2, face=face)
    rim = np.isfinite(full.heights_nm) & ~np.isfinite(plain.heights_nm)
    assert rim.sum() > 100
    spoilt = replace(full, heights_nm=np.where(rim, 9e9, full.heights_nm), clear_margin=0.03)
    assert figures(spoilt) == figures(plain)


@pytest.mark.parametrize("face", [ellipse(minor_mm=60), rectangle(width_mm=9, length_mm=35)], ids=lambda f: f.shape)
def test_coefficients_of_face_polynomials_are_rms(face):
    """A map made of orthonormal polynomials has the root sum of squares of its coefficients as rms (Parseval)."""
    coefficients = np.array([0.0, 0.0, 0.0, 12.0, -5.0, 8.0, 3.0, 0.0, 0.0, 4.0])
    u, v = (np.linspace(-s, s, 402)[:-1] + s / 401 for s in (face.semi_u_mm, face.semi_v_mm))
    heights = fitted_heights(face, coefficients, u_mm=u, v_mm=v)
    made = HeightMap(heights_nm=heights, u_mm=u, v_mm=v, uncertainty_nm=np.ones_like(heights), face=face, clear_margin=0.0)
    assert figures(made).rms_nm == pytest.approx(sqrt(np.sum(coefficients**2)), rel=2e-3)  # steps along the rim


def test_a_profile_follows_its_line():
    """Along a slanted line the profile gives distance and height of the surface there, and nothing off the face."""
    face = rectangle(width_mm=40, length_mm=40)
    made = map_of(lambda u, v: 3.0 * u - 2.0 * v, face=face, rows=41)
    distance, height = profile(made, start_mm=(-10.0, -5.0), end_mm=(10.0, 15.0), count=5)
    np.testing.assert_allclose(distance, hypot(20, 20) * np.linspace(0, 1, 5), rtol=1e-12)
    np.testing.assert_allclose(height, 3 * np.linspace(-10, 10, 5) - 2 * np.linspace(-5, 15, 5), atol=1e-9)  # bilinear is exact
    assert np.isnan(profile(made, start_mm=(0.0, 0.0), end_mm=(0.0, 30.0), count=3)[1][-1])


def test_sampling_reads_each_map_of_a_stack():
    """Several maps on one grid are read together, bilinearly, each by itself."""
    made = map_of(lambda u, v: u * v, face=rectangle(width_mm=20, length_mm=20), rows=21)
    u, v = np.array([1.3, -4.0]), np.array([2.2, 7.7])
    both = sample(np.stack([made.heights_nm, 2 * made.heights_nm]), made, u_mm=u, v_mm=v)
    np.testing.assert_allclose(both, [u * v, 2 * u * v], rtol=1e-12)  # u v is bilinear


def test_sums_of_modes_have_the_figures_of_their_sums():
    """Taken apart and put together, figures of a surface with modes added are those of the surfaces added up beforehand."""
    face = ellipse(minor_mm=60.0).clear_aperture()
    u, v = (each.ravel() for each in np.meshgrid(np.linspace(-29.0, 29.0, 41), np.linspace(-41.0, 41.0, 57)))
    inside = face.contains(u, v)
    u, v = u[inside], v[inside]
    points = Points(u_mm=u, v_mm=v, area=1.0 + 0.3 * np.cos(u), clear=face)
    rng = np.random.default_rng(8)
    base, modes = 30.0 * np.sin(u / 9.0) + 0.02 * v**2, rng.standard_normal((3, u.size)) + np.stack([u, u * v / 40.0, (v / 20.0) ** 3])
    factors = rng.standard_normal((5, 3))
    found, wanted = figures_of_sums(points, base, modes_nm=modes, factors=factors), many_figures(points, base + factors @ modes)
    assert found.keys() == wanted.keys()
    for name, values in wanted.items():
        assert found[name] == pytest.approx(values, rel=1e-9, abs=1e-9)  # rounding


@pytest.mark.parametrize("rows", [61, 240])
def test_the_peak_to_valley_of_a_rectangle_reaches_into_its_corners(rows):
    """Edges that fall by 20 nm a millimetre over the last 3 mm of all four sides end 120 nm lower in the corners, however wide the pixels are."""
    face = rectangle(width_mm=40.0, length_mm=60.0)

    def worn(u, v):
        return -20.0 * (np.maximum(np.abs(u) - 17.0, 0.0) + np.maximum(np.abs(v) - 27.0, 0.0))

    found = figures(map_of(worn, face=face, rows=rows))
    assert found.pv_nm == pytest.approx(120.0, abs=1e-9)  # even in all directions: no tilt is taken away


def test_the_rim_carried_on_weighs_nothing():
    """What is added for the tips of the corners changes the rms by nothing: that of a bow over a rectangle in closed form, 2 / sqrt(45) of its sag."""
    found = figures(map_of(lambda u, v: 100.0 * (u / 20.0) ** 2 + 0.0 * v, face=rectangle(width_mm=40.0, length_mm=60.0), rows=600))
    assert found.rms_nm == pytest.approx(100.0 * 2.0 / sqrt(45.0), rel=3e-5)  # the middles of 400 columns of pixels
    assert found.pv_nm == pytest.approx(100.0, rel=1e-4)  # carried on along the last slope


def test_a_map_that_ends_before_its_rim_is_not_carried_on():
    """Where the outer millimetres were never seen nothing is made up there: the peak to valley is that of what was seen."""
    face = rectangle(width_mm=40.0, length_mm=60.0)
    seen = map_of(lambda u, v: u * u + 0.0 * v, face=face, rows=120)
    cut = replace(seen, heights_nm=np.where(np.abs(seen.u_mm) < 15.0, seen.heights_nm, np.nan))
    known = cut.heights_nm[np.isfinite(cut.heights_nm)]
    assert figures(cut).pv_nm == pytest.approx(np.ptp(known), rel=1e-9)
