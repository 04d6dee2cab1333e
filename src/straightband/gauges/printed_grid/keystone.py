"""The keystone of a view off normal, taken out by the grid itself: seen square-on, its pitch is the same all over.

A near, tilted camera shows the near side larger, which moves the middle of the outline away from the middle of the mirror. The part of
perspective that does so has two numbers; they are those for which the grid's peak in the spectrum stands highest. What is left is an affine
view, which the outline tells.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from straightband.gauges.printed_grid.pattern import evened
from straightband.photo.outline import Outline, fold_angle_deg
from straightband.photo.plane import Plane

SIDE_PX = 420  # of the picture searched, if the pitch has four pixels there
SMALLEST_PITCH_PX = 4.5
LARGEST_SIDE_PX = 900
COARSE, COARSE_REACH = (
    0.025,
    0.1,
)  # change of scale from the middle to the edge of the longer side; a tilt of 15 degrees at 2.5 half widths gives 0.1
FINE = (0.012, 0.006, 0.003, 0.0015)
RIM_POINTS = 180


@dataclass(frozen=True, slots=True, kw_only=True)
class Keystone:
    """The projective part of a view.

    Attributes
    ----------
    toward_right, toward_bottom
        Change of scale from the middle of the picture to half its longer side away.
    to_level
        3 x 3, from pixels of the full-size photograph to those of one without keystone.
    """

    toward_right: float
    toward_bottom: float
    to_level: NDArray


def keystone_of(plane: Plane, *, pitch_px: float) -> Keystone:
    """The keystone that makes the grid most even; `pitch_px` is its pitch in pixels of `plane`."""
    longer = max(plane.light.shape)
    side = min(max(SIDE_PX, SMALLEST_PITCH_PX * longer / pitch_px), LARGEST_SIDE_PX, longer)
    shrunk = side / longer
    seen = (~plane.clipped).astype(np.float32)
    even = evened(plane.light, missing=~(seen > 0.5)).astype(np.float32)
    small = cv2.resize(even, None, fx=shrunk, fy=shrunk, interpolation=cv2.INTER_AREA)
    small -= small.mean()
    steps = np.arange(-COARSE_REACH, COARSE_REACH + COARSE / 2.0, COARSE)
    best = max(((x, y) for x in steps for y in steps), key=lambda g: _height(small, *g))
    level = _height(small, *best)
    for step in FINE:
        for x, y in [(best[0] + i * step, best[1] + j * step) for i in (-1, 0, 1) for j in (-1, 0, 1)]:
            there = _height(small, x, y)
            if there > level:
                best, level = (x, y), there
    width, height = plane.size_px
    return Keystone(toward_right=float(best[0]), toward_bottom=float(best[1]), to_level=_levelling(*best, width=width, height=height))


def _levelling(right: float, bottom: float, *, width: int, height: int) -> NDArray:
    """3 x 3 that divides by 1 + right x + bottom y about the middle, x and y in halves of the longer side."""
    half, cx, cy = max(width, height) / 2.0, (width - 1) / 2.0, (height - 1) / 2.0
    centred = np.array([[1.0, 0.0, -cx], [0.0, 1.0, -cy], [0.0, 0.0, 1.0]])
    bend = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [right / half, bottom / half, 1.0]])
    return np.linalg.inv(centred) @ bend @ centred


def _height(small: NDArray, right: float, bottom: float) -> float:
    """Height of the highest peak of the spectrum once that keystone is taken out."""
    rows, columns = small.shape
    level = cv2.warpPerspective(small, _levelling(right, bottom, width=columns, height=rows), (columns, rows), flags=cv2.INTER_LINEAR)
    window = np.hanning(rows).astype(np.float32)[:, None] * np.hanning(columns).astype(np.float32)[None, :]
    spectrum = cv2.dft(level * window, flags=cv2.DFT_COMPLEX_OUTPUT)
    return float((spectrum[:, :, 0] ** 2 + spectrum[:, :, 1] ** 2).max())


def levelled(plane: Plane, keystone: Keystone) -> Plane:
    """The plane without its keystone; what the photograph does not reach counts as clipped."""
    to_full = np.array([[plane.scale, 0.0, 0.5 * plane.scale - 0.5], [0.0, plane.scale, 0.5 * plane.scale - 0.5], [0.0, 0.0, 1.0]])
    matrix = np.linalg.inv(to_full) @ keystone.to_level @ to_full
    size = plane.light.shape[::-1]
    light = cv2.warpPerspective(plane.light, matrix, size, flags=cv2.INTER_LINEAR)
    reached = cv2.warpPerspective((~plane.clipped).astype(np.float32), matrix, size, flags=cv2.INTER_LINEAR)
    return replace(plane, light=light, clipped=reached < 0.999)


def levelled_outline(outline: Outline, keystone: Keystone, *, back: bool = False) -> Outline:
    """The outline in pixels of the levelled photograph, or `back` in those of the photograph as taken."""
    matrix = np.linalg.inv(keystone.to_level) if back else keystone.to_level
    if outline.corners is not None:
        corners = cv2.perspectiveTransform(np.asarray(outline.corners, dtype=float)[None], matrix)[0]
        middle = corners.mean(axis=0)
        return replace(outline, corners=corners, cx=float(middle[0]), cy=float(middle[1]))
    turn = np.arange(RIM_POINTS) * 2.0 * math.pi / RIM_POINTS
    c, s = math.cos(math.radians(outline.angle_deg)), math.sin(math.radians(outline.angle_deg))
    p, q = outline.semi_major * np.cos(turn), outline.semi_minor * np.sin(turn)
    rim = np.column_stack([outline.cx + c * p - s * q, outline.cy + s * p + c * q])
    (cx, cy), (first, second), angle = cv2.fitEllipseDirect(cv2.perspectiveTransform(rim[None], matrix)[0].astype(np.float32))
    return replace(
        outline,
        cx=cx,
        cy=cy,
        semi_major=max(first, second) / 2.0,
        semi_minor=min(first, second) / 2.0,
        angle_deg=fold_angle_deg(angle + (90.0 if second > first else 0.0)),
    )
