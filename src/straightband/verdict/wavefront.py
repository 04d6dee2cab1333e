"""The wavefront that a diagonal gives the beam of one star: W = 2 h cos(theta), theta being each ray's own angle of incidence.

At 45 degrees that is sqrt(2) h; across a converging cone it departs from it by up to the half angle of the cone in radians (2.5 % for f/20,
12 % for f/4), with the opposite sign at the two ends of the mirror. W is to first order in h, which is a ten-millionth of the mirror.

Sources
-------
Path saved by a reflector that is raised by h along its normal: derived, elementary geometry.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from straightband.heightmap.figures import sample
from straightband.heightmap.map import HeightMap
from straightband.telescope.light_cone import Footprint

_PAD = 2  # rows and columns added all round, so that the last rays before the rim have four heights about them
_REACH = 1.5  # pixels over which heights are continued: the diagonal neighbour, no further


def continued(height_map: HeightMap) -> HeightMap:
    """The map with its heights carried on in a straight line for one pixel past the rim and into holes, on a grid padded to hold them.

    Without this a ray that meets good glass within a pixel of the rim would be lost. Heights off the clear aperture are not used.
    """
    valid = np.pad(height_map.valid, _PAD)
    return replace(
        height_map,
        heights_nm=continued_heights(height_map.heights_nm, height_map=height_map),
        uncertainty_nm=np.where(valid, np.pad(height_map.uncertainty_nm, _PAD, mode="edge"), np.nan),
        u_mm=_longer(height_map.u_mm),
        v_mm=_longer(height_map.v_mm),
    )


def _longer(axis_mm: NDArray) -> NDArray:
    step = axis_mm[1] - axis_mm[0]
    more = step * np.arange(1, _PAD + 1)
    return np.concatenate([axis_mm[0] - more[::-1], axis_mm, axis_mm[-1] + more])


def continued_heights(heights_nm: NDArray, *, height_map: HeightMap) -> NDArray:
    """Heights [..., v, u] on the map's grid, padded and carried on as `continued` does; linear in the heights."""
    valid = np.pad(height_map.valid, _PAD)
    heights = np.pad(heights_nm, [(0, 0)] * (heights_nm.ndim - 2) + [(_PAD, _PAD)] * 2, constant_values=np.nan)
    heights[..., ~valid] = np.nan
    distance, (near_i, near_j) = distance_transform_edt(~valid, return_indices=True)
    i, j = np.nonzero(~valid & (distance <= _REACH))
    p, q = near_i[i, j], near_j[i, j]
    # As far beyond the nearest known height as the wanted point lies before it.
    far_i, far_j = np.clip(2 * p - i, 0, valid.shape[0] - 1), np.clip(2 * q - j, 0, valid.shape[1] - 1)
    slope = np.where(valid[far_i, far_j], heights[..., p, q] - heights[..., far_i, far_j], 0.0)
    out = heights.copy()
    out[..., i, j] = heights[..., p, q] + slope
    return out


def wavefront_nm(heights_nm: NDArray, *, grid: HeightMap, rays: Footprint) -> NDArray:
    """Wavefront (..., n) from heights [..., v, u] on the grid of a `continued` map; NaN for rays that miss the clear aperture or a height."""
    clear = grid.clear.contains(rays.u_mm, rays.v_mm)
    heights = sample(heights_nm, grid, u_mm=rays.u_mm, v_mm=rays.v_mm)
    return np.where(clear, 2.0 * heights * rays.cos_incidence, np.nan)
