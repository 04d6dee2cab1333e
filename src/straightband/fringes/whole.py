"""The fit of the whole face: from many starts to one phase, by polynomials of rising order."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from straightband.face.polynomials import noll_count
from straightband.face.shapes import Shape
from straightband.fringes.folds import mirrored_phases
from straightband.fringes.grow import (
    GRIDS,
    CoarsePicture,
    WholeFit,
    at_start,
    best_first,
    distinct,
    grid_for,
    grown,
    polynomials,
    shrink,
    thin,
)
from straightband.fringes.model import explained, seed
from straightband.fringes.parts import grown_from_parts
from straightband.fringes.starts import WEAK_SAMPLES, Start, disc_grid, find_starts

# (starts kept, polynomial orders, samples used, steps an order): each round keeps the best of the one before
ROUNDS = ((16, (2,), 1200, 5), (6, (3, 4), 2500, 5), (3, (6,), 6000, 5))
MOST_BANDS_FROM_PARTS = 12.0  # many bands leave starts no choice
MOST_BANDS_WITH_FOLDS, MOST_FOLDS, FOLDS_GROWN, FOLD_STEPS = 8.0, 4, 6, 8
# Where fewer bands show, the true phase may leave this share of their variance, in detail that low orders do not hold, and a wrong one hardly any.
DOUBTFUL_BANDS, DETAIL = 5.0, 0.015
RIVAL, MOST_RIVALS = 2.0, 3  # times what the best leaves unexplained, up to which another is not given up yet
LITTLE_LEFT = 3e-3  # unexplained; above, all starts over the whole face may have been wrong
NOTHING_LEFT = 5e-4  # unexplained; a phase folded wrong leaves more, as long as its light is not bent to it
MUCH_CLIPPED = 0.15  # mean departure from an even share of missing light: half of a face clipped in bands gives up to 0.4
CLEARLY_LESS = 0.8  # of what was unexplained, for a mirrored phase to be preferred


def fit_whole(intensity: NDArray, missing: NDArray, *, shape: Shape, half_extent: tuple[float, float] = (1.0, 1.0)) -> WholeFit | None:
    """The phase that explains the picture best among many starts; None where nothing explains it at all.

    Parameters
    ----------
    intensity
        [v, u] linear light over the bounding box of the clear aperture.
    missing
        [v, u] True off the face and where pixels tell nothing.
    """
    pictures = {n: shrink(intensity, missing, samples=n, shape=shape, half_extent=half_extent) for n in (WEAK_SAMPLES, *GRIDS)}
    if pictures[GRIDS[0]].x.size < 200:
        return None
    fits = [at_start(start) for start in _starts(fine=pictures[GRIDS[1]], coarse=pictures[WEAK_SAMPLES])]
    picture = pictures[GRIDS[0]]
    simplest: tuple[WholeFit, ...] = ()
    for kept, orders, count, steps in ROUNDS:
        tried = [grown(thin(pictures[grid_for(fit.start)], count), fit, shape=shape, orders=orders, steps=steps) for fit in fits[:kept]]
        fits = best_first(tried, picture=picture, shape=shape)
        simplest = simplest or tuple(fits[:MOST_RIVALS])
    if not fits or (1.0 - fits[0].explained > LITTLE_LEFT and _bands(fits[0], picture=picture, shape=shape) < MOST_BANDS_FROM_PARTS):
        fits = best_first([*fits, *grown_from_parts(pictures, shape=shape)], picture=picture, shape=shape)
    if not fits:
        return None
    best = _unfolded(fits[0], picture=picture, shape=shape)
    others = distinct([best, *fits], picture=picture, shape=shape)[1:]
    few = _bands(best, picture=picture, shape=shape) < DOUBTFUL_BANDS
    # Measured by the best before a part was mirrored: under a frosted back that can explain more and be wrong, as long as the border is not known.
    left = max(RIVAL * (1.0 - fits[0].explained), DETAIL if few else 0.0)
    return replace(
        best,
        simplest=simplest,
        runner_up=max((fit.explained for fit in others), default=0.0),
        rivals=tuple(fit for fit in others if 1.0 - fit.explained < left)[:MOST_RIVALS],
    )


def _starts(*, fine: CoarsePicture, coarse: CoarsePicture) -> list[Start]:
    """Starts from the light, and where much of it was clipped from the bands it was clipped on, highest peak first."""
    starts = find_starts(fine.grid, coarse=coarse.grid)
    if np.mean(np.abs(fine.gaps)) > MUCH_CLIPPED:
        starts += find_starts(fine.gaps, coarse=coarse.gaps)
    return sorted(starts, key=lambda start: -start.score)


def _bands(fit: WholeFit, *, picture: CoarsePicture, shape: Shape) -> float:
    return float(np.ptp(fit.phase_rad(picture.x, picture.y, shape=shape))) / (2.0 * np.pi)


def _unfolded(fit: WholeFit, *, picture: CoarsePicture, shape: Shape) -> WholeFit:
    """The fit with parts of its phase mirrored where that explains clearly more (see `folds`); with many bands nothing is left to choose."""
    x, y = disc_grid(GRIDS[0])
    inside = np.ones(x.shape, dtype=bool) if shape is Shape.RECTANGLE else np.hypot(x, y) <= 1.0
    basis = polynomials(x, y, shape=shape, order=fit.order)
    for _ in range(MOST_FOLDS):
        base = fit.start.phase_rad(x, y)
        phase = base + np.tensordot(fit.coefficients_rad, basis, axes=1)
        if np.ptp(phase[inside]) > MOST_BANDS_WITH_FOLDS * 2.0 * np.pi or 1.0 - fit.explained < NOTHING_LEFT:
            return fit
        tried = []
        for mirrored, believed in mirrored_phases(phase, inside=inside):
            kept = basis[:, believed]
            normal = kept @ kept.T
            normal[np.diag_indices_from(normal)] *= 1.0 + 1e-9
            solved = np.linalg.solve(normal, kept @ (mirrored - base)[believed])
            tried.append(replace(fit, coefficients_rad=solved, explained=_at_once(picture, fit, solved, shape=shape)))
        tried.sort(key=lambda each: -each.explained)
        finer = [grown(picture, each, shape=shape, orders=(fit.order,), steps=FOLD_STEPS) for each in tried[:FOLDS_GROWN]]
        best = max((each for each in finer if each is not None), key=lambda each: each.explained, default=fit)
        if 1.0 - best.explained > CLEARLY_LESS * (1.0 - fit.explained):
            return fit
        fit = best
    return fit


def _at_once(picture: CoarsePicture, fit: WholeFit, coefficients_rad: NDArray, *, shape: Shape) -> float:
    """Share explained by a phase as it is, with the light and the contrast that suit it best."""
    basis = polynomials(picture.x, picture.y, shape=shape, order=fit.order)
    phase = fit.start.phase_rad(picture.x, picture.y) + coefficients_rad @ basis
    model = seed(picture.samples, phase_rad=phase, light_basis=basis[: noll_count(2)], basis=basis)
    return explained(picture.samples, model)
