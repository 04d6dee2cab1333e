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

from straightband.errors import RecordUnreadable
from straightband.face.polynomials import face_polynomials, noll_to_nm
from straightband.face.shapes import Face, Shape
from straightband.heightmap.map import HeightMap

EDGE_ZONE_MM = 5.0  # width of the rim zone whose mean level is reported as the edge
EDGE_ZONE_SHARE = 0.2  # of the shorter half extent: the zone of a small face is narrower

NAMES = ("pv_nm", "rms_nm", "power_nm", "astigmatism_nm", "irregularity_pv_nm", "irregularity_rms_nm", "edge_nm")


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Points:
    """Places on a clear aperture where heights are known.

    Attributes
    ----------
    u_mm, v_mm
        (n,) coordinates.
    area
        (n,) share of the aperture each stands for, any unit.
    clear
        The aperture.
    """

    u_mm: NDArray
    v_mm: NDArray
    area: NDArray
    clear: Face


def points_of(height_map: HeightMap) -> tuple[Points, NDArray]:
    """The valid points of a map, of equal area, and their heights (n,)."""
    u, v, h = height_map.points()
    return Points(u_mm=u, v_mm=v, area=np.ones_like(u), clear=height_map.clear), h


def _points_to_the_rim(height_map: HeightMap) -> tuple[Points, NDArray]:
    """The same, and of a rectangle also points on its rim, of no area, to which the last two heights carry on.

    An edge turned along two sides ends in a tip at the corner, and no pixel's middle lies there, while along a curved rim some pixel's nearly does.
    """
    points, h = points_of(height_map)
    if height_map.face.shape is not Shape.RECTANGLE:
        return points, h
    rim_u, rim_v, rim_h = _rim_carried_on(height_map)
    area = np.r_[points.area, np.zeros_like(rim_u)]
    return replace(points, u_mm=np.r_[points.u_mm, rim_u], v_mm=np.r_[points.v_mm, rim_v], area=area), np.r_[h, rim_h]


def _rim_carried_on(height_map: HeightMap) -> tuple[NDArray, NDArray, NDArray]:
    """Places u, v and heights (n,) on the rim of a rectangular clear aperture, carried on from the two heights next to it."""
    clear = height_map.clear
    heights = np.where(height_map.valid, height_map.heights_nm, np.nan)
    u_mm, heights = _carried_on(height_map.u_mm, heights, reach_mm=clear.semi_u_mm)
    v_mm, turned = _carried_on(height_map.v_mm, heights.T, reach_mm=clear.semi_v_mm)
    rim = np.isfinite(turned.T)
    rim[1:-1, 1:-1] = False
    rows, columns = np.nonzero(rim)
    return u_mm[columns], v_mm[rows], turned.T[rim]


def _carried_on(axis_mm: NDArray, heights: NDArray, *, reach_mm: float) -> tuple[NDArray, NDArray]:
    """The axis and heights [..., axis] within the reach, with one more on either side that lies on it; NaN there if the map ends farther off."""
    kept = np.flatnonzero(np.abs(axis_mm) <= reach_mm)
    if kept.size < 2:
        return axis_mm, np.full_like(heights, np.nan)
    axis_mm, heights = axis_mm[kept], heights[:, kept]
    step = axis_mm[1] - axis_mm[0]
    shares = np.array([reach_mm + axis_mm[0], reach_mm - axis_mm[-1]]) / step
    ends = heights[:, [0, -1]] + (heights[:, [0, -1]] - heights[:, [1, -2]]) * np.where(shares <= 1.0, shares, np.nan)
    return np.r_[-reach_mm, axis_mm, reach_mm], np.column_stack([ends[:, 0], heights, ends[:, 1]])


def figures(height_map: HeightMap) -> Figures:
    """All figures of a map over its clear aperture."""
    points, h = _points_to_the_rim(height_map)
    return Figures(**{name: float(value[0]) for name, value in many_figures(points, h[None]).items()})


def many_figures(points: Points, heights_nm: NDArray) -> dict[str, NDArray]:
    """Figures of several surfaces at once: a dict from the names of `Figures` to (k,) arrays, from heights (k, n)."""
    return _figures_of(_parts(points, heights_nm), points=points)


def figures_of_sums(points: Points, heights_nm: NDArray, *, modes_nm: NDArray, factors: NDArray) -> dict[str, NDArray]:
    """`many_figures` of the surface heights (n,) with each of several sums (k, m) of the same modes (m, n) added, for a third of the work."""
    mixture = np.concatenate([np.ones((len(factors), 1)), factors], axis=1)
    parts = _parts(points, np.concatenate([heights_nm[None], modes_nm]))
    return _figures_of([mixture @ part for part in parts], points=points)


def _parts(points: Points, heights_nm: NDArray) -> list[NDArray]:
    """What figures are taken from, all linear in the heights: heights less tilt, less sphere, coefficients of sphere and quadratic, edge."""
    a = points.clear.semi_major_mm
    x, y = points.u_mm / a, points.v_mm / a
    terms = np.stack([np.ones_like(x), x, y, x * x + y * y, x * x - y * y, 2.0 * x * y])
    flat = heights_nm - _fit(terms[:3], heights_nm, area=points.area) @ terms[:3]
    sphere = _fit(terms[:4], flat, area=points.area)
    irregular = flat - sphere @ terms[:4]
    quadratic = _fit(terms, flat, area=points.area)
    return [flat, irregular, sphere, quadratic, _edge(points, flat)]


def _figures_of(parts: list[NDArray], *, points: Points) -> dict[str, NDArray]:
    flat, irregular, sphere, quadratic, edge_nm = parts
    return {
        "pv_nm": np.ptp(flat, axis=1),
        "rms_nm": _rms(flat, area=points.area),
        "power_nm": -sphere[:, 3],
        "astigmatism_nm": 2.0 * np.hypot(quadratic[:, 4], quadratic[:, 5]),
        "astigmatism_axis_deg": np.degrees(0.5 * np.arctan2(quadratic[:, 5], quadratic[:, 4])) % 180.0,
        "irregularity_pv_nm": np.ptp(irregular, axis=1),
        "irregularity_rms_nm": _rms(irregular, area=points.area),
        "edge_nm": edge_nm,
        "edge_zone_mm": np.full(len(flat), _edge_zone_mm(points.clear)),
    }


def _fit(terms: NDArray, heights: NDArray, *, area: NDArray) -> NDArray:
    """Area-weighted least-squares coefficients (k, t) of heights (k, n) on terms (t, n); raises RecordUnreadable where the points are too few or on one line."""
    weighted = terms * area
    try:
        return np.linalg.solve(weighted @ terms.T, weighted @ heights.T).T
    except np.linalg.LinAlgError:
        raise RecordUnreadable(
            found="the map has too few heights, or all of them on one line",
            needed="heights that span its face are needed",
            remedy="save the map again, or read the photograph again",
        ) from None


def _rms(heights: NDArray, *, area: NDArray) -> NDArray:
    return np.sqrt(heights**2 @ area / np.sum(area))


def _edge_zone_mm(clear: Face) -> float:
    return min(EDGE_ZONE_MM, EDGE_ZONE_SHARE * min(clear.semi_u_mm, clear.semi_v_mm))


def _edge(points: Points, flat: NDArray) -> NDArray:
    clear = points.clear
    rim = clear.normalised_radius(points.u_mm, points.v_mm) > 1.0 - _edge_zone_mm(clear) / min(clear.semi_u_mm, clear.semi_v_mm)
    quadratic = face_polynomials(points.u_mm, points.v_mm, face=clear, order=2)
    inner = _fit(quadratic[:, ~rim], flat[:, ~rim], area=points.area[~rim])
    return (flat[:, rim] - inner @ quadratic[:, rim]) @ points.area[rim] / np.sum(points.area[rim])


def without_tilt(height_map: HeightMap) -> HeightMap:
    """The map less its least-squares plane over the clear aperture."""
    points, h = points_of(height_map)
    c = _fit(np.stack([np.ones_like(h), points.u_mm, points.v_mm]), h[None], area=points.area)[0]
    plane = c[0] + c[1] * height_map.u_mm[None, :] + c[2] * height_map.v_mm[:, None]
    return replace(height_map, heights_nm=height_map.heights_nm - plane)


def profile(
    height_map: HeightMap, *, start_mm: tuple[float, float], end_mm: tuple[float, float], count: int = 200
) -> tuple[NDArray, NDArray]:
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
    value = (1 - fy) * ((1 - fx) * values[..., i, j] + fx * values[..., i, j + 1]) + fy * (
        (1 - fx) * values[..., i + 1, j] + fx * values[..., i + 1, j + 1]
    )
    return np.where(inside, value, np.nan)


def fitted_heights(face: Face, coefficients_nm: NDArray, *, u_mm: NDArray, v_mm: NDArray) -> NDArray:
    """Heights [v, u] of a sum of the face's orthonormal polynomials, NaN off the face."""
    uu, vv = np.meshgrid(u_mm, v_mm)
    basis = face_polynomials(uu, vv, face=face, order=noll_to_nm(len(coefficients_nm))[0])[: len(coefficients_nm)]
    return np.where(face.contains(uu, vv), np.tensordot(coefficients_nm, basis, axes=1), np.nan)
