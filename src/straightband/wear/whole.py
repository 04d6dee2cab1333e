"""Wear of both whole faces while one plate works on another: the slow way, without any symmetry taken for granted.

Over a short step the plates take many poses (kinematics), press in each (contact), and lose glass as pressure times speed (Preston). The mean
over the poses is the wear of the step. Steps are short enough that no place loses more than a share of the layer's squeeze in one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from straightband.wear.contact import Contact, places_of, press
from straightband.wear.kinematics import Motion, Poses, from_bottom, from_top, poses_of, relative_speed_mm_s, to_bottom, to_top
from straightband.wear.preston import removal_rate_um_min
from straightband.wear.surface import Surface, looked_up, places_on

POSES_PER_STEP = 32
_SHARE_PER_STEP = 0.5  # of the mean squeeze of the layer, that the fastest place loses in a step


@dataclass(frozen=True, slots=True, kw_only=True)
class Grit:
    """What is between the plates.

    Attributes
    ----------
    stiffness_kpa_um
        Pressure of the layer for each um of squeeze.
    top_per_pa, bottom_per_pa
        Preston coefficient of either face, 0 for one that does not wear.
    """

    stiffness_kpa_um: float
    top_per_pa: float
    bottom_per_pa: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Wear:
    """What some poses wear, as a mean over them.

    Attributes
    ----------
    top_um_min, bottom_um_min
        (n, n) each: depth of glass that goes in a minute, [v, u] of that plate.
    squeeze_um
        Mean squeeze of the layer where it is squeezed.
    lifted
        Share of the area where the plates meet that carries nothing: the layer is not thick enough to reach across the gap there.
    """

    top_um_min: NDArray
    bottom_um_min: NDArray
    squeeze_um: float
    lifted: float


def wear_rates(top: Surface, bottom: Surface, *, poses: Poses, grit: Grit, force_n: float) -> Wear:
    """Wear of both faces as they are; raises BadInput when the upper plate falls over in one of the poses."""
    low_u, low_v = places_on(bottom)
    x, y = from_bottom(poses, u_mm=low_u, v_mm=low_v)
    top_u, top_v = to_top(poses, x_mm=x, y_mm=y)
    cover = looked_up(top.cover, top, u_mm=top_u, v_mm=top_v) * bottom.cover.ravel()
    proud = bottom.heights_um.ravel() + looked_up(top.heights_um, top, u_mm=top_u, v_mm=top_v)
    areas = bottom.areas_mm2.ravel() * cover
    places = places_of(x_mm=x, y_mm=y, areas_mm2=areas, load_x_mm=poses.centre_x_mm, load_y_mm=poses.centre_y_mm)
    contact = press(proud, places=places, stiffness_kpa_um=grit.stiffness_kpa_um, force_n=force_n)
    speed = relative_speed_mm_s(poses, x_mm=x, y_mm=y)
    rate = removal_rate_um_min(preston_per_pa=grit.bottom_per_pa, pressure_kpa=contact.pressure_kpa * cover, speed_mm_s=speed)
    carried = areas * (contact.pressure_kpa > 0.0)
    return Wear(
        top_um_min=_of_top(top, bottom, poses=poses, contact=contact, grit=grit),
        bottom_um_min=rate.mean(axis=0).reshape(bottom.heights_um.shape),
        squeeze_um=float(np.sum(contact.pressure_kpa * areas) / np.sum(carried)) / grit.stiffness_kpa_um,
        lifted=float(1.0 - np.sum(carried) / np.sum(areas)),
    )


def _of_top(top: Surface, bottom: Surface, *, poses: Poses, contact: Contact, grit: Grit) -> NDArray:
    """Wear of the upper face, at its own cells, with the upper plate settled as it was found to be."""
    u, v = places_on(top)
    x, y = from_top(poses, u_mm=u, v_mm=v)
    low_u, low_v = to_bottom(poses, x_mm=x, y_mm=y)
    cover = looked_up(bottom.cover, bottom, u_mm=low_u, v_mm=low_v) * top.cover.ravel()
    proud = top.heights_um.ravel() + looked_up(bottom.heights_um, bottom, u_mm=low_u, v_mm=low_v)
    sink, tilt_x, tilt_y = (contact.settling_um[:, number, None] for number in range(3))
    pressure = grit.stiffness_kpa_um * cover * np.maximum(proud + sink + tilt_x * x + tilt_y * y, 0.0)
    speed = relative_speed_mm_s(poses, x_mm=x, y_mm=y)
    rate = removal_rate_um_min(preston_per_pa=grit.top_per_pa, pressure_kpa=pressure, speed_mm_s=speed)
    return rate.mean(axis=0).reshape(top.heights_um.shape)


def work(
    top: Surface,
    bottom: Surface,
    *,
    motion: Motion,
    grit: Grit,
    force_n: float,
    minutes: float,
    top_starts_rad: float = 0.0,
    poses_per_step: int = POSES_PER_STEP,
) -> tuple[Surface, Surface]:
    """Both faces after that many minutes, the upper first; raises BadInput when the upper plate falls over on the way."""
    left_min, first = minutes, 0
    while left_min > 0.0:
        poses = poses_of(motion, count=poses_per_step, first=first, top_starts_rad=top_starts_rad)
        wear = wear_rates(top, bottom, poses=poses, grit=grit, force_n=force_n)
        fastest = max(float(wear.top_um_min.max()), float(wear.bottom_um_min.max()))
        step_min = min(left_min, _SHARE_PER_STEP * wear.squeeze_um / fastest) if fastest > 0.0 else left_min
        top = replace(top, heights_um=top.heights_um - step_min * wear.top_um_min)
        bottom = replace(bottom, heights_um=bottom.heights_um - step_min * wear.bottom_um_min)
        left_min, first = left_min - step_min, first + poses_per_step
    return top, bottom
