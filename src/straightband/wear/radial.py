"""One plate on another by rings: many runs, or many draws of one run, in little time.

The stroke's sine is taken at a few moments. At each the plates touch at points spread over the rings of the smaller one; everything that
depends on where those points lie is worked out once for a pair (`Meeting`), and a run is then a few dozen small matrix products. The glass that
goes at a point is shared out to the rings by the same weights by which heights were read from them, so both faces lose what they should.

Sources
-------
Second-order steps in time: K. Heun (1900), in any text on differential equations.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from straightband.errors import BadInput
from straightband.wear.contact import Contact, Places, press
from straightband.wear.kinematics import RAD_S_PER_RPM, Motion
from straightband.wear.preston import removal_rate_um_min
from straightband.wear.rings import Rings

MOMENTS = 4  # of a quarter of the stroke: the other three mirror it
_ANGLES = 12  # points to a ring and moment, on one side of the stroke: the other mirrors it
_GOLDEN = 0.6180339887498949  # spreads the points of neighbouring rings
_MOST_STEPS = 4000
_SHARE = 0.7  # of the step at which Heun's rule would turn unstable


@dataclass(frozen=True, slots=True, kw_only=True)
class Meeting:
    """Two faces by rings and how they move, made ready for many runs.

    Attributes
    ----------
    top, bottom
        The faces.
    places
        Points of contact, (moments, 2, points) arms: the balance across the stroke holds by symmetry.
    top_weights, bottom_weights
        (moments x points, rings) by which a height at a point is read from the rings.
    top_sharing, bottom_sharing
        The same turned over and per area of each ring: by which what happens at a point is shared out.
    speed_mm_s
        (moments, points).
    """

    top: Rings
    bottom: Rings
    places: Places
    top_weights: csr_array
    bottom_weights: csr_array
    top_sharing: csr_array
    bottom_sharing: csr_array
    speed_mm_s: NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Pressed:
    """Faces as they wear at one instant.

    Attributes
    ----------
    top_um_min, bottom_um_min
        (rings, draws) each.
    contact
        Pressures and settling, (draws, moments, ...).
    """

    top_um_min: NDArray
    bottom_um_min: NDArray
    contact: Contact


@dataclass(frozen=True, slots=True, kw_only=True)
class Grind:
    """What is between the plates and what presses them, one number each or one for each draw.

    Attributes
    ----------
    stiffness_kpa_um
        Pressure of the layer for each um of squeeze.
    top_per_pa, bottom_per_pa
        Preston coefficients of the two faces.
    force_n
        Weight of the upper plate and push of the hand.
    """

    stiffness_kpa_um: NDArray | float
    top_per_pa: NDArray | float
    bottom_per_pa: NDArray | float
    force_n: NDArray | float


def meeting_of(top: Rings, bottom: Rings, *, motion: Motion) -> Meeting:
    """A pair made ready; the line of the stroke must pass over the spindle, since rings see nothing else."""
    if motion.side_mm:
        raise BadInput(
            found=f"the stroke passes {motion.side_mm:g} mm beside the spindle",
            needed="a stroke over the middle is needed for rings",
            remedy="set side_mm to 0, or work whole faces",
        )
    phases = (np.arange(MOMENTS) + 0.5) * np.pi / 2.0 / MOMENTS
    half = motion.stroke_mm / 2.0
    offsets, speeds = half * np.sin(phases), half * motion.strokes_per_min * RAD_S_PER_RPM * np.cos(phases)
    top_is_smaller = top.edges_mm[-1] < bottom.edges_mm[-1]
    x, y, areas = _points(top if top_is_smaller else bottom)
    if top_is_smaller:
        x = x + offsets[:, None]
    other, away = (bottom, np.hypot(x, y)) if top_is_smaller else (top, np.hypot(x - offsets[:, None], y))
    there = _reading(away, other)
    here = _reading(np.hypot(x - offsets[:, None], y) if top_is_smaller else np.hypot(x, y), top if top_is_smaller else bottom)
    areas = areas * (there @ other.share).reshape(away.shape) * (away <= other.edges_mm[-1])
    weights = (here, there) if top_is_smaller else (there, here)
    return Meeting(
        top=top,
        bottom=bottom,
        places=Places(
            arms_mm=np.stack([np.ones_like(x), x], axis=-2), areas_mm2=areas, load_arms_mm=np.stack([np.ones(MOMENTS), offsets], axis=-1)
        ),
        top_weights=weights[0],
        bottom_weights=weights[1],
        top_sharing=_sharing(weights[0], top),
        bottom_sharing=_sharing(weights[1], bottom),
        speed_mm_s=_mean_speed(motion, x_mm=x, y_mm=y, offsets_mm=offsets, speeds_mm_s=speeds),
    )


def _points(rings: Rings) -> tuple[NDArray, NDArray, NDArray]:
    """Points over half of a face, (moments, points): x along the stroke, y across; and the area of face that each stands for, both halves."""
    cells = len(rings.share)
    stagger = _GOLDEN * (np.arange(cells)[None, :, None] + 0.37 * np.arange(MOMENTS)[:, None, None])
    turns = np.pi * (np.arange(_ANGLES)[None, None, :] + stagger % 1.0) / _ANGLES
    radii = rings.radii_mm[None, :, None]
    areas = np.broadcast_to(rings.areas_mm2[None, :, None] / _ANGLES, turns.shape)
    return tuple(each.reshape(MOMENTS, -1) for each in (radii * np.cos(turns), radii * np.sin(turns), areas))  # type: ignore[return-value]


def _reading(away_mm: NDArray, rings: Rings) -> csr_array:
    """Weights that read a value of the rings at distances from the centre, straight lines between the middles of rings."""
    cells = len(rings.share)
    at = np.clip(away_mm.ravel() / (rings.edges_mm[-1] / cells) - 0.5, 0.0, cells - 1.0)
    below = np.minimum(at.astype(int), cells - 2)
    above = at - below
    rows = np.arange(at.size)
    return csr_array(
        (np.concatenate([1.0 - above, above]), (np.concatenate([rows, rows]), np.concatenate([below, below + 1]))), shape=(at.size, cells)
    )


def _mean_speed(motion: Motion, *, x_mm: NDArray, y_mm: NDArray, offsets_mm: NDArray, speeds_mm_s: NDArray) -> NDArray:
    """Relative speed at the points, mean of going and coming."""
    top, bottom = motion.top_rpm * RAD_S_PER_RPM, motion.spindle_rpm * RAD_S_PER_RPM
    across = top * (x_mm - offsets_mm[:, None]) - bottom * x_mm
    turning = (bottom - top) * y_mm
    return (np.hypot(turning + speeds_mm_s[:, None], across) + np.hypot(turning - speeds_mm_s[:, None], across)) / 2.0


def wear_of_rings(top_um: NDArray, bottom_um: NDArray, *, meeting: Meeting, grind: Grind, start_um: NDArray | None = None) -> Pressed:
    """Wear of both faces, (rings, draws) heights each, as they are now."""
    shape = (*meeting.speed_mm_s.shape, -1)
    proud = np.moveaxis((meeting.top_weights @ top_um + meeting.bottom_weights @ bottom_um).reshape(shape), -1, 0)
    contact = press(
        proud,
        places=meeting.places,
        stiffness_kpa_um=np.asarray(grind.stiffness_kpa_um, dtype=float)[..., None],
        force_n=np.asarray(grind.force_n, dtype=float)[..., None],
        start_um=start_um,
    )
    volume = contact.pressure_kpa * (meeting.places.areas_mm2 * meeting.speed_mm_s / MOMENTS)
    flat = np.moveaxis(volume, 0, -1).reshape(-1, volume.shape[0])
    rates = [
        removal_rate_um_min(preston_per_pa=coefficient, pressure_kpa=sharing @ flat, speed_mm_s=1.0)
        for coefficient, sharing in ((grind.top_per_pa, meeting.top_sharing), (grind.bottom_per_pa, meeting.bottom_sharing))
    ]
    return Pressed(top_um_min=rates[0], bottom_um_min=rates[1], contact=contact)


def _sharing(weights: csr_array, rings: Rings) -> csr_array:
    """By which what happens at points is summed over the rings and taken per area of them."""
    areas = rings.areas_mm2
    per_area = np.where(areas > 0.0, 1.0, 0.0) / np.where(areas > 0.0, areas, 1.0)
    return csr_array(weights.T.multiply(per_area[:, None]))


def decays_per_min(meeting: Meeting, *, grind: Grind) -> NDArray:
    """How often in a minute a misfit where the plates rub fastest falls to 1/e: (draws,) or one number. It sets the steps in time."""
    both = (np.asarray(grind.top_per_pa) + grind.bottom_per_pa) * grind.stiffness_kpa_um
    return removal_rate_um_min(preston_per_pa=both, pressure_kpa=1.0, speed_mm_s=float(np.max(meeting.speed_mm_s)))


def grind_rings(top_um: NDArray, bottom_um: NDArray, *, meeting: Meeting, grind: Grind, minutes: float) -> tuple[NDArray, NDArray]:
    """Both faces after that many minutes, the upper first; (rings, draws) heights each. Raises BadInput when the upper plate falls over."""
    decays = minutes * float(np.max(decays_per_min(meeting, grind=grind)))
    steps = max(4, int(np.ceil(decays / (2.0 * _SHARE))))
    if steps > _MOST_STEPS:
        raise BadInput(
            found=f"{minutes:g} minutes wear the layer through {steps} times",
            needed=f"at most {_MOST_STEPS} can be followed",
            remedy="make the run shorter",
        )
    step_min, start = minutes / steps, None
    for _ in range(steps):
        now = wear_of_rings(top_um, bottom_um, meeting=meeting, grind=grind, start_um=start)
        ahead = [heights - step_min * rate for heights, rate in ((top_um, now.top_um_min), (bottom_um, now.bottom_um_min))]
        then = wear_of_rings(ahead[0], ahead[1], meeting=meeting, grind=grind, start_um=now.contact.settling_um)
        top_um = top_um - step_min / 2.0 * (now.top_um_min + then.top_um_min)
        bottom_um = bottom_um - step_min / 2.0 * (now.bottom_um_min + then.bottom_um_min)
        start = then.contact.settling_um
    return top_um, bottom_um
