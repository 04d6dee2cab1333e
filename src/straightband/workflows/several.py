"""Several photographs of one face with nothing changed but the wedge: the mean of their maps."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from straightband.errors import BadInput
from straightband.fringes.budget import sum_up
from straightband.fringes.repeat import aligned, repeat
from straightband.heightmap.figures import figures
from straightband.heightmap.map import HeightMap
from straightband.provenance import Source
from straightband.workflows.read import Reading, Setup, cell_means, read_photo, tell_nobody, with_uncertainty

OPPOSITE = -0.5  # correlation of two maps below which one of them has the wrong sign
DISAGREEMENT = 1.5  # scatter over stated uncertainty of one photograph above which something changed between them


def read_photos(
    photographs: list[tuple[str, bytes]], *, setup: Setup, reference: HeightMap | None = None, stage: Callable[[str], None] = tell_nobody
) -> Reading:
    """The reading of one photograph, or the mean of several.

    `photographs` are names without folder with their bytes; `stage` is told what is being done. Raises a StraightbandError where one can't
    be read.
    """
    setups = _one_each(setup, count=len(photographs))
    readings = [
        read_photo(data, name=name, setup=each, reference=reference, stage=stage)
        for (name, data), each in zip(photographs, setups, strict=True)
    ]
    return readings[0] if len(readings) == 1 else mean_reading(readings)


def _one_each(setup: Setup, *, count: int) -> list[Setup]:
    """The set-up of each photograph: the thicker side may be told for each, since turning the wedge is the point of taking several."""
    if not isinstance(setup.thicker, tuple):
        return [setup] * count
    if len(setup.thicker) != count:
        raise BadInput(
            found=f"{len(setup.thicker)} thicker sides were given for {count} photographs",
            needed="one for all or one for each is needed",
            remedy="write them in the order of the photographs, like 3,9",
        )
    return [replace(setup, thicker=each) for each in setup.thicker]


def mean_reading(readings: list[Reading]) -> Reading:
    """The first reading with the mean map of all, and the repeat term that their scatter earns.

    The budgets of single photographs are not divided: what they share (lens, lamp, outline) does not average away.
    """
    first = readings[0]
    base = first.flat.heights_nm
    known = {reading.sign for reading in readings} == {"known"}
    stack = np.stack([reading.flat.heights_nm if known else aligned(reading.flat.heights_nm, to_nm=base) for reading in readings])
    mean = replace(first.flat, heights_nm=stack.mean(axis=0), meta={**first.flat.meta, "photographs": _photographs(readings)})
    _refuse_opposites(stack, known=known)
    cells = np.stack([cell_means(heights, first.phase) for heights in stack])
    kept = [cause for cause in first.causes if cause.name != "repeat"]
    scatter = repeat(first.phase.points, cells)
    budget = sum_up([*kept, scatter], points=first.phase.points, heights_nm=cells.mean(axis=0))
    height_map = with_uncertainty(mean, phase=first.phase, budget=budget, mirrored=first.height_map.meta["mirrored"])
    flags = {flag: None for reading in readings for flag in reading.flags}
    if float(np.std(cells - cells.mean(axis=0)) / max(np.mean(first.budget.cells_nm) / 1.96, 1e-9)) > DISAGREEMENT:
        flags["photographs-differ"] = None
    return replace(
        first,
        height_map=height_map,
        flat=mean,
        figures=figures(height_map),
        budget=budget,
        causes=(*kept, scatter),
        flags=tuple(flags),
        sources=_sources(readings),
    )


def _refuse_opposites(stack: NDArray, *, known: bool) -> None:
    """A face that reads as a hill in one photograph and as the same hole in another was told the wrong thicker side in one of them."""
    for k, heights in enumerate(stack[1:], start=2):
        both = np.isfinite(heights) & np.isfinite(stack[0])
        if known and np.corrcoef(heights[both], stack[0][both])[0, 1] < OPPOSITE:
            raise BadInput(
                found=f"photograph {k} shows as holes what the first shows as hills",
                needed="the thicker side of each photograph is needed",
                remedy="write one for each with --thicker, like 3,9, in the order of the photographs",
            )


def _photographs(readings: list[Reading]) -> list[dict[str, str]]:
    return [{"name": source.name, "sha256": source.sha256} for source in _sources(readings)]


def _sources(readings: list[Reading]) -> tuple[Source, ...]:
    return tuple(source for reading in readings for source in reading.sources)
