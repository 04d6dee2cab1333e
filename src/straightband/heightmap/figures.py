"""PV, RMS, power, astigmatism, irregularity, edge and profile of a height map.

All are taken after removing piston and tilt over the clear aperture. Power is that of the least-squares sphere fitted on the face's own
outline: on an ellipse a cylinder along the major axis reads as 91 % power, not 50 %.

Sources
-------
ISO 10110-5 and ISO 14999-4 for sagitta error, irregularity and their rms (as summarised in public tables; the text was not seen).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from straightband.face.polynomials import face_polynomials, noll_to_nm
from straightband.face.shapes import Face
from straightband.heightmap.map import HeightMap

EDGE_ZONE_MM = 5.0  # width of the rim zone whose mean level is reported as the edge


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """What a map comes to, in the numbers opticians use.

    Attributes
    ----------
    pv_nm, rms_nm
        Peak to valley and rms after piston and tilt.
    power_nm
        Least-squares sphere: centre above the end of the clear aperture's major axis; positive is convex.
    astigmatism_nm, astigmatism_axis_deg
        Difference of the sags along the two principal directions over the semi-major axis, and the direction that stands highest
        at the rim, counted from +u toward +v, 0 to 180.
    irregularity_pv_nm, irregularity_rms_nm
        After the sphere is removed as well.
    edge_nm
        Mean height of the last `edge_zone_mm` of the clear aperture above what the quadratic figure of the rest predicts; negative is turned down.
    edge_zone_mm
        Width of that zone.
    """

    pv_nm: float
    rms_nm: float
    power_nm: float
    astigmatism_nm: float
    astigmatism_axis_deg: float
    irregularity_pv_nm: float
    irregularity_rms_nm: float
    edge_nm: float
    edge_zone_mm: float


def _fit(columns: list[NDArray], h: NDArray) -> NDArray:
    basis = np.stack(columns)
    return np.linalg.solve(basis @ basis.T, basis @ h)


def without_tilt(height_map: HeightMap) -> HeightMap:
    """The map less its least-squares plane over the clear aperture."""
    u, v, h = height_map.points()
    c = _fit([np.ones_like(u), u, v], h)
    plane = c[0] + c[1] * height_map.u_mm[None, :] + c[2] * height_map.v_mm[:, None]
    return replace(height_map, heights_nm=height_map.heights_nm - plane)


def figures(height_map: HeightMap) -> Figures:
    """All figures of a map over its clear aperture."""
    u, v, h = height_map.points()
    return point_figures(u, v, h, clear=height_map.clear)


def point_figures(u_mm: NDArray, v_mm: NDArray, heights_nm: NDArray, *, clear: Face) -> Figures:
    """All figures from heights (n,) at evenly spread points (n,) of the clear aperture."""
    a = clear.semi_major_mm
    x, y = u_mm / a, v_mm / a
    one, rho2 = np.ones_like(x), x * x + y * y
    plane = [one, x, y]
    flat = heights_nm - np.stack(plane, axis=1) @ _fit(plane, heights_nm)
    sphere = [*plane, rho2]
    c = _fit(sphere, flat)
    irregular = flat - np.stack(sphere, axis=1) @ c
    _, _, _, _, p, q = _fit([*sphere, x * x - y * y, 2.0 * x * y], flat)
    edge_nm, zone_mm = _edge(u_mm, v_mm, flat, clear=clear)
    return Figures(
        pv_nm=float(np.ptp(flat)),
        rms_nm=float(np.sqrt(np.mean(flat**2))),
        power_nm=float(-c[3]),
        astigmatism_nm=float(2.0 * math.hypot(p, q)),
        astigmatism_axis_deg=float(math.degrees(0.5 * math.atan2(q, p)) % 180.0),
        irregularity_pv_nm=float(np.ptp(irregular)),
        irregularity_rms_nm=float(np.sqrt(np.mean(irregular**2))),
        edge_nm=edge_nm,
        edge_zone_mm=zone_mm,
    )


def _edge(u_mm: NDArray, v_mm: NDArray, h: NDArray, *, clear: Face) -> tuple[float, float]:
    semi = min(clear.semi_u_mm, clear.semi_v_mm)
    zone_mm = min(EDGE_ZONE_MM, 0.2 * semi)
    rim = clear.normalised_radius(u_mm, v_mm) > 1.0 - zone_mm / semi
    quadratic = face_polynomials(u_mm, v_mm, face=clear, order=2)
    c = np.linalg.lstsq(quadratic[:, ~rim].T, h[~rim], rcond=None)[0]
    return float(np.mean(h[rim] - c @ quadratic[:, rim])), zone_mm


def profile(height_map: HeightMap, *, start_mm: tuple[float, float], end_mm: tuple[float, float], count: int = 200) -> tuple[NDArray, NDArray]:
    """Distance in mm and height in nm along a straight line between two points (u, v) of the face; NaN off the map."""
    t = np.linspace(0.0, 1.0, count)
    u = start_mm[0] + t * (end_mm[0] - start_mm[0])
    v = start_mm[1] + t * (end_mm[1] - start_mm[1])
    distance = t * math.hypot(end_mm[0] - start_mm[0], end_mm[1] - start_mm[1])
    return distance, sample(height_map.heights_nm, height_map, u_mm=u, v_mm=v)


def sample(values: NDArray, height_map: HeightMap, *, u_mm: NDArray, v_mm: NDArray) -> NDArray:
    """`values` [..., v, u] on the map's grid, read bilinearly at points (n,) of the face; NaN outside the grid or next to missing values."""
    du, dv = height_map.u_mm[1] - height_map.u_mm[0], height_map.v_mm[1] - height_map.v_mm[0]
    x, y = (u_mm - height_map.u_mm[0]) / du, (v_mm - height_map.v_mm[0]) / dv
    rows, cols = values.shape[-2:]
    inside = (x >= 0) & (x <= cols - 1) & (y >= 0) & (y <= rows - 1)
    i, j = np.clip(np.floor(y), 0, rows - 2).astype(int), np.clip(np.floor(x), 0, cols - 2).astype(int)
    fy, fx = np.clip(y - i, 0, 1), np.clip(x - j, 0, 1)
    value = (1 - fy) * ((1 - fx) * values[..., i, j] + fx * values[..., i, j + 1]) + fy * ((1 - fx) * values[..., i + 1, j] + fx * values[..., i + 1, j + 1])
    return np.where(inside, value, np.nan)


def fitted_heights(face: Face, coefficients_nm: NDArray, *, u_mm: NDArray, v_mm: NDArray) -> NDArray:
    """Heights [v, u] of a sum of the face's orthonormal polynomials, NaN off the face."""
    order = noll_to_nm(len(coefficients_nm))[0]
    uu, vv = np.meshgrid(u_mm, v_mm)
    basis = face_polynomials(uu, vv, face=face, order=order)[: len(coefficients_nm)]
    return np.where(face.contains(uu, vv), np.tensordot(coefficients_nm, basis, axes=1), np.nan)

