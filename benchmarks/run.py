"""Run benchmarks by name: `python -m benchmarks.run accuracy speed --out bench-out`. START READING HERE."""

from __future__ import annotations

import argparse
import importlib
import os
from dataclasses import dataclass
from pathlib import Path

NAMES = (
    "accuracy",
    "speed",
    "scatter",
    "general_way",
    "coverage",
    "setups",
    "backs",
    "wear",
    "outline",
    "pages",
    "load",
    "together",
    "strokes",
)
# One thread a worker: libraries of linear algebra that wait for each other by spinning stand still on a busy machine.
ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """What the person asked of a benchmark.

    Attributes
    ----------
    out
        Folder for tables and pictures.
    count
        How many photographs, renderings or repeats; None for the benchmark's own number.
    seed
        First seed.
    workers
        Processes at work at once.
    true_outline
        Whether the reader is given the true outline, to part its errors from those of the search.
    only
        Names of the parts to run, all if empty: difficulties of accuracy, terms of coverage.
    threads
        Of linear algebra where speed is measured.
    photographs
        Whether coverage reads photographs where the geometry alone would do.
    """

    out: Path
    count: int | None = None
    seed: int = 0
    workers: int = 1
    true_outline: bool = False
    only: tuple[str, ...] = ()
    threads: int = 2
    photographs: bool = False


def main(arguments: list[str] | None = None) -> None:
    """Run what is named on the command line, everything if nothing is named."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.run", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"any of {', '.join(NAMES)}; all if none is named")
    parser.add_argument("--out", type=Path, default=Path("bench-out"), help="folder for tables and pictures (default bench-out)")
    parser.add_argument("--count", type=int, help="how many photographs, renderings or repeats")
    parser.add_argument("--seed", type=int, default=0, help="first seed (default 0)")
    parser.add_argument("--workers", type=int, default=1, help="processes at work at once (default 1)")
    parser.add_argument("--true-outline", action="store_true", help="give the reader the true outline")
    parser.add_argument("--only", nargs="*", default=(), help="parts to run: difficulties of accuracy, terms of coverage")
    parser.add_argument("--threads", type=int, default=2, help="threads of linear algebra where speed is measured (default 2)")
    parser.add_argument("--photographs", action="store_true", help="coverage: read photographs where the geometry alone would do")
    asked = parser.parse_args(arguments)
    unknown = [name for name in asked.names if name not in NAMES]
    if unknown:
        parser.error(f"no benchmark is called {', '.join(unknown)}; there are {', '.join(NAMES)}")
    for name, value in ONE_THREAD.items():
        os.environ.setdefault(name, value)
    options = Options(
        out=asked.out,
        count=asked.count,
        seed=asked.seed,
        workers=asked.workers,
        true_outline=asked.true_outline,
        only=tuple(asked.only),
        threads=asked.threads,
        photographs=asked.photographs,
    )
    options.out.mkdir(parents=True, exist_ok=True)
    for name in asked.names or NAMES:
        print(f"== {name}")
        importlib.import_module(f"benchmarks.{name}").run(options)


if __name__ == "__main__":
    main()
