"""Plan the grinding of a batch: who meets whom, which way up, for how long, and what the faces will be like after each run."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from straightband.advice.forecast import doubts_um, sag_doubt_um
from straightband.advice.pairings import Companion, Pairings, carrier_of, choose_pairings, companion_for, companion_plate
from straightband.advice.pairs import Bench, Plate
from straightband.advice.stages import Stage, ends_flat, make_stages
from straightband.workflows.batch import Batch

SPINDLE_RPM, LOAD_N = 30.0, 10.0  # where the batch does not say: common practice, no source
TOP_RPM, STROKES_PER_MIN = 3.0, 40.0  # of the hands: common practice, no source
_SEED = 20_261  # the same batch gets the same plan


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The plan and its simulation.

    Attributes
    ----------
    batch
        What was asked.
    plates
        The pieces, and the companion last where the plan was made with it.
    bench
        How they are moved and pressed.
    pairings
        Who meets whom, and what that forces.
    carrier
        Number of the round piece that can carry pads for all, or None.
    companion
        The round plate the shop should add; None where nothing is missing, or where the plan was made with it.
    stages
        Runs by abrasive.
    doubts_um
        (runs, plates) expanded uncertainty (95 %) of the sags after each run.
    flags
        Short names of doubts.
    """

    batch: Batch
    plates: tuple[Plate, ...]
    bench: Bench
    pairings: Pairings
    carrier: int | None
    companion: Companion | None
    stages: tuple[Stage, ...]
    doubts_um: NDArray
    flags: tuple[str, ...]

    @property
    def began_doubts_um(self) -> NDArray:
        """(plates,) expanded uncertainty (95 %) of the sags before the first run."""
        return np.array([sag_doubt_um(plate) for plate in self.plates])

    @property
    def forces_flat(self) -> bool:
        """Whether the pairings leave no curvature free, and the runs end flat as far as the forecast sees."""
        return self.pairings.free == 0 and ends_flat(self.stages)


def make_plan(batch: Batch, *, with_companion: bool = False, told: Callable[[str, float], None] = lambda _what, _share: None) -> Plan:
    """The plan for a batch; `told` is called with what is being worked out and the share of it that is done, for people who wait."""
    bench = Bench(
        spindle_rpm=SPINDLE_RPM if batch.spindle_rpm is None else batch.spindle_rpm,
        top_rpm=TOP_RPM,
        strokes_per_min=STROKES_PER_MIN,
        load_n=LOAD_N if batch.load_n is None else batch.load_n,
    )
    plates = tuple(Plate(name=each.name, face=each.face, weight_n=each.weight_n, sag_um=each.sag_um) for each in batch.blanks)
    told("which plates can run together", 0.0)
    pairings = choose_pairings(plates, bench=bench)
    companion = None
    if pairings.free > 0 or carrier_of(plates) is None:
        density = batch.blanks[0].glass.density_kg_m3
        companion = companion_for(plates, own=pairings.chosen, bench=bench, density_kg_m3=density)
        if with_companion:
            plates = (*plates, replace(companion_plate(companion, density_kg_m3=density), name=_free_name(plates)))
            pairings, companion = choose_pairings(plates, bench=bench), None
    told("the runs, and what they wear", 0.0)
    stages = make_stages(plates, pairings.chosen, bench=bench, sizes_um=batch.abrasives_um, fixed_min=batch.minutes)
    planned = np.concatenate([stage.sags_um for stage in stages])
    runs = [(stage.abrasive, stage.runs) for stage in stages]
    doubts = doubts_um(
        runs,
        plates=plates,
        bench=bench,
        planned_um=planned,
        rng=np.random.default_rng(_SEED),
        told=lambda share: told("how far that can be trusted", share),
    )
    return Plan(
        batch=batch,
        plates=plates,
        bench=bench,
        pairings=pairings,
        carrier=carrier_of(plates),
        companion=companion,
        stages=stages,
        doubts_um=doubts,
        flags=_flags(batch, pairings, stages, plates=plates, companion=companion),
    )


def _free_name(plates: tuple[Plate, ...]) -> str:
    """What the companion is called beside the others."""
    names = {plate.name.casefold() for plate in plates}
    return next(name for name in ("companion", *(f"companion {number}" for number in range(2, len(names) + 3))) if name not in names)


def sags_after(plan: Plan) -> tuple[tuple[NDArray, NDArray], ...]:
    """Sags and their uncertainty, (plates,) each, after each abrasive."""
    found, number = [], 0
    began = np.array([plate.sag_um or 0.0 for plate in plan.plates])
    for stage in plan.stages:
        number += len(stage.runs)
        none = not len(stage.runs)
        found.append((began, plan.began_doubts_um) if none else (stage.sags_um[-1], plan.doubts_um[number - 1]))
    return tuple(found)


def _flags(
    batch: Batch, pairings: Pairings, stages: tuple[Stage, ...], *, plates: tuple[Plate, ...], companion: Companion | None
) -> tuple[str, ...]:
    bent = pairings.free == 0 and not ends_flat(stages)
    told = {
        "not-forced-flat": pairings.free > 0,
        "meets-none": any(len(group.pieces) == 1 for group in pairings.groups),
        "companion-proposed": companion is not None,
        "sag-not-measured": any(plate.sag_um is None for plate in plates),
        "not-deep-enough": any(not stage.deep_enough for stage in stages),
        "not-flat-at-the-end": bent,
        "runs-too-long": bent and batch.minutes is not None,
        "abrasives-reordered": batch.reordered,
        "rates-are-not-the-shops-own": True,
        "astigmatism-not-foreseen": True,
    }
    return tuple(name for name, holds in told.items() if holds)
