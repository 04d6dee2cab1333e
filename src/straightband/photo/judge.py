"""How well a settled figure answers to what the outline of a face looks like: an edge all around, bands inside, none just outside."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from straightband.photo.figure import Figure
from straightband.photo.unrolled import Pyramid, edge_shares, slopes, unroll

COUNT = 192
STEP = 0.006
SECTORS = 16
QUIETER = 0.5  # change outside, of that just inside, below which a part of the rim is calm
NEAR = 0.012  # relative radius within which an edge supports the rim
RADII = np.arange(0.3, 1.4, STEP)
THIN = 0.04  # relative radius: two rims closer than this are the two edges of a bevel


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What a figure looks like in the picture.

    Attributes
    ----------
    figure
        The figure.
    support
        Share of the rim inside the frame with an edge on it.
    inside, border, outside
        How much the light changes (root of light per relative radius): in most of the inside, just inside the rim, and just outside.
        NaN where the frame ends.
    off_frame
        Share of the rim beyond the frame.
    worst_outside
        `outside` of the worst of sixteen parts of the rim.
    calm
        Share of the parts of the rim with much less change outside than there is just inside the rim.
    """

    figure: Figure
    support: float
    inside: float
    border: float
    outside: float
    off_frame: float
    worst_outside: float
    calm: float


def look_at(pyramid: Pyramid, figure: Figure) -> Look:
    """Measure a figure."""
    strip = pyramid.evened(unroll(pyramid, figure, radii=RADII, count=COUNT))
    slope = slopes(strip)
    shares = edge_shares(slope[:, RADII > 0.8])[:, np.abs(RADII[RADII > 0.8] - 1.0) <= NEAR].max(axis=1)
    seen = np.isfinite(strip[:, np.abs(RADII - 1.0) < STEP]).all(axis=1)
    change = _change(strip, slope, RADII)
    border = _level(change, 0.88, 0.955, percent=60.0)
    parts = np.array([_level(part, 1.03, 1.12, percent=50.0) for part in np.split(change, SECTORS)])
    parts = parts[np.isfinite(parts)]
    return Look(
        figure=figure,
        support=float((shares[seen] > 0.4).mean()) if seen.any() else 0.0,
        inside=_level(change, 0.3, 0.93, percent=60.0),
        border=border,
        outside=_level(change, 1.06, 1.18, percent=50.0),
        worst_outside=float(parts.max()) if parts.size else -math.inf,
        calm=float((parts < QUIETER * border).mean()) if parts.size else 1.0,
        off_frame=float(1.0 - seen.mean()),
    )


def _change(strip: NDArray, slope: NDArray, radii: NDArray) -> NDArray:
    """Size of the gradient in units of the radius."""
    step = float(radii[1] - radii[0])
    wrapped = cv2.copyMakeBorder(strip, 2, 2, 0, 0, cv2.BORDER_WRAP)
    across, along = np.array([0.25, 0.5, 0.25]), np.array([-0.25, -0.5, 0.0, 0.5, 0.25])
    round_rim = cv2.sepFilter2D(wrapped, cv2.CV_32F, across, along, borderType=cv2.BORDER_REPLICATE)[2:-2]
    return np.hypot(slope / (2.0 * step), round_rim / (radii * (4.0 * math.pi / COUNT)).astype(np.float32))


def _level(change: NDArray, low: float, high: float, *, percent: float) -> float:
    part = change[:, (low < RADII) & (high > RADII)]
    part = part[np.isfinite(part)]
    return float(np.percentile(part, percent)) if part.size > 2 * COUNT // SECTORS else math.nan


def change_between(pyramid: Pyramid, *, inner: Figure, outer: Figure) -> float:
    """How much the light changes midway between two rims, one inside the other, in units of the inner radius; NaN if there is no room."""
    x, y = inner.rim_pixels(COUNT)
    reach = 1.0 / float(outer.radius(x, y).min())
    step = min(STEP, max(reach - 1.0, 1e-3) / 16.0)
    radii = np.arange(1.0 - 2.0 * step, max(reach, 1.0) + 3.0 * step, step)
    strip = pyramid.evened(unroll(pyramid, inner, radii=radii, count=COUNT))
    change = _change(strip, slopes(strip), radii)
    unit = inner.unit_rim(COUNT)
    away = outer.radius(*inner.pixels(unit[:, :1] * radii, unit[:, 1:] * radii))
    rim = radii[np.argmax(away >= 1.0, axis=1)][:, None]
    share = (radii - 1.0) / np.maximum(rim - 1.0, 1e-6)
    room = (rim > 1.0 + THIN) & (share > 0.3) & (share < 0.7) & np.isfinite(change)
    return float(np.median(change[room])) if room.sum() > COUNT // 2 else math.nan
