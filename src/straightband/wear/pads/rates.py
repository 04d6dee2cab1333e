"""How fast a piece wears at each distance from its centre, on pads whose place is only known by their distance from the plate's.

Plate and piece turn independently, so a point of the piece meets all of a circle of the plate alike, and what counts of the pads is the share
of each circle that they cover. The rate is that share, times speed, averaged over the poses, at even pressure; `wear/whole.py` gives it with the
pressure in balance and is asked for the numbers that are reported.

Sources
-------
Wear as pressure times speed: F. W. Preston, J. Soc. Glass Technol. 11, 214 (1927).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from straightband.wear.kinematics import Motion, from_top, poses_of, relative_speed_mm_s

RADII = 25
POSES = 1024
ANGLES = 12
BINS = 80  # of the plate's radius


@dataclass(frozen=True, slots=True, kw_only=True)
class Passing:
    """How a piece passes over the circles of a plate.

    Attributes
    ----------
    radius_mm
        (m,) distances from the centre of the piece, the first 0.
    edges_mm
        (k + 1,) radii between the circles of the plate.
    speed_mm_s
        (m, k): mean over all poses of the speed while a point at that distance is over that circle, 0 while it is not; a row sums to its mean speed.
    """

    radius_mm: NDArray
    edges_mm: NDArray
    speed_mm_s: NDArray


def passing_of(motion: Motion, *, reach_mm: float, plate_radius_mm: float) -> Passing:
    """How points up to `reach_mm` from the centre of the piece pass over the plate; beyond the plate there is nothing."""
    radius = np.linspace(0.0, reach_mm, RADII)
    turn = (np.arange(ANGLES) + 0.5) * 2.0 * math.pi / ANGLES
    u, v = (radius[:, None] * np.cos(turn)).ravel(), (radius[:, None] * np.sin(turn)).ravel()
    poses = poses_of(motion, count=POSES)
    x, y = from_top(poses, u_mm=u[None, :], v_mm=v[None, :])
    speed = relative_speed_mm_s(poses, x_mm=x, y_mm=y)
    edges = np.linspace(0.0, plate_radius_mm, BINS + 1)
    at = np.minimum((np.hypot(x, y) / plate_radius_mm * BINS).astype(int), BINS)
    row = np.repeat(np.arange(RADII), ANGLES)[None, :]
    table = np.bincount((row * (BINS + 1) + at).ravel(), weights=speed.ravel(), minlength=RADII * (BINS + 1))
    return Passing(radius_mm=radius, edges_mm=edges, speed_mm_s=table.reshape(RADII, BINS + 1)[:, :BINS] / (POSES * ANGLES))


def rates_of(covered: NDArray, passing: Passing) -> NDArray:
    """(m,) relative rates, mean 1, from the covered share (k,) of the plate's circles; even pressure."""
    rates = passing.speed_mm_s @ covered
    return np.asarray(rates / max(float(rates.mean()), 1e-12))


def unevenness(rates: NDArray) -> float:
    """Largest rate over the smallest; infinite where something is not worn at all."""
    least = float(rates.min())
    return float(rates.max()) / least if least > 0.0 else math.inf


def points_in(outline: Polygon, *, step_mm: float) -> NDArray:
    """(n, 2) points of a square raster inside an outline; each stands for area / n of it."""
    left, low, right, high = outline.bounds
    x, y = np.meshgrid(np.arange(left + step_mm / 2.0, right, step_mm), np.arange(low + step_mm / 2.0, high, step_mm))
    inside = shapely.contains_xy(outline, x.ravel(), y.ravel())
    return np.column_stack([x.ravel(), y.ravel()])[inside]


def circle_areas(points_mm: NDArray, *, area_mm2: float, edges_mm: NDArray) -> NDArray:
    """(k,) area that points standing for `area_mm2` together put between the circles of radii `edges_mm`."""
    counts, _ = np.histogram(np.hypot(points_mm[:, 0], points_mm[:, 1]), bins=edges_mm)
    return np.asarray(counts * (area_mm2 / len(points_mm)))


def covered_share(outlines: Sequence[Polygon], *, edges_mm: NDArray, step_mm: float) -> NDArray:
    """(k,) share of each ring of the plate that pads cover."""
    total = np.zeros(edges_mm.size - 1)
    for outline in outlines:
        total += circle_areas(points_in(outline, step_mm=step_mm), area_mm2=outline.area, edges_mm=edges_mm)
    return np.asarray(total / (math.pi * np.diff(edges_mm**2)))
