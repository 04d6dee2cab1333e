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
_FREE_STEPS = 12
_LEAST_STEP = 2.0**-20
_ROUNDING = 1e-12  # of an energy


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
        When the plates don't meet at all, or the load stands outside the contact, so that no pressure can balance it: the upper plate falls over.
    """
    if not np.all(np.any(places.areas_mm2 > 0.0, axis=-1)):
        raise _falls_over("in part of the stroke nothing of the plates meets")
    springs = np.asarray(stiffness_kpa_um, dtype=float)[..., None] * places.areas_mm2 * N_PER_KPA_MM2
    load = np.asarray(force_n, dtype=float)[..., None] * places.load_arms_mm
    arms, turned = places.arms_mm, np.swapaxes(places.arms_mm, -1, -2)
    reach = 1.0 + float(np.abs(arms).max())
    close_enough = _CLOSE_ENOUGH * reach * float(np.abs(load[..., 0]).max())
    ridge = _RIDGE * reach**2 * float(springs.max()) * np.eye(load.shape[-1])
    settling = _whole_contact(proud_um, springs=springs, arms=arms, load=load) if start_um is None else start_um
    squeeze = _squeezed(settling, proud=proud_um, arms=arms)
    for number in range(_STEPS):
        out_of_balance = load - _moments(springs * squeeze, turned)
        if np.abs(out_of_balance).max() <= close_enough:
            return Contact(pressure_kpa=np.asarray(stiffness_kpa_um)[..., None] * squeeze, settling_um=settling)
        step = _solved(np.matmul(arms * np.where(squeeze > 0.0, springs, 0.0)[..., None, :], turned) + ridge, out_of_balance)
        # Newton's own steps end after three or four; where they go in circles, those that fall in energy do not.
        share = 1.0 if number < _FREE_STEPS else _falling(step, settling, proud=proud_um, springs=springs, arms=arms, load=load)
        settling = settling + share * step
        squeeze = _squeezed(settling, proud=proud_um, arms=arms)
    raise _falls_over("the upper plate's load stands outside the contact")


def _falls_over(found: str) -> BadInput:
    return BadInput(found=found, needed="its line must pass through where the plates meet", remedy="shorten the stroke")


def _moments(forces: NDArray, turned: NDArray) -> NDArray:
    """Force and moments of forces at the places."""
    return np.matmul(forces[..., None, :], turned)[..., 0, :]


def _solved(stiff: NDArray, wanted: NDArray) -> NDArray:
    """Steps that give the wanted force and moments; two by two by hand, since that is most of the work by rings."""
    if stiff.shape[-1] != 2:
        return np.linalg.solve(stiff, wanted[..., None])[..., 0]
    a, b, c, d = stiff[..., 0, 0], stiff[..., 0, 1], stiff[..., 1, 0], stiff[..., 1, 1]
    first, second = wanted[..., 0], wanted[..., 1]
    return np.stack([d * first - b * second, a * second - c * first], axis=-1) / (a * d - b * c)[..., None]


def _whole_contact(proud: NDArray, *, springs: NDArray, arms: NDArray, load: NDArray) -> NDArray:
    """Settling if every place touched."""
    turned = np.swapaxes(arms, -1, -2)
    return _solved(np.matmul(arms * springs[..., None, :], turned), load - _moments(springs * proud, turned))


def _squeezed(settling: NDArray, *, proud: NDArray, arms: NDArray) -> NDArray:
    """Squeeze at each place."""
    return np.maximum(proud + np.matmul(settling[..., None, :], arms)[..., 0, :], 0.0)


def _falling(step: NDArray, settling: NDArray, *, proud: NDArray, springs: NDArray, arms: NDArray, load: NDArray) -> NDArray:
    """Share of a step, for each contact, that the energy falls along; its minimum is the balance."""

    def energy(share: NDArray) -> NDArray:
        there = settling + share[..., None] * step
        return 0.5 * np.sum(springs * _squeezed(there, proud=proud, arms=arms) ** 2, axis=-1) - np.sum(load * there, axis=-1)

    share = np.ones(settling.shape[:-1])
    now = energy(0.0 * share)
    while True:
        rises = (energy(share) > now + _ROUNDING * np.abs(now)) & (share > _LEAST_STEP)
        if not np.any(rises):
            return share[..., None]
        share = np.where(rises, share / 2.0, share)
