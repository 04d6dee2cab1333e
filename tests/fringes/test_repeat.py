"""Several readings of one face: Student's factors from the published table, and the uncertainty of a mean."""

import math

import numpy as np
import pytest

from straightband.face.shapes import round_face
from straightband.fringes.budget import sum_up
from straightband.fringes.repeat import aligned, factor_beside, repeat, student_95
from straightband.heightmap.figures import Points


# JCGM 100:2008 (GUM), table G.2, column p = 95 %.
def nothing(points):
    return np.zeros_like(points.u_mm)


GUM_G2 = {1: 12.71, 2: 4.30, 3: 3.18, 4: 2.78, 5: 2.57, 8: 2.31, 10: 2.23, 20: 2.09, 50: 2.01}


@pytest.fixture(scope="module")
def points():
    clear = round_face(diameter_mm=100.0)
    axis = np.linspace(-49.0, 49.0, 29)
    u, v = np.meshgrid(axis, axis)
    inside = clear.contains(u, v)
    return Points(u_mm=u[inside], v_mm=v[inside], area=np.ones(int(inside.sum())), clear=clear)


@pytest.mark.parametrize(("freedom", "factor"), GUM_G2.items())
def test_students_factor_is_that_of_the_table(freedom, factor):
    """GUM table G.2, 95 %: one degree of freedom fewer than there are readings."""
    assert student_95(freedom + 1) == pytest.approx(factor, abs=0.005)  # the table is rounded to 0.01


def test_a_reading_of_unknown_sign_is_turned_to_agree():
    """The same face read the other way up is turned back; one that agrees is left; what is missing in one does not count."""
    face = np.array([[1.0, -2.0, np.nan], [3.0, -1.0, 0.5]])
    assert np.array_equal(aligned(-face, to_nm=face), face, equal_nan=True)
    assert np.array_equal(aligned(face, to_nm=face), face, equal_nan=True)
    other = np.array([[-1.1, 2.1, 50.0], [-2.9, 0.9, np.nan]])
    assert np.array_equal(aligned(other, to_nm=face), -other, equal_nan=True)


@pytest.mark.parametrize("count", [2, 3, 5, 10])
def test_the_repeat_of_a_mean_is_student_times_scatter_over_root_n(points, count):
    """GUM 4.2.3 and G.3.2: each cell's expanded uncertainty is t s / sqrt(n), s the experimental standard deviation."""
    shape = np.cos(points.u_mm / 9.0) * np.sin(points.v_mm / 7.0)
    terms = np.stack([np.ones_like(shape), points.u_mm, points.v_mm])
    shape -= np.linalg.lstsq(terms.T, shape, rcond=None)[0] @ terms  # piston and tilt are no heights
    sizes = np.random.default_rng(count).standard_normal(count)
    cells = sizes[:, None] * shape
    budget = sum_up([repeat(points, cells, beside_nm=nothing(points))], points=points, heights_nm=cells.mean(axis=0))
    wanted = student_95(count) * np.std(sizes, ddof=1) / math.sqrt(count) * np.abs(shape)
    assert budget.cells_nm == pytest.approx(wanted, rel=1e-9)  # one formula; coverage 1.959964 cancels


@pytest.mark.parametrize("count", [2, 3, 5, 10])
def test_the_repeat_of_a_figure_is_student_times_its_scatter_over_root_n(points, count):
    """GUM 4.2.3 and G.3.2 for the power of readings that differ by power alone: t s / sqrt(n) of the powers themselves."""
    radius2 = (points.u_mm**2 + points.v_mm**2) / points.clear.semi_major_mm**2
    powers = np.random.default_rng(count).standard_normal(count)
    budget = sum_up([repeat(points, -powers[:, None] * radius2, beside_nm=nothing(points))], points=points, heights_nm=-10.0 * radius2)
    wanted = student_95(count) * np.std(powers, ddof=1) / math.sqrt(count)
    assert budget.expanded_nm["power_nm"] == pytest.approx(wanted, rel=1e-6)  # one formula


def test_readings_that_agree_leave_no_repeat(points):
    """No scatter, no uncertainty from it, and the origin says how many photographs there were."""
    cells = np.ones((4, 1)) * np.cos(points.u_mm / 9.0)
    cause = repeat(points, cells, beside_nm=nothing(points))
    assert np.abs(cause.modes_nm).max() < 1e-12  # rounding
    assert cause.draws_nm.shape == (0, points.u_mm.size)
    assert (cause.name, cause.origin) == ("repeat", "scatter of 4 photographs")


def test_effective_degrees_of_freedom_are_those_of_the_guide():
    """GUM G.4.1 by hand from table G.2.

    u1 = 3 with one degree of freedom beside u2 = 4 known well: u = 5, 5^4 / 3^4 = 7.7 degrees of freedom, t = 2.36 for 7 and 2.31 for 8 (table G.2).
    """
    factor = factor_beside(2, scatter=3.0, beside=1.959964 * 4.0)
    together = math.hypot(3.0 * factor, 1.959964 * 4.0)
    assert 2.31 * 5.0 < together < 2.37 * 5.0
    assert factor_beside(2, scatter=1.0, beside=0.0) == pytest.approx(12.71, abs=0.005)  # alone it is Student's
    assert factor_beside(2, scatter=1.0, beside=100.0) == pytest.approx(1.96, abs=0.01)  # nearly nothing beside much: a plain square


def test_two_readings_with_a_known_doubt_hold_the_truth():
    """Of 4000 pairs of normal readings with a common normal error of known size, the interval holds the truth in 90 to 98 %, and Student's squares in more.

    Welch and Satterthwaite is an approximation that JCGM 100:2008 recommends; its own error for one degree of freedom is inside these bounds.
    """
    rng = np.random.default_rng(8)
    for size in (0.5, 1.0, 3.0):
        pairs = rng.standard_normal((4000, 2))
        error = pairs.mean(axis=1) + size * rng.standard_normal(4000)
        scatter = np.abs(pairs[:, 0] - pairs[:, 1]) / 2.0
        factors = np.array([factor_beside(2, scatter=each, beside=1.959964 * size) for each in scatter])
        held = np.mean(np.abs(error) <= np.hypot(factors * scatter, 1.959964 * size))
        assert 0.90 < held < 0.98
        assert np.mean(np.abs(error) <= np.hypot(12.706 * scatter, 1.959964 * size)) > held
