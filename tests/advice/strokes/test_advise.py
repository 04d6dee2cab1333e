"""When to work, when to stop, how much, and whether the forecast keeps its word: faces made from the strokes' own wear."""

from dataclasses import replace

import numpy as np
import pytest

from straightband.advice.strokes.advise import GUARD, Next, advise
from straightband.advice.strokes.candidates import candidate_strokes
from straightband.advice.strokes.choice import PRICE, Problem, chosen_minutes, first_weight, next_weight
from straightband.advice.strokes.doubt import drawn_errors, seen
from straightband.advice.strokes.library import library_of, without_level
from straightband.advice.strokes.rates import STROKE_SPREAD, Rates, before_any_run
from straightband.advice.strokes.run import Limits
from straightband.advice.strokes.stroke import Lap, Way
from straightband.face.polynomials import face_polynomials
from straightband.face.shapes import ellipse
from straightband.synthetic.surfaces import random_surface

FACE = ellipse(minor_mm=80.0)
LAP = Lap(name="half", diameter_mm=45.0, force_n=6.0, strokes_per_min=60.0)
LIMITS = Limits(tolerance_nm=79.1)


@pytest.fixture(scope="module")
def library():
    u, v = np.meshgrid(np.linspace(-40.0, 40.0, 19), np.linspace(-57.0, 57.0, 25))
    inside = FACE.clear_aperture().contains(u, v)
    return library_of(candidate_strokes(FACE, laps=(LAP,), table_rpm=20.0)[::2], face=FACE, u_mm=u[inside], v_mm=v[inside])


def never(left_nm):
    """Whatever is left, go on."""
    return left_nm.size == 0


def known(spread):
    return Rates(names=("half",), log_mean=np.zeros(1), log_covariance=np.array([[spread**2]]), runs=(9,))


def seen_of(heights, library, *, doubt_nm, seed=0, sign_known=True):
    rng = np.random.default_rng(seed)
    errors = drawn_errors(np.full(library.u_mm.size, doubt_nm), face=FACE, u_mm=library.u_mm, v_mm=library.v_mm, rng=rng)
    return seen(heights, errors, face=FACE, u_mm=library.u_mm, v_mm=library.v_mm, sign_known=sign_known)


def advised(what, library, *, rates=None, limits=LIMITS, seed=1):
    of_lap = np.zeros(len(library.strokes), dtype=int)
    return advise(what, library=library, rates=rates or known(0.05), of_lap=of_lap, limits=limits, rng=np.random.default_rng(seed))


def bumpy(library, *, pv_nm, seed=0):
    return random_surface(FACE, np.random.default_rng(seed), pv_nm=pv_nm, order=4).heights_nm(library.u_mm, library.v_mm)


def test_a_face_that_one_stroke_would_flatten_gets_that_stroke(library):
    """Heights that are 20 minutes of one stroke's wear are answered by it alone, a little shorter for the doubt of hand and rate (closed form)."""
    wear = without_level(library.rates_nm_min, library.level)
    spread = 0.2
    problem = Problem(
        heights_nm=20.0 * wear[7],
        wear_nm_min=wear,
        log_covariance=np.full((len(wear),) * 2, spread**2),
        most_strokes=8,
        weight=first_weight(wear[7]),
    )
    minutes = chosen_minutes(problem, flat_enough=lambda left: float(np.ptp(left)) < 0.1 * float(np.ptp(20.0 * wear[7])))
    assert np.flatnonzero(minutes).tolist() == [7]
    assert minutes[7] == pytest.approx(20.0 / (np.exp(spread**2) + STROKE_SPREAD**2), rel=0.01)  # the price of a minute takes the rest


def test_a_stroke_must_pay_its_price(library):
    """Every stroke of a list takes away at least its price: without it and the others fitted anew, more is left."""
    wear, h = without_level(library.rates_nm_min, library.level), without_level(bumpy(library, pv_nm=400.0), library.level)
    problem = Problem(heights_nm=h, wear_nm_min=wear, log_covariance=np.zeros((len(wear),) * 2), most_strokes=12, weight=first_weight(h))
    minutes = chosen_minutes(problem, flat_enough=never)
    chosen = np.flatnonzero(minutes)
    assert 2 <= chosen.size <= 12

    def left(kept):
        few = Problem(
            heights_nm=h, wear_nm_min=wear[kept], log_covariance=np.zeros((len(kept),) * 2), most_strokes=12, weight=first_weight(h)
        )
        after = h - chosen_minutes(few, flat_enough=never) @ wear[kept]
        return float(np.average(after**2, weights=first_weight(h)))

    whole = left(chosen)
    assert all(
        left(np.delete(chosen, k)) > whole + 0.2 * PRICE * float(np.average(h**2, weights=first_weight(h))) for k in range(chosen.size)
    )


def test_weight_on_what_was_left_makes_the_peak_to_valley_smaller(library):
    """A second list, with more weight where the first left most, leaves at least 8 % less from peak to valley on average, and little more rms."""
    wear, sizes = without_level(library.rates_nm_min, library.level), []
    for seed in range(8):
        h = without_level(bumpy(library, pv_nm=400.0, seed=seed), library.level)
        weight = first_weight(h)
        for _ in range(2):
            problem = Problem(heights_nm=h, wear_nm_min=wear, log_covariance=np.zeros((len(wear),) * 2), weight=weight, most_strokes=12)
            left = h - chosen_minutes(problem, flat_enough=never) @ wear
            sizes.append((np.ptp(left), np.std(left)))
            weight = next_weight(weight, left_nm=left)
    pv, rms = np.mean(np.array(sizes).reshape(-1, 2, 2), axis=0).T
    assert pv[1] < 0.92 * pv[0]
    assert rms[1] < 1.15 * rms[0]


def test_some_strokes_leave_a_low_rim_alone():
    """Where the rim is low already, there are strokes in all four quarters that take most close beside it and under a tenth of that from the rim."""
    u, v = (axis.ravel() for axis in np.meshgrid(np.linspace(-40.0, 40.0, 41), np.linspace(-57.0, 57.0, 57)))
    radius = FACE.normalised_radius(u, v)
    rim, beside = (radius > 0.96) & (radius < 0.99), (radius > 0.8) & (radius < 0.9)
    small = replace(LAP, diameter_mm=20.0, ways=(Way.STILL,))
    all_ = library_of(candidate_strokes(FACE, laps=(small,), table_rpm=0.0), face=FACE, u_mm=u, v_mm=v)
    found = [
        stroke
        for stroke, rate in zip(all_.strokes, all_.rates_nm_min, strict=True)
        if rate[beside].max() > 0.9 * rate.max() and rate[rim].max() < 0.1 * rate.max()
    ]
    assert {(stroke.u_mm > 0.0, stroke.v_mm > 0.0) for stroke in found} == {(a, b) for a in (True, False) for b in (True, False)}


def test_a_face_that_is_likely_inside_is_not_worked_at(library):
    """What is seen beyond the tolerance is no reason to work where, less the likely share of error in it, the face is inside (by arithmetic)."""
    errors = seen_of(0.0 * library.u_mm, library, doubt_nm=20.0).errors_nm
    kind = np.linalg.qr(face_polynomials(library.u_mm, library.v_mm, face=FACE, order=5).T)[0][:, 6:10]  # degree 3
    noise = np.mean(np.sum((errors @ kind) ** 2, axis=1))
    what = seen(kind[:, 1] * np.sqrt(20.0 * noise), errors, face=FACE, u_mm=library.u_mm, v_mm=library.v_mm)  # a twentieth is error
    size, guard = np.ptp(what.heights_nm), GUARD * advised(what, library).before.pv_uncertainty
    assert np.ptp(what.likely_nm) == pytest.approx(0.95 * size)
    inside, outside = (advised(what, library, limits=Limits(tolerance_nm=share * size + guard)).next for share in (0.96, 0.94))
    assert (inside, outside) == (Next.STOP_NOISE, Next.WORK)


def test_a_flat_face_is_left_alone(library):
    """Within its tolerance, the uncertainty counted, the advice is to stop, whether or not hills are known from holes."""
    for sign_known in (True, False):
        advice = advised(seen_of(bumpy(library, pv_nm=50.0), library, doubt_nm=6.0, sign_known=sign_known), library)
        assert advice.next is Next.STOP_WITHIN
        assert not advice.minutes.any()


def test_noise_is_left_alone(library):
    """A figure no larger than the map's own uncertainty is no reason to take glass off, though it is outside a tight tolerance."""
    noise = drawn_errors(np.full(library.u_mm.size, 40.0), face=FACE, u_mm=library.u_mm, v_mm=library.v_mm, rng=np.random.default_rng(9))[0]
    advice = advised(seen_of(noise, library, doubt_nm=40.0), library, limits=Limits(tolerance_nm=20.0))
    assert advice.next is Next.STOP_NOISE
    assert not advice.minutes.any()


def test_without_the_sign_nothing_is_advised(library):
    """Strokes for a hill dig a hole deeper: where the sign is not known, there are none."""
    advice = advised(seen_of(bumpy(library, pv_nm=400.0), library, doubt_nm=6.0, sign_known=False), library)
    assert advice.next is Next.WITHHELD
    assert not advice.minutes.any()


@pytest.mark.parametrize("seed", range(8))
def test_even_the_fastest_laps_leave_no_face_worse(library, seed):
    """With rates known to a factor of three, a run at the fast end of the interval leaves neither rms nor PV larger than it was."""
    map_ = seen_of(bumpy(library, pv_nm=400.0, seed=seed), library, doubt_nm=6.0)
    rates = before_any_run(("half",))
    advice = advised(map_, library, rates=rates)
    assert advice.next is Next.WORK
    fast = np.exp(rates.log_mean[0] + rates.log_uncertainty[0])
    after = map_.heights_nm - without_level(fast * advice.minutes @ library.rates_nm_min, library.level)
    assert np.std(after) <= np.std(map_.heights_nm)
    assert np.ptp(after) <= np.ptp(map_.heights_nm) * 1.02  # minutes are rounded to halves


def test_less_is_worked_where_less_is_known(library):
    """The same face gets a shorter run from a shop that has not yet learnt its rates."""
    map_ = seen_of(bumpy(library, pv_nm=200.0, seed=3), library, doubt_nm=6.0)
    sure, guessing = (advised(map_, library, rates=rates) for rates in (known(0.05), before_any_run(("half",))))
    assert guessing.minutes.sum() < 0.8 * sure.minutes.sum()


def test_the_part_of_a_map_that_is_error_is_not_worked_at(library):
    """Where error has half the square of a figure, half of it is taken for figure; where it has next to none, all of it (closed form)."""
    errors = seen_of(0.0 * library.u_mm, library, doubt_nm=20.0).errors_nm
    places = {"u_mm": library.u_mm, "v_mm": library.v_mm}
    kind = np.linalg.qr(face_polynomials(library.u_mm, library.v_mm, face=FACE, order=5).T)[0][:, 6:10]  # degree 3
    figure = kind[:, 1] * np.sqrt(2.0 * np.mean(np.sum((errors @ kind) ** 2, axis=1)))
    assert seen(figure, errors, face=FACE, **places).likely_nm == pytest.approx(0.5 * figure, abs=1e-9)
    assert seen(100.0 * figure, errors, face=FACE, **places).likely_nm == pytest.approx(100.0 * figure, rel=1e-3)


def test_the_forecast_holds_the_truth_as_often_as_it_says(library):
    """With laps, hands and maps as uncertain as assumed, the 95 % interval of the foretold rms holds the true one in 92 to 98 % of 500 faces."""
    held, count, rates = 0, 0, known(0.15)
    for seed in range(500):
        rng = np.random.default_rng(seed)
        true = without_level(bumpy(library, pv_nm=rng.uniform(150.0, 600.0), seed=seed), library.level)
        places = {"face": FACE, "u_mm": library.u_mm, "v_mm": library.v_mm}
        errors = drawn_errors(np.full(library.u_mm.size, 12.0), rng=rng, **places)
        advice = advised(seen(true + errors[0], errors[1:], **places), library, rates=rates, seed=1000 + seed)
        if advice.next is not Next.WORK:
            continue
        factors = np.exp(0.15 * rng.standard_normal()) * (1.0 + STROKE_SPREAD * rng.standard_normal(len(library.strokes)))
        after = true - without_level((advice.minutes * factors) @ library.rates_nm_min, library.level)
        held += abs(float(np.std(after)) - advice.after.rms) <= advice.after.rms_uncertainty
        count += 1
    assert count > 450
    assert 0.92 <= held / count <= 0.985
