"""The map of the reference flat taken off what a pair shows, and what is in doubt where nobody said how the two lay on each other.

The bands show the pair, so a reference can be taken off only where hills are told from holes: heights of the wrong sign would be added to it. Piece and
reference lie mark to mark. Without a mark the photograph shows the pair turned nobody knows how far, and without the number of reversals nobody knows
which hand it shows. The reference is then taken off as the photograph stands, and each of the other ways is a choice in the budget: what is
alike every way round costs nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from straightband.errors import BadInput
from straightband.face.shapes import Face, Shape
from straightband.fringes import causes
from straightband.fringes.budget import Cause, no_rows
from straightband.fringes.reading import PhaseReading
from straightband.heightmap.figures import sample, without_tilt
from straightband.heightmap.map import HeightMap
from straightband.workflows.reference import ageing_flags

WAY_ROUND = "way round of the reference"  # name of the cause
UNKNOWN_WAY = "reference-way-round-unknown"
PAIR = "reference-not-told"  # flag of heights that are those of the pair
UNMARKED = {"half-turn-unknown", "turn-unknown", "pair-without-mark"}  # flags of a reference whose own turn nobody knows
UNFIT_SIDE = "thicker-side-does-not-fit-the-bands"
ROUND_STEPS = 24  # of a turn: fine enough for three ridges round the rim, whose highest and lowest are 60 degrees apart
NEARLY_ROUND = 1.05  # ratio of the axes below which an outline tells no turn


@dataclass(frozen=True, slots=True, kw_only=True)
class Lying:
    """A reference flat under a piece.

    Attributes
    ----------
    reference
        Its map, looking at its own face.
    marked
        Whether the mark in the photograph was told.
    mirrored
        How often the view is reversed, or None where nobody said.
    today
        The day, by which it may be due again, or None.
    """

    reference: HeightMap
    marked: bool
    mirrored: int | None
    today: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """Heights in the photograph's own frame, of a pair or of a piece alone.

    Attributes
    ----------
    flat
        The heights, piston and tilt removed.
    causes
        What may make them wrong.
    flags
        Short names of doubts.
    """

    flat: HeightMap
    causes: tuple[Cause, ...]
    flags: tuple[str, ...]


def refuse_without_sign(*, known: bool, flags: tuple[str, ...]) -> None:
    """Raises BadInput where hill or hole is not known, with a reference to be taken off."""
    if known:
        return
    unfit = "the thicker side that was given lies along the bands or does not fit them, so " if UNFIT_SIDE in flags else ""
    raise BadInput(
        found=f"{unfit}hill or hole is not known",
        needed="it must be before a reference flat is taken off, which with the wrong sign would be added",
        remedy="say where the gap is thicker with --thicker, or leave --minus out for the heights of the pair",
    )


def alone(pair: Shown, lying: Lying | None, *, phase: PhaseReading, known: bool) -> Shown:
    """The piece by itself, or the pair where no reference is told; raises BadInput where the sign is not known or the reference is too small."""
    if lying is None:
        return pair
    refuse_without_sign(known=known, flags=pair.flags)
    if lying.reference.meta.get("sign") == "unknown":
        raise BadInput(
            found="the reference map itself does not tell hill from hole",
            needed="a map whose sign is known is needed",
            remedy="measure the reference with the thicker side told, or leave --minus out for the heights of the pair",
        )
    ways = tuple(_ways(lying, face=pair.flat.face))
    uu, vv = np.meshgrid(pair.flat.u_mm, pair.flat.v_mm)
    under = _heights(lying.reference, ways[0], u_mm=uu, v_mm=vv)
    if np.any(np.isnan(under) & np.isfinite(pair.flat.heights_nm)):
        raise BadInput(
            found="the reference map does not cover the whole clear aperture of the piece",
            needed="a reference at least as large as the piece is needed",
            remedy="use the map of the larger flat, or leave --minus out",
        )
    meta = pair.flat.meta | {"minus": _name_of(lying.reference)}
    doubts = (*([UNKNOWN_WAY] if len(ways) > 1 else []), *ageing_flags(lying.reference, now=lying.today))
    return Shown(
        flat=without_tilt(replace(pair.flat, heights_nm=pair.flat.heights_nm - under, meta=meta)),
        causes=tuple(_with_reference(pair.causes, lying, ways=ways, phase=phase)),
        flags=(*(flag for flag in pair.flags if flag != PAIR), *doubts),
    )


def _ways(lying: Lying, *, face: Face) -> Iterator[NDArray]:
    """From the photograph's frame to the reference's, (2, 2): as taken first, then every other way it may have lain.

    Facing plates see each other's u reversed, and an odd number of reversals undoes that.
    """
    hand = 1.0 if (lying.mirrored or 0) % 2 else -1.0
    hands = (hand,) if lying.mirrored is not None else (hand, -hand)
    for each in hands:
        for turn in _turns(lying, face=face):
            cos, sin = np.cos(turn), np.sin(turn)
            yield np.diag([each, 1.0]) @ np.array([[cos, -sin], [sin, cos]])


def _turns(lying: Lying, *, face: Face) -> NDArray:
    """Turns, in radians, that neither a mark nor an outline tells from each other."""
    steps = max(1 if lying.marked else _alike(face), 1 if _marked_itself(lying) else _alike(lying.reference.face))
    return 2.0 * np.pi * np.arange(steps) / steps


def _alike(face: Face) -> int:
    """How many turns an outline does not tell from each other."""
    nearly_round = face.semi_major_mm < NEARLY_ROUND * min(face.semi_u_mm, face.semi_v_mm)
    return 2 if not nearly_round else 4 if face.shape is Shape.RECTANGLE else ROUND_STEPS


def _marked_itself(lying: Lying) -> bool:
    """Whether the reference was measured by its mark; a map that says nothing of it is taken at its word."""
    flags = lying.reference.meta.get("flags")
    return not (isinstance(flags, list) and UNMARKED & {str(flag) for flag in flags})


def _heights(reference: HeightMap, way: NDArray, *, u_mm: NDArray, v_mm: NDArray) -> NDArray:
    u, v = np.tensordot(way, np.stack([u_mm, v_mm]), axes=1)
    return sample(reference.heights_nm, reference, u_mm=u, v_mm=v)


def _with_reference(found: tuple[Cause, ...], lying: Lying, *, ways: tuple[NDArray, ...], phase: PhaseReading) -> Iterator[Cause]:
    """The causes, with what the reference adds in the place where that was not told."""
    points = phase.points
    for cause in found:
        if cause.name != causes.REFERENCE:
            yield cause
            continue
        u, v = ways[0] @ np.stack([points.u_mm, points.v_mm])
        yield causes.reference_flat(phase, sample(lying.reference.uncertainty_nm, lying.reference, u_mm=u, v_mm=v))
        if len(ways) > 1:
            yield _way_round(lying, ways=ways, phase=phase)


def _way_round(lying: Lying, *, ways: tuple[NDArray, ...], phase: PhaseReading) -> Cause:
    """What would change if the reference had lain another way round."""
    points = phase.points
    taken, *others = (_heights(lying.reference, way, u_mm=points.u_mm, v_mm=points.v_mm) for way in ways)
    told = {"mark": lying.marked, "mark of the reference": _marked_itself(lying), "number of reversals": lying.mirrored is not None}
    untold = [f"no {name}" for name, is_so in told.items() if not is_so]
    # where a turned map no longer covers a point, its own height there stands in
    changes = np.stack([np.where(np.isnan(other), 0.0, taken - other) for other in others])
    return Cause(
        name=WAY_ROUND,
        origin=f"{' and '.join(untold)} told: {len(ways)} ways it may have lain",
        modes_nm=no_rows(points),
        draws_nm=no_rows(points),
        choices_nm=changes,
    )


def _name_of(reference: HeightMap) -> str:
    """What a reference map calls its flat."""
    record = reference.meta.get("reference")
    return str(record.get("flat", "flat"))[:40] if isinstance(record, dict) else "flat"
