"""Light that a lamp's image lays over bands which still show through it, measured beside the bands and taken away.

Around each pixel the picture is a smooth light plus bands of the spacing that the phase says, of any strength and shifted by any amount: a weighted
least-squares fit of 1, x, y, x^2, xy, y^2, cos(phase) and sin(phase) in a window of about a band tells the light apart from the bands.

Sources
-------
Local fits by normalised convolution: H. Knutsson, C.-F. Westin, Normalized and differential convolution, CVPR (1993), 515-523 (from memory).
"""

from __future__ import annotations

from functools import cache
from itertools import combinations_with_replacement

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from straightband.fringes.frame import Fields, Frame, spread_out

WINDOW_BANDS = 0.7  # standard deviation of the window, in bands
WIDEST_WINDOW = 12.0  # pixels; with wider bands a lamp's image bends as they do
LEAST_WINDOW = 3.0  # pixels
LEAST_BANDS = 2.0  # across a lamp's image, to be told apart from it
LEAST_PRESENT = 0.75  # of the window
SKIRT = 15  # pixels around an image in which its light is still looked for
REACH = 3.0  # standard deviations of the window
RIDGE = 1e-6


def lifted_veil(value: NDArray, fields: Fields, *, bright: NDArray, present: NDArray, frame: Frame) -> NDArray:
    """Light (n,) laid over the bands where they are narrow enough to tell, zero elsewhere.

    Parameters
    ----------
    value
        (n,) the picture.
    fields
        What it would be without that light; the phase may be off, its spacing not.
    bright, present
        (n,) where light is added, and which pixels count.
    """
    veil = np.zeros(value.size)
    patches, label = cv2.connectedComponents(spread_out(bright, frame).astype(np.uint8))
    spacing = _spacing_px(fields, frame)
    there = spread_out(present, frame)
    for patch in range(1, patches):
        where = label == patch
        sigma = WINDOW_BANDS * float(np.median(spacing[where & frame.inside]))
        across = 2.0 * float(cv2.distanceTransform(np.pad(where, 1).astype(np.uint8), cv2.DIST_L2, 3).max())
        if sigma > WIDEST_WINDOW or across < LEAST_BANDS * sigma / WINDOW_BANDS:
            continue
        skirt = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * SKIRT + 1, 2 * SKIRT + 1))
        where = cv2.dilate(where.astype(np.uint8), skirt).astype(bool)
        inside = where[frame.inside]
        veil[inside] = (
            _light_in(where, value, fields, there=there, frame=frame, sigma=max(sigma, LEAST_WINDOW))[inside] - fields.light[inside]
        )
    return veil


def _spacing_px(fields: Fields, frame: Frame) -> NDArray:
    """Pixels from band to band [v, u], by the phase."""
    phase = spread_out(fields.phase_rad, frame)
    down, along = np.gradient(phase)
    return 2.0 * np.pi / np.maximum(np.hypot(down, along), 1e-6)


def _light_in(where: NDArray, value: NDArray, fields: Fields, *, there: NDArray, frame: Frame, sigma: float) -> NDArray:
    """The light (n,) under the bands at the pixels of one patch [v, u]; what the fields say elsewhere, and where too little is seen."""
    reach = int(np.ceil(REACH * sigma))
    rows, columns = np.nonzero(where)
    box = (
        slice(max(rows.min() - reach, 0), rows.max() + reach + 1),
        slice(max(columns.min() - reach, 0), columns.max() + reach + 1),
    )
    here = where[box] & there[box]
    grid, phase, weight = (spread_out(each, frame)[box] for each in (value, fields.phase_rad, np.ones(value.size)))
    weight = weight * there[box]
    gram, right = _sums(grid, phase, weight, sigma=sigma, at=here)
    solved = np.linalg.solve(gram + RIDGE * np.eye(gram.shape[1]), right[:, :, None])[:, 0, 0]
    # beside clipped pixels a window sees one side only, and what it says there bends the bands
    enough = gram[:, 0, 0] > LEAST_PRESENT
    light = spread_out(fields.light, frame)
    part = light[box]
    part[here] = np.where(enough, solved, part[here])
    return light[frame.inside]


def _sums(grid: NDArray, phase: NDArray, weight: NDArray, *, sigma: float, at: NDArray) -> tuple[NDArray, NDArray]:
    """Gram matrices (m, 8, 8) and right sides (m, 8) of the local fits at m pixels, lengths in units of sigma from each pixel.

    Powers of the distance from the pixel itself are moments of the window: each is a convolution with a kernel of its own.
    """
    axis = np.arange(-int(np.ceil(REACH * sigma)), int(np.ceil(REACH * sigma)) + 1) / sigma
    window = np.exp(-0.5 * axis**2)
    window /= window.sum()

    @cache
    def kernels(power: int) -> NDArray:
        return window * axis**power

    def moment(product: NDArray, *, powers: tuple[int, int]) -> NDArray:
        once = ndimage.correlate1d(product, kernels(powers[0]), axis=1, mode="constant")
        return ndimage.correlate1d(once, kernels(powers[1]), axis=0, mode="constant")[at]

    bands = (np.ones_like(grid), np.cos(phase), np.sin(phase))
    terms = [(0, power) for power in ((0, 0), (1, 0), (0, 1), (2, 0), (1, 1), (0, 2))] + [(1, (0, 0)), (2, (0, 0))]
    kept: dict[tuple[int, int, tuple[int, int]], NDArray] = {}
    gram = np.empty((int(at.sum()), len(terms), len(terms)))
    for i, j in combinations_with_replacement(range(len(terms)), 2):
        (a, (m, n)), (b, (p, q)) = terms[i], terms[j]
        key = (min(a, b), max(a, b), (m + p, n + q))
        if key not in kept:
            kept[key] = moment(weight * bands[a] * bands[b], powers=key[2])
        gram[:, i, j] = gram[:, j, i] = kept[key]
    return gram, np.stack([moment(weight * bands[a] * grid, powers=powers) for a, powers in terms], axis=1)
