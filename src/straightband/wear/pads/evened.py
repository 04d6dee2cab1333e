"""Lay pads out, press the piece on them, and lay them out again until the pressed rates are even."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from straightband.face.shapes import Face
from straightband.wear.kinematics import Motion
from straightband.wear.pads.layout import EVEN_ENOUGH, HALVED, Layout, Task, even_layout, naive_layout, repeats
from straightband.wear.pads.outlines import Pad
from straightband.wear.pads.pressed import PressedRates, pressed_rates
from straightband.wear.pads.rates import Passing, passing_of, rates_of, unevenness

ROUNDS = 2
STROKES = (0.5, 0.75, 1.0, 1.25, 1.5)  # of the stroke told, among which a better one is looked for
SIDES = (0.0, 0.1, 0.2)  # of the longer half axis, at which the stroke may pass beside the middle


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate:
    """What pads are laid on, and for what work.

    Attributes
    ----------
    radius_mm, gap_mm, rim_mm, least_coverage
        Of the plate; least distance between pieces and to its edge; share that must be covered.
    pad, face, motion
        The pads, the piece's back, and how it is moved.
    clear_share
        Of the longer half axis, up to which the back must clear.
    """

    radius_mm: float
    gap_mm: float
    rim_mm: float
    least_coverage: float
    pad: Pad
    face: Face
    motion: Motion
    clear_share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Evened:
    """A lay-out and what it does, beside the hexagonal one.

    Attributes
    ----------
    layout, pressed
        The pads, and the rates on them.
    naive, naive_pressed
        The same of the hexagonal lay-out.
    found
        False where no lay-out but the hexagonal one was found.
    """

    layout: Layout
    pressed: PressedRates
    naive: Layout
    naive_pressed: PressedRates
    found: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """Another stroke on the same pads.

    Attributes
    ----------
    stroke_mm, side_mm
        Its length, and how far it passes beside the middle.
    uneven
        Largest rate over the smallest, at even pressure.
    """

    stroke_mm: float
    side_mm: float
    uneven: float


def even_pads(plate: Plate, *, rng: np.random.Generator) -> Evened:
    """The evenest of a few lay-outs, each corrected by how the one before wore; raises BadInput when the piece tips off."""
    passing = _passing(plate, motion=plate.motion)
    task = Task(
        pad=plate.pad,
        plate_radius_mm=plate.radius_mm,
        gap_mm=plate.gap_mm,
        rim_mm=plate.rim_mm,
        passing=passing,
        least_coverage=plate.least_coverage,
    )
    naive = naive_layout(task)
    naive_pressed = _pressed(naive, plate=plate, passing=passing, rng=rng)
    goal = max(HALVED * (unevenness(naive_pressed.rate) - 1.0), EVEN_ENOUGH)
    best: tuple[Layout, PressedRates] | None = None
    correction = naive_pressed.rate / naive.rates
    for _ in range(ROUNDS):
        found = even_layout(replace(task, passing=_corrected(passing, correction)), naive=naive, rng=rng)
        if found is None:
            break
        pressed = _pressed(found, plate=plate, passing=passing, rng=rng)
        if best is None or _merit(found, pressed) < _merit(*best):
            best = found, pressed
        if unevenness(pressed.rate) - 1.0 <= goal and not repeats(found):
            break
        correction = pressed.rate / rates_of(found.covered, passing)
    layout, pressed = best or (naive, naive_pressed)
    return Evened(layout=layout, pressed=pressed, naive=naive, naive_pressed=naive_pressed, found=best is not None)


def _merit(layout: Layout, pressed: PressedRates) -> float:
    return unevenness(pressed.rate) + repeats(layout)


def _passing(plate: Plate, *, motion: Motion) -> Passing:
    return passing_of(motion, reach_mm=plate.clear_share * plate.face.semi_major_mm, plate_radius_mm=plate.radius_mm)


def _corrected(passing: Passing, correction: NDArray) -> Passing:
    """The passing with what even pressure leaves out put into its speeds."""
    return replace(passing, speed_mm_s=passing.speed_mm_s * correction[:, None])


def _pressed(layout: Layout, *, plate: Plate, passing: Passing, rng: np.random.Generator) -> PressedRates:
    outlines = [piece.outline for piece in layout.pieces]
    return pressed_rates(outlines, face=plate.face, plate_radius_mm=plate.radius_mm, motion=plate.motion, passing=passing, rng=rng)


def stroke_reach_mm(face: Face, motion: Motion) -> float:
    """How far from the middle of the plate the piece's rim gets at the end of a stroke."""
    return float(np.hypot(motion.stroke_mm / 2.0, motion.side_mm)) + face.semi_major_mm


def best_stroke(layout: Layout, *, plate: Plate) -> Stroke:
    """The evenest stroke on those pads that keeps the piece's rim on the plate, the one told among them."""
    tried = []
    for share in STROKES:
        for side in (*SIDES, plate.motion.side_mm / plate.face.semi_major_mm):
            motion = replace(plate.motion, stroke_mm=share * plate.motion.stroke_mm, side_mm=side * plate.face.semi_major_mm)
            if motion == plate.motion or stroke_reach_mm(plate.face, motion) <= plate.radius_mm:
                rates = rates_of(layout.covered, _passing(plate, motion=motion))
                tried.append(Stroke(stroke_mm=motion.stroke_mm, side_mm=motion.side_mm, uneven=unevenness(rates)))
    return min(tried, key=lambda stroke: stroke.uneven)
