"""Which way the phase counts: from what the person knows of the gap to the sign of the height."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from straightband.fringes.reading import PhaseReading
from straightband.heightmap.figures import many_figures
from straightband.light.sign import clock_direction
from straightband.photo.rectify import SquarePicture

LEAST_TILT_BANDS = 0.5  # across the face; less could be figure rather than wedge
LARGEST_MISS_DEG = 60.0  # a clock hour farther from the wedge than this decides nothing
LEAST_RING_BANDS = 0.4  # of power, centre to rim


def gap_sense_from_clock(reading: PhaseReading, picture: SquarePicture, *, hour: float) -> int:
    """+1 if the phase grows with the gap, -1 if it falls, 0 if the clock hour of the thicker side decides nothing."""
    slope = _tilt(reading)
    semi = np.array([reading.points.clear.semi_u_mm, reading.points.clear.semi_v_mm])
    if 2.0 * float(np.hypot(*(slope * semi))) / (2.0 * math.pi) < LEAST_TILT_BANDS:
        return 0
    toward = _photo_direction(picture, slope=slope)
    right, up = clock_direction(hour)
    cosine = float(toward @ np.array([right, up]))
    return 0 if abs(cosine) < math.cos(math.radians(LARGEST_MISS_DEG)) else (1 if cosine > 0 else -1)


def gap_sense_from_rings(reading: PhaseReading, *, thicker_outside: bool) -> int:
    """+1 if the phase grows with the gap, -1 if it falls, 0 if there are no closed rings to decide it by."""
    power = float(many_figures(reading.points, reading.cell_phase_rad[None])["power_nm"][0])
    if abs(power) / (2.0 * math.pi) < LEAST_RING_BANDS:
        return 0
    grows_outward = power < 0.0
    return 1 if grows_outward == thicker_outside else -1


def thicker_side(reading: PhaseReading, picture: SquarePicture, *, sense: int) -> float | str:
    """Clock hour in the upright photograph toward which the gap grows, or for rings `in` or `out`; `sense` is +1 if the phase grows with the gap."""
    slope = sense * _tilt(reading)
    semi = np.array([reading.points.clear.semi_u_mm, reading.points.clear.semi_v_mm])
    if 2.0 * float(np.hypot(*(slope * semi))) / (2.0 * math.pi) < LEAST_TILT_BANDS:
        power = float(many_figures(reading.points, reading.cell_phase_rad[None])["power_nm"][0])
        return "out" if sense * power < 0.0 else "in"
    right, up = _photo_direction(picture, slope=slope)
    return math.degrees(math.atan2(right, up)) / 30.0 % 12.0


def gap_sense_from_press(before: PhaseReading, after: PhaseReading, *, picture: SquarePicture, hour: float) -> int:
    """+1 if the phases grow with the gap, -1 if they fall, 0 if pressing the rim at that clock hour between them decides nothing.

    A finger on the rim closes the gap there, so the gap's slope changes away from it. Both phases must count the same way; `picture` is either's.
    """
    change = _tilt(after) - _tilt(before)
    semi = np.array([before.points.clear.semi_u_mm, before.points.clear.semi_v_mm])
    if 2.0 * float(np.hypot(*(change * semi))) / (2.0 * math.pi) < LEAST_TILT_BANDS:
        return 0
    away = float(_photo_direction(picture, slope=change) @ np.array(clock_direction(hour)))
    return 0 if abs(away) < math.cos(math.radians(LARGEST_MISS_DEG)) else (-1 if away > 0 else 1)


def _tilt(reading: PhaseReading) -> NDArray:
    """Slope of the phase over the face, rad per mm along u and v."""
    points = reading.points
    terms = np.stack([np.ones_like(points.u_mm), points.u_mm, points.v_mm])
    weighted = terms * points.area
    return np.linalg.solve(weighted @ terms.T, weighted @ reading.cell_phase_rad)[1:]


def _photo_direction(picture: SquarePicture, *, slope: NDArray) -> NDArray:
    """Unit vector (right, up) in the photograph along which a phase with this slope on the face grows fastest."""
    semi = np.array([picture.face.semi_u_mm, picture.face.semi_v_mm])
    linear = picture.face_to_pixels[:2, :2] / picture.face_to_pixels[2, 2] / semi
    in_photo = np.linalg.solve(linear.T, slope)
    toward = np.array([in_photo[0], -in_photo[1]])
    return toward / np.hypot(*toward)
