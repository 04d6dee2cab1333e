"""Three flats and more: what their pairs determine, exactly and with which uncertainty.

Sources: U. Griesmann, Appl. Opt. 45, 5856 (2006), and G. Schulz and J. Schwider as told in Opt. Eng. 53, 092004 (2014), for what three pairs determine;
B. S. Fritz, Opt. Eng. 23, 379 (1984), for the turned fourth; C. J. Evans and R. N. Kestner, Appl. Opt. 35, 1015 (1996), for turned positions;
propagation of errors: linear algebra with the coefficients (1, 1, -1) / 2.
"""

import math

import numpy as np
import pytest

from straightband.combine.detail import all_samples, detail_of, grid_of
from straightband.combine.flats import ERROR_SHAPES, covariances, orders_of, solve
from straightband.combine.pairs import Pair, place_on_other
from straightband.combine.unseen import all_one_sided, unseen_terms
from straightband.face.polynomials import face_polynomials, noll_to_nm
from straightband.face.shapes import ellipse, rectangle, round_face
from straightband.heightmap.map import HeightMap
from straightband.uncertainty import COVERAGE_95

ROUND = round_face(diameter_mm=100.0)
CYCLE = ("AB", "AC", "BC")


def nothing(u, v):
    return 0.0 * u * v


def pair(names, heights=nothing, *, face=ROUND, turn_deg=0.0, shift_mm=(0.0, 0.0), uncertainty=0.0, points=41):
    """A pair map; `heights` is a function of (u, v), or one for each flat by its name."""
    u, v = np.linspace(-face.semi_u_mm, face.semi_u_mm, points), np.linspace(-face.semi_v_mm, face.semi_v_mm, points)
    uu, vv = np.meshgrid(u, v)
    inside = face.contains(uu, vv)
    made = Pair(
        piece=names[0],
        other=names[1],
        height_map=HeightMap(heights_nm=0.0 * uu, u_mm=u, v_mm=v, uncertainty_nm=0.0 * uu, face=face, clear_margin=0.0),
        turn_rad=math.radians(turn_deg),
        shift_mm=shift_mm,
    )
    total = heights(uu, vv) if callable(heights) else heights[names[0]](uu, vv) + heights[names[1]](*place_on_other(made, u_mm=uu, v_mm=vv))
    height_map = HeightMap(
        heights_nm=np.where(inside, total, np.nan),
        u_mm=u,
        v_mm=v,
        uncertainty_nm=np.where(inside, uncertainty, np.nan),
        face=face,
        clear_margin=0.0,
    )
    return Pair(piece=names[0], other=names[1], height_map=height_map, turn_rad=made.turn_rad, shift_mm=shift_mm)


def cycle(heights=nothing, **more):
    return tuple(pair(names, heights, **more) for names in CYCLE)


def term(solution, name, j):
    """Coefficient of Noll's polynomial j of a flat."""
    return solution.terms_nm[solution.rows(name)][j - 4]


def figure(coefficients, face=ROUND):
    return lambda u, v: np.tensordot(coefficients, face_polynomials(u, v, face=face, order=6)[3:], axes=1)


@pytest.mark.parametrize(("turn", "shift"), [(0.0, (0.0, 0.0)), (54.0, (0.0, 0.0)), (90.0, (7.0, -3.0)), (-31.0, (-4.0, 11.0))], ids=str)
def test_facing_flats_are_placed_as_in_space(turn, shift):
    """A point of B turned about its axis, flipped over about the mark's axis and laid down at its shift, by rotations in space, is where it is said to be."""
    turned, flip = math.radians(turn), math.pi
    about_axis = np.array([[math.cos(turned), -math.sin(turned), 0], [math.sin(turned), math.cos(turned), 0], [0, 0, 1]])
    over = np.array([[math.cos(flip), 0, math.sin(flip)], [0, 1, 0], [-math.sin(flip), 0, math.cos(flip)]])
    on_b = np.array([10.0, 5.0, 0.0])
    lies_at = over @ about_axis @ on_b + np.array([*shift, 0.0])
    found = place_on_other(pair("AB", turn_deg=turn, shift_mm=shift), u_mm=lies_at[0], v_mm=lies_at[1])
    assert found == pytest.approx((10.0, 5.0), abs=1e-12)  # rounding


@pytest.mark.parametrize(("sums", "flats"), [((40.0, 10.0, -6.0), (28.0, 12.0, -18.0)), ((120.0, -30.0, 50.0), (20.0, 100.0, -50.0))])
def test_powers_of_three_flats(sums, flats):
    """The powers of A, B and C from those of AB, AC and BC (TF-1): half of two sums less the third."""
    pairs = tuple(pair(names, lambda u, v, power=power: -power * (u**2 + v**2) / 50.0**2) for names, power in zip(CYCLE, sums, strict=True))
    solution = solve(pairs)
    # Z4 = sqrt(3) (2 r^2 - 1): a power P is -P / (2 sqrt 3) of it
    found = [-2.0 * math.sqrt(3.0) * term(solution, name, 4) for name in "ABC"]
    assert found == pytest.approx(flats, rel=1e-6)


@pytest.mark.parametrize(("turn", "rank"), [(None, 64), (90.0, 73), (180.0, 69), (54.0, 75)])
def test_how_much_the_measurements_determine(turn, rank):
    """Ranks of the 75 terms of three flats to the sixth order (TF-2): three pairs, and a fourth with B turned."""
    extra = () if turn is None else (pair("AB", turn_deg=turn),)
    solution = solve((*cycle(), *extra))
    assert (solution.terms_nm.size, solution.rank) == (75, rank)
    assert np.trace(solution.unseen) == pytest.approx(75 - rank, abs=1e-6)


def test_what_three_pairs_leave_free_is_odd_across_the_mirrored_axis():
    """Three fixed pairs hide a third of every term odd in u, of each flat alike, and nothing else."""
    solution = solve(cycle())
    hidden = unseen_terms(solution)
    assert all_one_sided(solution)
    # Noll's terms are odd in u where the cosine's order is odd or the sine's even
    odd = {noll_to_nm(j) for j in range(4, 29) if (m := noll_to_nm(j)[1]) and ((m > 0) == (m % 2 == 1))}
    for name in "ABC":
        assert {(each.order, each.lobes) for each in hidden[name]} == odd
        assert [each.share for each in hidden[name]] == pytest.approx([1 / 3] * 11, abs=1e-6)
    assert hidden["A"][0].name == "astigmatism along the diagonals"


@pytest.mark.parametrize(("j", "gain"), [(7, 0.7071067812), (6, 0.5)], ids=["one lobe", "two lobes"])
def test_gain_of_one_extra_turned_measurement(j, gain):
    """B turned by 90 degrees under A: the noise of the difference of the two maps is carried into orders 1 and 2 by 1 / (2 sin(m phi / 2)) (TF-3)."""
    sigma = 3.0
    solution = solve((pair("AB", uncertainty=sigma * COVERAGE_95), pair("AB", uncertainty=sigma * COVERAGE_95, turn_deg=90.0)))
    at = solution.rows("B").start + j - 4
    per_shape = sigma / math.sqrt(len(ERROR_SHAPES))
    assert math.sqrt(covariances(solution).independent[at, at]) == pytest.approx(math.sqrt(2.0) * gain * per_shape, rel=0.01)  # the grid


@pytest.mark.parametrize(("turns", "left"), [(4, (0, 0, 0, 1, 0, 0, 0, 1)), (5, (0, 0, 0, 0, 1, 0))])
def test_turned_positions_average_out(turns, left):
    """The mean over N equally turned positions of B keeps only angular orders that are multiples of N (TF-4, Evans and Kestner)."""
    angle = 2 * np.pi * np.arange(72) / 72
    u, v = 20 * np.cos(angle), 20 * np.sin(angle)
    for order, factor in enumerate(left, start=1):
        seen = []
        for k in range(turns):
            across, along = place_on_other(pair("AB", turn_deg=360.0 * k / turns), u_mm=u, v_mm=v)
            seen.append(np.cos(order * np.arctan2(along, across)))
        assert np.max(np.abs(np.mean(seen, axis=0))) == pytest.approx(factor, abs=1e-9)


def test_propagation_of_independent_errors_repeats_and_drift():
    """TF-5: sqrt(3)/2 of the error of one map; five repeats of each pair divide it by sqrt 5; what is common to all maps comes through by half."""
    sigma = 4.0
    once = covariances(solve(cycle(uncertainty=sigma * COVERAGE_95)))
    often = covariances(solve(cycle(uncertainty=sigma * COVERAGE_95) * 5))
    per_shape = sigma / math.sqrt(len(ERROR_SHAPES))
    assert math.sqrt(once.independent[0, 0]) == pytest.approx(0.8660254038 * per_shape, rel=0.01)  # the grid of 41 points
    assert math.sqrt(often.independent[0, 0]) == pytest.approx(0.8660254038 / math.sqrt(5.0) * per_shape, rel=0.01)
    assert math.sqrt(once.common[0, 0]) == pytest.approx(0.5 * per_shape, rel=0.01)
    assert math.sqrt(often.common[0, 0]) == pytest.approx(0.5 * per_shape, rel=0.01)


def test_the_figure_comes_back_to_the_last_digit():
    """Four pairs of random figures without noise, one turned by 54 degrees: all 75 terms come back."""
    rng = np.random.default_rng(5)
    true = {name: rng.normal(0.0, 10.0, 25) for name in "ABC"}
    heights = {name: figure(value) for name, value in true.items()}
    solution = solve((*cycle(heights), pair("AB", heights, turn_deg=54.0)))
    for name, value in true.items():
        assert solution.terms_nm[solution.rows(name)] == pytest.approx(value, abs=1e-6)  # condition of the turned pair times rounding


def test_an_elliptical_piece_on_a_larger_round_flat():
    """Three round flats and an ellipse lying off-centre and turned on one of them: the ellipse's own figure comes back, on its own polynomials."""
    rng = np.random.default_rng(8)
    small = ellipse(minor_mm=50.0)
    true = {name: rng.normal(0.0, 10.0, 25) for name in "ABCE"}
    heights = {name: figure(value, small if name == "E" else ROUND) for name, value in true.items()}
    laid = pair("EA", heights, face=small, turn_deg=25.0, shift_mm=(6.0, -4.0))
    solution = solve((*cycle(heights), pair("AB", heights, turn_deg=54.0), laid))
    assert solution.rank == 100
    assert solution.terms_nm[solution.rows("E")] == pytest.approx(true["E"], abs=1e-5)  # as above


def test_three_rectangles():
    """Three equal rectangles: terms even in u come back, those odd in u are said to be free."""
    block = rectangle(width_mm=60.0, length_mm=100.0)
    heights = {
        name: (lambda u, v, k=k: k * (u / 30.0) ** 2 + (3 - k) * v / 50.0 * (u / 30.0) ** 2) for k, name in enumerate("ABC", start=1)
    }
    solution = solve(cycle(heights, face=block), order=4)
    assert all_one_sided(solution)
    hidden = unseen_terms(solution)["A"]
    assert hidden[0].name == "a wave of degree 1 in u and 1 in v"
    # (x^2 mean removed) is 2 / (3 sqrt 5) of the orthonormal second Legendre polynomial
    for k, name in enumerate("ABC", start=1):
        assert solution.terms_nm[solution.rows(name)][0] == pytest.approx(k * 2.0 / (3.0 * math.sqrt(5.0)), rel=1e-6)


def test_detail_comes_back_on_the_grid():
    """A bump 3 mm wide on A, off every axis, is found on A and not on the others, within a tenth of its height, once B has been turned."""
    heights = {"A": lambda u, v: 20.0 * np.exp(-((u - 12) ** 2 + (v + 20) ** 2) / (2 * 3.0**2)), "B": nothing, "C": nothing}
    pairs = (*cycle(heights, points=121), pair("AB", heights, turn_deg=54.0, points=121), pair("AC", heights, turn_deg=100.0, points=121))
    solution = solve(pairs)
    samples = all_samples(pairs, flats=solution.flats)
    found = detail_of(pairs, flats=solution.flats, left=[each.heights_nm for each in samples], samples=samples)
    grid = grid_of(solution.flats[0])
    uu, vv = np.meshgrid(grid.u_mm, grid.v_mm)
    assert np.max(np.abs(found.heights_nm[0] - heights["A"](uu, vv) * grid.inside)) < 2.0  # a tenth
    assert np.max(np.abs(found.heights_nm[1])) < 2.0
    assert max(found.missing) < 0.2


def test_detail_of_three_fixed_pairs_is_missing_in_part():
    """Without a turned pair a sixth of all detail stays unseen: a third of its odd half."""
    pairs = cycle(points=121)
    solution = solve(pairs)
    samples = all_samples(pairs, flats=solution.flats)
    found = detail_of(pairs, flats=solution.flats, left=[each.heights_nm for each in samples], samples=samples)
    assert found.missing == pytest.approx((1 / 6, 1 / 6, 1 / 6), abs=0.08)  # one random pattern, and what lies between the points


@pytest.mark.parametrize("turn", [None, 54.0], ids=["three fixed", "one turned"])
def test_stated_uncertainty_holds_the_truth(turn):
    """Of 600 sets of random flats and map errors, the 95 % interval of a term seen, and of one partly hidden, holds the truth in 92 to 98 %."""
    rng = np.random.default_rng(11)
    extra = () if turn is None else (pair("AB", uncertainty=2.0, points=21, turn_deg=turn),)
    blank = (*cycle(uncertainty=2.0, points=21), *extra)
    solution = solve(blank)
    doubt = covariances(solution)
    sizes = np.array([30.0 / order**2 for _ in "ABC" for order in orders_of(solution)])
    watched = [solution.rows("A").start + j - 4 for j in (4, 5, 7)]  # power, hidden astigmatism, coma across the mirror
    held = np.zeros(len(watched))
    trials = 600
    for _ in range(trials):
        true = rng.standard_normal(75) * sizes
        # What solve() is linear in: the truth less what is unseen, and each map's error through its gain.
        found = true - solution.unseen @ true + sum(gain @ rng.standard_normal(gain.shape[1]) for gain in solution.gains)
        prior = _sized_again(solution, found)
        spread = np.sqrt(np.diagonal(doubt.independent + solution.unseen @ (prior[:, None] ** 2 * solution.unseen)))
        held += np.abs(found - true)[watched] <= COVERAGE_95 * spread[watched]
    assert np.all(held / trials > 0.92)
    assert np.all(held / trials < 0.985)  # the size of what is hidden is itself estimated, and widened for it


def _sized_again(solution, found):
    from dataclasses import replace

    sizes = covariances(replace(solution, terms_nm=found)).unseen_size_nm
    return np.array([sizes[order] for _ in solution.flats for order in orders_of(solution)])
