"""How a back clears, simulated from its pits: a history whose end is known.

Pits of Weibull-spread depths stand in a level face; wear takes the face down until only the deepest are left. The rms of what is left,
as a thin phase screen, decides the share of light that passes unscattered.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

_INDEX_STEP, _WAVELENGTH_NM = 0.5, 540.0
_STEP_MIN = 0.25
_LONGEST_MIN = 600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """A back on its way from ground to clear.

    Attributes
    ----------
    minutes
        (n,) of polishing since it came off the grinding.
    radius
        (m,) over the largest radius.
    clearness
        (n, m) true clearness.
    """

    minutes: NDArray
    radius: NDArray
    clearness: NDArray

    def clear_at_min(self, enough: float) -> float:
        """When the whole face is clear enough."""
        return float(self.minutes[int(np.argmax(self.clearness.min(axis=1) >= enough))])


def random_history(rng: np.random.Generator, *, usual_min: float = 30.0) -> History:
    """A history drawn at random, as hands and pads differ; `usual_min` is about the time the middle takes."""
    minutes = np.arange(0.0, _LONGEST_MIN, _STEP_MIN)
    radius = np.linspace(0.0, 1.0, 41)
    lead, power = math.exp(rng.normal(0.6, 0.3)) - 1.0, rng.uniform(1.5, 3.0)
    by_radius = (1.0 + lead * radius**power) * np.exp(_smooth_noise(rng, radius.size, standard=0.05))
    pace = np.exp(_smooth_noise(rng, minutes.size, standard=0.12, length=round(8.0 / _STEP_MIN)))
    shape, rms_nm = rng.uniform(1.0, 1.8), 500.0 * math.exp(rng.normal(0.0, 0.3))
    depth, variance = _pit_variance(shape)
    # In units of the Weibull scale; about 3 of them take the middle to clear.
    per_min = 3.0 ** (1.0 / shape) / usual_min * math.exp(rng.normal(0.0, 0.35))
    worn = np.cumsum(pace * _STEP_MIN)[:, None] * per_min * by_radius[None, :]
    left_nm = rms_nm * np.sqrt(np.interp(worn, depth, variance))
    return History(minutes=minutes, radius=radius, clearness=np.exp(-((2.0 * math.pi * _INDEX_STEP * left_nm / _WAVELENGTH_NM) ** 2)))


def _pit_variance(shape: float) -> tuple[NDArray, NDArray]:
    """Depth worn, in units of the Weibull scale, and the variance of the pits left over that at the start."""
    depth = np.linspace(0.0, 12.0, 2401)
    step = depth[1]
    density = np.gradient(1.0 - np.exp(-(depth**shape)), step)
    left = np.maximum(depth[None, :] - depth[::8, None], 0.0)
    mean, square = left @ density * step, left**2 @ density * step
    variance = np.maximum(square - mean**2, 0.0)
    return depth[::8], variance / variance[0]


def _smooth_noise(rng: np.random.Generator, count: int, *, standard: float, length: int = 6) -> NDArray:
    """Random numbers of that standard deviation, alike over some `length` of them."""
    kernel = np.hanning(2 * length + 1)
    noise = np.convolve(rng.standard_normal(count + kernel.size - 1), kernel / np.linalg.norm(kernel), mode="valid")
    return standard * noise
