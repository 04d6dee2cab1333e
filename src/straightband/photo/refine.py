"""From an outline good to a hundredth of its size to one good to a fraction of a pixel.

A bevel shows two edges close together; the outline is the outer one, which may be faint where the bevel is as bright as the surround.
Along the rim a faint edge is seen by averaging; across it, its place is the centre of the steepest part.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from straightband.photo.figure import Figure, moved, rim_motions
from straightband.photo.unrolled import Pyramid, slopes, unroll

COUNT = 400
BEVEL_SHARE = 0.045  # widest bevel looked for, of the shorter half axis; wider ones are not left on flats (common practice, no source)
NARROWEST_PX = 2.5
FAINT_COUNT = 192
FAINT_BLUR = 17  # rim points averaged to see a faint edge
FAINT_RATIO = 4.0  # a crest stands this far above the median
SEEN_SHARE = 0.55  # of the rim, for a second edge to count
TUKEY = 4.7  # rejects beyond this many standard deviations, 95 % efficient (common practice)


@dataclass(frozen=True, slots=True, kw_only=True)
class Refined:
    """A figure placed to a fraction of a pixel.

    Attributes
    ----------
    figure
        The figure.
    standard_px
        Standard uncertainty of its place and half axes, plane pixels.
    support
        Share of the rim inside the frame where the edge was taken into the fit.
    """

    figure: Figure
    standard_px: float
    support: float


def outer_edge(pyramid: Pyramid, figure: Figure) -> Figure:
    """The outer edge of the bevel if the figure sits on its inner edge, else the figure itself."""
    shorter = figure.axes()[1]
    step = max(0.5, 0.0015 * shorter)
    offsets = np.arange(-4.0 * step, BEVEL_SHARE * shorter + 6.0 * step, step)
    radii = 1.0 + offsets / figure.depths(FAINT_COUNT)[:, None]
    slope = np.nan_to_num(slopes(unroll(pyramid, figure, radii=radii, count=FAINT_COUNT)))
    half = FAINT_BLUR // 2
    wrapped = cv2.copyMakeBorder(slope, half, half, 0, 0, cv2.BORDER_WRAP)
    size = np.abs(cv2.blur(wrapped, (1, FAINT_BLUR))[half:-half])
    beyond = offsets > max(NARROWEST_PX, 0.006 * shorter)
    noise = np.median(size[:, beyond], axis=1, keepdims=True) + 1e-7
    crest = (size[:, 1:-1] >= size[:, :-2]) & (size[:, 1:-1] > size[:, 2:]) & (size[:, 1:-1] > FAINT_RATIO * noise)
    crest = np.pad(crest, ((0, 0), (1, 1))).astype(np.uint8)
    seen = cv2.dilate(crest, np.ones((1, 5), np.uint8)).mean(axis=0) * beyond
    best = int(np.argmax(seen))
    if seen[best] < SEEN_SHARE:
        return figure
    near = np.abs(offsets - offsets[best]) <= 3.5 * step
    weights = (size * crest)[:, near]
    return _moved_to(figure, offsets[near], weights)


def _moved_to(figure: Figure, offsets: NDArray, weights: NDArray) -> Figure:
    """The figure moved outward to the weighted offsets (pixels) of each rim point."""
    mass = weights.sum(axis=1)
    place = (weights @ offsets) / (mass + 1e-12) / figure.depths(weights.shape[0])
    motions = rim_motions(square=figure.square, count=weights.shape[0])
    trust = (mass > 0.0).astype(float)
    normal = motions.T @ (trust[:, None] * motions) + 1e-6 * np.eye(motions.shape[1])
    return moved(figure, np.linalg.solve(normal, motions.T @ (trust * place)))


def refined(pyramid: Pyramid, figure: Figure) -> Refined:
    """The figure fitted to the steepest places across its rim, with outliers left out."""
    depths = figure.depths(COUNT)
    reach = max(4.0, 0.008 * figure.axes()[1])
    motions = rim_motions(square=figure.square, count=COUNT)
    for width in (reach / 2.0, reach / 3.0, reach / 4.0):
        offsets = np.arange(-reach, reach + 0.25, 0.5)
        strip = unroll(pyramid, figure, radii=1.0 + offsets / depths[:, None], count=COUNT)
        place, mass = _steepest(slopes(strip), offsets, width=width)
        weights, sigma = _robust(place, mass, motions * depths[:, None])
        scaled = motions * depths[:, None]
        normal = scaled.T @ (weights[:, None] * scaled)
        figure = moved(figure, np.linalg.solve(normal + 1e-9 * np.eye(len(normal)), scaled.T @ (weights * place)))
    known = np.isfinite(mass)
    used = (weights > 0.1) & known
    # Neighbouring points share pixels and blur: about one in three is independent.
    standard = sigma * np.sqrt(3.0 * motions.shape[1] / max(used.sum(), 1))
    return Refined(figure=figure, standard_px=float(standard), support=float(used.sum() / max(known.sum(), 1)))


def _steepest(slope: NDArray, offsets: NDArray, *, width: float) -> tuple[NDArray, NDArray]:
    """Offset of the steepest part near the rim and its strength, per rim point; NaN strength off the frame."""
    weight = slope * slope * np.exp(-0.5 * (offsets / width) ** 2).astype(np.float32)
    mass = weight.sum(axis=1)
    place = (weight @ offsets.astype(np.float32)) / (mass + 1e-12)
    return np.nan_to_num(place).astype(float), mass.astype(float)


def _robust(place: NDArray, mass: NDArray, motions: NDArray) -> tuple[NDArray, float]:
    """Weights of a robust fit of the motions to the places (Tukey's biweight), and the scatter left, pixels."""
    strength = np.nan_to_num(mass)
    base = strength / (strength + 0.3 * np.median(strength) + 1e-12)
    weights, sigma = base, 1.0
    for _ in range(6):
        normal = motions.T @ (weights[:, None] * motions) + 1e-9 * np.eye(motions.shape[1])
        left = place - motions @ np.linalg.solve(normal, motions.T @ (weights * place))
        sigma = max(1.4826 * float(np.median(np.abs(left[base > 0.2]))) if (base > 0.2).any() else 1.0, 0.02)
        weights = base * np.clip(1.0 - (left / (TUKEY * sigma)) ** 2, 0.0, None) ** 2
    return weights, sigma
