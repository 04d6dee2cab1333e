"""Sums of causes: one mode on power is that much power, causes add as squares, nothing else sneaks in."""

import numpy as np
import pytest
from scipy import stats

from straightband.face.polynomials import face_polynomials
from straightband.face.shapes import ellipse
from straightband.fringes import budget as budgets
from straightband.fringes.budget import Cause, no_rows, sum_up
from straightband.heightmap.figures import NAMES, Points, many_figures

CLEAR = ellipse(minor_mm=60.0)


@pytest.fixture(scope="module")
def points():
    u, v = np.meshgrid(np.linspace(-29.5, 29.5, 41), np.linspace(-42.0, 42.0, 57))
    inside = CLEAR.contains(u, v)
    return Points(u_mm=u[inside], v_mm=v[inside], area=np.ones(int(inside.sum())), clear=CLEAR)


def bowl(points):
    """Power of 1 nm, convex: centre above the end of the major axis."""
    return -(points.u_mm**2 + points.v_mm**2) / CLEAR.semi_major_mm**2


def moded(points, *modes, name="cause"):
    return Cause(name=name, origin="here", modes_nm=np.stack(modes), draws_nm=no_rows(points))


def test_a_mode_of_power_is_that_much_uncertainty_of_power(points):
    """Power is linear: 3 nm of it in a mode are 3 nm of expanded uncertainty, whatever the surface."""
    budget = sum_up([moded(points, 3.0 * bowl(points))], points=points, heights_nm=-50.0 * bowl(points))
    assert budget.expanded_nm["power_nm"] == pytest.approx(3.0, rel=1e-9)  # rounding
    assert budget.expanded_nm["irregularity_rms_nm"] == pytest.approx(0.0, abs=1e-6)  # root of a rounding error
    assert set(budget.expanded_nm) == set(NAMES)


def test_causes_add_as_squares(points):
    """GUM 5.1.2: 3, 4 and 12 nm of power from three causes, one of two modes, make 13 nm."""
    found = sum_up(
        [moded(points, 3.0 * bowl(points), 4.0 * bowl(points)), moded(points, -12.0 * bowl(points), name="another")],
        points=points,
        heights_nm=100.0 * bowl(points),
    )
    assert [effect.expanded_nm["power_nm"] for effect in found.effects] == pytest.approx([5.0, 12.0], rel=1e-9)  # rounding
    assert found.expanded_nm["power_nm"] == pytest.approx(13.0, rel=1e-9)  # rounding
    assert [effect.name for effect in found.effects] == ["cause", "another"]


def test_draws_count_at_their_95_percent_point(points):
    """Departures of power drawn from a normal distribution of 2 nm are worth 1.96 x 2 nm."""
    sizes = np.random.default_rng(6).standard_normal(4000) * 2.0
    cause = Cause(name="noise", origin="here", modes_nm=no_rows(points), draws_nm=sizes[:, None] * bowl(points))
    budget = sum_up([cause], points=points, heights_nm=40.0 * bowl(points))
    assert budget.expanded_nm["power_nm"] == pytest.approx(3.92, rel=0.06)  # 4 standard errors of that quantile of 4000
    flat = bowl(points) - bowl(points).mean()
    assert budget.cells_nm == pytest.approx(3.92 * np.abs(flat), rel=0.05, abs=0.05)  # 4 standard errors of 4000; the grid's symmetry


def test_pv_is_taken_to_both_sides(points):
    """Astigmatism on a surface of the same shape: PV grows by the mode added and shrinks by it taken away, and more is not claimed."""
    saddle = (points.u_mm**2 - points.v_mm**2) / CLEAR.semi_major_mm**2
    height = np.ptp(saddle - _plane_of(points, saddle))
    budget = sum_up([moded(points, 2.0 * saddle)], points=points, heights_nm=30.0 * saddle)
    assert budget.expanded_nm["pv_nm"] == pytest.approx(2.0 * height, rel=1e-9)  # rounding
    turned = sum_up([moded(points, -3.0 * saddle)], points=points, heights_nm=saddle)
    # Added: from 1 to 2; taken away: from 1 to 4. Of a change three times as large one way, 95 % stay within 1.645 / 1.96 of it.
    assert turned.expanded_nm["pv_nm"] == pytest.approx(3.0 * height * 1.6449 / 1.96, rel=1e-3)  # the other way adds next to nothing


def test_a_perfect_flat_is_uncertain_too(points):
    """PV and RMS of zero heights can only grow: the mode's own PV and RMS are their uncertainty."""
    mode = 5.0 * bowl(points)
    own = many_figures(points, mode[None])
    budget = sum_up([moded(points, mode)], points=points, heights_nm=np.zeros(mode.size))
    assert budget.expanded_nm["pv_nm"] == pytest.approx(own["pv_nm"][0], rel=1e-9)  # rounding
    assert budget.expanded_nm["rms_nm"] == pytest.approx(own["rms_nm"][0], rel=1e-9)  # rounding


def _plane_of(points, values):
    terms = np.stack([np.ones_like(points.u_mm), points.u_mm, points.v_mm])
    return np.linalg.lstsq(terms.T, values, rcond=None)[0] @ terms


def test_several_modes_are_drawn_together(points):
    """On a perfect flat the rms of m equal modes at right angles follows chi with m degrees of freedom: its 95 % point over 1.96, not sqrt(m)."""
    shapes = face_polynomials(points.u_mm, points.v_mm, face=CLEAR, order=4)[3:9]
    weighted = shapes - shapes @ np.linalg.pinv(_tilts(points)) @ _tilts(points)
    modes = np.linalg.qr(weighted.T)[0].T * np.sqrt(points.area.size)  # each of 1 nm rms, and none in another
    budget = sum_up([moded(points, *modes)], points=points, heights_nm=np.zeros(points.area.size))
    wanted = np.sqrt(stats.chi2.ppf(0.95, len(modes))) / 1.959964
    assert budget.expanded_nm["rms_nm"] == pytest.approx(wanted, rel=0.08)  # quantile of 128 draws
    assert budget.expanded_nm["rms_nm"] < 0.9 * np.sqrt(len(modes))  # what modes counted one by one would claim


def _tilts(points):
    return np.stack([np.ones_like(points.u_mm), points.u_mm, points.v_mm])


def test_piston_and_tilt_are_no_heights(points):
    """A mode that is a plane changes no figure and no cell."""
    plane = 100.0 + 2.0 * points.u_mm - 3.0 * points.v_mm
    budget = sum_up([moded(points, plane)], points=points, heights_nm=20.0 * bowl(points))
    assert max(budget.expanded_nm.values()) < 1e-9  # rounding
    assert budget.cells_nm.max() < 1e-9  # rounding


def test_cells_add_as_squares_after_their_plane(points):
    """The uncertainty of a cell is the root of the sum of the squares of all modes there, each less its plane."""
    one = points.u_mm * points.v_mm / 300.0
    other = bowl(points) * 7.0
    budget = sum_up([moded(points, one + points.u_mm), moded(points, other)], points=points, heights_nm=np.zeros(one.size))
    wanted = np.hypot(one - _plane_of(points, one), other - _plane_of(points, other))
    assert budget.cells_nm == pytest.approx(wanted, abs=1e-9)  # rounding


def test_no_causes_no_uncertainty(points):
    """An empty cause keeps its line and adds nothing."""
    empty = Cause(name="repeat", origin="one photograph: not known", modes_nm=no_rows(points), draws_nm=no_rows(points))
    budget = sum_up([empty], points=points, heights_nm=10.0 * bowl(points))
    assert [effect.name for effect in budget.effects] == ["repeat"]
    assert set(budget.expanded_nm.values()) == {0.0}
    assert not budget.cells_nm.any()


@pytest.mark.parametrize("ratio", [0.0, 0.3, 0.8, 0.95, 1.0])
def test_a_single_mode_counts_what_95_in_100_of_its_changes_stay_within(ratio):
    """Against 400 000 normal strengths, each way in proportion: 1.645 / 1.96 of a change that one way alone makes, all of one that both ways make alike."""
    strength = np.random.default_rng(4).standard_normal(400_000) / 1.959964
    change = np.where(strength > 0.0, 7.0 * strength, -7.0 * ratio * strength)
    assert budgets._two_sided(7.0, 7.0 * ratio) == pytest.approx(
        np.quantile(change, 0.95), rel=0.01
    )  # 3 standard deviations of the quantile
    assert budgets._two_sided(7.0 * ratio, 7.0) == budgets._two_sided(7.0, 7.0 * ratio)
    assert budgets._two_sided(0.0, 0.0) == 0.0


def chosen(points, *choices):
    return Cause(name="which", origin="here", modes_nm=no_rows(points), draws_nm=no_rows(points), choices_nm=np.stack(choices))


def test_choices_count_at_196_of_their_rms_or_the_largest(points):
    """Closed form: 3 nm of power or none make 1.96 x 3 / root 2; of eight choices one alone changes anything, and the whole of it counts."""
    one = sum_up([chosen(points, 3.0 * bowl(points))], points=points, heights_nm=-50.0 * bowl(points))
    assert one.expanded_nm["power_nm"] == pytest.approx(1.959964 * 3.0 / np.sqrt(2.0), rel=1e-6)  # rounding
    flat = bowl(points) - _plane_of(points, bowl(points))
    assert one.cells_nm == pytest.approx(1.959964 * 3.0 / np.sqrt(2.0) * np.abs(flat), rel=1e-6)  # rounding
    nothing = np.zeros_like(points.u_mm)
    many = sum_up([chosen(points, 3.0 * bowl(points), *[nothing] * 7)], points=points, heights_nm=-50.0 * bowl(points))
    assert many.expanded_nm["power_nm"] == pytest.approx(3.0, rel=1e-9)  # rounding


@pytest.mark.parametrize("ratio", [0.2, 0.5, 1.0, 2.0, 10.0])
def test_a_choice_added_as_a_square_holds_95_in_100(points, ratio):
    """Against 200 000 draws: a change that is so or not, as likely, beside a normal error, lies within the root of the sum of squares 95 times in 100 at least."""
    rng = np.random.default_rng(8)
    off = ratio * rng.integers(0, 2, 200_000) + rng.standard_normal(200_000) / 1.959964
    normal = moded(points, bowl(points))
    total = sum_up([normal, chosen(points, ratio * bowl(points))], points=points, heights_nm=np.zeros(points.u_mm.size))
    assert np.mean(np.abs(off) <= total.expanded_nm["power_nm"]) > 0.949  # 2 standard deviations of the share
