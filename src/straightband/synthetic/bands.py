"""Light of the bands: two beams across the gap, a little of the third, and the width of the lamp's line.

Uncoated glass, air, glass: one of the two reflections is at the denser side, so contact is dark, and the light follows
1 - V cos(4 pi t cos(theta) / lambda) with the gap t and the angle theta in it (M. Born, E. Wolf, Principles of Optics, 7th ed.,
section 7.6, from memory).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from straightband.light.bands import led_contrast
from straightband.synthetic.scene import Scene


def gap_nm(scene: Scene, *, u_mm: NDArray, v_mm: NDArray) -> NDArray:
    """Air gap at points of the face: a high place of the glass makes it smaller."""
    half_band = scene.light.wavelength_nm / 4.0
    slope_u = scene.bands_u * half_band / scene.face.semi_u_mm
    slope_v = scene.bands_v * half_band / scene.face.semi_v_mm
    gap = slope_u * u_mm + slope_v * v_mm + scene.gap_nm
    gap -= scene.surface.heights_nm(u_mm, v_mm)
    if scene.reference is not None:
        gap -= scene.reference.heights_nm(u_mm, v_mm)
    return gap


def smallest_gap_nm(scene: Scene, *, points: int = 101) -> float:
    """Smallest gap inside the outline on a grid of `points` squared; below 0 the plates would pass through each other."""
    share = np.linspace(-1.0, 1.0, points)
    u_mm, v_mm = np.meshgrid(share * scene.face.semi_u_mm, share * scene.face.semi_v_mm)
    gap = gap_nm(scene, u_mm=u_mm, v_mm=v_mm)
    return float(gap[scene.face.contains(u_mm, v_mm)].min())


def contrast_at(scene: Scene, *, gap: NDArray) -> NDArray | float:
    """Contrast of the bands where the gap is `gap` nm: a Gaussian line lets it fade as the gap grows."""
    light = scene.light
    if not light.fwhm_nm:
        return light.contrast
    at_one_um = led_contrast(gap_um=1.0, wavelength_nm=light.wavelength_nm, fwhm_nm=light.fwhm_nm)
    return light.contrast * np.exp(math.log(at_one_um) * (gap / 1000.0) ** 2)


def band_light(scene: Scene, *, gap: NDArray, cos_incidence: NDArray | float, clear: NDArray | float) -> NDArray:
    """Light sent back, mean 1: `clear` scales the contrast (1 where the back is clear)."""
    phase = gap * (4.0 * math.pi / scene.light.wavelength_nm) * cos_incidence
    wave = np.cos(phase)
    if scene.light.second_harmonic:
        wave += scene.light.second_harmonic * (2.0 * wave * wave - 1.0)
    return 1.0 - contrast_at(scene, gap=gap) * clear * wave
