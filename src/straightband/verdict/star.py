"""The image of a star behind the mirror: the light in the focal plane, from the wavefront over the pupil (Fraunhofer).

Lengths in the image are in units of wavelength x focal ratio, in which a filled, perfect pupil has its first dark ring at 1.22.

Sources
-------
M. Born, E. Wolf, Principles of Optics, 7th ed. (1999), sections 8.5 and 9.1 (from memory): the integral over the pupil, and the Airy pattern.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from straightband.heightmap.map import HeightMap
from straightband.telescope.light_cone import Pupil, footprint, turned
from straightband.telescope.telescope import Mounting, Telescope, WideEnd
from straightband.verdict.strehl import refocused
from straightband.verdict.wavefront import continued, wavefront_nm

ACROSS = 128  # points of the pupil along a side; in waves, the phase between neighbours is far below one for any mirror worth a picture
REACH = 6.0  # wavelength x focal ratio shown to either side: five rings
POINTS = 121  # of the image along a side: ten to each such length


@dataclass(frozen=True, slots=True, kw_only=True)
class StarImage:
    """The image of one star at its least-squares focus.

    Attributes
    ----------
    intensity
        [y, x], over the peak that a perfect mirror of the same beam would give; y toward the focuser, before folding.
    at
        (POINTS,) places along either side, in wavelength x focal ratio.
    field_radius_mm
        Distance of the star's image from the middle of the field.
    """

    intensity: NDArray
    at: NDArray
    field_radius_mm: float


def star_image(
    height_map: HeightMap,
    *,
    telescope: Telescope,
    mounting: Mounting,
    wavelength_nm: float,
    field_radius_mm: float = 0.0,
    azimuth_deg: float = 0.0,
) -> StarImage:
    """The image of a star in one place of the field; offset and way round must be decided. Rays on unknown glass are left out."""
    x, y = _square()
    inside = (np.hypot(x, y) <= 1.0) & (np.hypot(x, y) >= telescope.obstruction_ratio)
    pupil = Pupil(x=x[inside], y=y[inside], weights=np.ones(int(inside.sum())))
    turn = math.radians(azimuth_deg)
    point = (field_radius_mm * math.cos(turn), field_radius_mm * math.sin(turn))
    rays = footprint(telescope, pupil=pupil, field_mm=point, offset_mm=mounting.offset_mm or 0.0)
    grid = continued(height_map)
    waves = wavefront_nm(grid.heights_nm, grid=grid, rays=turned(rays) if mounting.wide_end is WideEnd.MINUS_V else rays)
    known = np.isfinite(waves)
    lit = Pupil(x=pupil.x[known], y=pupil.y[known], weights=pupil.weights[known])
    light = np.zeros(inside.shape, dtype=complex)
    places = np.argwhere(inside)[known]
    light[places[:, 0], places[:, 1]] = np.exp(2j * np.pi / wavelength_nm * refocused(waves[None, known], pupil=lit)[0])
    return replace(image_of_pupil(light), field_radius_mm=field_radius_mm)


def image_of_pupil(light: NDArray) -> StarImage:
    """The image of complex light [y, x] on the square of pupil points, over the peak of the same light without its phase."""
    at = np.linspace(-REACH, REACH, POINTS)
    along = (np.arange(light.shape[0]) + 0.5) * 2.0 / light.shape[0] - 1.0
    # Pupil coordinate in radii, image in wavelength x focal ratio: the phase is pi x q.
    kernel = np.exp(-1j * np.pi * np.outer(at, along))
    field = kernel @ light @ kernel.T
    return StarImage(intensity=np.abs(field) ** 2 / np.abs(light).sum() ** 2, at=at, field_radius_mm=0.0)


def _square() -> tuple[NDArray, NDArray]:
    along = (np.arange(ACROSS) + 0.5) * 2.0 / ACROSS - 1.0
    x, y = np.meshgrid(along, along)
    return x, y
