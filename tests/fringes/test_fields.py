"""Splines, rim functions and the distance from the rim against closed forms and an independent spline."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import BSpline
from scipy.optimize import minimize_scalar

from straightband.face.shapes import Shape, ellipse, rectangle, round_face
from straightband.fringes.fields import (
    RIM_HARMONICS,
    RIM_WIDTHS,
    SIDE_ORDER,
    distance_from_rim,
    polynomial_block,
    rim_functions,
    rim_roughness,
    side_functions,
    side_roughness,
    spline_grid,
)
from straightband.fringes.grow import polynomials

INSIDE = st.floats(-1.0, 1.0)


def plain(columns=9, rows=12):
    """A grid of which every spline is kept."""
    return spline_grid(columns=columns, rows=rows, shape=Shape.RECTANGLE)


def disc_points(count=400):
    rng = np.random.default_rng(1)
    radius, angle = np.sqrt(rng.uniform(size=count)), rng.uniform(-np.pi, np.pi, count)
    return radius * np.cos(angle), radius * np.sin(angle)


def knot_places(count):
    """Where spline 0 .. count-1 stands: a straight line over these places is reproduced as that line."""
    return (np.arange(count) - 1.0) / (count - 3.0) * 2.0 - 1.0


@pytest.mark.parametrize("shape", list(Shape))
def test_splines_sum_to_one_all_over_the_face(shape):
    """Partition of unity: with all coefficients 1 the field is 1, the splines left out notwithstanding."""
    grid = spline_grid(columns=9, rows=13, shape=shape)
    x, y = disc_points()
    assert np.asarray(grid.matrix(x, y).sum(axis=1)).ravel() == pytest.approx(1.0, abs=1e-12)  # rounding


def test_splines_reproduce_a_plane():
    """Coefficients on a plane at the splines' places give that plane: cubic splines hold polynomials."""
    grid = plain()
    x, y = disc_points()
    coefficients = (2.0 + 0.5 * knot_places(9)[None, :] - 0.8 * knot_places(12)[:, None]).ravel()
    assert grid.matrix(x, y) @ coefficients == pytest.approx(2.0 + 0.5 * x - 0.8 * y, abs=1e-12)  # rounding


@given(x=INSIDE, y=INSIDE)
def test_a_spline_is_the_textbook_b_spline(x, y):
    """Against scipy's B-splines on the same even knots, an independent implementation."""
    grid = plain(columns=7, rows=5)
    across, along = (
        BSpline(np.arange(-3.0, count + 1.0) / (count - 3.0) * 2.0 - 1.0, np.eye(count), 3)(value) for count, value in ((7, x), (5, y))
    )
    found = grid.matrix(np.array([x]), np.array([y])).toarray()[0]
    assert found == pytest.approx(np.outer(along, across).ravel(), abs=1e-9)  # rounding of knots


def test_values_on_a_grid_are_the_matrix_times_the_coefficients():
    """The short way by rows and columns gives what the matrix gives point by point."""
    grid = spline_grid(columns=10, rows=14, shape=Shape.ELLIPSE)
    coefficients = np.random.default_rng(0).standard_normal(grid.size)
    x, y = np.linspace(-0.65, 0.65, 9), np.linspace(-0.7, 0.7, 11)
    xx, yy = np.meshgrid(x, y)
    slow = grid.matrix(xx.ravel(), yy.ravel()) @ coefficients
    assert grid.on_grid(coefficients, x=x, y=y).ravel() == pytest.approx(slow, abs=1e-12)  # rounding


def test_splines_beyond_the_outline_are_left_out():
    """On a disc the corner splines are dropped, and every spline kept reaches some point of the face."""
    grid = spline_grid(columns=12, rows=12, shape=Shape.ROUND)
    assert grid.size < 144
    assert not set(grid.kept) & {0, 11, 132, 143}
    axis = np.linspace(-1.0, 1.0, 400)
    x, y = np.meshgrid(axis, axis)
    inside = np.hypot(x, y) <= 1.0
    assert np.asarray(grid.matrix(x[inside], y[inside]).sum(axis=0)).min() > 0.0


@pytest.mark.parametrize("shape", list(Shape))
def test_a_plane_has_no_bends(shape):
    """The bending energy of constant, slope along x and slope along y is zero."""
    grid = spline_grid(columns=9, rows=11, shape=shape)
    every = np.stack([np.ones((11, 9)), *np.meshgrid(np.arange(9.0), np.arange(11.0))]).reshape(3, -1)
    plane = np.array([1.0, 2.0, -3.0]) @ every[:, grid.kept]
    assert plane @ grid.bending() @ plane == pytest.approx(0.0, abs=1e-9)  # rounding


@pytest.mark.parametrize(
    ("surface", "energy"),
    [
        (lambda i, _j: i * i, 4.0 * 12 * 7),
        (lambda _i, j: j * j, 4.0 * 10 * 9),
        (lambda i, j: i * j, 2.0 * 8 * 11),
    ],
    ids=["along x", "along y", "twisted"],
)
def test_bends_are_the_sum_of_squared_second_differences(surface, energy):
    """Coefficients i^2 have second difference 2 at every inner spline; ij have mixed difference 1 in every mesh, counted twice."""
    grid = plain()
    columns, rows = np.meshgrid(np.arange(9.0), np.arange(12.0))
    c = surface(columns, rows).ravel()
    assert c @ grid.bending() @ c == pytest.approx(energy, rel=1e-12)  # whole numbers


def test_bends_are_never_negative_and_flat_for_planes_only():
    """The bending matrix is symmetric, and only three of its eigenvalues vanish: constant and two slopes."""
    values = np.linalg.eigvalsh(spline_grid(columns=9, rows=9, shape=Shape.ROUND).bending())
    assert (np.abs(values) < 1e-9).sum() == 3  # rounding
    assert values.min() > -1e-9  # rounding


@given(radius=st.floats(0.0, 1.0), angle=st.floats(-3.2, 3.2), diameter=st.floats(10.0, 500.0))
def test_distance_from_the_rim_of_a_circle_is_one_less_the_radius(radius, angle, diameter):
    """On a circle the distance in units of the radius is exact at any depth."""
    clear = round_face(diameter_mm=diameter)
    x, y = np.array([radius * math.cos(angle)]), np.array([radius * math.sin(angle)])
    if radius > 1e-6:  # at the very centre the direction is lost, and nothing asks for it
        assert distance_from_rim(x, y, clear=clear)[0] == pytest.approx(1.0 - radius, abs=1e-9)  # rounding


def test_distance_from_the_rim_of_a_rectangle_is_to_the_nearest_side():
    """In units of the shorter half extent: 5 mm from the long side and 8 from the short one of a 40 x 100 is 5 / 20."""
    clear = rectangle(width_mm=40.0, length_mm=100.0)
    assert distance_from_rim(np.array([15 / 20]), np.array([42 / 50]), clear=clear)[0] == pytest.approx(0.25, abs=1e-12)  # rounding
    assert distance_from_rim(np.array([0.0]), np.array([-42 / 50]), clear=clear)[0] == pytest.approx(0.40, abs=1e-12)  # rounding


def test_distance_from_the_rim_of_an_ellipse_is_good_where_rim_functions_reach():
    """Against the nearest point found numerically: within 4 % at 0.07 of the semi-minor axis, a turned edge's width."""
    clear = ellipse(minor_mm=90.0)
    a, b = clear.semi_u_mm, clear.semi_v_mm
    for angle in np.linspace(0.0, math.pi / 2.0, 13):
        u, v = 0.93 * a * math.cos(angle), 0.93 * b * math.sin(angle)
        near = minimize_scalar(
            lambda t, u=u, v=v: math.hypot(a * math.cos(t) - u, b * math.sin(t) - v), bounds=(angle - 0.3, angle + 0.3), method="bounded"
        )
        found = distance_from_rim(np.array([u / a]), np.array([v / b]), clear=clear)[0]
        assert found * a == pytest.approx(near.fun, rel=0.04)  # first order in the distance, times the change of curvature


def test_rim_functions_fall_from_one_to_nothing_as_a_parabola():
    """On the outline every even one is 1, at half its width a quarter, at its width and beyond 0."""
    clear = round_face(diameter_mm=100.0)
    even = slice(0, None, 2 * RIM_HARMONICS + 1)
    width = np.array(RIM_WIDTHS)
    for share, height in ((0.0, 1.0), (0.5, 0.25), (1.0, 0.0), (1.5, 0.0)):
        radius = 1.0 - share * width
        found = rim_functions(radius, np.zeros(5), clear=clear)[even]
        assert np.diag(found) == pytest.approx(np.full(5, height), abs=1e-12)  # rounding


def test_rim_functions_turn_with_the_angle_and_cost_more_the_faster_they_turn():
    """The functions of one width are 1, cos and sin of m times the angle, in the order of the stiffness 1 + m^2."""
    angle = 0.7
    found = rim_functions(np.array([math.cos(angle)]), np.array([math.sin(angle)]), clear=round_face(diameter_mm=10.0))[:, 0]
    turns = [1.0] + [f(m * angle) for m in range(1, RIM_HARMONICS + 1) for f in (math.cos, math.sin)]
    assert found == pytest.approx(turns * 5, abs=1e-9)  # the rim is met to rounding
    stiff = [1.0] + [1.0 + m * m for m in range(1, RIM_HARMONICS + 1) for _ in range(2)]
    assert rim_roughness().tolist() == stiff * 5


def test_side_functions_belong_to_one_side_and_run_along_it_as_legendre_polynomials():
    """Half their width inside the right-hand side those of that side are a quarter of P0, P1, P2 along it, and those of the other three nothing."""
    clear = rectangle(width_mm=80.0, length_mm=200.0)
    along = 0.4
    legendre = [1.0, along, 0.5 * (3.0 * along**2 - 1.0)]
    for k, width in enumerate(RIM_WIDTHS):
        found = side_functions(np.array([1.0 - 0.5 * width]), np.array([along]), clear=clear).reshape(len(RIM_WIDTHS), 4, SIDE_ORDER + 1)[k]
        assert found[0] == pytest.approx(np.multiply(0.25, legendre), abs=1e-12)  # rounding
        assert np.all(found[1:] == 0.0)
    assert side_functions(np.zeros(3), np.zeros(3), clear=round_face(diameter_mm=80.0)).shape == (0, 3)
    assert side_roughness(4 * len(RIM_WIDTHS) * (SIDE_ORDER + 1))[:6].tolist() == [1.0, 2.0, 5.0, 1.0, 2.0, 5.0]


def test_side_functions_reach_as_far_in_millimetres_from_long_and_short_sides():
    """At the corner's bisector, equally far from both sides, the functions of the two are alike and add up."""
    clear = rectangle(width_mm=80.0, length_mm=200.0)
    inward_mm = 0.5 * RIM_WIDTHS[2] * 40.0
    x, y = np.array([1.0 - inward_mm / clear.semi_u_mm]), np.array([1.0 - inward_mm / clear.semi_v_mm])
    found = side_functions(x, y, clear=clear).reshape(len(RIM_WIDTHS), 4, SIDE_ORDER + 1)[2, :, 0]
    assert found == pytest.approx([0.25, 0.0, 0.25, 0.0], abs=1e-12)  # rounding


def test_the_polynomial_block_has_the_polynomials_as_columns():
    """Column k holds polynomial k at the points, whatever the shape."""
    x, y = disc_points(20)
    for shape in Shape:
        block = polynomial_block(x, y, shape=shape, order=3)
        assert block.shape == (20, 10)
        assert block.T.tolist() == polynomials(x, y, shape=shape, order=3).tolist()
