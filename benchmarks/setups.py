"""Whether a stated 95 % interval holds the truth in 93 to 97 of 100 set-ups, every cause of error drawn at once.

Set-ups come from `benchmarks.drawn_setups`, photographs from `straightband.synthetic`, and are read from their bytes by the same function as
`straightband read`; the Strehl ratio is judged as `certify` judges it. The true figures are those of the glass when nothing bends it, the true Strehl
ratio that of the glass where the mirror really sits. A run that was cut short goes on where it stopped.
"""

from __future__ import annotations

import json
import math
import multiprocessing
from collections.abc import Iterable
from dataclasses import asdict, replace
from typing import Any

import numpy as np

from benchmarks.drawn_setups import Drawn, drawn_setup
from benchmarks.photographs import seen_mark_hour, true_outline
from benchmarks.run import Options
from benchmarks.tables import Row, write_table
from straightband.errors import StraightbandError
from straightband.heightmap.figures import NAMES, figures
from straightband.heightmap.map import HeightMap
from straightband.photo.outline import Outline
from straightband.synthetic.render import Rendered, render
from straightband.synthetic.truth import thicker_hour, truth_map
from straightband.workflows.doubts import draws_of
from straightband.workflows.judge import judge
from straightband.workflows.read import Reading, Setup
from straightband.workflows.several import read_photos

COUNT = 2000
LOWEST, HIGHEST = 0.93, 0.97
ASKED = ("pv_nm", "rms_nm", "power_nm", "strehl")
STREAM = 77


def run(options: Options) -> None:
    """Read what has not been read yet, then count and print."""
    count = options.count or COUNT
    spot = options.out / "setups.jsonl"
    done = _records(spot.read_text(encoding="utf-8").splitlines() if spot.exists() else [])
    missing = [seed for seed in range(options.seed, options.seed + count) if seed not in done]
    with spot.open("a", encoding="utf-8") as stream:
        for k, row in enumerate(_made(missing, workers=options.workers), start=1):
            stream.write(json.dumps(row) + "\n")
            stream.flush()
            done[row["seed"]] = row
            if k % 50 == 0 or k == len(missing):
                print(f"setups: {k} of {len(missing)}", flush=True)
    tell([done[seed] for seed in range(options.seed, options.seed + count) if seed in done], options=options)


def _records(lines: Iterable[str]) -> dict[int, Row]:
    return {row["seed"]: row for row in map(json.loads, lines)}


def _made(seeds: list[int], *, workers: int) -> Iterable[Row]:
    if workers == 1:
        yield from map(record, seeds)
        return
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        yield from pool.imap_unordered(record, seeds)


def tell(rows: list[Row], *, options: Options) -> None:
    """Print and write how often each interval held, and what was refused."""
    read = [row for row in rows if "refused" not in row]
    if not read:
        print("nothing could be read")
        return
    table = [counted(figure, rows=read) for figure in (*NAMES, "strehl")]
    print(write_table(table, stem=options.out / "setups"))
    print(f"{len(rows)} set-ups, {len(rows) - len(read)} of them refused")
    asked = {name.removesuffix("_nm") for name in ASKED}
    missed = {row["figure"]: row["held, %"] for row in table if row["figure"] in asked}
    missed = {name: share for name, share in missed.items() if not 100.0 * LOWEST <= share <= 100.0 * HIGHEST}
    print(f"TARGET setups: {'MISSED: ' + ', '.join(f'{k} {v:.1f} %' for k, v in missed.items()) if missed else 'met'}")


def counted(figure: str, *, rows: list[Row]) -> Row:
    """How often the interval of a figure held, by number of photographs too, and how wide it is beside the errors."""
    error, stated = (np.array([part(row, figure) for row in rows]) for part in (error_of, _stated))
    held = np.abs(error) <= stated
    single = np.array([row["photographs"] == 1 for row in rows])
    return {
        "figure": figure.removesuffix("_nm"),
        "set-ups": len(rows),
        "held, %": 100.0 * float(held.mean()),
        "one photograph, %": 100.0 * float(held[single].mean()) if single.any() else math.nan,
        "two, %": 100.0 * float(held[~single].mean()) if not single.all() else math.nan,
        "half of it holds, %": 100.0 * float(np.mean(np.abs(error) <= 0.5 * stated)),
        "median stated": float(np.median(stated)),
        "median error": float(np.median(np.abs(error))),
        "95 % of errors below": float(np.quantile(np.abs(error), 0.95)),
    }


def error_of(row: Row, figure: str) -> float:
    """Read less true."""
    return float(row["read"][figure] - row["true"][figure])


def _stated(row: Row, figure: str) -> float:
    return float(row["total"][figure])


def record(seed: int) -> Row:
    """What was read, what is true and what was stated of one set-up, with what was drawn."""
    rng = np.random.default_rng([seed, STREAM])
    drawn = drawn_setup(rng)
    rendered = [render(scene, rng=rng) for scene in drawn.scenes]
    photographs = [(f"{k}.jpg", each.encode()) for k, each in enumerate(rendered)]
    told = described(drawn)
    try:
        reading = read_photos(photographs, setup=setup_of(drawn, rendered=rendered), reference=drawn.reference)
        verdict = judge(reading.height_map, telescope=drawn.telescope, mounting=drawn.mounting, draws_nm=draws_of(reading))
        found = reading.height_map
        glass = replace(drawn.scenes[0], surface=drawn.glass)
        truth = truth_map(glass, u_mm=found.u_mm, v_mm=found.v_mm, clear_margin=found.clear_margin)
        least = min(verdict.strehl, key=lambda each: each.strehl)
        true = _figures(figures(truth)) | {"strehl": true_strehl(drawn, at=truth)}
    except StraightbandError as error:
        return {"seed": seed, "refused": str(error)} | told
    read = _figures(reading.figures) | {"strehl": least.strehl}
    if reading.sign == "unknown":
        for name in ("power_nm", "edge_nm"):
            read[name] = min(read[name], -read[name], key=lambda value: abs(value - true[name]))
    return {
        "seed": seed,
        **told,
        "sign": reading.sign,
        "bands": reading.bands_across,
        "flags": list(reading.flags),
        "read": read,
        "true": true,
        "total": {**reading.budget.expanded_nm, "strehl": least.uncertainty},
        "expanded": {effect.name: {name: effect.expanded_nm[name] for name in NAMES} for effect in reading.budget.effects},
        "outline": outline_misses(reading, rendered=rendered[0]),
    }


def _figures(found: Any) -> dict[str, float]:
    read = asdict(found)
    return {name: float(read[name]) for name in NAMES}


def setup_of(drawn: Drawn, *, rendered: list[Rendered]) -> Setup:
    """What the person says."""
    sides = tuple(thicker_hour(scene) for scene in drawn.scenes)
    return Setup(
        face=drawn.glass.face,
        lamp=drawn.lamp,
        outline=None if drawn.typed_px is None else _typed(rendered[0], off_px=drawn.typed_px),
        mark_hour=seen_mark_hour(rendered[0].truth),
        thicker=sides[0] if len(sides) == 1 else sides,
        mirrored=drawn.scenes[0].view.mirrored,
        camera_mm=drawn.camera_mm,
        rest=drawn.rest,
    )


def _typed(rendered: Rendered, *, off_px: tuple[float, ...]) -> Outline:
    true = true_outline(rendered.truth, standard_px=1.0)
    x, y, major, minor = off_px
    return replace(true, cx=true.cx + x, cy=true.cy + y, semi_major=true.semi_major + major, semi_minor=true.semi_minor + minor, told=True)


def true_strehl(drawn: Drawn, *, at: HeightMap) -> float:
    """Least Strehl ratio over the field of the glass itself, the mirror where it really sits."""
    du, dv = drawn.displaced_mm
    uu, vv = np.meshgrid(at.u_mm + du, at.v_mm + dv)
    moved = replace(at, heights_nm=np.where(at.valid, drawn.glass.heights_nm(uu, vv), np.nan))
    verdict = judge(moved, telescope=drawn.telescope, mounting=drawn.mounting)
    return float(min(each.strehl for each in verdict.strehl))


def outline_misses(reading: Reading, *, rendered: Rendered) -> dict[str, float]:
    """By how much the outline found is off the true one, px."""
    true, found = true_outline(rendered.truth), reading.outline
    return {
        "centre": math.hypot(found.cx - true.cx, found.cy - true.cy),
        "major": found.semi_major - true.semi_major,
        "minor": found.semi_minor - true.semi_minor,
        "size": true.semi_minor,
    }


def described(drawn: Drawn) -> Row:
    """What was drawn, as plain numbers and words."""
    first = drawn.scenes[0]
    view = first.view
    return {
        "photographs": len(drawn.scenes),
        "shape": drawn.glass.face.shape.value,
        "lamp": drawn.lamp.name,
        "wedge_bands": math.hypot(first.bands_u, first.bands_v),
        "tilt_deg": view.tilt_deg,
        "distortion_percent": view.distortion_percent,
        "camera_told": drawn.camera_mm is not None,
        "camera_lengths": view.camera_distance_mm / (2.0 * drawn.glass.face.semi_major_mm),
        "rest": drawn.rest is not None,
        "reference": drawn.reference is not None,
        "typed": drawn.typed_px is not None,
        "bevel": first.surround.bevel_width_mm / min(drawn.glass.face.semi_u_mm, drawn.glass.face.semi_v_mm),
        "bevel_level": first.surround.bevel_level,
        "surround": first.surround.level,
        "megapixels": view.width_px * view.height_px / 1e6,
    }
