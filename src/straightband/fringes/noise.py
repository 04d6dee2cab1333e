"""What the fit leaves over: how noisy it is, over how many pixels it hangs together, and which pixels to distrust."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import fft

LARGEST_LAG = 12  # pixels; longer ranges are figure, not noise
OUTLIER_SIGMAS = 4.5


def spread(residual: NDArray, weight: NDArray) -> float:
    """Robust standard deviation of the residual where weight is above zero: 1.4826 times the median of its size."""
    present = weight > 0
    return 1.4826 * float(np.median(np.abs(residual[present]))) if np.any(present) else 0.0


def correlation_area(residual: NDArray, present: NDArray) -> float:
    """Number of pixels that share one independent reading: the sum of the residual's autocorrelation, at least 1.

    Parameters
    ----------
    residual, present
        [v, u]; pixels not present are left out of every pair.
    """
    shape = [fft.next_fast_len(n + LARGEST_LAG, real=True) for n in residual.shape]
    kept = np.where(present, residual, 0.0)
    pairs = fft.irfft2(np.abs(fft.rfft2(present.astype(np.float32), s=shape, workers=2)) ** 2, s=shape, workers=2)
    sums = fft.irfft2(np.abs(fft.rfft2(kept.astype(np.float32), s=shape, workers=2)) ** 2, s=shape, workers=2)
    lags = np.r_[0 : LARGEST_LAG + 1, -LARGEST_LAG:0]
    ratio = sums[np.ix_(lags, lags)] / np.maximum(pairs[np.ix_(lags, lags)], 1.0)
    correlation = ratio / ratio[0, 0] if ratio[0, 0] > 0 else np.zeros_like(ratio)
    near = np.hypot(*np.meshgrid(lags, lags)) <= LARGEST_LAG
    # noise in the estimate itself averages out in the sum; negative lobes of a sharpened photograph do count
    return max(1.0, float(np.sum(correlation[near])))


def distrusted(residual: NDArray, present: NDArray, *, sigmas: float = OUTLIER_SIGMAS) -> NDArray:
    """True at dust, scratches and glare: pixels off by several times the local spread, and their neighbours."""
    sigma = spread(residual, present.astype(float))
    wild = present & (np.abs(residual) > sigmas * sigma)
    # single pixels are noise tails; what hangs together is a thing on the glass
    blob = cv2.boxFilter(wild.astype(np.float32), -1, (3, 3)) > 0.3
    return cv2.dilate(((wild & blob) | (np.abs(residual) > 8.0 * sigma) & present).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
