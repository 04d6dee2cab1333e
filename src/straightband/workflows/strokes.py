"""What to do next on the lap: from a map, the shop's laps and its earlier runs to the next strokes, what they will do, and how right the last were."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from straightband.advice.strokes.advise import Advice, Next, advise
from straightband.advice.strokes.candidates import candidate_strokes
from straightband.advice.strokes.doubt import Seen, drawn_errors, seen
from straightband.advice.strokes.edge import Rim, rim_of
from straightband.advice.strokes.library import MOST_PLACES, Library, library_of, removed_on, without_level
from straightband.advice.strokes.outcome import Outcome, outcome_of
from straightband.advice.strokes.rates import Rates, before_any_run, learnt, of_some, shown_by_run
from straightband.advice.strokes.run import LONGEST_RUN_MIN, MOST_STROKES, Limits
from straightband.advice.strokes.stroke import Lap, Stroke, Way, clock_hour, written, zone_of
from straightband.errors import BadInput
from straightband.heightmap.figures import Points, many_figures, sample
from straightband.heightmap.map import HeightMap
from straightband.workflows.strokes_shelf import PastRun, Shelf

__all__ = [
    "LONGEST_RUN_MIN",
    "MOST_STROKES",
    "Advice",
    "Lap",
    "Limits",
    "Next",
    "Outcome",
    "PastRun",
    "PlannedStroke",
    "Rates",
    "Shelf",
    "Stroke",
    "StrokePlan",
    "Way",
    "clock_hour",
    "plan_strokes",
    "written",
    "zone_of",
]  # The faces name these through the workflow.

TOLERANCE_NM = 632.8 / 8.0  # peak to valley of the surface: an eighth of a wave of red light
SEED = 7  # any number: the same map must be advised on the same each time
_FEWEST_HEIGHTS = 100
_SAME_FACE = 0.02  # share by which the half axes of two maps of one face may differ
_RIM_SHARE = 0.1  # of the tolerance, that an edge may change before it is worth a word
_MISSED = 2.0  # times what was to be expected, by which a run must be off before it is worth a word


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedStroke:
    """One stroke of the run.

    Attributes
    ----------
    stroke, minutes
        What to do, and how long.
    depth_nm, mean_nm
        What it is expected to take off where it takes most, and in the mean over the clear aperture.
    rim
        How it wears the rim beside the inside.
    """

    stroke: Stroke
    minutes: float
    depth_nm: float
    mean_nm: float
    rim: Rim


@dataclass(frozen=True, slots=True, kw_only=True)
class StrokePlan:
    """What to do next, and what will come of it.

    Attributes
    ----------
    height_map, shelf, limits
        What it was made from.
    advice
        Work, stop or withheld, with the sizes of the face before and after.
    runs
        The strokes in their order, the one that takes off most first; empty unless the advice is to work.
    removed
        Depth in nm on the grid of the map [v, u]; zero where there is no run.
    predicted
        The map after the run.
    removed_nm, removed_mean_nm
        Deepest and mean depth over the clear aperture.
    edge_change_nm
        By how much the run moves the edge (`Figures.edge_nm`); negative turns it down.
    rates
        What is known of each lap's rate, over the default.
    outcome
        How right the last of the earlier runs was foretold, or None where there is none.
    flags
        Short names of doubts.
    """

    height_map: HeightMap
    shelf: Shelf
    limits: Limits
    advice: Advice
    runs: tuple[PlannedStroke, ...]
    removed: NDArray
    predicted: HeightMap
    removed_nm: float
    removed_mean_nm: float
    edge_change_nm: float
    rates: Rates
    outcome: Outcome | None
    flags: tuple[str, ...]

    def wear_of_runs(self, *, u_mm: NDArray, v_mm: NDArray) -> list[NDArray]:
        """Depth in nm that each stroke of the run takes off at places of one common shape."""
        if not self.runs:
            return []
        strokes = tuple(run.stroke for run in self.runs)
        library = library_of(strokes, face=self.height_map.face, u_mm=u_mm.ravel(), v_mm=v_mm.ravel())
        told = dict(zip(self.rates.names, self.rates.factors, strict=True))
        factors = (run.minutes * told[_rate_name(run.stroke.lap, self.shelf.polish)] for run in self.runs)
        return [factor * rate.reshape(u_mm.shape) for factor, rate in zip(factors, library.rates_nm_min, strict=True)]


def plan_strokes(
    height_map: HeightMap,
    *,
    shelf: Shelf,
    limits: Limits | None = None,
    past: tuple[PastRun, ...] = (),
    told: Callable[[float], None] | None = None,
) -> StrokePlan:
    """The next run on a face.

    Parameters
    ----------
    height_map
        The face as it is now, looking at it; `meta["sign"]` of "unknown" withholds advice that hangs on it.
    shelf
        The laps there are.
    limits
        Tolerance and size of a session; left out: an eighth of a wave of 632.8 nm on the surface.
    past
        Earlier runs on this or other faces, oldest first; the last of them is compared with what had been foretold for it.
    told
        Called with the share of the work that is done.

    Raises
    ------
    BadInput
        When the map has too few heights, when no lap finds room on the face, or when the two maps of a run are not of one face.
    """
    limits = limits or Limits(tolerance_nm=TOLERANCE_NM)
    rng = np.random.default_rng(SEED)
    rates, outcome, skipped = _learnt_from(past, shelf=shelf, rng=rng)
    rows, cols = _places(height_map)
    strokes = candidate_strokes(height_map.face, laps=shelf.laps, table_rpm=shelf.table_rpm)
    library = library_of(strokes, face=height_map.face, u_mm=height_map.u_mm[cols], v_mm=height_map.v_mm[rows], told=told)
    of_lap = _numbers(library.strokes, rates=rates, polish=shelf.polish)
    advice = advise(_seen(height_map, rows=rows, cols=cols, rng=rng), library=library, rates=rates, of_lap=of_lap, limits=limits, rng=rng)
    factors = rates.factors[of_lap]
    removed = _removed(height_map, library=library, minutes=advice.minutes, factors=factors)
    depths = (advice.minutes * factors) @ library.rates_nm_min
    plan = StrokePlan(
        height_map=height_map,
        shelf=shelf,
        limits=limits,
        advice=advice,
        runs=_runs(advice, library=library, factors=factors, height_map=height_map),
        removed=removed,
        predicted=replace(height_map, heights_nm=height_map.heights_nm - removed),
        removed_nm=float(depths.max()),
        removed_mean_nm=float(depths.mean()),
        edge_change_nm=_edge_change(depths, library=library, height_map=height_map),
        rates=rates,
        outcome=outcome,
        flags=(),
    )
    return replace(plan, flags=_flags(plan, skipped=skipped))


def _places(height_map: HeightMap) -> tuple[NDArray, NDArray]:
    """Rows and columns of the heights that are looked at: evenly over the clear aperture, and no more than it takes."""
    valid = height_map.valid
    count = int(np.count_nonzero(valid))
    if count < _FEWEST_HEIGHTS:
        raise BadInput(
            found=f"the map has {count} heights inside the clear aperture",
            needed=f"at least {_FEWEST_HEIGHTS} are needed",
            remedy="read the photograph again on a finer grid",
        )
    step = max(1, math.ceil(math.sqrt(count / MOST_PLACES)))
    thinned = np.zeros_like(valid)
    thinned[step // 2 :: step, step // 2 :: step] = True
    rows, cols = np.nonzero(valid & thinned)
    return rows, cols


def _seen(height_map: HeightMap, *, rows: NDArray, cols: NDArray, rng: np.random.Generator) -> Seen:
    u, v, clear = height_map.u_mm[cols], height_map.v_mm[rows], height_map.clear
    return seen(
        height_map.heights_nm[rows, cols],
        drawn_errors(_doubts(height_map)[rows, cols], face=clear, u_mm=u, v_mm=v, rng=rng),
        face=clear,
        u_mm=u,
        v_mm=v,
        sign_known=height_map.meta.get("sign") != "unknown",
    )


def _doubts(height_map: HeightMap) -> NDArray:
    """The map's uncertainty; where it says none, that of its other places."""
    doubts = np.where(np.isfinite(height_map.uncertainty_nm), height_map.uncertainty_nm, np.nan)
    known = doubts[height_map.valid]
    middle = float(np.nanmedian(known)) if np.isfinite(known).any() else 0.0
    return np.where(np.isfinite(doubts), doubts, middle)


def _numbers(strokes: tuple[Stroke, ...], *, rates: Rates, polish: str, left: dict[str, int] | None = None) -> NDArray:
    """Numbers of the laps in `rates`; of those `left` to be pitched anew so many times, of their old pitch."""
    names = {name: number for number, name in enumerate(rates.names)}
    return np.array([names[_rate_name(stroke.lap, polish, left=(left or {}).get(stroke.lap.name, 0))] for stroke in strokes])


def _rate_name(lap: Lap, polish: str, *, left: int = 0) -> str:
    return f"{lap.name} with {polish}" + (f", {left} pitchings ago" if left else "")


def _learnt_from(past: tuple[PastRun, ...], *, shelf: Shelf, rng: np.random.Generator) -> tuple[Rates, Outcome | None, bool]:
    """What the runs taught, how right the last one was, and whether one of them could not be used.

    A lap that was pitched anew is another lap, which shares with its old pitch what all laps share.
    """
    polishes = dict.fromkeys([shelf.polish, *(run.polish for run in past)])
    pitched = [*(run.new_pitch for run in past), shelf.new_pitch]
    left = {lap.name: sum(lap.name in names for names in pitched) for lap in shelf.laps}  # pitchings still to come
    now = [_rate_name(lap, polish) for polish in polishes for lap in shelf.laps]
    old = [_rate_name(lap, polish, left=k) for polish in polishes for lap in shelf.laps for k in range(1, left[lap.name] + 1)]
    rates = before_any_run((*now, *old))
    outcome, skipped = None, False
    for run in past:
        for name in run.new_pitch:
            left[name] -= 1
        if "unknown" in (run.before.meta.get("sign"), run.after.meta.get("sign")):
            outcome, skipped = None, True
            continue
        rates, outcome = _learn(run, rates=rates, left=left, rng=rng)
    return of_some(rates, list(range(len(now)))), outcome, skipped


def _learn(run: PastRun, *, rates: Rates, left: dict[str, int], rng: np.random.Generator) -> tuple[Rates, Outcome]:
    _check_same_face(run)
    rows, cols = _places(run.before)
    u, v = run.before.u_mm[cols], run.before.v_mm[rows]
    ends = sample(run.after.heights_nm, run.after, u_mm=u, v_mm=v)
    both = np.isfinite(ends)
    if np.count_nonzero(both) < _FEWEST_HEIGHTS:
        raise BadInput(
            found="the maps before and after a run have too few places in common",
            needed="maps of one face are needed",
            remedy="check the names",
        )
    u, v, ends, rows, cols = u[both], v[both], ends[both], rows[both], cols[both]
    library = library_of(tuple(dict.fromkeys(run.strokes)), face=run.before.face, u_mm=u, v_mm=v)
    minutes = np.array([sum(t for each, t in zip(run.strokes, run.minutes, strict=True) if each == stroke) for stroke in library.strokes])
    foretold = without_level(minutes[:, None] * library.rates_nm_min, library.level)
    clear = run.before.clear
    errors = [
        drawn_errors(doubts, face=clear, u_mm=u, v_mm=v, rng=rng)
        for doubts in (_doubts(run.before)[rows, cols], _filled(sample(_doubts(run.after), run.after, u_mm=u, v_mm=v)))
    ]
    began = seen(run.before.heights_nm[rows, cols], errors[0], face=clear, u_mm=u, v_mm=v)
    ended, drawn = without_level(ends, library.level), without_level(errors[0] - errors[1], library.level)
    of_lap = _numbers(library.strokes, rates=rates, polish=run.polish, left=left)
    outcome = outcome_of(began.heights_nm - ended, foretold_nm=rates.factors[of_lap] @ foretold, drawn_nm=drawn)
    shown = shown_by_run(began.likely_nm - ended, foretold_nm=foretold, of_lap=of_lap, drawn_nm=drawn)
    return learnt(rates, shown), outcome


def _filled(values: NDArray) -> NDArray:
    return np.where(np.isfinite(values), values, float(np.nanmedian(values)))


def _check_same_face(run: PastRun) -> None:
    one, other = run.before.face, run.after.face
    apart = max(abs(one.semi_u_mm / other.semi_u_mm - 1.0), abs(one.semi_v_mm / other.semi_v_mm - 1.0))
    if one.shape is not other.shape or apart > _SAME_FACE:
        raise BadInput(
            found="the maps before and after a run are of faces of different outlines",
            needed="two maps of one face are needed",
            remedy="check the names of the maps",
        )


def _removed(height_map: HeightMap, *, library: Library, minutes: NDArray, factors: NDArray) -> NDArray:
    u, v = np.meshgrid(height_map.u_mm, height_map.v_mm)
    return removed_on(library, minutes, factors=factors, u_mm=u.ravel(), v_mm=v.ravel()).reshape(u.shape)


def _runs(advice: Advice, *, library: Library, factors: NDArray, height_map: HeightMap) -> tuple[PlannedStroke, ...]:
    runs = []
    for number in np.flatnonzero(advice.minutes):
        wear = advice.minutes[number] * factors[number] * library.rates_nm_min[number]
        runs.append(
            PlannedStroke(
                stroke=library.strokes[number],
                minutes=float(advice.minutes[number]),
                depth_nm=float(wear.max()),
                mean_nm=float(wear.mean()),
                rim=rim_of(wear, library=library, clear=height_map.clear),
            )
        )
    # Lap by lap, so that none is taken up twice; the largest, which evens out what small ones leave, comes last.
    return tuple(sorted(runs, key=lambda run: (run.stroke.lap.diameter_mm, run.stroke.way, -run.minutes)))


def _edge_change(depths: NDArray, *, library: Library, height_map: HeightMap) -> float:
    points = Points(u_mm=library.u_mm, v_mm=library.v_mm, area=np.ones_like(library.u_mm), clear=height_map.clear)
    return float(many_figures(points, -depths[None])["edge_nm"][0])


def _flags(plan: StrokePlan, *, skipped: bool) -> tuple[str, ...]:
    meta, works = plan.height_map.meta, plan.advice.next is Next.WORK
    doubts = plan.height_map.uncertainty_nm[plan.height_map.valid]
    outcome, local = plan.outcome, any(run.stroke.way in (Way.STILL, Way.MIRROR_HELD) for run in plan.runs)
    raised = {
        "sign-unknown": meta.get("sign") == "unknown",
        "sign-not-told": works and meta.get("sign") not in ("known", "unknown"),
        "mark-not-told": local and meta.get("mark") is None,
        "uncertainty-not-told": not np.isfinite(doubts).all() or not float(np.max(doubts, initial=0.0)) > 0.0,
        "rates-not-learnt": works and not all(_runs_of(run.stroke.lap, plan=plan) for run in plan.runs),
        "run-held-back": works and plan.advice.held_back < 0.95,
        "more-runs-to-come": works and not plan.advice.within,
        "edge-turned-down": works and plan.edge_change_nm < -_RIM_SHARE * plan.limits.tolerance_nm,
        "edge-left-up": works and plan.edge_change_nm > _RIM_SHARE * plan.limits.tolerance_nm,
        "past-run-without-sign": skipped,
        "last-run-not-as-foretold": outcome is not None and _missed(outcome),
    }
    return tuple(name for name, is_so in raised.items() if is_so)


def _runs_of(lap: Lap, *, plan: StrokePlan) -> int:
    return plan.rates.runs[plan.rates.names.index(_rate_name(lap, plan.shelf.polish))]


def _missed(outcome: Outcome) -> bool:
    return outcome.foretold_share < 0.0 or (outcome.off_rms_nm > _MISSED * outcome.noise_rms_nm and outcome.foretold_share < 0.5)
