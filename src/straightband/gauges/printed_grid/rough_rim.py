"""A first guess at the rim over a grid: the ellipse of known proportions along which the grid's contrast dips most, or its mean light."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from straightband.face.shapes import Face
from straightband.photo.outline import Outline, fold_angle_deg
from straightband.photo.plane import Plane

SMALL_PITCH = 2.0  # pixels per pitch in the picture searched, as far as its size allows
SMALL_SIDES = (110.0, 240.0)
POINTS = 48
SMALLEST, LARGEST = 0.1, 0.5  # semi-axes over the frame's longer side, within which a face may be
STEP = 0.08  # of the semi-axes from one trial to the next
NARROW_PITCHES = 3.5  # a place without grid wider than this is grey, not a rim
WIDENED = (0.025, 0.012)  # of the frame's longer side: blur under which the coarse trials do not miss the gap
DEEPEST = 0.35  # a few places of no contrast are dirt, not a rim
KEPT = 200  # trials that are settled
GUESSES = 4  # different ones handed on


def rim_guesses(plane: Plane, *, relief: NDArray, face: Face, pitch_px: float) -> list[Outline]:
    """Outlines where `relief`, an array like the plane's light, dips along the whole rim, the deepest dip first; to within a pitch or two."""
    side = min(max(SMALL_PITCH * max(relief.shape) / pitch_px, SMALL_SIDES[0]), SMALL_SIDES[1])
    shrunk = side / max(relief.shape)
    even = np.nan_to_num(relief / np.nanmedian(relief), nan=1.0).astype(np.float32)
    small = np.minimum(cv2.resize(even, None, fx=shrunk, fy=shrunk, interpolation=cv2.INTER_AREA), 1.1)
    gap = _narrow_gaps(small, pitch=pitch_px * shrunk)
    trials = _trials(small.shape, face=face)
    for picture, step in (
        (cv2.GaussianBlur(gap, (0, 0), WIDENED[0] * side), 0.5),
        (cv2.GaussianBlur(gap, (0, 0), WIDENED[1] * side), 0.3),
        (gap, 0.15),
        (gap, 0.08),
    ):
        best = trials[np.argsort(-_along(picture, trials))[:KEPT]]
        trials = np.concatenate([best, _neighbours(best, step=step), _neighbours(best, step=step / 2.0)])
    side_px = max(1.5, 1.5 * pitch_px * shrunk)
    order = np.argsort(-_along(gap, trials))
    chosen: list[NDArray] = []
    for trial in trials[order]:
        if all(np.max(np.abs(trial[:3] - other[:3])) > 2.0 * side_px for other in chosen):
            chosen.append(trial)
        if len(chosen) == GUESSES:
            break
    return [_outline(trial, face=face, scale=plane.scale / shrunk) for trial in chosen]


def grey_guess(plane: Plane, *, contrast: NDArray, face: Face) -> list[Outline]:
    """The ellipse with the moments of the largest place without grid: a mirror that is grey all over has no narrow gap at its rim."""
    grey = (np.nan_to_num(contrast, nan=0.0) < 0.5 * np.nanpercentile(contrast, 90.0)).astype(np.uint8)
    count, label, stats, middles = cv2.connectedComponentsWithStats(grey)
    if count < 2:
        return []
    largest = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    rows, columns = np.nonzero(label == largest)
    values, axes = np.linalg.eigh(np.cov(np.stack([columns, rows])))
    shorter, longer = values.tolist()
    if shorter <= 0.0:
        return []
    # The variance of an ellipse along an axis is a quarter of that semi-axis squared.
    angle = math.atan2(axes[1, 1], axes[0, 1])
    trial = np.array([*middles[largest], 2.0 * math.sqrt(longer), 2.0 * math.sqrt(shorter), angle])
    return [_outline(trial, face=face, scale=plane.scale)]


def _trials(shape: tuple[int, int], *, face: Face) -> NDArray:
    """(n, 5) centre x, y, semi-major, semi-minor in small pixels and angle in radians: every ellipse within the frame, coarsely."""
    ratio = face.semi_major_mm / min(face.semi_u_mm, face.semi_v_mm)
    found = []
    angles = np.arange(0.0, math.pi, STEP * 2.0) if ratio > 1.05 else np.zeros(1)
    semi = SMALLEST * max(shape)
    while semi < LARGEST * max(shape):
        for angle in angles:
            half_x = math.hypot(semi * math.cos(angle), semi / ratio * math.sin(angle))
            half_y = math.hypot(semi * math.sin(angle), semi / ratio * math.cos(angle))
            step = max(2.0, STEP * semi)
            x, y = np.arange(half_x, shape[1] - half_x, step), np.arange(half_y, shape[0] - half_y, step)
            cx, cy = (each.ravel() for each in np.meshgrid(x, y))
            found.append(np.column_stack([cx, cy, *(np.full(cx.size, value) for value in (semi, semi / ratio, angle))]))
        semi *= 1.0 + STEP
    return np.concatenate([np.empty((0, 5)), *found]).astype(np.float32)


def _neighbours(trials: NDArray, *, step: float) -> NDArray:
    """Each trial moved, stretched and turned a little, one way at a time."""
    found = []
    for sign in (-1.0, 1.0):
        amount = sign * step * STEP
        for column, by in ((0, trials[:, 2]), (1, trials[:, 2]), (2, trials[:, 2]), (3, trials[:, 3]), (4, np.ones(len(trials)))):
            moved = trials.copy()
            moved[:, column] += amount * by
            found.append(moved)
        both = trials.copy()
        both[:, 2:4] *= 1.0 + amount
        found.append(both)
    return np.concatenate(found)


def _narrow_gaps(small: NDArray, *, pitch: float) -> NDArray:
    """How far contrast dips in places too narrow to be grey: the closing of the picture less the picture."""
    size = 2 * max(1, round(0.5 * NARROW_PITCHES * pitch)) + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    return np.asarray(np.minimum(cv2.morphologyEx(small, cv2.MORPH_CLOSE, disc) - small, DEEPEST))


def _along(gap: NDArray, trials: NDArray) -> NDArray:
    """Mean depth of the gap along each ellipse."""
    turn = ((np.arange(POINTS) + 0.5) * 2.0 * math.pi / POINTS).astype(np.float32)
    cx, cy, a, b, angle = (column[:, None] for column in trials.T)
    p, q = a * np.cos(turn), b * np.sin(turn)
    x, y = cx + np.cos(angle) * p - np.sin(angle) * q, cy + np.sin(angle) * p + np.cos(angle) * q
    columns, rows = np.clip(np.round(x), 0, gap.shape[1] - 1).astype(int), np.clip(np.round(y), 0, gap.shape[0] - 1).astype(int)
    return np.asarray(gap[rows, columns].mean(axis=1))


def _outline(trial: NDArray, *, face: Face, scale: float) -> Outline:
    cx, cy, a, b, angle = trial.tolist()
    return Outline(
        shape=face.shape,
        cx=(cx + 0.5) * scale - 0.5,
        cy=(cy + 0.5) * scale - 0.5,
        semi_major=max(a, b) * scale,
        semi_minor=min(a, b) * scale,
        angle_deg=fold_angle_deg(math.degrees(angle) + (90.0 if b > a else 0.0)),
        corners=None,
        standard_px=scale,
        support=0.0,
        flags=(),
        told=False,
    )
