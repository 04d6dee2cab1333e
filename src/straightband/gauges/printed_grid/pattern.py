"""The pitch of a printed grid in a picture, whatever its kind: crossing lines, squares, dots."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from straightband.errors import GridNotFound

FEWEST_ACROSS = 10  # of its periods over the shorter side: fewer say nothing of where the back is clear
FINEST = 4.0  # samples per period
PROMINENT = (
    40.0  # times the median power at like frequencies; noise and paper stay under 15, a grid over a third of the picture is beyond 1000
)
LOWER_SHARE = 0.15  # of the power of the peak, at which a half or a third of its frequency is the grid's own
FOUND_SIDE = 512


def pitch_of(light: NDArray, *, missing: NDArray) -> float:
    """Samples from one period of the grid to the next; raises GridNotFound where no period stands out.

    `light` is [row, column]; where `missing` it counts for nothing.
    """
    even = evened(light, missing=missing)
    rows, columns = even.shape
    side = max(FOUND_SIDE, 1 << math.ceil(math.log2(max(rows, columns))))
    window = np.hanning(rows)[:, None] * np.hanning(columns)[None, :]
    power = np.abs(np.fft.rfft2(even * window, s=(side, side))) ** 2
    # Perspective spreads a peak over neighbouring frequencies.
    power = cv2.GaussianBlur(power, (0, 0), 1.5 * side / max(rows, columns), borderType=cv2.BORDER_REFLECT)
    frequency = np.hypot(np.fft.fftfreq(side)[:, None], np.fft.rfftfreq(side)[None, :])
    lowest = FEWEST_ACROSS / min(rows, columns)
    allowed = (frequency > lowest) & (frequency < 1.0 / FINEST)
    peak = np.unravel_index(int(np.argmax(np.where(allowed, power, 0.0))), power.shape)
    found = float(frequency[peak])
    alike = power[(frequency > 0.8 * found) & (frequency < 1.25 * found)]
    if power[peak] < PROMINENT * float(np.median(alike)):
        raise _no_grid()
    return 1.0 / _fundamental(power, frequency=frequency, peak=(int(peak[0]), int(peak[1])), lowest=lowest)


def evened(light: NDArray, *, missing: NDArray) -> NDArray:
    """Relative departure from the mean of the surroundings; 0 where missing."""
    seen = (~missing).astype(np.float32)
    side = max(3, round(1.5 * min(light.shape) / FEWEST_ACROSS))
    mean = cv2.blur(light * seen, (side, side)) / np.maximum(cv2.blur(seen, (side, side)), 1e-3)
    return np.where(missing, 0.0, light / np.maximum(mean, 1e-4) - 1.0)


def _fundamental(power: NDArray, *, frequency: NDArray, peak: tuple[int, int], lowest: float) -> float:
    """The frequency of the peak, or the half or third of it where thin lines have put most power into a multiple."""
    found = float(frequency[peak])
    side = power.shape[0]
    row = peak[0] if peak[0] < side // 2 else peak[0] - side
    for part in (3, 2):
        near = power[np.arange(-2, 3)[:, None] + round(row / part), abs(np.arange(-2, 3)[None, :] + round(peak[1] / part))]
        if found / part > lowest and near.max() > LOWER_SHARE * power[peak]:
            return found / part
    return found


def _no_grid() -> GridNotFound:
    return GridNotFound(
        found="no printed grid shows in the photograph",
        needed="a grid that is at least ten periods wide and sharp, beside the mirror or through it, is needed",
        remedy="lay the sheet of `straightband clear --sheet` under the mirror, look straight down and focus on the sheet",
    )
