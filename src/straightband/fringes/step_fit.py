"""The phase of one of the two faces: a polynomial of low order fitted straight to the light.

Both faces are nearly flat, so two or three orders say all; what they must not do is follow dust, ripples and blurred edges. The curvature
of the platen is held small, for it stands in the middle of what has to be carried under the block from both sides.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, ndimage

from straightband.fringes.model import BandModel, Beliefs, Samples, explained, seed, step
from straightband.fringes.noise import correlation_area, spread
from straightband.fringes.step_cells import ACROSS_LIMIT, StepCells

LIGHT_ORDER = 2
ROUNDS, STEPS = 3, 4
QUICK_CELLS = 2000
RIPPLE_LAG = 12  # cells; ripples of a laser's light hang together farther than the grain of a camera
# An interferometer's laser falls off steeply to the sides and its bands have no overtone: so it is held against the laboratory's record.
STEP_BELIEFS = Beliefs(light_spread=10.0, contrast_spread=0.02, overtone_spread=1e-4)
OUTLIER_SIGMAS, SURE_SIGMAS = 6.0, 8.0  # ripples of a laser's light are no outliers, dust is
FIRST_SHARED_CELLS = 100.0  # cells that share one independent reading, until the residual tells


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseForm:
    """What is believed of a face's phase beforehand: expected size in bands of the terms of each order beyond tilt, which are free.

    Attributes
    ----------
    bands
        Of the second order, and of the third if it has two entries; in the block's frame, where 1 is half its face.
    light_order
        Of the polynomials for light and contrast.
    """

    bands: tuple[float, ...]
    light_order: int = LIGHT_ORDER

    @property
    def order(self) -> int:
        """Highest order of the phase."""
        return 1 + len(self.bands)

    @property
    def prior_rad(self) -> NDArray:
        """(k,) expected size of each coefficient."""
        return 2.0 * np.pi * np.concatenate([np.full(n + 1, size) for n, size in enumerate((100.0, 100.0, *self.bands))])


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceFit:
    """The phase of one face.

    Attributes
    ----------
    waves
        (k,) coefficients of `powers`, in bands; the first is the phase at the centre of the block's face.
    explained
        Share of the bands' variance explained.
    unexplained
        Mean square of the residual over mean square of the light.
    contrast
        Mean modulation over mean light.
    used
        Share of the cells that were trusted.
    readings
        Number of independent readings among them.
    centre_standard_waves
        Standard uncertainty of the phase at the centre from what the fit leaves over.
    """

    waves: NDArray
    explained: float
    unexplained: float
    contrast: float
    used: float
    readings: float
    centre_standard_waves: float


def powers(across: NDArray, down: NDArray, *, order: int) -> NDArray:
    """(k, n) products across^i down^(n-i), by rising order n and then i: 1, down, across, down^2, down across, across^2, ..."""
    return np.stack([across**i * down ** (n - i) for n in range(order + 1) for i in range(n + 1)])


def fit_quickly(cells: StepCells, mask: NDArray, *, start: NDArray) -> FaceFit | None:
    """A plane phase and then a bowed one from a start (k,) in bands, on a fixed random choice of cells; None if it ran away."""
    chosen = np.flatnonzero(mask)
    if chosen.size > QUICK_CELLS:
        chosen = np.sort(np.random.default_rng(chosen.size).choice(chosen, QUICK_CELLS, replace=False))
    across, down = cells.across.ravel()[chosen], cells.down.ravel()[chosen]
    light = cells.light.ravel()[chosen]
    basis, light_basis = powers(across, down, order=2), powers(across / ACROSS_LIMIT, down, order=LIGHT_ORDER)
    samples = Samples(value=light, weight=np.full(light.size, 1.0 / FIRST_SHARED_CELLS))
    model = _seeded(samples, basis, light_basis, start=start)
    for bow in (0.01, 0.01, 0.01, 0.3, 0.3, 0.3, 0.3, 0.3):
        model = step(
            samples, model, basis=basis, light_basis=light_basis, prior_rad=PhaseForm(bands=(bow,)).prior_rad, beliefs=STEP_BELIEFS
        )
    return _summary(samples, model, basis=basis, light_basis=light_basis, form=PhaseForm(bands=(0.3,)))


def fit_face(cells: StepCells, mask: NDArray, *, start: NDArray, form: PhaseForm) -> FaceFit | None:
    """The phase over the cells of `mask` from a start (k,) in bands near the answer; None if it ran away."""
    across, down = cells.across[mask], cells.down[mask]
    basis, light_basis = powers(across, down, order=form.order), powers(across / ACROSS_LIMIT, down, order=form.light_order)
    trusted, shared = np.ones(across.size), FIRST_SHARED_CELLS
    samples = Samples(value=cells.light[mask], weight=trusted / shared)
    model = _seeded(samples, basis, light_basis, start=start)
    for _ in range(ROUNDS):
        for _ in range(STEPS):
            model = step(samples, model, basis=basis, light_basis=light_basis, prior_rad=form.prior_rad, beliefs=STEP_BELIEFS)
        if not np.all(np.isfinite(model.residual)):
            return None
        residual = np.zeros(mask.shape, dtype=np.float32)
        residual[mask] = model.residual
        wild = _dust(residual, mask)
        trusted = (~wild[mask]).astype(float)
        shared = correlation_area(np.where(wild, 0.0, residual), mask & ~wild, largest_lag=RIPPLE_LAG)
        samples = Samples(value=samples.value, weight=trusted / shared)
    return _summary(samples, model, basis=basis, light_basis=light_basis, form=form)


def _dust(residual: NDArray, mask: NDArray) -> NDArray:
    """[row, column] True where cells that hang together are off, and beside them: nothing local is looked for on these faces, so wide patches go too."""
    off = np.abs(residual) / max(spread(residual, mask.astype(float)), 1e-12)
    wild = mask & (off > OUTLIER_SIGMAS)
    blob = ndimage.uniform_filter(wild.astype(np.float32), 3) > 0.3  # single cells are noise tails
    return ndimage.binary_dilation((wild & blob) | (mask & (off > SURE_SIGMAS)), np.ones((3, 3)))


def _seeded(samples: Samples, basis: NDArray, light_basis: NDArray, *, start: NDArray) -> BandModel:
    """The model at the start with its piston set; its coefficients are the whole phase, so that the prior speaks of the face and not of a correction."""
    coefficients = np.zeros(len(basis))
    count = min(len(start), len(basis))
    coefficients[:count] = 2.0 * np.pi * start[:count]
    phase = coefficients @ basis
    model = seed(samples, phase_rad=phase, light_basis=light_basis, basis=basis)
    coefficients[0] += float(np.mean(model.phase_rad - phase))
    return replace(model, coefficients_rad=coefficients)


def _summary(samples: Samples, model: BandModel, *, basis: NDArray, light_basis: NDArray, form: PhaseForm) -> FaceFit | None:
    if not np.all(np.isfinite(model.residual)):
        return None
    weight = samples.weight
    mean_square = float(np.sum(weight * model.residual**2) / np.sum(weight))
    mean_light = float(np.sum(weight * model.light) / np.sum(weight))
    modulation = float(np.sum(weight * model.modulation) / np.sum(weight))
    waves = model.coefficients_rad / (2.0 * np.pi)
    if modulation < 0.0:
        waves[0] += 0.5
    return FaceFit(
        waves=waves,
        explained=explained(samples, model),
        unexplained=mean_square,
        contrast=abs(modulation) / mean_light if mean_light > 0.0 else 0.0,
        used=float(np.mean(weight > 0.0)),
        readings=float(np.sum(weight)),  # a weight is one over the number of cells that share a reading
        centre_standard_waves=_centre_standard(samples, model, basis=basis, light_basis=light_basis, form=form),
    )


def _centre_standard(samples: Samples, model: BandModel, *, basis: NDArray, light_basis: NDArray, form: PhaseForm) -> float:
    cos, sin = np.cos(model.phase_rad), np.sin(model.phase_rad)
    columns = np.concatenate([basis * (-model.modulation * sin), light_basis, light_basis * cos])
    variance = max(float(np.sum(samples.weight * model.residual**2) / np.sum(samples.weight)), 1e-12)
    normal = (columns * samples.weight) @ columns.T / variance
    count = len(basis)
    normal[np.arange(count), np.arange(count)] += 1.0 / form.prior_rad**2
    scale = 1.0 / np.sqrt(np.diag(normal))  # columns of like size, so that a picture without noise does not upset the solver
    normal *= np.outer(scale, scale)
    normal[np.diag_indices_from(normal)] += 1e-9
    first = np.eye(len(normal))[0]
    return float(scale[0] * np.sqrt(linalg.solve(normal, first, assume_a="pos")[0])) / (2.0 * np.pi)
