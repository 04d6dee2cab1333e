"""Local contrast of a grid: mean departure from the local mean, over that mean.

The mean of the departures' size, unlike their mean square, goes straight with contrast, so that the border of a grey place lies where
it is half-way, however wide the averaging.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

AVERAGED = 0.6  # periods, standard deviation: leaves under 0.1 % of the lines themselves
SMOOTHED = 0.08  # periods: takes noise and the blocks of JPEG, leaves 90 % of the grid
SEEN_LEAST = 0.05  # share of an averaging window below which nothing is said


@dataclass(frozen=True, slots=True, kw_only=True)
class LocalContrast:
    """The grid around each sample.

    Attributes
    ----------
    mean
        Light averaged over lines and paper.
    swing
        Mean size of the departures from it, noise taken off.
    contrast
        Swing over mean.
    seen
        Share of the averaging window that was seen; contrast is NaN under 5 %.
    """

    mean: NDArray
    swing: NDArray
    contrast: NDArray
    seen: NDArray


def local_contrast(light: NDArray, *, use: NDArray, pitch: float) -> LocalContrast:
    """Contrast around each sample of `light` from the samples to `use`; `pitch` is the grid's in samples."""
    weight = use.astype(np.float32)
    seen = _blur(weight, AVERAGED * pitch)
    share = np.maximum(seen, 1e-6)
    mean = _blur(light * weight, AVERAGED * pitch) / share
    fine = _blur(light * weight, SMOOTHED * pitch) / np.maximum(_blur(weight, SMOOTHED * pitch), 1e-6)
    size = _blur(np.abs(fine - mean) * weight, AVERAGED * pitch) / share
    noise = _noise_size(light, fine=fine, use=use, pitch=pitch)
    swing = np.sqrt(np.maximum(size**2 - noise**2, 0.0))
    with np.errstate(invalid="ignore", divide="ignore"):
        contrast = np.where(seen > SEEN_LEAST, swing / mean, np.nan)
    return LocalContrast(mean=mean, swing=swing, contrast=contrast, seen=seen)


def _blur(values: NDArray, sigma: float) -> NDArray:
    return cv2.GaussianBlur(np.ascontiguousarray(values, dtype=np.float32), (0, 0), max(sigma, 0.3), borderType=cv2.BORDER_CONSTANT)


def _noise_size(light: NDArray, *, fine: NDArray, use: NDArray, pitch: float) -> float:
    """Mean size of what noise is left in the smoothed light, from the quietest fifth of what smoothing took away."""
    taken = np.abs(light - fine)
    calm = _blur(taken * use, AVERAGED * pitch) / np.maximum(_blur(use.astype(np.float32), AVERAGED * pitch), 1e-6)
    level = float(np.percentile(calm[use], 5.0)) if use.any() else 0.0
    # White noise averaged by a Gaussian of that width is reduced by 2 sqrt(pi) sigma.
    return level / max(1.0, 2.0 * np.sqrt(np.pi) * SMOOTHED * pitch)
