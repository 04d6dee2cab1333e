"""What the faces will be like after each run: once as planned, and many times over with what the shop can't know drawn at random.

Drawn are the sags that were not measured, the rate of each abrasive, the give of its layer and the push of the hand; the same draw holds for a
whole grade, since a slurry that is quick in one run is quick in the next. Each thing runs evenly through its whole range, in an order of its own, so
that few draws are enough.

Sources
-------
Latin hypercube: M. D. McKay, R. J. Beckman, W. J. Conover, Technometrics 21, 239 (1979), from memory.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from straightband.advice.pairs import Bench, Plate, motion_of
from straightband.advice.schedule import Run
from straightband.uncertainty import COVERAGE_95
from straightband.wear.abrasive import PRESTON_FACTOR, SQUEEZE_FACTOR, Abrasive
from straightband.wear.radial import Grind, Meeting, decays_per_min, grind_rings, meeting_of
from straightband.wear.rings import CELLS, rings_of, sag_of_rings_um, spherical_rings

UNMEASURED_SAG_UM = 30.0  # 95 %, of a sawn or cast blank whose face was not gauged; our choice
MEASURED_SHARE = 0.1  # 95 %, of a sag that was told; our choice
PUSH_SHARE = 0.3  # 95 %, of the hand's push; our choice
DRAWS = 16
MOST_DECAYS = (
    100.0  # of a misfit, in a run that is drawn: a layer stiffer than that fits just as well, and takes ten times as long to follow
)
DRAWN_CELLS = 32  # their sags differ from those of 64 by a hundredth, which a spread does not show


@dataclass(frozen=True, slots=True, kw_only=True)
class Luck:
    """What a shop can't know of its batch beforehand.

    Attributes
    ----------
    sags_um
        (plates, draws) with which the faces begin.
    rates, gives
        (grades, draws) rate of each abrasive and give of its layer over what is usual.
    push
        (draws,) push of the hand over what was told.
    """

    sags_um: NDArray
    rates: NDArray
    gives: NDArray
    push: NDArray


def sag_doubt_um(plate: Plate) -> float:
    """Expanded uncertainty (95 %) of the sag a plate begins with."""
    return UNMEASURED_SAG_UM if plate.sag_um is None else MEASURED_SHARE * abs(plate.sag_um)


def as_planned(plates: Sequence[Plate], *, grades: int) -> Luck:
    """Everything as told or usual; a sag that was not told is none."""
    sags = np.array([[plate.sag_um or 0.0] for plate in plates])
    return Luck(sags_um=sags, rates=np.ones((grades, 1)), gives=np.ones((grades, 1)), push=np.ones(1))


def drawn(plates: Sequence[Plate], *, grades: int, draws: int, rng: np.random.Generator) -> Luck:
    """So many draws of what can't be known, none beyond its 95 % limits."""
    doubt = np.array([[sag_doubt_um(plate)] for plate in plates])

    even = np.clip(ndtri((np.arange(draws) + 0.5) / draws) / COVERAGE_95, -1.0, 1.0)

    def spread(rows: int) -> NDArray:
        return rng.permuted(np.tile(even, (rows, 1)), axis=1)

    return Luck(
        sags_um=as_planned(plates, grades=grades).sags_um + doubt * spread(len(plates)),
        rates=PRESTON_FACTOR ** spread(grades),
        gives=SQUEEZE_FACTOR ** spread(grades),
        push=1.0 + PUSH_SHARE * spread(1)[0],
    )


class Course:
    """Plates on their way through the runs of a plan."""

    def __init__(self, plates: Sequence[Plate], *, bench: Bench, luck: Luck, cells: int = CELLS, most_decays: float = np.inf) -> None:
        self._plates, self._bench, self._luck, self._most_decays = plates, bench, luck, most_decays
        self._faces = [rings_of(plate.face, cells=cells) for plate in plates]
        self._heights = [spherical_rings(face, sag_um=sags) for face, sags in zip(self._faces, luck.sags_um, strict=True)]
        self._began = self.means_um
        self._meetings: dict[tuple[int, int, float], Meeting] = {}

    @property
    def sags_um(self) -> NDArray:
        """(plates, draws) how the faces are now, at the end of each one's longer half axis; plus for a hill."""
        return np.array([sag_of_rings_um(one, face) for one, face in zip(self._heights, self._faces, strict=True)])

    @property
    def means_um(self) -> NDArray:
        """(plates, draws) mean heights."""
        return np.array([face.areas_mm2 @ one / face.areas_mm2.sum() for one, face in zip(self._heights, self._faces, strict=True)])

    @property
    def removed_um(self) -> NDArray:
        """(plates, draws) mean depth of glass gone since the start."""
        return self._began - self.means_um

    def follow(self, run: Run, *, abrasive: Abrasive, grade: int) -> None:
        """Let one run with the abrasive of that grade happen; raises BadInput when the upper plate falls over."""
        coefficient = abrasive.preston_per_pa * self._luck.rates[grade]
        grind = Grind(
            stiffness_kpa_um=abrasive.stiffness_kpa_um / self._luck.gives[grade],
            top_per_pa=coefficient,
            bottom_per_pa=coefficient,
            force_n=self._plates[run.top].weight_n + self._bench.load_n * self._luck.push,
        )
        meeting = self._meeting(run)
        stiffer_by = run.minutes * decays_per_min(meeting, grind=grind) / self._most_decays
        grind = replace(grind, stiffness_kpa_um=grind.stiffness_kpa_um / np.maximum(stiffer_by, 1.0))
        ends = grind_rings(self._heights[run.top], self._heights[run.bottom], meeting=meeting, grind=grind, minutes=run.minutes)
        self._heights[run.top], self._heights[run.bottom] = ends

    def _meeting(self, run: Run) -> Meeting:
        key = (run.top, run.bottom, run.stroke_mm)
        if key not in self._meetings:
            motion = motion_of(self._bench, stroke_mm=run.stroke_mm)
            self._meetings[key] = meeting_of(self._faces[run.top], self._faces[run.bottom], motion=motion)
        return self._meetings[key]


def doubts_um(
    stages: Sequence[tuple[Abrasive, tuple[Run, ...]]],
    *,
    plates: Sequence[Plate],
    bench: Bench,
    planned_um: NDArray,
    rng: np.random.Generator,
    told: Callable[[float], None] = lambda _: None,
) -> NDArray:
    """(runs, plates) expanded uncertainty (95 %) of the sags after each run, from draws of what can't be known.

    `told` is called with the share of the runs done. It is taken about `planned_um`, (runs, plates), not about the draws' own mean: a plan that lies to one side of them is in doubt by that much.
    """
    luck = drawn(plates, grades=len(stages), draws=DRAWS, rng=rng)
    course = Course(plates, bench=bench, luck=luck, cells=DRAWN_CELLS, most_decays=MOST_DECAYS)
    found = []
    for grade, (abrasive, runs) in enumerate(stages):
        for run in runs:
            course.follow(run, abrasive=abrasive, grade=grade)
            found.append(course.sags_um)
            told(len(found) / len(planned_um))
    if not found:
        return np.zeros_like(planned_um)
    return COVERAGE_95 * np.sqrt(np.mean((np.array(found) - planned_um[:, :, None]) ** 2, axis=-1))
