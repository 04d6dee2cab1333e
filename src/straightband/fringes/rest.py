"""Glass as it really lies: bent by its weight on its supports, by the heat of hands, and not yet settled on its air.

What bends a piece while it is photographed is in the map and not in the glass, so it is a cause of error like any other; its size is known from glass,
thickness and time.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from straightband.face.shapes import Face, Shape
from straightband.fringes.budget import Cause, no_rows
from straightband.fringes.near import ASSUMED_LEAST_GAP_UM
from straightband.glass import BEST_THREE_POINTS, GRAVITY_M_S2, Glass, weight_kg
from straightband.glass.bending import Blank, ellipse_places, rectangle_places, weight_sag_nm
from straightband.glass.film import settling_s
from straightband.glass.heat import bend_after_nm, wait_s
from straightband.heightmap.figures import Points

WEIGHT, HEAT = "weight on its support", "heat of hands"  # names of the causes
WARM_LIMIT_NM = 5.0  # bend at which waiting may end: a fiftieth of a band; our choice
LAID_DOWN_UM = 50.0  # gap at which a plate that is let go begins to float: common practice, no source
RIM_POINTS = 48
TURNS_RAD = tuple(np.radians([0.0, 30.0, 60.0, 90.0]).tolist())  # of three points: a third of a turn is the same again
MARGIN_OF_SUPPORT = 0.98  # of the half axes: where a shim or a burr at the rim bears


class Support(StrEnum):
    """What a piece lies on."""

    RIM = "rim"
    THREE_INSIDE = "three-inside"
    THREE_AT_RIM = "three-at-rim"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """How a piece lies.

    Attributes
    ----------
    glass, thickness_mm
        What it is made of, and how thick.
    support
        What it lies on.
    handled_s
        Time since a hand last lay on it, or None.
    """

    glass: Glass
    thickness_mm: float
    support: Support = Support.THREE_AT_RIM
    handled_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RestState:
    """What that comes to.

    Attributes
    ----------
    weight_pv_nm
        PV of the bend under its own weight, the supports turned to where it is largest.
    heat_nm
        Sag over the longer axis that the heat of a hand may still make; 0 if nobody handled it.
    wait_s
        How long after handling the sag falls to WARM_LIMIT_NM.
    settling_s
        How long a plate that was laid down sinks until dust carries it.
    flags
        Short names of doubts.
    """

    weight_pv_nm: float
    heat_nm: float
    wait_s: float
    settling_s: float
    flags: tuple[str, ...]


def rest_causes(rest: Rest | None, *, face: Face, points: Points) -> list[Cause]:
    """Weight and heat as departures at the points; nothing where the glass was not told.

    Which way round three points lie is not told: what they have in common is one departure, what differs is drawn.
    """
    if rest is None:
        return []
    weights = _weights_nm(rest, face=face, u_mm=points.u_mm, v_mm=points.v_mm)
    common = weights.mean(axis=0)
    weight = _cause(WEIGHT, f"{rest.thickness_mm:g} mm of {rest.glass.name} on {_WORDS[rest.support]}", common, points)
    found = [weight if len(weights) == 1 else replace(weight, draws_nm=weights - common)]
    if rest.handled_s is not None:
        sag = _heat_nm(rest, face=face)
        shape = (points.u_mm**2 + points.v_mm**2) / face.semi_major_mm**2
        found.append(_cause(HEAT, f"a hand on the whole face {_minutes(rest.handled_s)} before", sag * shape, points))
    return found


_WORDS = {
    Support.RIM: "its rim all round",
    Support.THREE_INSIDE: f"three points at {BEST_THREE_POINTS:g} of its half axes",
    Support.THREE_AT_RIM: "three points at its rim",
}


@lru_cache(maxsize=16)
def rest_state(rest: Rest, *, face: Face) -> RestState:
    """What weight, heat and air do to a piece of that face."""
    axis = np.linspace(-1.0, 1.0, 41)
    uu, vv = (each.ravel() for each in np.meshgrid(face.semi_u_mm * axis, face.semi_v_mm * axis))
    inside = face.contains(uu, vv)
    weights = _weights_nm(rest, face=face, u_mm=uu[inside], v_mm=vv[inside])
    width = 2.0 * face.semi_major_mm
    wait = wait_s(rest.glass, width_mm=width, thickness_mm=rest.thickness_mm, limit_nm=WARM_LIMIT_NM)
    load = weight_kg(rest.glass, volume_mm3=face.area_mm2 * rest.thickness_mm) * GRAVITY_M_S2
    settling = settling_s(load_n=load, radius_mm=math.sqrt(face.area_mm2 / math.pi), from_um=LAID_DOWN_UM, to_um=ASSUMED_LEAST_GAP_UM)
    raised = {
        "still-warm": rest.handled_s is not None and rest.handled_s < wait,
        "still-settling": rest.handled_s is not None and rest.handled_s < settling,
    }
    return RestState(
        weight_pv_nm=float(np.max(np.ptp(weights, axis=1))),
        heat_nm=0.0 if rest.handled_s is None else _heat_nm(rest, face=face),
        wait_s=wait,
        settling_s=settling,
        flags=tuple(name for name, is_so in raised.items() if is_so),
    )


def rest_facts(rest: Rest, *, face: Face) -> dict[str, object]:
    """How the piece lay and what that comes to, as plain JSON values."""
    state = rest_state(rest, face=face)
    return {
        "glass": rest.glass.name,
        "thickness_mm": rest.thickness_mm,
        "support": str(rest.support),
        "handled_s": rest.handled_s,
        "weight_pv_nm": state.weight_pv_nm,
        "heat_nm": state.heat_nm,
        "wait_s": state.wait_s,
        "wait_limit_nm": WARM_LIMIT_NM,
        "settling_s": state.settling_s,
    }


def _weights_nm(rest: Rest, *, face: Face, u_mm: NDArray, v_mm: NDArray) -> NDArray:
    """Bends (k, n) by the weight, the supports turned to each of k places; those of a whole rim have one."""
    places = rectangle_places if face.shape is Shape.RECTANGLE else ellipse_places
    x, y, area = places(semi_x_mm=face.semi_u_mm, semi_y_mm=face.semi_v_mm)
    blank = Blank(glass=rest.glass, thickness_mm=rest.thickness_mm, x_mm=x, y_mm=y, area_mm2=area)
    turns = (0.0,) if rest.support is Support.RIM else TURNS_RAD
    return np.stack(
        [weight_sag_nm(blank, supports_mm=_supports(rest.support, face=face, turn_rad=turn), at_mm=(u_mm, v_mm)) for turn in turns]
    )


def _supports(support: Support, *, face: Face, turn_rad: float) -> NDArray:
    """(s, 2) points: all round the rim, or three, one of them turned by so much from the end of the major axis."""
    count = RIM_POINTS if support is Support.RIM else 3
    share = {Support.RIM: 1.0, Support.THREE_INSIDE: BEST_THREE_POINTS, Support.THREE_AT_RIM: MARGIN_OF_SUPPORT}[support]
    angle = np.pi / 2.0 + turn_rad + 2.0 * np.pi * np.arange(count) / count
    across, along = np.cos(angle), np.sin(angle)
    if face.shape is Shape.RECTANGLE:
        reach = np.maximum(np.abs(across), np.abs(along))
        across, along = across / reach, along / reach
    return share * np.stack([face.semi_u_mm * across, face.semi_v_mm * along], axis=1)


def _heat_nm(rest: Rest, *, face: Face) -> float:
    parts = bend_after_nm(rest.glass, width_mm=2.0 * face.semi_major_mm, thickness_mm=rest.thickness_mm, seconds=rest.handled_s or 0.0)
    return sum(parts)


def _minutes(seconds: float) -> str:
    return f"{seconds / 60.0:.3g} min" if seconds >= 60.0 else f"{seconds:.0f} s"


def _cause(name: str, origin: str, mode: NDArray, points: Points) -> Cause:
    return Cause(name=name, origin=origin, modes_nm=mode[None, :], draws_nm=no_rows(points))
