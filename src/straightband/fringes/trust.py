"""Which pixels to trust, round by round: what lies over the bands, what outshines them, specks, and places that the model misses."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from straightband.fringes.frame import Fields, Frame, spread_out
from straightband.fringes.noise import (
    LOCAL_WINDOW,
    WIDE_WINDOW,
    Things,
    evened,
    glare,
    laid_over,
    local_confidence,
    soft_weight,
    things,
    wild_patches,
)

STEPS = 5
MOST_STEPS = 8  # taken when something hangs together in what is left: the border of a frosted back, say
CALMED_STEPS = 12  # taken by the fit that was chosen, so that what it can't follow no longer bends the phase around
# Scale of the soft weight, round by round: first catch what is wide, then forget what is narrow.
SOFT_SIGMAS = (5.0, np.inf, 30.0, 8.0, 3.0)


def far_off(residual: NDArray, present: NDArray, *, frame: Frame) -> NDArray:
    """Patches [v, u] surely off the noise, see `noise.wild_patches`."""
    return wild_patches(spread_out(residual, frame), spread_out(present, frame))


def narrow_things(residual: NDArray, present: NDArray, *, by_phase: NDArray, frame: Frame) -> Things:
    """Specks and small hills [v, u], see `noise.things`."""
    return things(spread_out(residual, frame), spread_out(present, frame), by_phase=spread_out(by_phase, frame))


def overlaid(residual: NDArray, present: NDArray, *, by_phase: NDArray, frame: Frame) -> NDArray:
    """True (n,) where something lies over the bands, see `noise.laid_over`."""
    laid = laid_over(spread_out(residual, frame), spread_out(present, frame), by_phase=spread_out(by_phase, frame))
    return laid[frame.inside]


def glare_on(value: NDArray, fields: Fields, *, present: NDArray, frame: Frame) -> NDArray:
    """True (n,) where light is added to the bands, see `noise.glare`."""
    light, modulation = spread_out(fields.light, frame), spread_out(fields.modulation, frame)
    there, missing = spread_out(present, frame), spread_out(~present, frame)
    return glare(spread_out(value, frame), light=light, modulation=modulation, present=there, missing=missing)[frame.inside]


def weights(residual: NDArray, present: NDArray, *, level: NDArray, by_phase: NDArray, frame: Frame, round_: int) -> NDArray:
    """All pixels alike at first, then soft, then without the specks, at last with what the model misses held against its surroundings, near, then wide."""
    if round_ == 1:
        return present.astype(float)
    if round_ >= STEPS - 1:  # before, what is left is not noise yet
        residual = evened(residual, present, level=level)
    weight = soft_weight(residual, present, sigmas=SOFT_SIGMAS[min(round_, len(SOFT_SIGMAS) - 1)])
    if round_ < STEPS - 1:
        return weight
    found = narrow_things(residual, present, by_phase=by_phase, frame=frame)
    # what is far off because the bands have moved must pull the phase after it
    weight = np.where(found.moved[frame.inside], present, np.where(found.specks[frame.inside], 0.0, weight))
    if round_ < MOST_STEPS - 1:
        return weight
    across = LOCAL_WINDOW if round_ < MOST_STEPS else WIDE_WINDOW
    return weight * local_confidence(spread_out(residual, frame), spread_out(weight > 0, frame), across=across)[frame.inside]
