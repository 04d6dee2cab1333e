"""Where a back is not clear yet: the places, how wide, and the share of the face that is clear; each with its uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from straightband.gauges.printed_grid.clearness import Clearness

CLEAR_ENOUGH = 0.5  # clearness: half the light unscattered, a sixth of full contrast for bands that cross the back twice
CLEARNESS_DOUBT = (
    0.08  # 95 %, of clearness near one half: five times the spread over rendered photographs, for lenses and focus unlike them
)
SMALLEST_PITCHES = 1.0  # a place under a square of this side cannot be told from a speck


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """A place that is not clear.

    Attributes
    ----------
    u_mm, v_mm
        Its centre of area.
    radius_mm, radius_uncertainty_mm
        Of the circle of the same area, and its 95 % uncertainty.
    centre_uncertainty_mm
        95 %, of each coordinate.
    width_mm
        Across the smallest circle that holds it.
    area_mm2
        Its area.
    clearness
        Least clearness in it.
    passed
        Share of light passed unscattered there.
    """

    u_mm: float
    v_mm: float
    radius_mm: float
    radius_uncertainty_mm: float
    centre_uncertainty_mm: float
    width_mm: float
    area_mm2: float
    clearness: float
    passed: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Clearing:
    """How far a back has cleared.

    Attributes
    ----------
    fraction, uncertainty
        Share of the face that is clear enough, and its 95 % uncertainty.
    zones
        The places that are not, the largest first.
    """

    fraction: float
    uncertainty: float
    zones: tuple[Zone, ...]


def clearing_of(clear: Clearness, *, outline_doubt: float, enough: float = CLEAR_ENOUGH) -> Clearing:
    """The share that is clear enough and the places that are not; `outline_doubt` is the 95 % relative one of the outline's axes."""
    step_mm2 = float((clear.u_mm[1] - clear.u_mm[0]) * (clear.v_mm[1] - clear.v_mm[0]))
    on_face = np.isfinite(clear.clearness)
    found, low, high = (_unclear(clear, below=enough + change) for change in (0.0, -CLEARNESS_DOUBT, CLEARNESS_DOUBT))
    face_area = float(on_face.sum())
    half = 0.5 * (high.sum() - low.sum()) / face_area
    zones = tuple(_zone(part, clear=clear, low=low, high=high, outline_doubt=outline_doubt) for part in _parts(found))
    rim = sum(2.0 * math.pi * zone.radius_mm * 0.1 * clear.pitch_mm for zone in zones) / (face_area * step_mm2)
    return Clearing(
        fraction=1.0 - float(found.sum()) / face_area,
        uncertainty=math.hypot(half, rim, 2.0 * outline_doubt * float(found.sum()) / face_area),
        zones=tuple(sorted(zones, key=lambda zone: -zone.area_mm2)),
    )


def _unclear(clear: Clearness, *, below: float) -> NDArray:
    """Where clearness is below a limit, without specks."""
    unclear = np.nan_to_num(clear.clearness, nan=1.0) < below
    step_mm = float(clear.u_mm[1] - clear.u_mm[0])
    smallest = (SMALLEST_PITCHES * clear.pitch_mm / step_mm) ** 2
    count, label, stats, _ = cv2.connectedComponentsWithStats(unclear.astype(np.uint8), connectivity=8)
    keep = np.zeros(count, dtype=bool)
    keep[1:] = stats[1:, cv2.CC_STAT_AREA] >= smallest
    return np.asarray(keep[label])


def _parts(unclear: NDArray) -> list[NDArray]:
    count, label = cv2.connectedComponents(unclear.astype(np.uint8), connectivity=8)
    return [label == number for number in range(1, count)]


def _zone(part: NDArray, *, clear: Clearness, low: NDArray, high: NDArray, outline_doubt: float) -> Zone:
    step_u, step_v = float(clear.u_mm[1] - clear.u_mm[0]), float(clear.v_mm[1] - clear.v_mm[0])
    rows, columns = np.nonzero(part)
    u, v = clear.u_mm[columns], clear.v_mm[rows]
    area = rows.size * step_u * step_v
    radius = math.sqrt(area / math.pi)
    # The border between the two limits, counted along this place only.
    near = cv2.dilate(part.astype(np.uint8), np.ones((3, 3), np.uint8), iterations=max(1, round(2.0 * clear.pitch_mm / step_u))) > 0
    between = 0.5 * float((high & near).sum() - (low & part).sum()) * step_u * step_v
    border = math.hypot(between / max(2.0 * math.pi * radius, 1e-9), 0.1 * clear.pitch_mm)
    _, enclosing = cv2.minEnclosingCircle(np.column_stack([u, v]).astype(np.float32))
    return Zone(
        u_mm=float(u.mean()),
        v_mm=float(v.mean()),
        radius_mm=radius,
        radius_uncertainty_mm=math.hypot(border, outline_doubt * radius),
        centre_uncertainty_mm=math.hypot(border, outline_doubt * clear.face.semi_major_mm),
        width_mm=2.0 * enclosing + step_u,
        area_mm2=area,
        clearness=float(np.percentile(clear.clearness[part], 5.0)),
        passed=float(np.percentile(clear.passed[part], 5.0)),
    )
