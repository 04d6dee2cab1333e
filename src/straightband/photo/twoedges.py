"""A curve that runs along the outer edge of a bevel on one part of the rim and along the inner edge on another, told by the light across both.

A bevel a few pixels wide whose light lies between that of face and table shows two steps a constant distance apart. Which of them is the
stronger depends on the band that ends there, so a closed curve good to a few pixels may change from one to the other. In each sector of the rim the
place of the pair is therefore found by itself, with one width and one blur for the whole rim; where the places are those of a figure moved as a
whole, that is where the glass ends. Bands that run along the rim, whose ends do not tell (see `bandends`), do no harm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from straightband.photo.bandends import motion_through
from straightband.photo.figure import Figure, moved, rim_motions
from straightband.photo.rimprofile import COUNT, SECTORS, STEP_PX, profiles_across, unexplained_at
from straightband.photo.unrolled import Pyramid

INWARD_PX, OUTWARD_PX = 10.0, 12.0
PLACES_PX, WIDTHS_PX, BLURS_PX = np.arange(-2.0, 7.1, 0.25), np.arange(2.0, 8.1, 0.5), (0.7, 1.0, 1.5, 2.2)
BETTER = 0.4  # what two edges leave, of what one leaves, in a sector that counts
FEWEST_SECTORS = 0.6
CHANGES_PX = 1.5  # range of the places: with less the curve is on one edge all around
LARGEST_SCATTER_PX = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoEdges:
    """The outer edge, the width of the bevel inside it, and the scatter of the sectors about it (plane pixels)."""

    figure: Figure
    width_px: float
    scatter_px: float


def on_two_edges(pyramid: Pyramid, figure: Figure) -> TwoEdges | None:
    """The outline, if the figure lies now on one, now on the other of two edges; None where it does not."""
    offsets = np.arange(-INWARD_PX, OUTWARD_PX + STEP_PX / 2.0, STEP_PX)
    profiles = profiles_across(pyramid, figure, offsets=offsets)

    def left(width: float, blur: float) -> NDArray:
        return unexplained_at(profiles, offsets, outer=PLACES_PX, width=width, blur=blur)

    alone = np.min([left(0.0, blur).min(axis=0) for blur in BLURS_PX], axis=0)
    pairs = {(width, blur): left(width, blur) for width in WIDTHS_PX for blur in BLURS_PX}
    # by the share left, so that no sector with a bright band outweighs the others
    width, blur = min(pairs, key=lambda pair: float(np.median(pairs[pair].min(axis=0) / (alone + 1e-12))))
    best = pairs[width, blur]
    known = best.min(axis=0) < BETTER * alone
    if known.mean() < FEWEST_SECTORS:
        return None
    rim = rim_motions(square=figure.square, count=COUNT) * figure.depths(COUNT)[:, None]
    motions = rim.reshape(SECTORS, COUNT // SECTORS, -1).mean(axis=1)
    amounts, _, scatter_px = motion_through(PLACES_PX[best.argmin(axis=0)], known.astype(float), motions=motions)
    if np.ptp(rim @ amounts) < CHANGES_PX or scatter_px > LARGEST_SCATTER_PX:
        return None
    return TwoEdges(figure=moved(figure, amounts), width_px=float(width), scatter_px=scatter_px)
