"""A whole campaign: `python -m fuzzing.run [NAME ...] --thousands 1 --engine chance|guided --out fuzz-out`. START READING HERE.

Each target runs in a process of its own, in an empty folder, with its temporary files in another: afterwards both must be empty, and so no file was written.
A process that dies, hangs for more than 10 s or takes more than 2 GiB is told as a fault, with the input that did it kept in the folder of the campaign.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from benchmarks.tables import write_table
from fuzzing.targets import TARGETS

ROOT = Path(__file__).resolve().parent.parent
NAMES = (*TARGETS, "routes", "read")
SHARES = {name: target.share for name, target in TARGETS.items()} | {"routes": 12.0, "read": 1.0}
MOST_S = 3 * 3600


def main(arguments: list[str] | None = None) -> int:
    """Run the targets named, all if none is; exits with 1 when a fault was found."""
    parser = argparse.ArgumentParser(prog="python -m fuzzing.run", description=__doc__)
    parser.add_argument("names", nargs="*", help=f"any of {', '.join(NAMES)}; all if none is named")
    parser.add_argument("--engine", choices=("chance", "guided"), default="chance", help="guided needs atheris (pip install atheris)")
    parser.add_argument(
        "--thousands",
        type=float,
        default=1.0,
        help="times the share of each target, in thousands of inputs (default 1: 100,000 and more in all)",
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, default=Path("fuzz-out"))
    asked = parser.parse_args(arguments)
    asked.out.mkdir(parents=True, exist_ok=True)
    rows = []
    for name in asked.names or NAMES:
        rows.append(
            campaign(
                name, engine=asked.engine, count=round(1000 * SHARES[name] * asked.thousands), seed=asked.seed, out=asked.out.resolve()
            )
        )
        print(rows[-1], flush=True)
    print(write_table(rows, stem=asked.out / f"fuzzing-{asked.engine}"))
    print(f"{sum(row['inputs'] for row in rows)} inputs, {sum(bool(row['fault']) for row in rows)} targets with a fault")
    return int(any(row["fault"] for row in rows))


def campaign(name: str, *, engine: str, count: int, seed: int, out: Path) -> dict[str, Any]:
    """Run one target; returns its row of the table."""
    with tempfile.TemporaryDirectory() as here, tempfile.TemporaryDirectory() as spare:
        command = [
            sys.executable,
            "-m",
            "fuzzing.one",
            name,
            "--engine",
            engine,
            "--count",
            str(count),
            "--seed",
            str(seed),
            "--out",
            str(out),
        ]
        surroundings = {
            **os.environ,
            "PYTHONPATH": os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")]),
            "TMPDIR": spare,
            "HOME": spare,
            "OMP_NUM_THREADS": "1",
        }
        surroundings |= {"OPENBLAS_NUM_THREADS": "1", "MPLCONFIGDIR": str(out / "matplotlib")}
        began = time.monotonic()
        with (out / f"{name}-{engine}.log").open("wb") as log:
            code = subprocess.run(
                command, cwd=here, env=surroundings, stdout=log, stderr=subprocess.STDOUT, timeout=MOST_S, check=False
            ).returncode
        left = sorted(path.name for folder in (here, spare) for path in Path(folder).iterdir() if not path.name.startswith("straightband-"))
    told = (out / f"{name}-{engine}.log").read_text(encoding="utf-8", errors="replace")
    done = [int(number) for number in re.findall(r"(?:^done |number_of_executed_units: )(\d+)", told, re.MULTILINE)]
    most_mb = [float(number) for number in re.findall(r"(?:most_mb |peak_rss_mb: *)(\d+)", told)]
    fault = "" if code == 0 and done and not left else f"left {left}" if left else f"ended with {code}"
    if fault and (out / f"{name}.current").exists():
        shutil.copy(out / f"{name}.current", out / f"{name}-{engine}-{seed}.fault")
    return {
        "target": name,
        "inputs": done[-1] if done else 0,
        "seconds": time.monotonic() - began,
        "most memory, MB": most_mb[-1] if most_mb else float("nan"),
        "fault": fault,
    }


if __name__ == "__main__":
    sys.exit(main())
