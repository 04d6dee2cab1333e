"""The outline of a mirror that lies over a printed grid.

Bands end at the outline, a grid goes on beside it, so the search made for bands sees little here. What tells the rim is that along the bevel
there is no grid: an ellipse along which local contrast dips is drawn onto the outer edge of that narrow gap.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from straightband.errors import OutlineNotFound, StraightbandError
from straightband.face.shapes import Face, Shape
from straightband.gauges.printed_grid.contrast import local_contrast
from straightband.gauges.printed_grid.rough_rim import grey_guess, rim_guesses
from straightband.photo.outline import WIDEST_RATIO, Outline, find_outline, fold_angle_deg
from straightband.photo.plane import Plane

SECTORS = 90
REACH_PERIODS = 3.5  # looked at inside and outside the rough outline
ALONG_PERIODS = 2.0  # along the rim, over which a grid shows its full swing whichever way its lines run
GAP_DEPTH = 0.5  # of the grid's swing: under it there is none, and half-way is where a blurred edge lies
GAP_PX = 2.0  # a gap narrower than this is no bevel
FEWEST_SECTORS = 0.6  # of the rim where the gap must be seen; the ellipse has five unknowns, so half would do with room to spare
ROUNDS = 4


def rim_over_grid(plane: Plane, *, face: Face, pitch_px: float) -> Outline:
    """The outline of the mirror in the photograph of a grid; raises OutlineNotFound rather than guess.

    `pitch_px` is the grid's in pixels of `plane`. A mirror on a plain surround is found as one with bands is.
    """
    local = local_contrast(plane.light, use=~plane.clipped, pitch=pitch_px)
    if face.shape is not Shape.RECTANGLE:
        # A bevel much darker or brighter than the grid hides its gap in contrast, and shows in mean light instead.
        reliefs = (local.contrast, local.mean, 1.0 / np.maximum(local.mean, 1e-3))
        guesses = (guess for relief in reliefs for guess in rim_guesses(plane, relief=relief, face=face, pitch_px=pitch_px))
        for rough in itertools.chain(guesses, grey_guess(plane, contrast=local.contrast, face=face)):
            drawn = _drawn_to_gap(plane, rough, pitch_px=pitch_px)
            if drawn is not None and _has_proportions(drawn, face=face):
                return drawn
    found = None
    if not _grid_beside(local.contrast, pitch_px=pitch_px):
        blurred = replace(plane, light=cv2.GaussianBlur(plane.light, (0, 0), 0.5 * pitch_px))
        found = _rough(plane, face=face) or _rough(blurred, face=face)
    if found is None:
        raise OutlineNotFound(
            found="the outline of the mirror was not found over the grid",
            needed="the whole rim must show, its bevel as a line without grid",
            remedy="take the photograph again with the whole mirror in it, or give its place with --outline",
        )
    return found


def _rough(plane: Plane, *, face: Face) -> Outline | None:
    try:
        return find_outline(plane, face=face)
    except StraightbandError:
        return None


def _grid_beside(contrast: NDArray, *, pitch_px: float) -> bool:
    """True if the edge of the photograph shows the grid."""
    edge = max(2, round(2.0 * pitch_px))
    frame = np.concatenate([contrast[:edge].ravel(), contrast[-edge:].ravel(), contrast[:, :edge].ravel(), contrast[:, -edge:].ravel()])
    return float(np.nanmedian(frame)) > GAP_DEPTH * float(np.nanpercentile(contrast, 90.0))


def _drawn_to_gap(plane: Plane, rough: Outline, *, pitch_px: float) -> Outline | None:
    """The outline moved onto the outer edge of the gap in the grid, or None where no gap runs all round."""
    outline = rough
    for round_number in range(ROUNDS):
        reach = REACH_PERIODS * pitch_px * plane.scale / (1.0 + round_number)
        away_px = _gap_edge_px(plane, outline, pitch_px=pitch_px, reach_px=reach)
        seen = np.isfinite(away_px)
        if seen.mean() < FEWEST_SECTORS:
            return None
        outline, spread_px, kept = _fitted(outline, away_px)
    if kept < FEWEST_SECTORS:
        return None
    return replace(outline, standard_px=max(spread_px / math.sqrt(SECTORS / 5.0), 0.2 * plane.scale), support=kept)


def _gap_edge_px(plane: Plane, outline: Outline, *, pitch_px: float, reach_px: float) -> NDArray:
    """How far outside the outline the gap ends in each sector, in pixels of the photograph; NaN where none is seen."""
    step = 0.5 * plane.scale
    away = np.arange(-reach_px, reach_px + step, step)
    count = max(4 * SECTORS, round(2.0 * math.pi * outline.semi_major / plane.scale))
    turn = (np.arange(count) + 0.5) * 2.0 * math.pi / count
    x, y = _beside(outline, turn=turn, away_px=away)
    scale = plane.scale
    light = cv2.remap(
        plane.light, ((x + 0.5) / scale - 0.5).astype(np.float32), ((y + 0.5) / scale - 0.5).astype(np.float32), cv2.INTER_LINEAR
    )
    along = max(3, round(ALONG_PERIODS * pitch_px))
    mean = _along_rim(light, along)
    swing = _along_rim(np.abs(light - mean), along) / np.maximum(mean, 1e-4)
    sectors = swing[: count // SECTORS * SECTORS].reshape(SECTORS, -1, away.size).mean(axis=1)
    full = float(np.median(sectors[:, -max(2, away.size // 6) :]))
    edges = [_outer_edges(sector / max(full, 1e-6), away=away) for sector in sectors]
    return _on_one_line(edges, near_px=0.25 * reach_px)


def _along_rim(unrolled: NDArray, length: int) -> NDArray:
    """Mean over `length` samples along the rim, which closes on itself."""
    padded = np.concatenate([unrolled[-length:], unrolled, unrolled[:length]])
    return cv2.blur(padded, (1, length), borderType=cv2.BORDER_REPLICATE)[length:-length]


def _beside(outline: Outline, *, turn: NDArray, away_px: NDArray) -> tuple[NDArray, NDArray]:
    """Pixels at distances `away_px` along the outward normal at each `turn` of the ellipse; each (turn, away)."""
    a, b, angle = outline.semi_major, outline.semi_minor, math.radians(outline.angle_deg)
    normal = np.column_stack([np.cos(turn) / a, np.sin(turn) / b])
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    p = a * np.cos(turn)[:, None] + normal[:, :1] * away_px[None, :]
    q = b * np.sin(turn)[:, None] + normal[:, 1:] * away_px[None, :]
    c, s = math.cos(angle), math.sin(angle)
    return outline.cx + c * p - s * q, outline.cy + s * p + c * q


def _outer_edges(level: NDArray, *, away: NDArray) -> NDArray:
    """Everywhere that a gap ends on the way outward: the level rises through half after it was below for the width of a gap."""
    low = level < GAP_DEPTH
    width = max(1, round(GAP_PX / (away[1] - away[0])))
    run = np.convolve(low, np.ones(width))[: low.size] >= width
    inner = np.flatnonzero(run[:-1] & ~low[1:])
    below, above = level[inner], level[inner + 1]
    return np.asarray(away[inner] + (GAP_DEPTH - below) / (above - below) * (away[1] - away[0]))


def _on_one_line(edges: list[NDArray], *, near_px: float) -> NDArray:
    """Of the edges in each sector the one at the distance where most sectors have one, NaN where none is near it."""
    every = np.concatenate(edges)
    if every.size == 0:
        return np.full(len(edges), np.nan)
    votes = np.exp(-0.5 * ((every[:, None] - every[None, :]) / (0.4 * near_px)) ** 2).sum(axis=1)
    common = every[int(np.argmax(votes))]
    nearest = np.array([each[np.argmin(np.abs(each - common))] if each.size else np.nan for each in edges])
    return np.where(np.abs(nearest - common) < near_px, nearest, np.nan)


def _fitted(outline: Outline, away_px: NDArray) -> tuple[Outline, float, float]:
    """The outline through the edges, the spread of those about it in px, and the share of sectors that lie on it."""
    turn = (np.arange(SECTORS) + 0.5) * 2.0 * math.pi / SECTORS
    known = np.isfinite(away_px)
    places = zip(turn[known], away_px[known], strict=True)
    points = np.array([np.ravel(_beside(outline, turn=np.array([t]), away_px=np.array([d]))) for t, d in places])
    keep = np.ones(len(points), dtype=bool)
    for _ in range(4):
        (cx, cy), (first, second), angle = cv2.fitEllipseDirect(points[keep].astype(np.float32))
        off = _distance_px(points, cx=cx, cy=cy, semi=(first / 2.0, second / 2.0), angle_deg=angle)
        spread = 1.4826 * float(np.median(np.abs(off[keep])))
        keep = np.abs(off) < max(3.0 * spread, 1.0)
    major, minor = max(first, second) / 2.0, min(first, second) / 2.0
    moved = replace(
        outline, cx=cx, cy=cy, semi_major=major, semi_minor=minor, angle_deg=fold_angle_deg(angle + (90.0 if second > first else 0.0))
    )
    return moved, spread, float(keep.sum()) / SECTORS


def _distance_px(points: NDArray, *, cx: float, cy: float, semi: tuple[float, float], angle_deg: float) -> NDArray:
    """Distance of points from an ellipse, to first order."""
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    x, y = points[:, 0] - cx, points[:, 1] - cy
    p, q = (c * x + s * y) / semi[0], (c * y - s * x) / semi[1]
    radius = np.hypot(p, q)
    return (radius - 1.0) * radius / np.maximum(np.hypot(p / semi[0], q / semi[1]), 1e-9)


def _has_proportions(outline: Outline, *, face: Face) -> bool:
    expected = face.semi_major_mm / min(face.semi_u_mm, face.semi_v_mm)
    return abs(math.log(outline.semi_major / outline.semi_minor / expected)) < WIDEST_RATIO
