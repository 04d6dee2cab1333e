"""Several photographs of one face with nothing changed but the wedge: the figure they share."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from straightband.combine.joint import Joint, Shot, joint
from straightband.errors import BadInput
from straightband.face.polynomials import face_polynomials
from straightband.fringes.budget import Cause, expanded_at_cells
from straightband.fringes.near import NEAR
from straightband.fringes.repeat import repeat
from straightband.fringes.sign import gap_sense_from_press
from straightband.heightmap.figures import Points, without_tilt
from straightband.heightmap.map import HeightMap
from straightband.provenance import Source
from straightband.uncertainty import COVERAGE_95
from straightband.workflows.copies import without_copies
from straightband.workflows.minus import UNFIT_SIDE, Lying, Shown, alone
from straightband.workflows.read import Reading, Setup, cell_means, lying, read_photo, rebuilt, tell_nobody

LENS, KEYSTONE, NOISE = "lens distortion x bands", "keystone x bands", "fit noise"  # causes that photographs together lessen, with NEAR
COMPARED_ORDER, SPREAD_ORDER = 6, 8  # of the polynomials in which photographs are compared, and a correction is carried to the grid
PLAIN_LIKENESS = 0.6  # correlation with a map of known sign above which a map takes its sign; our choice
OPPOSITE = -0.5  # correlation of two maps below which one of them has the wrong sign
DISAGREEMENT = 1.5  # scatter over stated uncertainty of one photograph above which something changed between them


def read_photos(
    photographs: list[tuple[str, bytes]], *, setup: Setup, reference: HeightMap | None = None, stage: Callable[[str], None] = tell_nobody
) -> Reading:
    """The reading of one photograph, or that of several together.

    `photographs` are names without folder with their bytes; `stage` is told what is being done. Raises a StraightbandError where one can't
    be read, or is given twice.
    """
    setups = _one_each(setup, count=len(photographs))
    photographs = list(without_copies(photographs))
    if len(photographs) == 1:
        (name, data), (each,) = photographs[0], setups
        return read_photo(data, name=name, setup=each, reference=reference, stage=stage)
    # of pairs, for together they may tell a sign that each alone does not
    readings = [read_photo(data, name=name, setup=each, stage=stage) for (name, data), each in zip(photographs, setups, strict=True)]
    # bevels are seen a little wider in one photograph than in the next, and figures are compared over one aperture
    margin = max(reading.flat.clear_margin for reading in readings)
    for k, ((name, data), each) in enumerate(zip(photographs, setups, strict=True)):
        if readings[k].flat.clear_margin < margin:
            widened = replace(each, clear_margin=margin, margin_told=True)
            readings[k] = read_photo(data, name=name, setup=widened, stage=stage)
    return joint_reading(readings, pressed_hour=setup.pressed_hour, on=lying(setup, reference=reference))


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


def joint_reading(readings: list[Reading], *, pressed_hour: float | None = None, on: Lying | None = None) -> Reading:
    """The first reading with the figure all photographs share, less the reference they lay `on`, and a budget that holds what they have earned.

    Where the wedges differ, the photographs tell how strongly the lens distorts, how near the camera stood and how each view converges; what they tell is
    taken off, what they don't stays. Noise falls with their number. Lamp and outline are wrong in the same way each time and are not divided.
    """
    first = readings[0]
    points = first.phase.points
    signs, known = _signs(readings)
    if not known and pressed_hour is not None:
        signs, known = _pressed(readings, signs=signs, hour=pressed_hour)
    heights = np.stack([sign * reading.flat.heights_nm for sign, reading in zip(signs, readings, strict=True)])
    _refuse_opposites(heights, known=all(reading.sign == "known" for reading in readings))
    near = all(reading.sign == "known" for reading in readings)  # only then are they corrected for it, and in the same sense
    shots = [_shot(reading, sign=sign, turn=k, near=near) for k, (sign, reading) in enumerate(zip(signs, readings, strict=True))]
    found = joint(shots, basis=face_polynomials(points.u_mm, points.v_mm, face=points.clear, order=COMPARED_ORDER), area=points.area)
    taken_off = np.mean([shot.heights_nm for shot in shots], axis=0) - found.corrected_nm.mean(axis=0)
    mean_nm = heights.mean(axis=0) - _on_grid(taken_off, first)
    told = {"sign": "known" if known else "unknown", "photographs": _photographs(readings), "lens": _lens(readings, found)}
    pair = Shown(
        flat=without_tilt(replace(first.flat, heights_nm=mean_nm, meta=first.flat.meta | told)),
        causes=tuple(_joint_causes(readings, shots=shots, found=found, near=near)),
        flags=_flags(readings, found=found, known=known),
    )
    shown = alone(pair, on, phase=first.phase, known=known)
    scatter = _repeat(found, points=points, beside_nm=expanded_at_cells(shown.causes, points=points))
    return rebuilt(replace(first, sources=_sources(readings)), replace(shown, causes=(*shown.causes, scatter)))


def _repeat(found: Joint, *, points: Points, beside_nm: NDArray) -> Cause:
    """What the scatter of the photographs says, the bending of the glass between them by its own odds: in few of them it may cancel by chance."""
    unbent = found.corrected_nm - _along(found.bends_nm, found.corrected_nm - found.corrected_nm.mean(axis=0), area=points.area)
    cause = repeat(points, unbent, beside_nm=beside_nm)
    return replace(cause, modes_nm=np.concatenate([cause.modes_nm, COVERAGE_95 * found.bends_nm]))


def _along(modes_nm: NDArray, heights_nm: NDArray, *, area: NDArray) -> NDArray:
    """The part of heights (n, c) that modes (m, c) make up, by least squares over the cells."""
    weighted = modes_nm * area
    return np.linalg.solve(weighted @ modes_nm.T, weighted @ heights_nm.T).T @ modes_nm


def _signs(readings: list[Reading]) -> tuple[list[float], bool]:
    """What to multiply each map by so that all show the same hills, and whether those are known to be hills.

    One photograph whose sign is known settles it for the others, if they show its figure plainly.
    """
    anchor = next((reading for reading in readings if reading.sign == "known"), readings[0])
    signs, sure = [], anchor.sign == "known"
    for reading in readings:
        likeness = _likeness(reading.flat.heights_nm, anchor.flat.heights_nm)
        settled = reading.sign == anchor.sign == "known"
        signs.append(1.0 if settled or likeness >= 0.0 else -1.0)
        sure = sure and (settled or abs(likeness) > PLAIN_LIKENESS)
    return signs, sure


def _pressed(readings: list[Reading], *, signs: list[float], hour: float) -> tuple[list[float], bool]:
    """The signs as pressing the rim between the first photograph and the others settles them, if it does."""
    counted = [
        replace(reading.phase, cell_phase_rad=sign * reading.sense * reading.phase.cell_phase_rad)
        for sign, reading in zip(signs, readings, strict=True)
    ]
    votes = [gap_sense_from_press(counted[0], after, picture=readings[0].picture, hour=hour) for after in counted[1:]]
    sense = int(np.sign(sum(votes)))
    return ([sense * sign for sign in signs], True) if sense else (signs, False)


def _likeness(one: NDArray, other: NDArray) -> float:
    """Correlation of two maps."""
    both = np.isfinite(one) & np.isfinite(other)
    spread = float(np.std(one[both]) * np.std(other[both]))
    return float(np.mean((one[both] - one[both].mean()) * (other[both] - other[both].mean()))) / spread if spread else 0.0


def _modes(reading: Reading, name: str) -> NDArray:
    """Departures (m, c) of a cause at its 95 % limit."""
    return next(cause for cause in reading.causes if cause.name == name).modes_nm


def _shot(reading: Reading, *, sign: float, turn: int, near: bool) -> Shot:
    """A reading as the joint solution takes it: strengths in units of what the budget of one photograph allows, standard."""
    draws = next(cause for cause in reading.causes if cause.name == NOISE).draws_nm
    # The causes follow the phase; heights run against the gap. What a near camera does to heights does not ask which way the wedge lies.
    shared = -sign * reading.sense * _modes(reading, LENS)
    if near:
        # A gap that dust makes wider in one photograph than in the next looks like glass that bends between them: that is left to the repeat.
        shared = np.concatenate([shared, _modes(reading, NEAR)])
    return Shot(
        heights_nm=sign * cell_means(reading.flat.heights_nm, reading.phase),
        shared_nm=shared / COVERAGE_95,
        own_nm=_modes(reading, KEYSTONE) / COVERAGE_95,
        # Every reading draws the same numbers; turned on, those of different photographs are independent.
        draws_nm=np.roll(draws, 37 * turn, axis=0),
    )


def _on_grid(cells_nm: NDArray, reading: Reading) -> NDArray:
    """Smooth values at the cells (c,) on the grid [v, u] of a reading."""
    points = reading.phase.points
    basis = face_polynomials(points.u_mm, points.v_mm, face=points.clear, order=SPREAD_ORDER)
    weighted = basis * points.area
    terms = np.linalg.solve(weighted @ basis.T, weighted @ cells_nm)
    uu, vv = np.meshgrid(reading.flat.u_mm, reading.flat.v_mm)
    return np.tensordot(terms, face_polynomials(uu, vv, face=points.clear, order=SPREAD_ORDER), axes=1)


def _joint_causes(readings: list[Reading], *, shots: list[Shot], found: Joint, near: bool) -> list[Cause]:
    """The causes of the first photograph, those that several photographs lessen replaced by what they leave."""
    count, strength = len(readings), found.shared
    shared, limit = len(shots[0].shared_nm), COVERAGE_95 * found.modes_nm
    earned = f"{count} photographs leave {100 * strength[1]:.0f} % of what one leaves unknown"
    replaced = {
        LENS: dict(modes_nm=limit[:1], origin=earned),
        KEYSTONE: dict(modes_nm=limit[shared:], origin=f"{count} views, what they tell of each other taken off"),
        NOISE: dict(draws_nm=np.mean([shot.draws_nm for shot in shots], axis=0), origin=f"of {count} photographs together"),
    }
    if near:
        gaps = next(cause.origin for cause in readings[0].causes if cause.name == NEAR)
        replaced[NEAR] = dict(modes_nm=limit[1:shared], origin=f"{gaps}; what {count} photographs tell of it taken off")
    kept = [cause for cause in readings[0].causes if cause.name != "repeat"]
    return [replace(cause, **replaced.get(cause.name, {})) for cause in kept]


def _lens(readings: list[Reading], found: Joint) -> dict[str, float]:
    """Distortion at the corner of the frame that the photographs tell, barrel positive, in per cent with its 95 % uncertainty."""
    strength, standard = found.shared
    per_unit = 100.0 * readings[0].distortion_share / COVERAGE_95
    return {"distortion_percent": per_unit * strength, "uncertainty_percent": COVERAGE_95 * per_unit * standard}


def _flags(readings: list[Reading], *, found: Joint, known: bool) -> tuple[str, ...]:
    flags = dict.fromkeys(flag for reading in readings for flag in reading.flags)
    if known:
        flags.pop("sign-unknown", None)
        flags.pop(UNFIT_SIDE, None)
    scatter = float(np.std(found.corrected_nm - found.corrected_nm.mean(axis=0)))
    if scatter / max(np.mean(readings[0].budget.cells_nm) / COVERAGE_95, 1e-9) > DISAGREEMENT:
        flags["photographs-differ"] = None
    return tuple(flags)


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
