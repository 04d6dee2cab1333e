"""Which plates of a batch are to meet, and the companion a batch lacks."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

from straightband.advice.graph import Group, free_curvatures, groups_of
from straightband.advice.pairs import Bench, Misfit, Pairing, Plate, pair_up
from straightband.face.shapes import Shape, round_face

ALL_MEET_UP_TO = 3  # plates: more of them would change places all day
NEIGHBOURS = 2  # of each plate, the nearest in size, in a larger batch: enough for a ring of three
THICKNESS_SHARE = 1.0 / 6.0  # of a companion's diameter: common practice, no source
_STEP_MM = 5.0  # companions come in whole steps of it
_CARRIES_DOWN_TO = 0.95  # diameter of a pad plate over the longest mirror, whose ends may overhang a little: common practice, no source
_DIAMETERS = (1.0, 0.95, 0.9, 1.05, 0.85, 0.8, 0.75, 1.15)  # of the longest mirror, tried in turn for a companion


@dataclass(frozen=True, slots=True, kw_only=True)
class Pairings:
    """What of a batch is to meet.

    Attributes
    ----------
    chosen
        The pairings of the plan.
    misfits
        Pairs that can't run together.
    groups
        What the chosen pairings bind together.
    free
        How many curvatures they leave free.
    """

    chosen: tuple[Pairing, ...]
    misfits: tuple[Misfit, ...]
    groups: tuple[Group, ...]
    free: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Companion:
    """A round plate the shop should add.

    Attributes
    ----------
    diameter_mm, thickness_mm
        Its size.
    free
        How many curvatures stay free with it: 0 when it makes the plan force every face flat.
    carries_pads
        Whether it is as wide as the longest mirror, so that it can carry polishing pads for all of them later.
    meets
        Numbers of the plates it runs with.
    """

    diameter_mm: float
    thickness_mm: float
    free: int
    carries_pads: bool
    meets: tuple[int, ...]


def choose_pairings(plates: tuple[Plate, ...], *, bench: Bench) -> Pairings:
    """Pairings that force as many faces flat as the plates allow, each plate with others of about its size."""
    found = [pair_up(link, plates=plates, bench=bench) for link in itertools.combinations(range(len(plates)), 2)]
    fitting = sorted((each for each in found if isinstance(each, Pairing)), key=lambda each: (-each.ratio, each.link))
    chosen = fitting if len(plates) <= ALL_MEET_UP_TO else _neighbours(len(plates), fitting)
    used = tuple(each.link for each in chosen)
    return Pairings(
        chosen=tuple(_in_turn(chosen)),
        misfits=tuple(each for each in found if isinstance(each, Misfit)),
        groups=groups_of(len(plates), used),
        free=free_curvatures(len(plates), used),
    )


def _neighbours(count: int, fitting: list[Pairing]) -> list[Pairing]:
    """Each plate with its nearest in size, and as many more pairings as it takes to force flat all that can be."""
    degree = dict.fromkeys(range(count), 0)
    chosen = []
    for each in fitting:
        if min(degree[number] for number in each.link) < NEIGHBOURS:
            chosen.append(each)
            for number in each.link:
                degree[number] += 1
    least = free_curvatures(count, [each.link for each in fitting])
    for each in fitting:
        links = [one.link for one in chosen]
        free = free_curvatures(count, links)
        if free == least:
            break
        if free_curvatures(count, [*links, each.link]) < free:
            chosen.append(each)
    return chosen


def _in_turn(chosen: list[Pairing]) -> list[Pairing]:
    """The pairings in an order in which a plate seldom meets twice running, so that none is finished before its ring has closed."""
    left, order, last = sorted(chosen, key=lambda each: each.link), [], (-1, -1)
    while left:
        each = next((one for one in left if not set(one.link) & set(last)), None) or next(
            (one for one in left if one.link[0] != last[0]), left[0]
        )
        left.remove(each)
        order.append(each)
        last = each.link
    return order


def carrier_of(plates: tuple[Plate, ...]) -> int | None:
    """The round plate of a batch that is wide enough to carry pads for the longest other piece; None where there is none."""
    for number, plate in enumerate(plates):
        others = [other.face.semi_major_mm for place, other in enumerate(plates) if place != number]
        if plate.face.shape is Shape.ROUND and plate.face.semi_major_mm >= _CARRIES_DOWN_TO * max(others, default=math.inf):
            return number
    return None


def companion_for(plates: tuple[Plate, ...], *, own: tuple[Pairing, ...], bench: Bench, density_kg_m3: float) -> Companion:
    """The round plate that helps a batch with its `own` pairings most.

    First of all it forces flat what the batch alone can't, then it carries pads for all, then it meets as many as it can.
    """
    longest_mm = 2.0 * max(plate.face.semi_major_mm for plate in plates)
    best: Companion | None = None
    for share in _DIAMETERS:
        diameter = _STEP_MM * math.ceil(share * longest_mm / _STEP_MM - 1e-9)
        tried = _tried(plates, diameter_mm=diameter, own=own, bench=bench, density_kg_m3=density_kg_m3, longest_mm=longest_mm)
        if best is None or (tried.free, not tried.carries_pads, -len(tried.meets)) < (best.free, not best.carries_pads, -len(best.meets)):
            best = tried
        if best.free == 0 and best.carries_pads:
            break
    assert best is not None  # noqa: S101 - there are diameters to try
    return best


def companion_plate(companion: Companion, *, density_kg_m3: float) -> Plate:
    """The companion as a plate of the batch, its sag not measured."""
    return _round_plate(companion.diameter_mm, density_kg_m3=density_kg_m3)


def _round_plate(diameter_mm: float, *, density_kg_m3: float) -> Plate:
    face = round_face(diameter_mm=diameter_mm)
    weight_n = density_kg_m3 * face.area_mm2 * THICKNESS_SHARE * diameter_mm * 1e-9 * 9.80665
    return Plate(name="companion", face=face, weight_n=weight_n, sag_um=None)


def _tried(
    plates: tuple[Plate, ...], *, diameter_mm: float, own: tuple[Pairing, ...], bench: Bench, density_kg_m3: float, longest_mm: float
) -> Companion:
    number, added = len(plates), (*plates, _round_plate(diameter_mm, density_kg_m3=density_kg_m3))
    met = [pair_up((each, number), plates=added, bench=bench) for each in range(number)]
    links = [each.link for each in (*own, *met) if isinstance(each, Pairing)]
    return Companion(
        diameter_mm=diameter_mm,
        thickness_mm=math.ceil(THICKNESS_SHARE * diameter_mm),
        free=free_curvatures(len(added), links),
        carries_pads=diameter_mm >= _CARRIES_DOWN_TO * longest_mm,
        meets=tuple(each.link[0] for each in met if isinstance(each, Pairing)),
    )
