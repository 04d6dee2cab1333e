"""The picture of bands as a model: light L + modulation B cos(phase), and one Gauss-Newton step on all three.

L and B are smooth fields, the phase is a start plus a sum of basis functions. B is held near a constant share of L, for a lamp that is
uneven dims the bright and the dark bands alike; where the picture says otherwise (a frosted back, glare) it wins.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

LARGEST_STEP_RAD = 1.0  # rms phase change allowed in one step; larger ones leave the basin of the start
PRIOR_FLOOR = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Beliefs:
    """What is expected of a picture before it is looked at. All values: common practice, no source.

    Attributes
    ----------
    light_spread
        Unevenness of the light as a share of its mean, per coefficient.
    contrast_spread
        Departure of B / L from constant, per coefficient.
    overtone_spread
        Share of cos(2 phase): the reflectance of bare glass, 0.042, and a tone curve a few per cent off.
    """

    light_spread: float = 0.3
    contrast_spread: float = 0.01
    overtone_spread: float = 0.05


USUAL = Beliefs()


@dataclass(frozen=True, slots=True, kw_only=True)
class Samples:
    """Pixels that take part in a fit.

    Attributes
    ----------
    value
        (n,) linear light.
    weight
        (n,) 0 to 1, 0 where a pixel is missing or distrusted.
    """

    value: NDArray
    weight: NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class BandModel:
    """State of the fit at the sample points.

    Attributes
    ----------
    phase_rad, light, modulation
        (n,) fields at the samples.
    coefficients_rad
        (k,) of the phase basis.
    light_coefficients, modulation_coefficients
        (m,) of the light basis.
    residual
        (n,) value less model.
    overtone
        Share of the modulation in cos(2 phase): light reflected three times, or a tone curve not quite known.
    """

    phase_rad: NDArray
    light: NDArray
    modulation: NDArray
    coefficients_rad: NDArray
    light_coefficients: NDArray
    modulation_coefficients: NDArray
    residual: NDArray
    overtone: float = 0.0


def explained(samples: Samples, model: BandModel) -> float:
    """Share of the band signal's variance that the model accounts for, 0 to 1."""
    w = samples.weight
    total = float(np.sum(w))
    bands = samples.value - model.light
    spread = float(np.sum(w * bands * bands)) / total
    left = float(np.sum(w * model.residual**2)) / total
    return 1.0 - left / spread if spread > 0.0 else 0.0


def seed(samples: Samples, *, phase_rad: NDArray, light_basis: NDArray, basis: NDArray) -> BandModel:
    """Model with the best light, constant modulation and piston for a given phase: linear least squares."""
    cos, sin = np.cos(phase_rad), np.sin(phase_rad)
    columns = np.concatenate([light_basis, cos[None], sin[None]])
    weighted = columns * samples.weight
    normal = weighted @ columns.T
    normal[np.diag_indices_from(normal)] *= 1.0 + 1e-6
    solution = linalg.solve(normal, weighted @ samples.value, assume_a="pos")
    light_c, a, b = solution[:-2], solution[-2], solution[-1]
    modulation_c = np.zeros_like(light_c)
    modulation_c[0] = np.hypot(a, b)
    phase = phase_rad + np.arctan2(-b, a)
    return _evaluate(
        samples, phase_rad=phase, light_c=light_c, modulation_c=modulation_c, light_basis=light_basis, coefficients=np.zeros(len(basis))
    )


def _evaluate(
    samples: Samples,
    *,
    phase_rad: NDArray,
    light_c: NDArray,
    modulation_c: NDArray,
    light_basis: NDArray,
    coefficients: NDArray,
    overtone: float = 0.0,
) -> BandModel:
    light, modulation = light_c @ light_basis, modulation_c @ light_basis
    return BandModel(
        phase_rad=phase_rad,
        light=light,
        modulation=modulation,
        coefficients_rad=coefficients,
        light_coefficients=light_c,
        modulation_coefficients=modulation_c,
        residual=samples.value - light - modulation * (np.cos(phase_rad) + overtone * np.cos(2.0 * phase_rad)),
        overtone=overtone,
    )


def step(
    samples: Samples, model: BandModel, *, basis: NDArray, light_basis: NDArray, prior_rad: NDArray, beliefs: Beliefs = USUAL
) -> BandModel:
    """One Gauss-Newton step on light, modulation and phase coefficients.

    Parameters
    ----------
    basis
        (k, n) phase basis.
    light_basis
        (m, n) basis of light and modulation; row 0 must be constant.
    prior_rad
        (k,) expected size of each phase coefficient; large where anything goes.
    beliefs
        What else is expected beforehand.
    """
    m = len(light_basis)
    cos, sin = np.cos(model.phase_rad), np.sin(model.phase_rad)
    double = np.cos(2.0 * model.phase_rad)
    by_phase = -model.modulation * (sin + 4.0 * model.overtone * sin * cos)
    by_modulation = cos + model.overtone * double
    columns = np.concatenate([light_basis, light_basis * by_modulation, basis * by_phase, [model.modulation * double]])
    root = np.sqrt(samples.weight)
    weighted = columns * root
    normal, right = weighted @ weighted.T, weighted @ (root * model.residual)
    variance = max(float(np.sum(samples.weight * model.residual**2) / max(1.0, np.sum(samples.weight))), PRIOR_FLOOR)
    _add_priors(normal, right, model, variance=variance, prior_rad=prior_rad, beliefs=beliefs)
    change = linalg.solve(normal, right, assume_a="pos")
    phase_change = change[2 * m : -1] @ basis
    size = float(np.sqrt(np.mean(phase_change**2)))
    share = min(1.0, LARGEST_STEP_RAD / size) if size > 0 else 1.0
    return _evaluate(
        samples,
        phase_rad=model.phase_rad + share * phase_change,
        light_c=model.light_coefficients + change[:m],
        modulation_c=model.modulation_coefficients + change[m : 2 * m],
        light_basis=light_basis,
        coefficients=model.coefficients_rad + share * change[2 * m : -1],
        overtone=model.overtone + share * float(change[-1]),
    )


def _add_priors(normal: NDArray, right: NDArray, model: BandModel, *, variance: float, prior_rad: NDArray, beliefs: Beliefs) -> None:
    """Adds what is believed beforehand: small phase coefficients, light that is nearly even, B a constant share of L."""
    m = len(model.light_coefficients)
    diagonal = np.arange(len(normal))
    phase = diagonal[2 * m : -1]
    normal[-1, -1] += variance / beliefs.overtone_spread**2
    right[-1] -= variance / beliefs.overtone_spread**2 * model.overtone
    stiffness = variance / prior_rad**2
    normal[phase, phase] += stiffness
    right[phase] -= stiffness * model.coefficients_rad
    light, modulation = diagonal[1:m], diagonal[m + 1 : 2 * m]
    share = model.modulation_coefficients[0] / max(abs(model.light_coefficients[0]), PRIOR_FLOOR)
    hold = variance / (beliefs.contrast_spread * max(abs(model.modulation_coefficients[0]), PRIOR_FLOOR)) ** 2
    miss = model.modulation_coefficients[1:] - share * model.light_coefficients[1:]
    normal[modulation, modulation] += hold
    normal[light, light] += hold * share**2
    normal[modulation, light] -= hold * share
    normal[light, modulation] -= hold * share
    right[modulation] -= hold * miss
    right[light] += hold * share * miss
    even = variance / (beliefs.light_spread * max(abs(model.light_coefficients[0]), PRIOR_FLOOR)) ** 2
    normal[light, light] += even
    right[light] -= even * model.light_coefficients[1:]
    normal[diagonal, diagonal] += 1e-9 * np.trace(normal) / len(normal)
