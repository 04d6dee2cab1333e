"""Closed loop at the lap: measure with noise, advise, wear with a shop that is not the one the advice assumes, measure again.

Random faces between half a band and three bands of 632.8 nm, on a handful of outlines. What is hidden from the advice: how fast the laps cut
(0.3 to 3 times the default, each its own), how hard they bear on hills, their true width, and a hand that misses place, direction, travel,
time and push. Beside it the same shops work by a fixed habit: ten minutes centre over centre with the full lap, mirror on top while it reads
convex, below while it reads concave. `--only` takes habits to run: advice, habit, learning.
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from benchmarks.run import Options
from benchmarks.tables import Row, write_table
from straightband.advice.strokes.advise import GUARD, Next, Spread, advise
from straightband.advice.strokes.candidates import candidate_strokes
from straightband.advice.strokes.doubt import drawn_errors, seen
from straightband.advice.strokes.library import CELLS, Library, library_of, without_level
from straightband.advice.strokes.rates import Rates, before_any_run, learnt, shown_by_run
from straightband.advice.strokes.removal import removal_nm_min
from straightband.advice.strokes.run import Limits
from straightband.advice.strokes.stroke import Lap, Stroke, Way
from straightband.errors import BadInput
from straightband.face.shapes import Face, ellipse, round_face
from straightband.synthetic.surfaces import random_surface
from straightband.wear.surface import Surface, flat_surface

FACES = 200
BAND_NM = 632.8 / 2.0
TOLERANCE_NM = 632.8 / 8.0
OUTLINES = (
    ellipse(minor_mm=50.0),
    ellipse(minor_mm=80.0),
    ellipse(minor_mm=70.0, major_mm=84.0),
    round_face(diameter_mm=60.0),
    round_face(diameter_mm=100.0),
)
TABLE_RPM = 20.0
DOUBT_NM = 8.0  # of each height, 95 %: smooth figures of a good photograph
GRAIN_NM = 1.0  # standard, of each height by itself
MOST_SESSIONS = 40
HABIT_MIN = 10.0
DEEPEST_STEP_NM = 40.0  # that is worn before the face is pressed anew


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """One outline with the shop's laps for it.

    Attributes
    ----------
    laps
        From full to thumb.
    library
        Wear of every stroke, as the advice has it.
    of_lap
        Number of each stroke's lap.
    inside
        Cells [v, u] of the clear aperture, which are the places of the library.
    """

    laps: tuple[Lap, ...]
    library: Library
    of_lap: NDArray
    inside: NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Shop:
    """What is hidden.

    Attributes
    ----------
    factors
        True rate of each lap over the default.
    layer_kpa_um
        How hard laps bear on hills.
    width
        True width of each lap over the one told.
    """

    factors: NDArray
    layer_kpa_um: float
    width: NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class End:
    """How one face ended.

    Attributes
    ----------
    began_nm, ended_nm
        True PV over the clear aperture.
    sessions, minutes, strokes
        How much work it took.
    told_off
        (sessions,) foretold over true change less one, along the foretold one.
    rate_off
        (sessions,) the same of what was foretold over what the true rates would have foretold: the rates alone.
    hand_off
        (sessions,) foretold with the true rates over true change less one: what is left to hand and model.
    """

    began_nm: float
    ended_nm: float
    sessions: int
    minutes: float
    strokes: int
    told_off: tuple[float, ...] = ()
    rate_off: tuple[float, ...] = ()
    hand_off: tuple[float, ...] = ()


@cache
def bench_of(number: int) -> Bench:
    """The bench for one of the outlines."""
    face = OUTLINES[number]
    minor = 2.0 * min(face.semi_u_mm, face.semi_v_mm)
    full = 5.0 * round(0.95 * 2.0 * face.semi_major_mm / 5.0)
    laps = tuple(
        Lap(name=name, diameter_mm=diameter, force_n=round(3e-3 * math.pi / 4.0 * diameter**2, 2), strokes_per_min=per_min)
        for name, diameter, per_min in (
            ("full", full, 40.0),
            ("half", float(round(0.55 * minor)), 60.0),
            ("third", float(round(0.3 * minor)), 60.0),
            ("thumb", float(round(0.18 * minor)), 80.0),
        )
    )
    surface = flat_surface(face, cells=CELLS)
    u, v = np.meshgrid(surface.u_mm, surface.v_mm)
    inside = face.clear_aperture().contains(u, v)
    strokes = candidate_strokes(face, laps=laps, table_rpm=TABLE_RPM)
    library = library_of(strokes, face=face, u_mm=u[inside], v_mm=v[inside])
    names = [lap.name for lap in laps]
    return Bench(laps=laps, library=library, of_lap=np.array([names.index(one.lap.name) for one in library.strokes]), inside=inside)


def shop_of(rng: np.random.Generator, *, laps: int) -> Shop:
    """A shop drawn at random."""
    shared = rng.uniform(math.log(0.3), math.log(3.0))
    return Shop(
        factors=np.clip(np.exp(shared + 0.15 * rng.standard_normal(laps)), 0.3, 3.0),
        layer_kpa_um=float(np.exp(rng.uniform(math.log(0.1), math.log(2.0)))),
        width=1.0 + 0.03 * rng.standard_normal(laps),
    )


def worn(surface: Surface, stroke: Stroke, *, minutes: float, shop: Shop, lap: int, rng: np.random.Generator) -> Surface:
    """The face after one stroke as it was really done."""
    shift, still = 1.0, stroke.way is Way.STILL
    done = replace(
        stroke,
        lap=replace(
            stroke.lap,
            diameter_mm=stroke.lap.diameter_mm * shop.width[lap],
            force_n=stroke.lap.force_n * (1.0 + 0.08 * rng.standard_normal()),
        ),
        travel_mm=stroke.travel_mm * max(0.5, 1.0 + 0.06 * rng.standard_normal()),
        swing_mm=stroke.swing_mm * max(0.5, 1.0 + 0.1 * rng.standard_normal()),
        u_mm=stroke.u_mm + shift * rng.standard_normal() * still,
        v_mm=stroke.v_mm + shift * rng.standard_normal() * still,
        side_mm=abs(stroke.side_mm + shift * rng.standard_normal() * bool(stroke.side_mm)),
        along_deg=stroke.along_deg + 3.0 * rng.standard_normal() * (still or stroke.way is Way.MIRROR_HELD),
    )
    left = minutes * float(shop.factors[lap]) * max(0.5, 1.0 + 0.05 * rng.standard_normal())
    while left > 1e-9:
        rate = _rate(done, surface=surface, layer_kpa_um=shop.layer_kpa_um, first=int(rng.integers(10_000)))
        step = min(left, DEEPEST_STEP_NM / max(float(rate.max()), 1e-6))
        surface = replace(surface, heights_um=surface.heights_um - 1e-3 * step * rate)
        left -= step
    return surface


def _rate(done: Stroke, *, surface: Surface, layer_kpa_um: float, first: int) -> NDArray:
    """The wear; a hand that feels the lap tip goes back toward the middle and shortens the stroke."""
    for share in (1.0, 0.95, 0.9, 0.8, 0.7, 0.5):
        kept = replace(
            done,
            u_mm=share * done.u_mm,
            v_mm=share * done.v_mm,
            side_mm=share * done.side_mm,
            travel_mm=share * done.travel_mm,
            swing_mm=share * done.swing_mm,
        )
        try:
            return removal_nm_min(kept, surface=surface, layer_kpa_um=layer_kpa_um, first=first)
        except BadInput:
            continue
    return np.zeros_like(surface.heights_um)


class Loop:
    """One face in one shop, from the first measurement to the last."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng(seed)
        self.bench = bench_of(seed % len(OUTLINES))
        face: Face = self.bench.library.face
        flat = flat_surface(face, cells=CELLS)
        u, v = np.meshgrid(flat.u_mm, flat.v_mm)
        pv_nm = self.rng.uniform(0.5, 3.0) * BAND_NM
        self.surface = replace(flat, heights_um=1e-3 * random_surface(face.clear_aperture(), self.rng, pv_nm=pv_nm).heights_nm(u, v))
        self.shop = shop_of(self.rng, laps=len(self.bench.laps))
        self.places = {"face": face.clear_aperture(), "u_mm": self.bench.library.u_mm, "v_mm": self.bench.library.v_mm}

    def true_nm(self) -> NDArray:
        """Heights without piston and tilt."""
        return without_level(1e3 * self.surface.heights_um[self.bench.inside], self.bench.library.level)

    def measured(self, *, doubt_nm: float = DOUBT_NM) -> tuple[NDArray, NDArray]:
        """Heights with an error of their own, and random errors that they may have."""
        errors = drawn_errors(np.full(self.bench.library.u_mm.size, doubt_nm), rng=self.rng, **self.places)
        grain = GRAIN_NM * self.rng.standard_normal(self.bench.library.u_mm.size)
        return self.true_nm() + errors[0] + grain, errors[1:]

    def work(self, stroke: Stroke, *, minutes: float) -> None:
        """Wear the face."""
        lap = [each.name for each in self.bench.laps].index(stroke.lap.name)
        self.surface = worn(self.surface, stroke, minutes=minutes, shop=self.shop, lap=lap, rng=self.rng)


def by_advice(seed: int) -> End:
    """A face brought down by the advice, which learns as it goes."""
    loop = Loop(seed)
    bench, rates = loop.bench, before_any_run(tuple(lap.name for lap in loop.bench.laps))
    began, sessions, total, strokes = float(np.ptp(loop.true_nm())), 0, 0.0, 0
    off: list[tuple[float, float, float]] = []
    doubt = DOUBT_NM
    while sessions < MOST_SESSIONS:
        heights, errors = loop.measured(doubt_nm=doubt)
        before = seen(heights, errors, **loop.places)
        advice = advise(
            before, library=bench.library, rates=rates, of_lap=bench.of_lap, limits=Limits(tolerance_nm=TOLERANCE_NM), rng=loop.rng
        )
        if advice.next is not Next.WORK:
            if advice.next is Next.STOP_WITHIN or doubt < DOUBT_NM:
                break
            doubt = DOUBT_NM / 2.0  # Measure better, as the advice says: the mean of four photographs.
            continue
        worked, true = advice.minutes > 0.0, loop.true_nm()
        for number in np.flatnonzero(worked):
            loop.work(bench.library.strokes[number], minutes=float(advice.minutes[number]))
        off.append(_off(loop, minutes=advice.minutes, rates=rates, change=true - loop.true_nm()))
        rates = _taught(loop, before.likely_nm, minutes=advice.minutes, errors=errors, rates=rates, doubt_nm=doubt)
        sessions, total, strokes = sessions + 1, total + float(advice.minutes.sum()), strokes + int(worked.sum())
    told, by_rate, by_hand = zip(*off, strict=True) if off else ((), (), ())
    return End(
        began_nm=began,
        ended_nm=float(np.ptp(loop.true_nm())),
        sessions=sessions,
        minutes=total,
        strokes=strokes,
        told_off=told,
        rate_off=by_rate,
        hand_off=by_hand,
    )


def _off(loop: Loop, *, minutes: NDArray, rates: Rates, change: NDArray) -> tuple[float, float, float]:
    """How far the size of what was foretold was off in all, by the rates alone, and with the true rates."""
    of_lap, level = loop.bench.of_lap, loop.bench.library.level
    wear = without_level(loop.bench.library.rates_nm_min * minutes[:, None], level)
    expected, best = rates.factors[of_lap] @ wear, loop.shop.factors[of_lap] @ wear
    return _over(expected, change), _over(expected, best), _over(best, change)


def _over(foretold: NDArray, other: NDArray) -> float:
    return float(foretold @ foretold) / float(other @ foretold) - 1.0


def _taught(loop: Loop, likely: NDArray, *, minutes: NDArray, errors: NDArray, rates: Rates, doubt_nm: float) -> Rates:
    """What the run taught."""
    worked, level = minutes > 0.0, loop.bench.library.level
    foretold = without_level(minutes[worked, None] * loop.bench.library.rates_nm_min[worked], level)
    after, errors_after = loop.measured(doubt_nm=doubt_nm)
    drawn = without_level(errors - errors_after, level)
    fall = without_level(likely - after, level)
    return learnt(rates, shown_by_run(fall, foretold_nm=foretold, of_lap=loop.bench.of_lap[worked], drawn_nm=drawn))


def by_habit(seed: int) -> End:
    """The same face in the same shop by centre-over-centre strokes of ten minutes."""
    loop = Loop(seed)
    full = loop.bench.laps[0]
    u, v = loop.places["u_mm"], loop.places["v_mm"]
    bowl = without_level(-(u**2 + v**2), loop.bench.library.level)
    travel = 5.0 * round(full.diameter_mm / 15.0)
    ways = {True: Way.MIRROR_TURNED, False: Way.TURNING}
    strokes = {on_top: Stroke(lap=full, way=way, table_rpm=TABLE_RPM, travel_mm=travel) for on_top, way in ways.items()}
    began, sessions = float(np.ptp(loop.true_nm())), 0
    while sessions < MOST_SESSIONS:
        heights, errors = loop.measured()
        size = Spread.of(heights + errors, about=without_level(heights, loop.bench.library.level))
        if size.pv + GUARD * size.pv_uncertainty <= TOLERANCE_NM:
            break
        loop.work(strokes[bool(bowl @ heights > 0.0)], minutes=HABIT_MIN)
        sessions += 1
    return End(
        began_nm=began,
        ended_nm=float(np.ptp(loop.true_nm())),
        sessions=sessions,
        minutes=HABIT_MIN * sessions,
        strokes=sessions,
    )


def row_of(name: str, ends: list[End]) -> Row:
    """The table's row."""
    began, ended, sessions = (np.array([getattr(end, key) for end in ends]) for key in ("began_nm", "ended_nm", "sessions"))
    inside = ended <= TOLERANCE_NM
    return {
        "way": name,
        "faces": len(ends),
        "inside 1/8 wave, %": 100.0 * float(inside.mean()),
        "worse than begun": int(np.sum(ended > began)),
        "sessions, median": float(np.median(sessions)),
        "sessions, 90 % of faces": float(np.quantile(sessions, 0.9)),
        "minutes, median": float(np.median([end.minutes for end in ends])),
        "strokes, median": float(np.median([end.strokes for end in ends])),
        "PV began, median": float(np.median(began)),
        "PV ended, median": float(np.median(ended)),
        "PV ended, most": float(ended.max()),
    }


def learning_rows(ends: list[End]) -> list[Row]:
    """How far the size of what was foretold was off, by the number of runs already learnt from."""
    rows = []
    for runs in range(7):
        having = [end for end in ends if len(end.told_off) > runs]
        if not having:
            continue
        told, by_rate, by_hand = (np.array([getattr(end, key)[runs] for end in having]) for key in ("told_off", "rate_off", "hand_off"))
        rows.append(
            {
                "runs learnt from": runs,
                "faces": len(having),
                "off, rms %": _rms_percent(told),
                "off, median of size %": 100.0 * float(np.median(np.abs(told))),
                "rates alone, rms %": _rms_percent(by_rate),
                "true rates known, rms %": _rms_percent(by_hand),
            }
        )
    return rows


def _rms_percent(values: NDArray) -> float:
    return 100.0 * float(np.sqrt(np.mean(values**2)))


def run(options: Options) -> None:
    """Bring the faces down both ways, and write the tables."""
    count = options.count or FACES
    ways: dict[str, Callable[[int], End]] = {"advice": by_advice, "habit": by_habit}
    chosen = [name for name in ways if not options.only or name in options.only]
    rows = []
    for name in chosen:
        began = time.perf_counter()
        ends = [_followed(ways[name], seed, name=name) for seed in range(options.seed, options.seed + count)]
        rows.append(row_of(name, ends) | {"seconds": time.perf_counter() - began})
        if name == "advice":
            print(write_table(learning_rows(ends), stem=options.out / "strokes-learning"))
    print(write_table(rows, stem=options.out / "strokes"))


def _followed(way: Callable[[int], End], seed: int, *, name: str) -> End:
    end = way(seed)
    sys.stderr.write(f"{name} {seed}: {end.began_nm:.0f} -> {end.ended_nm:.0f} nm in {end.sessions} sessions, {end.minutes:.0f} min\n")
    return end
