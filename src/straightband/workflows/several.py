"""Several photographs of one face with nothing changed but the wedge: the mean of their maps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from straightband.fringes.budget import sum_up
from straightband.fringes.repeat import aligned, repeat
from straightband.heightmap.figures import figures
from straightband.heightmap.map import HeightMap
from straightband.provenance import Source
from straightband.workflows.read import Reading, Setup, cell_means, read_photo, with_uncertainty

DISAGREEMENT = 1.5  # scatter over stated uncertainty of one photograph above which something changed between them


def read_photos(photographs: list[tuple[str, bytes]], *, setup: Setup, reference: HeightMap | None = None) -> Reading:
    """The reading of one photograph, or the mean of several.

    `photographs` are names without folder with their bytes. Raises a StraightbandError where one can't be read.
    """
    readings = [read_photo(data, name=name, setup=setup, reference=reference) for name, data in photographs]
    return readings[0] if len(readings) == 1 else mean_reading(readings)


def mean_reading(readings: list[Reading]) -> Reading:
    """The first reading with the mean map of all, and the repeat term that their scatter earns.

    The budgets of single photographs are not divided: what they share (lens, lamp, outline) does not average away.
    """
    first = readings[0]
    base = first.flat.heights_nm
    known = {reading.sign for reading in readings} == {"known"}
    stack = np.stack([reading.flat.heights_nm if known else aligned(reading.flat.heights_nm, to_nm=base) for reading in readings])
    mean = replace(first.flat, heights_nm=stack.mean(axis=0), meta={**first.flat.meta, "photographs": _photographs(readings)})
    cells = np.stack([cell_means(heights, first.phase) for heights in stack])
    kept = [cause for cause in first.causes if cause.name != "repeat"]
    scatter = repeat(first.phase.points, cells)
    budget = sum_up([*kept, scatter], points=first.phase.points, heights_nm=cells.mean(axis=0))
    height_map = with_uncertainty(mean, phase=first.phase, budget=budget, mirrored=first.height_map.meta["mirrored"])
    flags = {flag: None for reading in readings for flag in reading.flags}
    if float(np.std(cells - cells.mean(axis=0)) / max(np.mean(first.budget.cells_nm) / 1.96, 1e-9)) > DISAGREEMENT:
        flags["photographs-differ"] = None
    return replace(
        first, height_map=height_map, flat=mean, figures=figures(height_map), budget=budget, flags=tuple(flags), sources=_sources(readings)
    )


def _photographs(readings: list[Reading]) -> list[dict[str, str]]:
    return [{"name": source.name, "sha256": source.sha256} for source in _sources(readings)]


def _sources(readings: list[Reading]) -> tuple[Source, ...]:
    return tuple(source for reading in readings for source in reading.sources)
