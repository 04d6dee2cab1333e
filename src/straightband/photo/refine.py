"""From an outline good to a hundredth of its size to one good to a fraction of a pixel.

A bevel shows two edges a constant distance apart: where the bands end, and the outline itself. Either may be faint on part of the rim,
where the bevel is as bright as what lies beside it; so both are fitted as one, an ellipse or rectangle and a width. Along the rim a faint
edge is seen by averaging; across it, its place is where linear light is steepest, which a symmetric blur does not shift.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from straightband.photo.figure import Figure, moved, rim_motions
from straightband.photo.unrolled import Pyramid, slopes, unroll

COARSE_COUNT, FINE_COUNT = 96, 384
INWARD_SHARE, OUTWARD_SHARE = 0.05, 0.045  # of the shorter half axis: where edges are looked for
NARROWEST_PX = 3.5  # a bevel narrower than this shows as one edge
CREST_PX = 3.0  # an edge is no wider than this: the slope has fallen off on both sides
FAINT_RATIO = 4.0  # a crest stands this far above the median
SHARP = 0.75  # share of its height that a crest stands above its sides
BEVEL_SEEN = 0.4  # of the rim, for a second edge to count
BEVEL_GAIN = 0.12  # and how much more edge the pair must explain than one edge alone
PEAK_STEPS = 4  # half pixels on either side of the top of a crest that give its centre
WIDTH_TRUST = 10.0  # in rim points: how hard the width first found is held on to
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
        Share of the rim where the edge, or the inner edge of the bevel, was taken into the fit.
    bevel_px
        Width of the bevel seen, plane pixels; 0 if none.
    """

    figure: Figure
    standard_px: float
    support: float
    bevel_px: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Crests:
    """Edges around a rim.

    Attributes
    ----------
    offsets
        Distances from the rim, pixels, outward.
    height
        [rim point, offset], how far the slope stands out above the slopes on both sides.
    sure
        How surely there is the top of an edge, 0 to 1.
    glass
        True where it can be the outer edge of glass.
    """

    offsets: NDArray
    height: NDArray
    sure: NDArray
    glass: NDArray


def refined(pyramid: Pyramid, figure: Figure) -> Refined:
    """The figure fitted to the outermost edge of the glass that runs along it."""
    figure, width = _edge_pair(pyramid, figure)
    return _fine_fit(pyramid, figure, width)


def _crests(pyramid: Pyramid, figure: Figure, offsets: NDArray, *, count: int, average: int) -> _Crests:
    """Edges around the rim, with slopes averaged over `average` neighbouring rim points."""
    radii = 1.0 + offsets / figure.depths(count)[:, None]
    slope = np.nan_to_num(slopes(unroll(pyramid, figure, radii=radii, count=count)))
    half = average // 2
    slope = cv2.blur(cv2.copyMakeBorder(slope, half, half, 0, 0, cv2.BORDER_WRAP), (1, average))[half : half + count]
    size = np.abs(slope)
    away = max(1, round(CREST_PX / (offsets[1] - offsets[0])))
    wide = np.pad(size, ((0, 0), (away, away)), mode="edge")
    height = size - 0.5 * (wide[:, : size.shape[1]] + wide[:, 2 * away :])
    noise = FAINT_RATIO * np.median(np.abs(height[:, offsets > 0.0]), axis=1, keepdims=True) + 1e-7
    height = np.maximum(height, 0.0)
    top = np.pad((height[:, 1:-1] >= height[:, :-2]) & (height[:, 1:-1] > height[:, 2:]), ((0, 0), (1, 1))).astype(np.uint8)
    # A shadow beside the outline falls off smoothly: light that rises outward is an edge of the glass only if it does so at once.
    glass = (slope < 0.0) | (height > SHARP * size)
    sure = height * height / (height * height + noise * noise) * cv2.dilate(top, np.ones((1, 3), np.uint8))
    return _Crests(offsets=offsets, height=height, sure=sure, glass=glass)


def _edge_pair(pyramid: Pyramid, figure: Figure) -> tuple[Figure, float]:
    """The outline and the width of the bevel inside it (0 if none is seen)."""
    shorter = figure.axes()[1]
    step = max(0.5, 0.001 * shorter)
    offsets = np.arange(-INWARD_SHARE * shorter - CREST_PX, OUTWARD_SHARE * shorter + CREST_PX + 2.0 * step, step)
    crests = _crests(pyramid, figure, offsets, count=COARSE_COUNT, average=9)
    motions = rim_motions(square=figure.square, count=COARSE_COUNT) * figure.depths(COARSE_COUNT)[:, None]
    alone = _follow(crests, motions, start=0.0, width=0.0)
    widths = np.arange(max(NARROWEST_PX, 0.006 * shorter), OUTWARD_SHARE * shorter, 0.0025 * shorter)
    pairs = [(_follow(crests, motions, start=start, width=float(width)), float(width)) for width in widths for start in (0.0, -width)]
    good = [(p, w) for p, w in pairs if min(p[1], p[2]) >= BEVEL_SEEN and p[1] + p[2] >= alone[1] + BEVEL_GAIN]
    if not good:
        return moved(figure, alone[0]), 0.0
    most = max(p[1] + p[2] for p, _ in good)
    # Of pairs that explain as much, the outermost: two bands near the edge make a pair, too.
    (amounts, _, _), width = max(
        ((p, w) for p, w in good if p[1] + p[2] > most - 0.15), key=lambda pw: float((motions @ pw[0][0]).mean()) + pw[1]
    )
    outward = np.linalg.lstsq(motions, motions @ amounts + width, rcond=None)[0]
    return moved(figure, outward), width


def _follow(crests: _Crests, motions: NDArray, *, start: float, width: float) -> tuple[NDArray, float, float]:
    """Mean shift of the inner of two edges `width` apart: the motion, and the shares of the rim where the inner and outer are seen.

    With width 0 there is one edge, counted as inner.
    """
    step = crests.offsets[1] - crests.offsets[0]
    rows = np.arange(motions.shape[0])[:, None]
    outer_sure = crests.sure * crests.glass
    # Alone, a strong edge counts more than a faint one; a bevel may be faint, but only along a stronger edge inside it.
    inner_sure = crests.sure if width else crests.sure * crests.height / (crests.height.max(axis=1, keepdims=True) + 1e-9)
    amounts = np.linalg.lstsq(motions, np.full(motions.shape[0], start), rcond=None)[0]
    for reach in (8, 6, 5, 4):
        window = np.arange(-reach, reach + 1)
        place = (motions @ amounts - crests.offsets[0]) / step
        inner = np.clip(np.rint(place).astype(int)[:, None] + window, 0, crests.offsets.size - 1)
        outer = np.clip(inner + round(width / step), 0, crests.offsets.size - 1)
        both = inner_sure[rows, inner] + (outer_sure[rows, outer] if width else 0.0)
        weight = both * np.exp(-0.5 * (2.0 * window / reach) ** 2)
        mass = weight.sum(axis=1)
        target = crests.offsets[0] + step * (inner * weight).sum(axis=1) / (mass + 1e-9)
        trust = mass / (mass + 0.5)
        normal = motions.T @ (trust[:, None] * motions) + 1e-6 * np.eye(motions.shape[1])
        amounts = np.linalg.solve(normal, motions.T @ (trust * target))
    near = np.abs(window) <= 1
    return (
        amounts,
        float(crests.sure[rows, inner[:, near]].max(axis=1).mean()),
        float(outer_sure[rows, outer[:, near]].max(axis=1).mean()) if width else 0.0,
    )


def _fine_fit(pyramid: Pyramid, figure: Figure, width: float) -> Refined:
    """Least squares, outliers left out, on the places of the outer edge and of the inner one (one more unknown: the width)."""
    plain = rim_motions(square=figure.square, count=FINE_COUNT)
    reach = max(3.5, 0.006 * figure.axes()[1])
    reach = min(reach, 0.5 * width) if width else reach
    offsets = np.arange(-width - reach - CREST_PX, reach + CREST_PX + 0.25, 0.5)
    for share in (0.5, 0.3, 0.25):
        crests = _crests(pyramid, figure, offsets, count=FINE_COUNT, average=9)
        depths = figure.depths(FINE_COUNT)[:, None]
        place, sure = _place(crests, crests.sure * crests.glass if width else crests.sure, at=0.0, spread=share * reach)
        motions, targets, trust = plain * depths, place, sure
        if width:
            inner_place, inner_sure = _place(crests, crests.sure, at=-width, spread=share * reach)
            # The inner edge runs the width inside; what the width is, and how it differs between the axes, are unknowns too.
            points = figure.unit_rim(FINE_COUNT)
            narrower = -np.column_stack([np.ones(FINE_COUNT), points[:, 0] ** 2 - points[:, 1] ** 2])
            motions = np.block([[motions, np.zeros((FINE_COUNT, 2))], [motions, narrower]])
            targets, trust = np.concatenate([place, inner_place + width]), np.concatenate([sure, inner_sure])
        weights, sigma = _robust(targets, trust, motions)
        normal = motions.T @ (weights[:, None] * motions) + np.diag([1e-9] * plain.shape[1] + ([WIDTH_TRUST, WIDTH_TRUST] if width else []))
        found = np.linalg.solve(normal, motions.T @ (weights * targets))
        figure = moved(figure, found[: plain.shape[1]])
        width += float(found[plain.shape[1]]) if width else 0.0
    seen = (weights > 0.1).reshape(-1, FINE_COUNT).any(axis=0).mean()
    # Neighbouring points share pixels, blur and the average along the rim: about one in ten is independent.
    standard = sigma * np.sqrt(10.0 * np.linalg.inv(normal)[0, 0]) * float(depths.mean())
    return Refined(figure=figure, standard_px=float(standard), support=float(seen), bevel_px=width)


def _place(crests: _Crests, sure: NDArray, *, at: float, spread: float) -> tuple[NDArray, NDArray]:
    """Offset of the crest near `at`, per rim point, and how surely it is one."""
    near = sure * np.exp(-0.5 * ((crests.offsets - at) / spread) ** 2)
    picked = np.argmax(near, axis=1)[:, None]
    weight = crests.height**2 * (np.abs(np.arange(crests.offsets.size) - picked) <= PEAK_STEPS)
    place = (weight @ crests.offsets) / (weight.sum(axis=1) + 1e-12)
    # An edge far from where it is looked for is another one.
    return place, np.take_along_axis(near, picked, axis=1)[:, 0]


def _robust(place: NDArray, base: NDArray, motions: NDArray) -> tuple[NDArray, float]:
    """Weights of a robust fit of the motions to the places (Tukey's biweight), and the scatter left, pixels."""
    weights, sigma = base, 1.0
    for _ in range(6):
        normal = motions.T @ (weights[:, None] * motions) + 1e-9 * np.eye(motions.shape[1])
        left = place - motions @ np.linalg.solve(normal, motions.T @ (weights * place))
        sigma = max(1.4826 * float(np.median(np.abs(left[base > 0.2]))) if (base > 0.2).any() else 1.0, 0.02)
        weights = base * np.clip(1.0 - (left / (TUKEY * sigma)) ** 2, 0.0, None) ** 2
    return weights, sigma
