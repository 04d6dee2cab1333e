"""Folds: where a band is at its darkest or brightest, the picture does not say whether the phase goes on or turns back.

cos(phi) is the same for phi and for 2 k pi - phi, so a fit can mirror the phase of a part of the face at a line where it is k pi: it turns
back there where it should go on, or goes on where it should turn back. A smooth phase can follow such a crease only badly, so the right side
explains more. Every part is mirrored in turn, made smooth, and the choice is left to what the picture says of it.
"""

from __future__ import annotations

from itertools import product

import cv2
import numpy as np
from numpy.typing import NDArray

NEAR_FOLD_RAD = (0.25, 0.5, 0.8)  # within it a phase counts as being on the line
LEAST_PART = 0.006  # of the face: smaller parts are left to the later stages


def mirrored_phases(phase_rad: NDArray, *, inside: NDArray) -> list[tuple[NDArray, NDArray]]:
    """Phases that look alike but for one part mirrored at one of the lines k pi.

    Parameters
    ----------
    phase_rad, inside
        [y, x]; the phase and True on the face.

    Returns
    -------
    Pairs of a phase [y, x] and True where it can be believed: on the line itself it has a crease.
    """
    values = phase_rad[inside]
    least = LEAST_PART * np.count_nonzero(inside)
    found = []
    lines = range(int(np.ceil(values.min() / np.pi - 0.1)), int(np.floor(values.max() / np.pi + 0.1)) + 1)
    for k, near in product(lines, NEAR_FOLD_RAD):
        from_line = phase_rad - k * np.pi
        believed = inside & (np.abs(from_line) > near)
        rest = np.count_nonzero(believed)
        for part in (believed & (from_line > 0.0), believed & (from_line < 0.0)):
            count, label = cv2.connectedComponents(part.astype(np.uint8), connectivity=4)
            size = np.bincount(label.ravel(), minlength=count)
            found += [
                (np.where(label == j, 2.0 * k * np.pi - phase_rad, phase_rad), believed)
                for j in range(1, count)
                if least < size[j] < rest - least
            ]
    return found
