"""How far off normal the camera stood, as far as the outline tells.

A view off normal shortens the face along one direction. A circle or a rectangle shows that shortening outright; on an ellipse of known
proportions only its part along the axes changes the ratio, the rest merely turns the outline, so what remains is a distribution.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from straightband.face.shapes import Face, Shape
from straightband.photo.outline import Outline
from straightband.photo.plate import NEARLY_ROUND, Plate

LARGEST_TILT_DEG = 15.0  # of the views the program is made for; every smaller tilt is taken as equally likely

PLATE_STANDARD = 0.0012  # of the logarithm of a circle's shortening at the face: lens, and a circle that is nearer or farther on one side


@dataclass(frozen=True, slots=True, kw_only=True)
class Foreshortening:
    """The view off normal.

    Attributes
    ----------
    height_scale, height_scale_standard
        1 / cos(tilt), by which the height of a band is larger than in a square-on view, and its standard uncertainty.
    tilt_rad
        Root-mean-square tilt that goes with it.
    turn_standard_rad
        Standard uncertainty of the turn of the map within its outline, zero for shapes that show it.
    """

    height_scale: float
    height_scale_standard: float
    tilt_rad: float
    turn_standard_rad: float


def foreshortening(outline: Outline, face: Face) -> Foreshortening:
    """The view off normal that fits the outline's ratio, or the circle seen around it, with what stays unknown of it."""
    ratio = min(face.semi_u_mm, face.semi_v_mm) / face.semi_major_mm
    if outline.plate is not None:
        return _by_plate(outline.plate, ratio=ratio)
    # two axes with the same error each: the ratio's relative error is theirs combined
    noise = max(outline.standard_px * math.hypot(1.0 / outline.semi_major, 1.0 / outline.semi_minor), 2e-4)
    change = math.log(outline.semi_minor / outline.semi_major / ratio)
    tilt = np.radians(np.linspace(0.0, LARGEST_TILT_DEG, 91))[:, None]
    azimuth = np.radians(np.arange(0.5, 90.0, 1.0))[None, :]
    shortening = 1.0 - np.cos(tilt)
    seen = np.log(np.cos(tilt)) + 0.0 * azimuth if face.shape is Shape.ROUND else -shortening * np.cos(2.0 * azimuth)
    # an outline off by more than any tilt explains still gets the nearest one
    limit = float(1.0 - math.cos(math.radians(LARGEST_TILT_DEG)))
    weight = _odds((np.clip(change, -limit, limit) - seen) / noise)
    turns = face.shape is Shape.ELLIPSE and ratio <= NEARLY_ROUND
    turn = _turn(weight, shortening=shortening, azimuth=azimuth, ratio=ratio) if turns else 0.0
    return _over_tilts(weight, tilt=tilt, turn_standard_rad=turn)


def _by_plate(plate: Plate, *, ratio: float) -> Foreshortening:
    """The view that the shortening of a circle in the plane of the face shows outright."""
    longer, shorter = plate.axes_px()
    noise = math.hypot(plate.standard_px * math.hypot(1.0 / longer, 1.0 / shorter), PLATE_STANDARD)
    tilt = np.radians(np.linspace(0.0, LARGEST_TILT_DEG, 91))
    weight = _odds((math.log(shorter / longer) - np.log(np.cos(tilt))) / noise)
    return _over_tilts(weight, tilt=tilt, turn_standard_rad=noise / math.sqrt(2.0) * ratio / (1.0 - ratio**2))


def _odds(sigmas: NDArray) -> NDArray:
    """Share of each try that misses by so many standard deviations."""
    log_likelihood = -0.5 * sigmas**2
    weight = np.exp(log_likelihood - log_likelihood.max())
    return np.asarray(weight / weight.sum())


def _over_tilts(weight: NDArray, *, tilt: NDArray, turn_standard_rad: float) -> Foreshortening:
    scale = 1.0 / np.cos(tilt)
    mean = float(np.sum(weight * scale))
    return Foreshortening(
        height_scale=mean,
        height_scale_standard=math.sqrt(float(np.sum(weight * (scale - mean) ** 2))),
        tilt_rad=math.sqrt(float(np.sum(weight * tilt**2))),
        turn_standard_rad=turn_standard_rad,
    )


def _turn(weight: np.ndarray, *, shortening: np.ndarray, azimuth: np.ndarray, ratio: float) -> float:
    """Rms turn of the face within its outline: a shortening across the axes turns the singular directions (first order)."""
    turn = shortening * np.sin(2.0 * azimuth) * ratio / (1.0 - ratio**2)
    return math.sqrt(float(np.sum(weight * turn**2)))
