"""Where two plates press: an elastic layer of abrasive, pads or pitch between rigid faces, in balance of force and of moment.

Each spot of the layer answers only to its own squeeze (a Winkler foundation) and can't pull. The upper plate sinks and tilts until the
layer carries the load under its line of action. A plate that overhangs therefore tips: pressure rises under the rim of the lower plate and
under the centre of the upper one, which is why the upper goes concave and the lower convex.

The plates themselves don't bend here, and the drag of the abrasive tilts nothing.

Sources
-------
Foundation: K. L. Johnson, Contact Mechanics (1985), 4.3 (from memory). Minimum of a piecewise quadratic by Newton steps with a search along
the line: J. Nocedal, S. J. Wright, Numerical Optimization, 2nd ed. (2006), 3.1 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from straightband.errors import BadInput

N_PER_KPA_MM2 = 1e-3
_STEPS = 80
_CLOSE_ENOUGH = 1e-8  # of the load, left out of balance
_RIDGE = 1e-12  # of the stiffness of the whole contact, so that a contact on one point still has a next step
_LEAST_STEP = 2.0**-20


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """The places of contact, for one pose in the last axis or for many in those before.

    Attributes
    ----------
    arms_mm
        (..., m, n): ones first, then one or two coordinates of the places, about which moments balance.
    areas_mm2
        (..., n) area that each place stands for, 0 where the plates don't meet.
    load_arms_mm
        (..., m): 1, then the same coordinates of the line of the load.
    """

    arms_mm: NDArray
    areas_mm2: NDArray
    load_arms_mm: NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """How the plates press.

    Attributes
    ----------
    pressure_kpa
        (..., n) at each place.
    settling_um
        (..., m): how far the upper plate sinks at the origin, then its tilt in um per mm along each coordinate.
    """

    pressure_kpa: NDArray
    settling_um: NDArray


def places_of(*, x_mm: NDArray, y_mm: NDArray, areas_mm2: NDArray, load_x_mm: NDArray | float, load_y_mm: NDArray | float) -> Places:
    """Places at (..., n) coordinates, with the load on a line at (...,) coordinates."""
    load_x, load_y = np.asarray(load_x_mm, dtype=float), np.asarray(load_y_mm, dtype=float)
    return Places(
        arms_mm=np.stack(np.broadcast_arrays(np.ones_like(x_mm), x_mm, y_mm), axis=-2),
        areas_mm2=areas_mm2,
        load_arms_mm=np.stack(np.broadcast_arrays(np.ones_like(load_x), load_x, load_y), axis=-1),
    )


def press(
    proud_um: NDArray, *, places: Places, stiffness_kpa_um: NDArray | float, force_n: NDArray | float, start_um: NDArray | None = None
) -> Contact:
    """Press two plates together.

    Parameters
    ----------
    proud_um
        (..., n) sum of both heights at each place; where it is higher, the layer is squeezed more.
    stiffness_kpa_um
        Pressure for each um of squeeze; (...,) or one number.
    force_n
        What the layer carries: weight of the upper plate and push of the hand; (...,) or one number.
    start_um
        Settling of a similar contact, to start from.

    Raises
    ------
    BadInput
        When the load stands outside the contact, so that no pressure can balance it: the upper plate falls over.
    """
    springs = np.asarray(stiffness_kpa_um, dtype=float)[..., None] * places.areas_mm2 * N_PER_KPA_MM2
    load = np.asarray(force_n, dtype=float)[..., None] * places.load_arms_mm
    turned = np.swapaxes(places.arms_mm, -1, -2)
    settling = _whole_contact(proud_um, springs=springs, arms=places.arms_mm, load=load) if start_um is None else start_um
    ridge = _RIDGE * np.max(springs, axis=(-1,)).max() * np.eye(load.shape[-1]) * np.abs(places.arms_mm).max(axis=-1).max() ** 2
    squeeze, work = _squeezed(settling, proud=proud_um, springs=springs, arms=places.arms_mm, load=load)
    for _ in range(_STEPS):
        out_of_balance = load - np.matmul((springs * squeeze)[..., None, :], turned)[..., 0, :]
        scale = np.abs(load[..., :1]) * (1.0 + np.abs(places.arms_mm).max(axis=-1))
        if np.all(np.abs(out_of_balance) <= _CLOSE_ENOUGH * scale):
            return Contact(pressure_kpa=np.asarray(stiffness_kpa_um)[..., None] * squeeze, settling_um=settling)
        stiff = np.matmul(places.arms_mm * (springs * (squeeze > 0.0))[..., None, :], turned) + ridge
        step = np.linalg.solve(stiff, out_of_balance[..., None])[..., 0]
        settling, squeeze, work = _along(step, settling, work, proud=proud_um, springs=springs, arms=places.arms_mm, load=load)
    raise BadInput(
        found="the upper plate's load stands outside the contact",
        needed="its line must pass through where the plates meet",
        remedy="shorten the stroke",
    )


def _whole_contact(proud: NDArray, *, springs: NDArray, arms: NDArray, load: NDArray) -> NDArray:
    """Settling if every place touched."""
    turned = np.swapaxes(arms, -1, -2)
    stiff = np.matmul(arms * springs[..., None, :], turned)
    return np.linalg.solve(stiff, (load - np.matmul((springs * proud)[..., None, :], turned)[..., 0, :])[..., None])[..., 0]


def _squeezed(settling: NDArray, *, proud: NDArray, springs: NDArray, arms: NDArray, load: NDArray) -> tuple[NDArray, NDArray]:
    """Squeeze at each place, and the energy whose minimum is the balance."""
    squeeze = np.maximum(proud + np.matmul(settling[..., None, :], arms)[..., 0, :], 0.0)
    return squeeze, 0.5 * np.sum(springs * squeeze**2, axis=-1) - np.sum(load * settling, axis=-1)


def _along(
    step: NDArray, settling: NDArray, work: NDArray, *, proud: NDArray, springs: NDArray, arms: NDArray, load: NDArray
) -> tuple[NDArray, NDArray, NDArray]:
    """Go along a step, halving it wherever the energy does not fall."""
    share = np.ones(settling.shape[:-1])
    while True:
        there = settling + share[..., None] * step
        squeeze, energy = _squeezed(there, proud=proud, springs=springs, arms=arms, load=load)
        rises = (energy > work + 1e-12 * np.abs(work)) & (share > _LEAST_STEP)
        if not np.any(rises):
            return there, squeeze, energy
        share = np.where(rises, share / 2.0, share)
