"""How long many runs of a grinding plan take by rings, beside whole faces, and how close the two come.

A thousand runs of a batch of four unlike blanks at 64 rings, in as many processes as asked for (`--workers 2`), as the plan itself lays them out.
Progress goes to standard error.
"""

from __future__ import annotations

import itertools
import sys
import time
from concurrent.futures import ProcessPoolExecutor

import numpy as np

from benchmarks.run import Options
from benchmarks.tables import write_table
from straightband.advice.forecast import Course, as_planned
from straightband.advice.pairings import choose_pairings
from straightband.advice.pairs import Bench, Plate, motion_of
from straightband.advice.schedule import Run
from straightband.advice.stages import make_stages
from straightband.face.shapes import ellipse, rectangle, round_face
from straightband.wear import whole
from straightband.wear.abrasive import Abrasive
from straightband.wear.rings import CELLS
from straightband.wear.surface import flat_surface, sag_um, spherical_surface

RUNS = 1000
WHOLE_CELLS = 41
BENCH = Bench(spindle_rpm=30.0, top_rpm=3.0, strokes_per_min=40.0, load_n=10.0)
PLATES = tuple(
    Plate(name=name, face=face, weight_n=weight, sag_um=sag)
    for name, face, weight, sag in (
        ("A", ellipse(minor_mm=90.0), 3.0, 25.0),
        ("B", ellipse(minor_mm=80.0), 2.0, -15.0),
        ("C", round_face(diameter_mm=115.0), 5.0, 20.0),
        ("D", rectangle(width_mm=80.0, length_mm=110.0), 3.0, 5.0),
    )
)
Step = tuple[int, Abrasive, Run]


def run(options: Options) -> None:
    """Time the runs and one run on whole faces, and write the table."""
    steps = plan()
    count = options.count or RUNS
    each = [count // options.workers + (number < count % options.workers) for number in range(options.workers)]
    began = time.perf_counter()
    if options.workers == 1:
        followed(steps, count)
    else:
        with ProcessPoolExecutor(options.workers) as pool:
            list(pool.map(followed, [steps] * options.workers, each))
    seconds = time.perf_counter() - began
    _, abrasive, one = steps[0]
    rings_s, whole_s, apart_um = beside_whole(one, abrasive=abrasive)
    rows = [
        {
            "runs": count,
            "rings": CELLS,
            "processes": options.workers,
            "seconds": seconds,
            "seconds for 1000": seconds * 1000.0 / count,
            "whole faces over rings, time": whole_s / rings_s,
            "largest difference of sag, um": apart_um,
        }
    ]
    print(write_table(rows, stem=options.out / "wear"))


def plan() -> list[Step]:
    """Every run of the plan for the batch, with its abrasive."""
    pairings = choose_pairings(PLATES, bench=BENCH)
    stages = make_stages(PLATES, pairings.chosen, bench=BENCH, sizes_um=(40.0, 20.0, 10.0, 5.0), fixed_min=None)
    return [(grade, stage.abrasive, one) for grade, stage in enumerate(stages) for one in stage.runs]


def followed(steps: list[Step], count: int) -> list[float]:
    """Sags after `count` runs, beginning the plan anew with the same blanks whenever it is through."""
    grades = steps[-1][0] + 1
    course = Course(PLATES, bench=BENCH, luck=as_planned(PLATES, grades=grades))
    for number, (grade, abrasive, one) in enumerate(itertools.islice(itertools.cycle(steps), count)):
        if number % len(steps) == 0:
            course = Course(PLATES, bench=BENCH, luck=as_planned(PLATES, grades=grades))
        course.follow(one, abrasive=abrasive, grade=grade)
        if number % 100 == 99:
            sys.stderr.write(f"\rwear: {number + 1} of {count} runs")
    sys.stderr.write("\n")
    return course.sags_um[:, 0].tolist()


def beside_whole(one: Run, *, abrasive: Abrasive) -> tuple[float, float, float]:
    """Seconds by rings and on whole faces of one run of flat faces, and how far the sags are apart at most."""
    flat = [Plate(name=plate.name, face=plate.face, weight_n=plate.weight_n, sag_um=20.0 if number == one.top else 0.0)
            for number, plate in enumerate(PLATES)]  # fmt: skip
    course = Course(flat, bench=BENCH, luck=as_planned(flat, grades=1))
    began = time.perf_counter()
    course.follow(one, abrasive=abrasive, grade=0)
    rings_s = time.perf_counter() - began
    top = spherical_surface(PLATES[one.top].face, cells=WHOLE_CELLS, sag_um=20.0)
    bottom = flat_surface(PLATES[one.bottom].face, cells=WHOLE_CELLS)
    grit = whole.Grit(stiffness_kpa_um=abrasive.stiffness_kpa_um, top_per_pa=abrasive.preston_per_pa, bottom_per_pa=abrasive.preston_per_pa)
    began = time.perf_counter()
    ends = whole.work(
        top,
        bottom,
        motion=motion_of(BENCH, stroke_mm=one.stroke_mm),
        grit=grit,
        force_n=PLATES[one.top].weight_n + BENCH.load_n,
        minutes=one.minutes,
    )
    whole_s = time.perf_counter() - began
    sags = course.sags_um[:, 0]
    return rings_s, whole_s, float(np.abs(np.array([sag_um(end) for end in ends]) - sags[[one.top, one.bottom]]).max())
