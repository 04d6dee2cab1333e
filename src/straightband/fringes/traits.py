"""What a fit of the bands looks like: how many bands, how much of them it explains, and whether lamps and glass make such light and contrast."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from straightband.fringes.fade import without_fade
from straightband.fringes.grow import MOST_CONTRAST
from straightband.fringes.local import LocalFit, contrast_bend, light_bend

EASY_TO_MIMIC = 5.0  # bands: fewer, smooth blotches and a light that bends can mimic
PLAIN_CONTRAST = 0.12  # range of the contrast over its mean
SETTLED_BEND = 0.02  # of light and contrast, from spline to spline
FAINTEST = 0.25  # contrast over the highest of the face: under a back frosted more than that the search is easily led astray
MOST_TIMES_BRIGHTER, FEW_ODD = 6.0, 0.02  # bright over dim; share that may be beyond that or beyond MOST_CONTRAST
CALM_SWING = 0.18  # of the light over the modulation: wrong phases of two to three bands asked for 0.2 and more in trials
SET_ASIDE_WEIGHT = 0.1  # below it a pixel is set aside


def bands_of(fit: LocalFit) -> float:
    """From the lowest band to the highest."""
    return float(np.ptp(fit.fields.phase_rad)) / (2.0 * np.pi)


def explained_by(fit: LocalFit) -> float:
    """Share of the band variance that the model accounts for, over all pixels not set aside, however little the fit trusted them."""
    kept = fit.weight > 0.0
    swing = fit.fields.modulation[kept] * np.cos(fit.fields.phase_rad[kept])
    # no pixel counts for more than its whole band
    left = np.minimum(fit.residual[kept] ** 2, fit.fields.modulation[kept] ** 2)
    return 1.0 - float(np.sum(left) / max(np.sum(swing**2), 1e-30))


def swing_of(fit: LocalFit) -> float:
    """How much the light itself varies, over the modulation."""
    return float(np.std(fit.fields.light) / np.mean(fit.fields.modulation))


def trusted_by(fit: LocalFit) -> NDArray:
    """(n,) True where a pixel is not set aside; a try that went wrong altogether trusts none, and explains that perfectly."""
    return fit.weight > SET_ASIDE_WEIGHT


def own_contrast(fit: LocalFit) -> NDArray:
    """Contrast as glass and light of the room make it, without the fade of the lamp's own bands."""
    return without_fade(fit.fields.contrast, fit.fields.phase_rad, coherent_bands=fit.frame.coherent_bands)


def is_even(contrast: NDArray) -> bool:
    """Whether a contrast (n,) varies little over the face."""
    return float(np.ptp(contrast)) < PLAIN_CONTRAST * float(np.mean(contrast))


def is_plain(fit: LocalFit) -> bool:
    """Whether the contrast is as even as one piece of glass on another makes it."""
    return is_even(own_contrast(fit))


def is_calm(fit: LocalFit) -> bool:
    """Whether light and contrast are such as lamps and glass make without more ado."""
    contrast = own_contrast(fit)
    return swing_of(fit) < CALM_SWING and contrast.min() > FAINTEST * contrast.max() and fit.fields.contrast.max() < 1.0


def is_settled(fit: LocalFit) -> bool:
    """Whether many bands are explained with hardly any bend of light and contrast, but for a border: few bands can be bent to wrong phases."""
    return bands_of(fit) > EASY_TO_MIMIC and max(light_bend(fit), contrast_bend(fit)) < SETTLED_BEND


def is_possible(fit: LocalFit) -> bool:
    """Whether a lamp and glass can make such light: no band turned inside out or darker than dark but for a few pixels, no place many times brighter."""
    trusted = trusted_by(fit)
    if not trusted.any():
        return False
    contrast = fit.fields.contrast[trusted]
    dim, bright = np.quantile(fit.fields.light[trusted], (FEW_ODD, 1.0 - FEW_ODD))
    odd = float(np.mean((contrast < 0.0) | (contrast > MOST_CONTRAST)))
    return odd < FEW_ODD and 0.0 < bright < MOST_TIMES_BRIGHTER * dim
