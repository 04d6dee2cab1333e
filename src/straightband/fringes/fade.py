"""The fade of the bands of a wide line: their contrast falls with the gap, by as much as the lamp's width says.

Where the gap starts is not known, so only the slope of the fade over the bands is open, within what a lamp of that width can show.

Source
------
Degree of coherence of a line of Gaussian profile: M. Born and E. Wolf, Principles of Optics, 7th ed. (1999), section 7.5.8 (from memory; the transform of
a Gaussian).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

FARTHEST_BANDS = 40.0  # from contact, some 12 micrometres, which no paper shim leaves between cleaned flats: common practice, no source


def without_fade(contrast: NDArray, phase_rad: NDArray, *, coherent_bands: float) -> NDArray:
    """Contrast (n,) of bands of phase (n,) as it would be if the lamp's line were narrow, but for one factor for all.

    Parameters
    ----------
    coherent_bands
        Wavelength over the full width at half maximum of the line; infinite for a line of no width.
    """
    bend = (math.pi / coherent_bands) ** 2 / (4.0 * math.log(2.0))
    bands = (phase_rad - np.mean(phase_rad)) / (2.0 * np.pi)
    seen = contrast > 0.0
    if bend == 0.0 or not seen.any():
        return contrast
    level = np.log(contrast[seen]) + bend * bands[seen] ** 2
    there = bands[seen] - np.mean(bands[seen])
    slope = float(there @ level) / (float(there @ there) + 1e-12)
    # beyond as many bands as the line is coherent for, nothing is left to be seen
    steepest = 2.0 * bend * min(coherent_bands, FARTHEST_BANDS)
    fade = np.exp(np.clip(slope, -steepest, steepest) * bands - bend * bands**2)
    return contrast / (fade / np.mean(fade))
