"""First guesses for both faces at once: they share nearly one tilt, so the tilts at which both hold a tone are tried.

The platen shows as two strips with a gap between them: a tilt that puts one whole band more between the strips fits them almost as
well and is wrong by half a band at the centre. Such neighbours are made starts of their own, so that the fits decide and not the peak.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from straightband.fringes.step_cells import StepCells
from straightband.fringes.step_fit import powers

ACROSS_WAVES, DOWN_WAVES, TILT_STEP = 6.0, 20.0, 0.25  # bands per half face; a quarter of a band over the half loses 10 % of the peak
BOWS = np.arange(-1.5, 1.51, 0.25)  # bands at the ends of the face
PEAKS_KEPT = 6
DISTINCT_WAVES = 0.6


def find_step_starts(cells: StepCells, *, block: NDArray, platen: NDArray) -> tuple[list[NDArray], list[NDArray]]:
    """Starts for the block and for the platen, (4,) each: 0, tilt down, tilt across, bow down, in bands."""
    across = np.arange(-ACROSS_WAVES, ACROSS_WAVES + 1e-9, TILT_STEP)
    down = np.arange(0.0, DOWN_WAVES + 1e-9, TILT_STEP)
    score = _both_tones(cells, (block, platen), across=across, down=down)
    peaks: list[NDArray] = []
    while len(peaks) < PEAKS_KEPT:
        bow, i, j = np.unravel_index(int(np.argmax(score)), score.shape)
        if score[bow, i, j] <= 0.0:
            break
        peaks.append(np.array([0.0, down[i], across[j], BOWS[bow]]))
        near = np.ix_(np.abs(down - down[i]) < DISTINCT_WAVES, np.abs(across - across[j]) < DISTINCT_WAVES / 2)
        score[(slice(None), *near)] = 0.0
    spacing = _strip_spacing(cells, platen)
    aside = [peak + np.array([0.0, 0.0, turn / spacing, 0.0]) for peak in peaks for turn in (-1.0, 1.0)]
    return peaks, peaks + aside


def _strip_spacing(cells: StepCells, platen: NDArray) -> float:
    """Distance between the middles of the two strips of platen."""
    across = cells.across[platen]
    return float(np.mean(across[across > 0.0]) - np.mean(across[across < 0.0]))


def _both_tones(cells: StepCells, masks: tuple[NDArray, NDArray], *, across: NDArray, down: NDArray) -> NDArray:
    """[bow, tilt down, tilt across] power of a tone in one face plus that in the other; each has its own piston."""
    waves_across = np.exp(-2j * np.pi * np.outer(cells.across[0], across)).astype(np.complex64)
    down_axis = cells.down[:, 0]
    pictures = [_bands_alone(cells, mask) for mask in masks]
    score = np.empty((BOWS.size, down.size, across.size), dtype=np.float32)
    for k, bow in enumerate(BOWS):
        waves_down = np.exp(-2j * np.pi * (np.outer(down, down_axis) + bow * down_axis**2)).astype(np.complex64)
        score[k] = sum(np.abs(waves_down @ picture @ waves_across) ** 2 for picture in pictures)
    return score


def _bands_alone(cells: StepCells, mask: NDArray) -> NDArray:
    """[row, column] the light of one face less its background, scaled so that a perfect tone has power 1/2; 0 elsewhere."""
    light = cells.light[mask]
    background = powers(cells.across[mask], cells.down[mask], order=2)
    left = light - np.linalg.lstsq(background.T, light, rcond=None)[0] @ background
    picture = np.zeros(mask.shape, dtype=np.float32)
    picture[mask] = left / max(float(np.sqrt(np.sum(left**2) * left.size)), 1e-12)
    return picture
