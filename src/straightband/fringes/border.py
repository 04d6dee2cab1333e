"""A straight border across the face where light and contrast change at once: the edge of a back that is still frosted.

Smooth fields can't follow such a border; what they leave over is of opposite sign on its two sides, in the light (the veil) and in the
light times the cosine of the phase (the contrast). The border is where that jump is strongest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

ANGLES = 60
REACH_PIXELS = 10  # on each side of the border that is compared
SOFTNESS_PIXELS = 1.5  # half width of the step that stands for the border; a lens and a hand do not draw it sharper
LEAST_JUMP = 12.0  # standard errors, correlation not counted
LEAST_PIXELS = 100  # on each side, of every fourth pixel: a corner of the face holds no border


@dataclass(frozen=True, slots=True, kw_only=True)
class Border:
    """A straight line x cos(angle) + y sin(angle) = offset in pixels from the middle of the grid.

    Attributes
    ----------
    angle_rad
        Direction from the clear side to the other.
    offset_px
        Distance from the middle.
    """

    angle_rad: float
    offset_px: float

    def step(self, x_px: NDArray, y_px: NDArray) -> NDArray:
        """0 on one side, 1 on the other, (3, n) with its slopes along the line and across: constant, x, y times the step."""
        across = x_px * np.cos(self.angle_rad) + y_px * np.sin(self.angle_rad) - self.offset_px
        step = 0.5 * (1.0 + np.tanh(across / SOFTNESS_PIXELS))
        size = max(float(np.max(np.abs(x_px))), float(np.max(np.abs(y_px))), 1.0)
        return np.stack([step, step * x_px / size, step * y_px / size])


def find_border(residual: NDArray, cosine: NDArray, *, weight: NDArray, x_px: NDArray, y_px: NDArray, least: float) -> Border | None:
    """The border of the strongest jump, or None where no jump stands out.

    Parameters
    ----------
    residual, cosine, weight
        (n,) what the fit left, cosine of its phase, 0 for pixels to be left out.
    x_px, y_px
        (n,) pixel coordinates from the middle of the grid.
    least
        Smallest jump, in units of the residual, that counts.
    """
    kept = weight > 0
    r, c, x, y = residual[kept], cosine[kept], x_px[kept], y_px[kept]
    spread = 1.4826 * float(np.median(np.abs(r)))
    # a clipped residual keeps specks from posing as borders
    reach = max(6.0 * spread, 3.0 * least)
    r = np.clip(r, -reach, reach)
    best = (LEAST_JUMP, 0.0, 0.0)
    for angle in np.pi * np.arange(ANGLES) / ANGLES:
        across = np.floor(x * np.cos(angle) + y * np.sin(angle)).astype(np.int64)
        first = int(across.min())
        jump, offset = _strongest(across - first, r=r, c=c, spread=spread, least=least)
        if jump > best[0]:
            best = (jump, float(angle), offset + first)
    return Border(angle_rad=best[1], offset_px=best[2]) if best[0] > LEAST_JUMP else None


def _strongest(place: NDArray, *, r: NDArray, c: NDArray, spread: float, least: float) -> tuple[float, float]:
    """Largest jump, in standard errors, over all offsets of one direction, and its offset."""
    count = np.bincount(place).astype(float)
    total, largest = np.zeros(count.size), np.zeros(count.size)
    for signal, power in ((r, np.ones_like(r)), (r * c, c * c)):
        sums, powers = (np.concatenate([[0.0], np.cumsum(np.bincount(place, values))]) for values in (signal, power))
        middle = np.arange(REACH_PIXELS, count.size - REACH_PIXELS)
        if middle.size == 0:
            return 0.0, 0.0
        after = (sums[middle + REACH_PIXELS] - sums[middle], powers[middle + REACH_PIXELS] - powers[middle])
        before = (sums[middle] - sums[middle - REACH_PIXELS], powers[middle] - powers[middle - REACH_PIXELS])
        enough = np.minimum(after[1], before[1]) > LEAST_PIXELS
        jump = after[0] / np.maximum(after[1], 1.0) - before[0] / np.maximum(before[1], 1.0)
        error = spread * np.sqrt(1.0 / np.maximum(after[1], 1.0) + 1.0 / np.maximum(before[1], 1.0))
        largest[middle] = np.maximum(largest[middle], np.abs(jump))
        total[middle] += np.where(enough, (jump / np.maximum(error, 1e-30)) ** 2, 0.0)
    total[largest < least] = 0.0
    best = int(np.argmax(total))
    return float(np.sqrt(total[best])), float(best)
