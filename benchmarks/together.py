"""Several photographs of one face: what they gain over one, and how long a stack takes beside its frames one by one.

`several`: rendered photographs through a lens with 2 % of barrel, 8 degrees off normal, 13 bands; the wedge reversed, turned, uneven. The error is that of the
whole map. `stack`: the time of a stack over (frames x one frame's time / cores), both measured in this run: by the clock, which other jobs
on the machine stretch, and by the processor time of all processes, which is what the target is judged by where the load is not this run's own.
"""

from __future__ import annotations

import math
import os
import statistics
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import islice

import numpy as np

from benchmarks.run import Options
from benchmarks.tables import Row, write_table
from straightband.heightmap.figures import figures, without_tilt
from straightband.heightmap.map import HeightMap
from straightband.synthetic.golden import golden_scene
from straightband.synthetic.render import render
from straightband.synthetic.scene import Scene
from straightband.synthetic.truth import mark_hour, thicker_hour, truth_map
from straightband.workflows.many import cores_here, here
from straightband.workflows.read import Reading, read_photo
from straightband.workflows.setup import setup_from_text
from straightband.workflows.several import joint_reading
from straightband.workflows.stack import read_stack

BANDS, DISTORTION_PERCENT, TILT_DEG, CAMERA_MM = 13.0, 2.0, 8.0, 2000.0
WEDGES = {"reversed": (-1.0, -1.0), "turned": (1.0, -1.0), "a third, reversed": (-0.33, -0.33), "the same": (1.0, 1.0)}
MOST_RMS_NM, MOST_STACK_RATIO = 1.5, 1.2
STACK_PX, FRAMES, REPEATS = (4000, 3000), 40, 3  # 12 megapixels


def run(options: Options) -> None:
    """Measure what is asked for, both parts if nothing is."""
    wanted = options.only or ("several", "stack")
    if "several" in wanted:
        rows = several(pairs=options.count or 4, seed=options.seed, width_px=1600)
        print(write_table(rows, stem=options.out / "several"))
        worst = max(row["together, nm rms"] for row in rows if row["second wedge"] == "reversed")
        print(f"TARGET two photographs, wedge reversed: {worst:.2f} nm rms (< {MOST_RMS_NM}) {'met' if worst < MOST_RMS_NM else 'MISSED'}")
    if "stack" in wanted:
        row = stack(frames=options.count or FRAMES, workers=options.workers if options.workers > 1 else cores_here(), size_px=STACK_PX)
        print(write_table([row], stem=options.out / "stack"))
        ratio = row["ratio of processor time"] if row["load"] > row["cores"] + 0.5 else row["ratio"]
        print(f"by the clock {row['ratio']:.2f} at a load of {row['load']:.1f}, by processor time {row['ratio of processor time']:.2f}")
        print(f"TARGET stack: {ratio:.2f} of frames x one / cores (< {MOST_STACK_RATIO}) {'met' if ratio < MOST_STACK_RATIO else 'MISSED'}")


def several(*, pairs: int, seed: int, width_px: int) -> list[Row]:
    """Errors of single photographs, of the mean of two and of the joint solution, with the budget's line of the lens."""
    rows = []
    for k in range(seed, seed + pairs):
        azimuth = float(np.random.default_rng(k).uniform(0.0, 360.0))
        first, scene = _shot((1.0, 1.0), azimuth_deg=azimuth, seed=2 * k, width_px=width_px)
        for name, wedge in WEDGES.items():
            second, _ = _shot(wedge, azimuth_deg=azimuth, seed=2 * k + 1, width_px=width_px)
            together = joint_reading([first, second])
            mean = replace(first.flat, heights_nm=(first.flat.heights_nm + second.flat.heights_nm) / 2.0)
            rows.append(
                {
                    "seed": k,
                    "second wedge": name,
                    "one, nm rms": _off(first.flat, scene),
                    "mean, nm rms": _off(mean, scene),
                    "together, nm rms": _off(together.flat, scene),
                    "distortion told, %": together.flat.meta["lens"]["distortion_percent"],
                    "its uncertainty, %": together.flat.meta["lens"]["uncertainty_percent"],
                    "lens line over that of one": _lens(together) / _lens(first),
                }
            )
    return rows


def _shot(wedge: tuple[float, float], *, azimuth_deg: float, seed: int, width_px: int) -> tuple[Reading, Scene]:
    scene = golden_scene(width_px=width_px, height_px=width_px * 3 // 4)
    view = replace(
        scene.view, distortion_percent=DISTORTION_PERCENT, tilt_deg=TILT_DEG, tilt_azimuth_deg=azimuth_deg, camera_distance_mm=CAMERA_MM
    )
    share = BANDS / math.hypot(scene.bands_u, scene.bands_v)
    made = replace(
        scene,
        view=view,
        bands_u=wedge[0] * share * scene.bands_u,
        bands_v=wedge[1] * share * scene.bands_v,
        gap_nm=3000.0,
        sensor=replace(scene.sensor, read_noise=0.01),
    )
    setup = setup_from_text(
        light="mercury-green",
        minor="90mm",
        mark=f"{_hour(mark_hour(made)):.2f}",
        thicker=f"{_hour(thicker_hour(made)):.2f}",
        camera=f"{CAMERA_MM:.0f}mm",
    )
    return read_photo(render(made, rng=np.random.default_rng(seed)).encode("jpeg"), name="x.jpg", setup=setup), made


def _hour(hour: float) -> float:
    """An hour as it is written: from 1 to under 13."""
    return (hour - 1.0) % 12.0 + 1.0


def _off(found: HeightMap, scene: Scene) -> float:
    truth = truth_map(scene, u_mm=found.u_mm, v_mm=found.v_mm, clear_margin=found.clear_margin)
    return figures(without_tilt(replace(found, heights_nm=found.heights_nm - truth.heights_nm))).rms_nm


def _lens(reading: Reading) -> float:
    modes = next(cause for cause in reading.causes if cause.name == "lens distortion x bands").modes_nm
    return float(np.sqrt(np.mean(np.sum(modes**2, axis=0))))


def stack(*, frames: int, workers: int, size_px: tuple[int, int]) -> Row:
    """Seconds of one frame (median), of the stack, and their ratio to frames x one / cores."""
    scene = golden_scene(width_px=size_px[0], height_px=size_px[1])
    data = [render(scene, rng=np.random.default_rng(k)).encode("jpeg") for k in range(2)]
    setup = setup_from_text(light="mercury-green", minor="90mm", mark="3", thicker="2.5")
    timed = [_timed(lambda k=k: read_photo(data[k % 2], name="x.jpg", setup=setup)) for k in range(REPEATS)]

    def named() -> Iterator[tuple[str, bytes]]:
        k = 0
        while True:
            # two pictures in turn, each file ending in its own number: the same file twice would be refused
            yield f"f{k:04d}.jpg", data[k % 2] + str(k).encode()
            k += 1

    def read_all() -> None:
        with here(workers) as executor:
            read_stack(islice(named(), frames), setup=setup, reference=None, executor=executor, workers=workers, tell=lambda _: None)

    whole, whole_busy = _timed(read_all)
    load = os.getloadavg()[0]
    # Once more after it: the load of a shared machine drifts.
    timed += [_timed(lambda k=k: read_photo(data[k % 2], name="x.jpg", setup=setup)) for k in range(REPEATS)]
    single, single_busy = (statistics.median(column) for column in zip(*timed, strict=True))
    return {
        "frames": frames,
        "cores": workers,
        "one, s": single,
        "stack, s": whole,
        "ratio": whole / (frames * single / workers),
        "one, s of processor": single_busy,
        "ratio of processor time": whole_busy / (frames * single_busy),
        "load": load,
    }


def _timed(work: Callable[[], object]) -> tuple[float, float]:
    """Seconds by the clock and of the processor that some work takes."""
    began, busy = time.perf_counter(), _busy_s()
    work()
    return time.perf_counter() - began, _busy_s() - busy


def _busy_s() -> float:
    """Processor time of this process and of children that have ended, which a busy machine does not stretch as much as the clock's."""
    times = os.times()
    return times.user + times.system + times.children_user + times.children_system
