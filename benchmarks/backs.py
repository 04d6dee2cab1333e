"""Backs: how well a grey place is found on rendered photographs of a grid, and how often forecasts hold the truth."""

from __future__ import annotations

import time

import numpy as np

from benchmarks.run import Options
from benchmarks.tables import Row, write_table
from straightband.errors import StraightbandError
from straightband.gauges.clearing_time import Forecast, Look, forecast, pace_of_shop
from straightband.gauges.printed_grid.zones import CLEAR_ENOUGH
from straightband.synthetic.back_history import random_history
from straightband.synthetic.grid_campaign import grid_truth, random_grid_scene
from straightband.synthetic.printed_grid import render_grid
from straightband.workflows.clear import GridSetup, look_at_back

HISTORIES = 500
PHOTOGRAPHS = 60
RINGS = 8
ROUNDING_MIN = 0.25  # the step of the simulated histories


def run(options: Options) -> None:
    """Both tables: photographs, then forecasts."""
    found = [looked(seed) for seed in range(options.seed, options.seed + (options.count or PHOTOGRAPHS))]
    write_table(sorted(found, key=len, reverse=True), stem=options.out / "backs-photographs")
    for line in counted(found):
        print(line)
    began = time.perf_counter()
    told = [foretold(seed) for seed in range(options.seed, options.seed + (options.count or HISTORIES))]
    share = float(np.mean([holds(row) for row in told]))
    width = float(np.median([row["high_min"] - row["low_min"] for row in told]))
    miss = float(np.median([abs(row["minutes"] - row["true_min"]) for row in told]))
    write_table(told, stem=options.out / "backs-forecasts")
    print(
        f"{len(told)} forecasts: {100.0 * share:.1f} % hold the truth; interval {width:.1f} min wide, middle {miss:.1f} min off (medians)"
    )
    print(f"{(time.perf_counter() - began) / len(told):.2f} s each")


def looked(seed: int) -> Row:
    """What is read of a random photograph beside what is true: found by itself, in % of the semi-minor axis."""
    rng = np.random.default_rng(seed)
    scene = random_grid_scene(rng)
    truth = grid_truth(scene, enough=CLEAR_ENOUGH)
    hour = (12.0 - scene.view.rotation_deg / 30.0 - 1e-9) % 12.0
    setup = GridSetup(face=scene.face, mark_hour=hour if hour >= 1.0 else hour + 12.0)
    row: Row = {"seed": seed, "refused": ""}
    try:
        back = look_at_back([("grid.jpg", render_grid(scene, rng=rng))], minutes=(0.0,), setup=setup).last
    except StraightbandError as refusal:
        return row | {"refused": str(refusal)}
    semi = min(scene.face.semi_u_mm, scene.face.semi_v_mm)
    zone = back.clearing.zones[0]
    return row | {
        "centre, %": 100.0 * float(np.hypot(zone.u_mm - truth.u_mm, zone.v_mm - truth.v_mm)) / semi,
        "radius, %": 100.0 * (zone.radius_mm - truth.radius_mm) / semi,
        "clear": back.clearing.fraction - truth.clear_fraction,
        "clear within": float(abs(back.clearing.fraction - truth.clear_fraction) <= back.clearing.uncertainty),
        "radius within": float(abs(zone.radius_mm - truth.radius_mm) <= zone.radius_uncertainty_mm),
        "passed": zone.passed - scene.zones[0].specular,
    }


def counted(rows: list[Row]) -> list[str]:
    """Sentences: how many were found, largest errors, and how often the uncertainty held."""
    read = [row for row in rows if not row["refused"]]
    lines = [f"{len(read)} of {len(rows)} mirrors found over the grid unaided"]
    for name in ("centre, %", "radius, %", "clear", "passed"):
        size = np.abs([float(row[name]) for row in read])
        lines.append(f"{name}: 95th percentile {np.percentile(size, 95.0):.3f}, largest {size.max():.3f}")
    held = {name: 100.0 * float(np.mean([float(row[name]) for row in read])) for name in ("clear within", "radius within")}
    return [*lines, *(f"{name} its 95 % uncertainty: {share:.0f} %" for name, share in held.items())]


def foretold(seed: int) -> Row:
    """The forecast from two or three looks at a simulated back, and what came."""
    rng = np.random.default_rng(seed)
    history = random_history(rng)
    end = history.clear_at_min(CLEAR_ENOUGH)
    first = rng.uniform(0.25, 0.6) * end
    last = max(rng.uniform(0.5, 0.95) * end, first + 0.1 * end)
    looks = []
    for minute in np.linspace(first, last, int(rng.integers(2, 4))):
        index = int(np.searchsorted(history.minutes, minute))
        radius = (np.arange(RINGS) + 0.5) / RINGS
        true = np.interp(radius, history.radius, history.clearness[index])
        standard = np.hypot(0.02, 0.04 * true)
        seen = np.clip(true + standard * rng.standard_normal(RINGS), 0.0, 1.0)
        looks.append((float(history.minutes[index]), Look(minutes=0.0, radius=radius, clearness=seen, standard=standard)))
    begun = looks[0][0]
    timed = tuple(
        Look(minutes=minute - begun, radius=look.radius, clearness=look.clearness, standard=look.standard) for minute, look in looks
    )
    told: Forecast = forecast(timed, enough=CLEAR_ENOUGH, pace=pace_of_shop((), semi_mm=30.0), rng=rng)
    return {
        "seed": float(seed), "looks": float(len(timed)), "true_min": end - looks[-1][0], "minutes": told.minutes, "low_min": told.low, "high_min": told.high
    }  # fmt: skip


def holds(row: Row) -> bool:
    """Whether the interval holds the truth, to the step of the history."""
    return bool(row["low_min"] - ROUNDING_MIN <= row["true_min"] <= row["high_min"] + ROUNDING_MIN)
