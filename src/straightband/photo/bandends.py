"""Where the bands end, which is the inner edge of a bevel even where the bevel's own edges are faint.

A narrow bevel shows its outer edge along one part of the rim and its inner edge along another, and a closed curve good to a few pixels may
run along both in turn. The light changes along the rim as far out as the bands go: the amount of that change, not any edge, tells the two
edges apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from straightband.photo.figure import Figure, moved, rim_motions
from straightband.photo.unrolled import Pyramid, unroll

COUNT, SECTORS = 768, 32
STEP_PX = 0.5
REACH_PX = 12.0
BEYOND_PX = 5.0  # looked at farther in and out, so that there are bands and table to compare
LIVELIER = 2.0  # how much more the light changes along the rim inside the bands than outside them
LEAST_LIVELY = 0.2  # of the liveliest sectors
FEWEST_SECTORS = 0.45  # share of the sectors
LEAST_SCATTER_PX, LARGEST_SCATTER_PX, LARGEST_STANDARD_PX = 0.5, 1.2, 0.75
TUKEY = 4.7  # rejects beyond this many standard deviations, 95 % efficient (common practice)


@dataclass(frozen=True, slots=True, kw_only=True)
class BandEnds:
    """The curve along which the bands end.

    Attributes
    ----------
    figure
        The curve.
    gaps_px
        (COUNT,) how far outside it the figure looked at lies, per rim point of that figure; plane pixels.
    scatter_px
        Of the single sectors about the curve.
    """

    figure: Figure
    gaps_px: NDArray
    scatter_px: float


def band_ends(pyramid: Pyramid, figure: Figure, *, reach_px: float = REACH_PX) -> BandEnds | None:
    """The curve near a figure along which the bands end; None where bands do not tell (too few, along the rim, or lost in texture)."""
    far = reach_px + BEYOND_PX
    offsets = np.arange(-far, far + STEP_PX / 2.0, STEP_PX)
    depths = figure.depths(COUNT)
    light = pyramid.evened(unroll(pyramid, figure, radii=1.0 + offsets / depths[:, None], count=COUNT))
    ends, known = _ends(_liveliness(np.nan_to_num(light)), offsets, reach_px=reach_px)
    motions = (rim_motions(square=figure.square, count=COUNT) * depths[:, None]).reshape(SECTORS, COUNT // SECTORS, -1).mean(axis=1)
    if known.mean() < FEWEST_SECTORS:
        return None
    amounts, weights, scatter_px = motion_through(ends, known.astype(float), motions=motions)
    rim = rim_motions(square=figure.square, count=COUNT) * depths[:, None]
    if scatter_px > LARGEST_SCATTER_PX or _standard(rim, motions, weights) * max(scatter_px, LEAST_SCATTER_PX) > LARGEST_STANDARD_PX:
        return None
    gaps = -rim @ amounts
    return BandEnds(figure=moved(figure, amounts), gaps_px=gaps, scatter_px=scatter_px)


def _liveliness(light: NDArray) -> NDArray:
    """(sectors, offsets): how much the light changes along the rim, rms within each sector."""
    length = COUNT // SECTORS
    wrapped = cv2.copyMakeBorder(light.astype(np.float32), length, length, 0, 0, cv2.BORDER_WRAP)
    fine = cv2.blur(wrapped, (1, 3)) - cv2.blur(wrapped, (1, 2 * length - 1))
    return np.sqrt((fine[length:-length] ** 2).reshape(SECTORS, length, -1).mean(axis=1))


def _ends(lively: NDArray, offsets: NDArray, *, reach_px: float) -> tuple[NDArray, NDArray]:
    """Offset of the step that fits each sector's liveliness best, and whether it is a step down, going outward, that bands would make."""
    n = offsets.size
    total = np.cumsum(lively, axis=1)
    count = np.arange(1, n)
    inside, outside = total[:, :-1] / count, (total[:, -1:] - total[:, :-1]) / (n - count)
    # The least-squares step is the one with the greatest variance between its two sides.
    gain = np.where(inside > outside, (inside - outside) ** 2 * count * (n - count), 0.0)
    gain[:, np.abs(offsets[1:]) > reach_px] = 0.0
    cut = gain.argmax(axis=1)
    rows = np.arange(len(lively))
    level = inside[rows, cut]
    # Bands that run along the rim change little along it, and end where they bend away from it.
    known = (gain[rows, cut] > 0.0) & (level > LIVELIER * outside[rows, cut]) & (level > LEAST_LIVELY * np.percentile(level, 90.0))
    return offsets[cut] + STEP_PX / 2.0, known


def _standard(rim: NDArray, motions: NDArray, weights: NDArray) -> float:
    """Greatest standard uncertainty of the curve anywhere on the rim, in that of one sector: great where no bands end on a side or an arc."""
    normal = motions.T @ (weights[:, None] * motions) + 1e-9 * np.eye(motions.shape[1])
    return float(np.sqrt(np.sum((rim @ np.linalg.inv(normal)) * rim, axis=1).max()))


def motion_through(places: NDArray, known: NDArray, *, motions: NDArray) -> tuple[NDArray, NDArray, float]:
    """Motion of a figure fitted to places along its rim, what each sector weighed in it, and the scatter left.

    Parameters
    ----------
    places
        (sectors,) how far outside the figure, in pixels.
    known
        (sectors,) 1 where a place is known, 0 elsewhere.
    motions
        (sectors, k) how far a unit of each motion moves the rim, in pixels.
    """
    weights, scatter = known, 1.0
    amounts = np.zeros(motions.shape[1])
    for _ in range(8):
        normal = motions.T @ (weights[:, None] * motions)
        amounts = np.linalg.solve(normal + (1e-6 * np.trace(normal) + 1e-9) * np.eye(len(normal)), motions.T @ (weights * places))
        left = places - motions @ amounts
        scatter = max(1.4826 * float(np.median(np.abs(left[known > 0.0]))), 0.1)
        weights = known * np.clip(1.0 - (left / (TUKEY * scatter)) ** 2, 0.0, None) ** 2
    return amounts, weights, scatter
