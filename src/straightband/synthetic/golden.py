"""One elliptical face with five known terms and its bands: small enough to check by hand, used from the surface to the verdict.

Coordinates are those of the ellipse polynomials: x along the major axis, unit the semi-major axis, y along the minor axis. The terms
E_j are the orthonormal polynomials of V. N. Mahajan and G.-m. Dai, J. Opt. Soc. Am. A 24, 2994-3016 (2007).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from straightband.face.polynomials import ellipse_polynomials
from straightband.face.shapes import ellipse
from straightband.synthetic.scene import BandLight, Scene, Sensor, Surround, View
from straightband.synthetic.surfaces import Surface, coefficients_of

ASPECT = 1.0 / math.sqrt(2.0)
WAVELENGTH_NM = 546.074
TERMS_NM = {4: 25.0, 5: 6.0, 6: 10.0, 8: 4.0, 11: 7.0}
_CENTRE_GAP_NM, _WEDGE_X_NM, _WEDGE_Y_NM = 1500.0, 900.0, 350.0
_MEAN, _SWING = 0.5, 0.35


@dataclass(frozen=True, slots=True, kw_only=True)
class GoldenPhotograph:
    """Linear light of the golden face before a dark surround.

    Attributes
    ----------
    light
        [row, col], x to the right, y up (row 0 is the largest y), noise added, not clipped.
    inside
        True on the face, same shape.
    x, y
        Coordinates of the columns and rows, in semi-major axes.
    semi_major_px
        Length of the semi-major axis; the centre lies in the middle of the picture.
    """

    light: NDArray
    inside: NDArray
    x: NDArray
    y: NDArray
    semi_major_px: float


def golden_heights_nm(x: NDArray, y: NDArray) -> NDArray:
    """Heights of the golden face, any common shape of x and y."""
    polynomials = ellipse_polynomials(x, y, aspect=ASPECT)
    return sum((c * polynomials[j - 1] for j, c in TERMS_NM.items()), start=np.zeros_like(polynomials[0]))


def golden_gap_nm(x: NDArray, y: NDArray) -> NDArray:
    """Gap over the golden face; it opens toward +x, and a high place makes it smaller."""
    return _CENTRE_GAP_NM + _WEDGE_X_NM * x + _WEDGE_Y_NM * y - golden_heights_nm(x, y)


def golden_light(x: NDArray, y: NDArray) -> NDArray:
    """Light of the golden face without noise, dark at contact."""
    return _MEAN - _SWING * np.cos(4.0 * np.pi * golden_gap_nm(x, y) / WAVELENGTH_NM)


def golden_photograph(
    *, rng: np.random.Generator, pixels_inside: int = 100_000, noise: float = 0.02, surround: float = 0.02
) -> GoldenPhotograph:
    """The golden face with about `pixels_inside` pixels on it, white noise of standard deviation `noise` on every pixel."""
    semi_major_px = math.sqrt(pixels_inside / (math.pi * ASPECT))
    half_width, half_height = math.ceil(1.15 * semi_major_px), math.ceil(1.25 * ASPECT * semi_major_px)
    x = np.arange(-half_width, half_width + 1) / semi_major_px
    y = np.arange(half_height, -half_height - 1, -1) / semi_major_px
    x_grid, y_grid = np.meshgrid(x, y)
    inside = x_grid**2 + (y_grid / ASPECT) ** 2 <= 1.0
    light = np.where(inside, golden_light(x_grid, y_grid), surround)
    light += noise * rng.standard_normal(light.shape)
    return GoldenPhotograph(light=light, inside=inside, x=x, y=y, semi_major_px=semi_major_px)


def golden_scene(*, minor_mm: float = 90.0, width_px: int = 1600, height_px: int = 1200) -> Scene:
    """The golden face as a scene to be photographed: x along +v, which points right in the picture, y along -u, which points up."""
    face = ellipse(minor_mm=minor_mm)
    unit = face.semi_v_mm
    terms = coefficients_of(face, lambda u, v: golden_heights_nm(v / unit, -u / unit), order=4)
    band_nm = WAVELENGTH_NM / 2.0
    return Scene(
        surface=Surface(face=face, coefficients_nm=terms),
        bands_u=-2.0 * _WEDGE_Y_NM * ASPECT / band_nm,
        bands_v=2.0 * _WEDGE_X_NM / band_nm,
        gap_nm=_CENTRE_GAP_NM,
        light=BandLight(wavelength_nm=WAVELENGTH_NM, fwhm_nm=0.0, contrast=_SWING / _MEAN),
        view=View(
            width_px=width_px,
            height_px=height_px,
            scale_px_per_mm=0.4 * width_px / unit,
            centre_x_px=(width_px - 1) / 2.0,
            centre_y_px=(height_px - 1) / 2.0,
            rotation_deg=-90.0,
        ),
        surround=Surround(level=0.04),
        sensor=Sensor(exposure=_MEAN, read_noise=0.02, full_well=math.inf),
    )
