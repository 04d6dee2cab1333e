"""A camera that stands near sees the rim more obliquely than the middle, and a gap too small there: false power.

A film of gap t shows 2 t cos(theta) with 1 / cos(theta) = sqrt(1 + (r / L)^2) at r from the foot of a camera at L. Where the distance is known, what is
expected of it is taken back (JCGM 100:2008, 3.2.4), the least gap included: no gap is negative, so half of a normal distribution has a mean. What is not
known of gap and distance stays as doubt. Where the distance is only assumed nothing is taken back.

Sources
-------
The path in a film: M. Born, E. Wolf, Principles of Optics, 7th ed. (1999), section 7.6 (from memory); mean and variance of half a normal distribution and of
a distance whose logarithm is uniform: derived.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from straightband.fringes.budget import Cause, no_rows
from straightband.fringes.reading import PhaseReading
from straightband.uncertainty import COVERAGE_95

NEAR = "near camera"  # name of the cause
ASSUMED_LEAST_GAP_UM = 3.0  # 95 % limit: dust and burrs keep plates no farther apart; common practice, no source
COLOURS_TELL_NM = 100.0  # 95 % of a least gap that three colours tell: a twentieth of a band beside lamps known to 2 %
# In lengths of the face, where nobody told: few stand nearer, few farther; the bench rule for a tenth of a wave is ten. Common practice, no source.
NEAREST_CAMERA_DIAMETERS, FARTHEST_CAMERA_DIAMETERS = 7.0, 20.0
TOLD_TO = 0.05  # 95 %, of a distance that is told or follows from the file: common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """What is known of the camera.

    Attributes
    ----------
    distance_mm
        From the face; where it is only assumed, the nearest it may be.
    distance_origin
        How that is known.
    distance_known
        False where it is only assumed.
    distortion_share
        95 % limit of the lens distortion at the corner of the frame, as a share of the radius.
    size_px
        Width and height of the photograph.
    least_gap_nm
        The smallest gap on the face where colours tell it, or None.
    """

    distance_mm: float
    distance_origin: str
    distance_known: bool
    distortion_share: float
    size_px: tuple[int, int]
    least_gap_nm: float | None = None


def rms_nearness(camera: Camera) -> float:
    """Root mean square of 1 / L over the distances possible, in 1 / mm; the logarithm of a distance assumed is uniform."""
    if camera.distance_known:
        return 1.0 / camera.distance_mm
    ratio = FARTHEST_CAMERA_DIAMETERS / NEAREST_CAMERA_DIAMETERS
    return math.sqrt((1.0 - ratio**-2) / (2.0 * math.log(ratio))) / camera.distance_mm


def _half_square(camera: Camera) -> tuple[float, float]:
    """What is taken back of 1 / (2 L^2), and the expanded uncertainty (95 %) of it, in 1 / mm^2."""
    square = camera.distance_mm**-2
    return (0.5 * square, TOLD_TO * square) if camera.distance_known else (0.0, 0.5 * square)


def _least_gap_nm(camera: Camera) -> tuple[float, float]:
    """Least gap that is expected and its expanded uncertainty (95 %): what colours told, else half of a normal distribution."""
    if camera.least_gap_nm is not None:
        return camera.least_gap_nm, COLOURS_TELL_NM
    spread = 1000.0 * ASSUMED_LEAST_GAP_UM / COVERAGE_95
    return spread * math.sqrt(2.0 / math.pi), COVERAGE_95 * spread * math.sqrt(1.0 - 2.0 / math.pi)


def gap_nm(phase_rad: NDArray, *, u_mm: NDArray, v_mm: NDArray, depth: NDArray, camera: Camera, nm_per_rad: float, sense: int) -> NDArray:
    """The gap from the phase, like `phase_rad`, what the camera's nearness takes off given back.

    Counted from the least gap that is expected; with `sense` 0, where the smallest can't be told from the largest, change of the gap from the middle.
    `depth` is how far each place lies from the camera, of the middle of the face: 1 / cos(theta) grows with it.
    """
    gap = (sense or 1) * nm_per_rad * phase_rad
    start = np.nanmin(gap) - _least_gap_nm(camera)[0] if sense else 0.5 * (np.nanmin(gap) + np.nanmax(gap))
    beside_axis = np.hypot(1.0, np.hypot(u_mm, v_mm) / camera.distance_mm) if camera.distance_known else 1.0
    return (gap - start) * depth * beside_axis


def near_camera(reading: PhaseReading, *, camera: Camera, nm_per_rad: float, sense: int) -> Cause:
    """What `gap_nm` could not take back, t r^2 / (2 L^2): first the whole gap times what is not known of L, then what is not known of the least gap.

    With `sense` 0 the gap in the middle, of which only the limit is known, takes the place of the least gap.
    """
    points = reading.points
    square = points.u_mm**2 + points.v_mm**2
    change = reading.cell_phase_rad * nm_per_rad
    mean, expanded = _half_square(camera)
    least, least_expanded = _least_gap_nm(camera)
    if sense:
        gap, unknown, share = least + sense * change - np.min(sense * change), least_expanded, math.hypot(mean, expanded / COVERAGE_95)
    else:
        half = 0.5 * float(np.ptp(change))
        gap, unknown = change - np.min(change) - half, half + 1000.0 * ASSUMED_LEAST_GAP_UM
        share = math.hypot(mean, expanded)
    modes = np.stack([expanded * square * gap, share * square * unknown])
    dust = (
        f"least gap up to {ASSUMED_LEAST_GAP_UM:g} um"
        if camera.least_gap_nm is None
        else f"least gap {least / 1000.0:.2f} um by the colours"
    )
    return Cause(name=NEAR, origin=f"{dust}, camera {camera.distance_origin}", modes_nm=modes, draws_nm=no_rows(points))
