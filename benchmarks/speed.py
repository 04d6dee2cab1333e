"""How long a reading takes beside decoding its photograph and one Fourier transform, how that grows with the pixels, and how much memory.

Times on a machine with other work are medians of interleaved repeats and ratios of them; the time of the processor is printed beside.
"""

from __future__ import annotations

import io
import json
import math
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from benchmarks.run import ONE_THREAD, Options
from benchmarks.tables import Row, write_table

MOST_RATIO, MOST_START_RATIO, MOST_MEMORY_MB = 8.0, 6.0, 1024.0
MEGAPIXELS = (3.0, 12.0, 24.0, 48.0)
FFT_SIDE = 2048
SEED = 4
# module, name in it, what it does; an inner stage is also part of an outer one
STAGES = (
    ("straightband.workflows.read", "load_photo", "decode"),
    ("straightband.workflows.read", "light_planes", "plane"),
    ("straightband.workflows.read", "find_outline", "outline"),
    ("straightband.workflows.read", "square_on", "square-on"),
    ("straightband.workflows.read", "read_phase", "phase"),
    ("straightband.fringes.reading", "fit_whole", "phase: whole fit"),
    ("straightband.fringes.reading", "make_frame", "phase: bases and cells"),
    ("straightband.fringes.reading", "fit_local", "phase: local fit"),
    ("straightband.fringes.reading", "_report", "phase: report and draws"),
    ("straightband.workflows.read", "_causes", "causes"),
    ("straightband.workflows.read", "sum_up", "budget"),
    ("straightband.workflows.read", "figures", "figures"),
)


def run(options: Options) -> None:
    """Measure everything, each part in a fresh process with two threads."""
    wanted = options.only or ("ratio", "kinds", "scaling", "memory", "start")
    repeats = options.count or 7
    if "ratio" in wanted:
        _tell_ratio(_child("ratio", repeats=repeats, options=options), options=options)
    if "kinds" in wanted:
        _tell_kinds(_child("kinds", repeats=max(3, repeats // 2), options=options), options=options)
    if "scaling" in wanted:
        _tell_scaling(_child("scaling", repeats=max(3, repeats // 2), options=options), options=options)
    if "memory" in wanted:
        with tempfile.TemporaryDirectory() as folder:
            spot = Path(folder) / "48.jpg"
            _child("render", repeats=1, options=options, spot=spot)
            peak = _child("memory", repeats=1, options=options, spot=spot)["peak_mb"]
        print(f"TARGET peak memory at {MEGAPIXELS[-1]:.0f} MP: {peak:.0f} MiB (< {MOST_MEMORY_MB:.0f}) {_met(peak < MOST_MEMORY_MB)}")
    if "start" in wanted:
        _tell_start(repeats=3 * repeats)


def _met(kept: bool) -> str:  # noqa: FBT001  the one thing it takes
    return "met" if kept else "MISSED"


def _child(part: str, *, repeats: int, options: Options, spot: Path | None = None) -> dict[str, Any]:
    asked = {"part": part, "repeats": repeats, "true_outline": options.true_outline, "spot": str(spot or "")}
    found = subprocess.run(
        [sys.executable, "-m", "benchmarks.speed", json.dumps(asked)],
        check=True,
        capture_output=True,
        text=True,
        env={**os.environ, **dict.fromkeys(ONE_THREAD, str(options.threads))},
    )
    return json.loads(found.stdout.splitlines()[-1])


def _tell_ratio(found: dict[str, Any], *, options: Options) -> None:
    median = {name: statistics.median(values) for name, values in found["seconds"].items()}
    busy = {name: statistics.median(values) for name, values in found["cpu_seconds"].items()}
    rows: list[Row] = [
        {"what": name, "median, s": median[name], "least, s": min(found["seconds"][name]), "CPU, s": busy[name]} for name in median
    ]
    print(write_table(rows, stem=options.out / "speed"))
    for transform in ("numpy fft2 complex128", "scipy fft2 complex64"):
        ratio = median["read_photo"] / (median["decode with Pillow"] + median[transform])
        least = min(found["seconds"]["read_photo"]) / (min(found["seconds"]["decode with Pillow"]) + min(found["seconds"][transform]))
        of_cpu = busy["read_photo"] / (busy["decode with Pillow"] + busy[transform])
        print(
            f"TARGET read / (decode + {transform}): {ratio:.2f} (<= {MOST_RATIO:g}) {_met(ratio <= MOST_RATIO)}; of the least times {least:.2f}, of CPU times {of_cpu:.2f}"
        )
    stages = [
        {"stage": name, "median, s": statistics.median(values), "CPU, s": statistics.median(found["stage_cpu"][name])}
        for name, values in found["stages"].items()
    ]
    print(write_table(stages, stem=options.out / "speed-stages"))


def _tell_kinds(found: dict[str, Any], *, options: Options) -> None:
    rows = []
    for name in found["seconds"]:
        median, busy, decode, transform = (
            statistics.median(found[part][name]) for part in ("seconds", "cpu_seconds", "decode", "transform")
        )
        ratio = median / (decode + transform)
        rows.append({"photograph": name, "read_photo, s": median, "CPU, s": busy, "ratio (numpy)": ratio, "what came": found["came"][name]})
    print(write_table(rows, stem=options.out / "speed-kinds"))
    worst = max(row["ratio (numpy)"] for row in rows)
    print(f"TARGET slowest kind, read / (decode + numpy fft2 complex128): {worst:.2f} (<= {MOST_RATIO:g}) {_met(worst <= MOST_RATIO)}")


def _tell_scaling(found: dict[str, Any], *, options: Options) -> None:
    rows = []
    for name, times in found["seconds"].items():
        rows.append(
            {
                "megapixels": float(name),
                "read_photo, s": statistics.median(times),
                "CPU, s": statistics.median(found["cpu_seconds"][name]),
                "decode, s": statistics.median(found["decode"][name]),
            }
        )
    print(write_table(rows, stem=options.out / "speed-scaling"))
    pixels = [math.log(row["megapixels"]) for row in rows]
    for what in ("read_photo, s", "CPU, s"):
        exponent = statistics.linear_regression(pixels, [math.log(row[what]) for row in rows]).slope
        last = math.log(rows[-1][what] / rows[-2][what]) / (pixels[-1] - pixels[-2])
        print(
            f"TARGET growth of {what.removesuffix(', s')} with pixels: exponent {exponent:.2f}, between the last two {last:.2f} (<= 1) {_met(max(exponent, last) <= 1.05)}"
        )


def _tell_start(*, repeats: int) -> None:
    commands = {
        "straightband --help": [str(Path(sys.executable).parent / "straightband"), "--help"],
        "python -c pass": [sys.executable, "-c", "pass"],
    }
    times: dict[str, list[float]] = {name: [] for name in commands}
    for _ in range(repeats):
        for name, command in commands.items():
            began = time.perf_counter()
            subprocess.run(command, check=True, capture_output=True)
            times[name].append(time.perf_counter() - began)
    helped, nothing = (statistics.median(values) for values in times.values())
    print(
        f"TARGET straightband --help / python -c pass: {helped / nothing:.2f} = {1000 * helped:.0f} ms / {1000 * nothing:.0f} ms (<= {MOST_START_RATIO:g}) {_met(helped / nothing <= MOST_START_RATIO)}"
    )


# What follows runs in the child, where the number of threads is already set.


def _photograph(megapixels: float, *, with_true_outline: bool, shape: str = "ellipse", pattern: str = "straight") -> tuple[bytes, Any]:
    from benchmarks.photographs import photograph, setup_of, true_outline
    from straightband.face.shapes import Shape
    from straightband.synthetic.campaign import Difficulty, Pattern

    shot = photograph(SEED, difficulty=Difficulty.ORDINARY, megapixels=megapixels, near=Shape(shape), pattern=Pattern(pattern))
    return shot.rendered.encode(), setup_of(shot, outline=true_outline(shot.rendered.truth) if with_true_outline else None)


def _decode(data: bytes) -> None:
    import numpy as np
    from PIL import Image

    np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))


def _timed(work: Callable[[], object], *, wall: list[float], cpu: list[float]) -> None:
    began, busy = time.perf_counter(), time.process_time()
    work()
    wall.append(time.perf_counter() - began)
    cpu.append(time.process_time() - busy)


def _ratio(*, repeats: int, with_true_outline: bool) -> dict[str, Any]:
    import numpy as np
    import scipy.fft

    from straightband.workflows.read import read_photo

    data, setup = _photograph(12.0, with_true_outline=with_true_outline)
    rng = np.random.default_rng(0)
    field = rng.standard_normal((FFT_SIDE, FFT_SIDE)) + 1j * rng.standard_normal((FFT_SIDE, FFT_SIDE))
    single = field.astype(np.complex64)
    works: dict[str, Callable[[], object]] = {
        "read_photo": lambda: read_photo(data, name="12.jpg", setup=setup),
        "decode with Pillow": lambda: _decode(data),
        "numpy fft2 complex128": lambda: np.fft.fft2(field),
        "scipy fft2 complex64": lambda: scipy.fft.fft2(single),
    }
    for work in works.values():
        work()
    wall: dict[str, list[float]] = {name: [] for name in works}
    cpu: dict[str, list[float]] = {name: [] for name in works}
    for _ in range(repeats):
        for name, work in works.items():
            _timed(work, wall=wall[name], cpu=cpu[name])
    stages, stage_cpu = _staged(works["read_photo"], repeats=repeats)
    return {"seconds": wall, "cpu_seconds": cpu, "stages": stages, "stage_cpu": stage_cpu}


def _staged(work: Callable[[], object], *, repeats: int) -> tuple[dict[str, list[float]], dict[str, list[float]]]:
    """Times of the stages, taken by standing between caller and function."""
    wall: dict[str, list[float]] = {}
    cpu: dict[str, list[float]] = {}
    with _watched(wall, cpu):
        for _ in range(repeats):
            work()
    return wall, cpu


@contextmanager
def _watched(wall: dict[str, list[float]], cpu: dict[str, list[float]]) -> Any:
    import importlib

    def watcher(function: Callable[..., object], label: str) -> Callable[..., object]:
        def watched(*args: object, **named: object) -> object:
            began, busy = time.perf_counter(), time.process_time()
            result = function(*args, **named)
            wall.setdefault(label, []).append(time.perf_counter() - began)
            cpu.setdefault(label, []).append(time.process_time() - busy)
            return result

        return watched

    kept = []
    for module_name, name, label in STAGES:
        module = importlib.import_module(module_name)
        function = getattr(module, name, None)
        if function is not None:
            kept.append((module, name, function))
            setattr(module, name, watcher(function, label))
    try:
        yield
    finally:
        for module, name, function in kept:
            setattr(module, name, function)


def _kinds(*, repeats: int, with_true_outline: bool) -> dict[str, Any]:
    """Times of photographs of 12 megapixels of every shape and pattern, and whether they were read."""
    import numpy as np

    from straightband.errors import StraightbandError
    from straightband.workflows.read import read_photo

    kinds = [(shape, pattern) for shape in ("ellipse", "round", "rectangle") for pattern in ("straight", "bowed", "rings", "saddle")]
    shots = {" ".join(kind): _photograph(12.0, with_true_outline=with_true_outline, shape=kind[0], pattern=kind[1]) for kind in kinds}
    found: dict[str, dict[str, Any]] = {
        part: {name: [] for name in shots} for part in ("seconds", "cpu_seconds", "decode", "transform", "unused")
    }
    found["came"] = {}
    field = np.random.default_rng(0).standard_normal((FFT_SIDE, FFT_SIDE)).astype(complex)

    def read(name: str) -> None:
        try:
            read_photo(shots[name][0], name="k.jpg", setup=shots[name][1])
            found["came"][name] = "read"
        except StraightbandError as error:
            found["came"][name] = f"refused: {error}"

    read(next(iter(shots)))
    for _ in range(repeats):
        for name, (data, _) in shots.items():
            _timed(lambda n=name: read(n), wall=found["seconds"][name], cpu=found["cpu_seconds"][name])
            _timed(lambda d=data: _decode(d), wall=found["decode"][name], cpu=found["unused"][name])
            _timed(lambda: np.fft.fft2(field), wall=found["transform"][name], cpu=found["unused"][name])
    return found


def _scaling(*, repeats: int, with_true_outline: bool) -> dict[str, Any]:
    from straightband.workflows.read import read_photo

    shots = {str(size): _photograph(size, with_true_outline=with_true_outline) for size in MEGAPIXELS}
    found: dict[str, dict[str, list[float]]] = {
        part: {name: [] for name in shots} for part in ("seconds", "cpu_seconds", "decode", "decode_cpu")
    }
    for data, setup in shots.values():
        read_photo(data, name="warm.jpg", setup=setup)
    for _ in range(repeats):
        for name, (data, setup) in shots.items():
            _timed(
                lambda d=data, s=setup: read_photo(d, name="s.jpg", setup=s), wall=found["seconds"][name], cpu=found["cpu_seconds"][name]
            )
            _timed(lambda d=data: _decode(d), wall=found["decode"][name], cpu=found["decode_cpu"][name])
    return found


def _render(spot: Path, *, with_true_outline: bool) -> dict[str, Any]:
    import pickle

    data, setup = _photograph(MEGAPIXELS[-1], with_true_outline=with_true_outline)
    spot.write_bytes(data)
    spot.with_suffix(".setup").write_bytes(pickle.dumps(setup))
    return {}


def _memory(spot: Path) -> dict[str, Any]:
    import pickle

    from straightband.workflows.read import read_photo

    setup = pickle.loads(spot.with_suffix(".setup").read_bytes())  # noqa: S301  written by this program a moment ago
    read_photo(spot.read_bytes(), name="48.jpg", setup=setup)
    return {"peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0}


def _in_child(asked: dict[str, Any]) -> dict[str, Any]:
    with_true_outline = asked["true_outline"]
    if asked["part"] == "ratio":
        return _ratio(repeats=asked["repeats"], with_true_outline=with_true_outline)
    if asked["part"] == "kinds":
        return _kinds(repeats=asked["repeats"], with_true_outline=with_true_outline)
    if asked["part"] == "scaling":
        return _scaling(repeats=asked["repeats"], with_true_outline=with_true_outline)
    if asked["part"] == "render":
        return _render(Path(asked["spot"]), with_true_outline=with_true_outline)
    return _memory(Path(asked["spot"]))


if __name__ == "__main__":
    print(json.dumps(_in_child(json.loads(sys.argv[1]))))
