"""A plate's whole face as heights on a square grid, and how two grids look at each other."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from straightband.face.shapes import Face

_JUST_INSIDE = 1.0 - 1e-6
_FINER = 5  # parts that each side of a cell is cut into to find how much of it lies on the face


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """One face of a plate.

    Attributes
    ----------
    face
        Its outline.
    u_mm, v_mm
        (n,) each: middles of the cells, spread over the outline's extent.
    heights_um
        (n, n) as [v, u]; a hill is positive. Values off the face mean nothing.
    areas_mm2
        (n, n) area of each cell that lies on the face.
    cover
        (n, n) share of each cell that carries contact: 1 for a plain face, less where pads leave gaps.
    """

    face: Face
    u_mm: NDArray
    v_mm: NDArray
    heights_um: NDArray
    areas_mm2: NDArray
    cover: NDArray


def flat_surface(face: Face, *, cells: int) -> Surface:
    """A plain flat face on `cells` by `cells`."""
    u, v = (semi * _middles(cells) for semi in (face.semi_u_mm, face.semi_v_mm))
    fine_u, fine_v = (semi * _middles(cells * _FINER) for semi in (face.semi_u_mm, face.semi_v_mm))
    inside = face.contains(fine_u[None, :], fine_v[:, None]).astype(float)
    share = inside.reshape(cells, _FINER, cells, _FINER).mean(axis=(1, 3))
    areas = share * (2.0 * face.semi_u_mm / cells) * (2.0 * face.semi_v_mm / cells)
    return Surface(face=face, u_mm=u, v_mm=v, heights_um=np.zeros_like(areas), areas_mm2=areas, cover=np.ones_like(areas))


def spherical_surface(face: Face, *, cells: int, sag_um: float) -> Surface:
    """A face that is part of a sphere: centre that much above the end of the longer half axis."""
    flat = flat_surface(face, cells=cells)
    return replace(flat, heights_um=-sag_um * (flat.u_mm[None, :] ** 2 + flat.v_mm[:, None] ** 2) / face.semi_major_mm**2)


def places_on(surface: Surface) -> tuple[NDArray, NDArray]:
    """(1, n x n) each: where each cell stands, u and v. One whose middle lies just off the face stands on the outline beside it."""
    u, v = np.meshgrid(surface.u_mm, surface.v_mm)
    out = np.maximum(surface.face.normalised_radius(u, v) / _JUST_INSIDE, 1.0)
    return (u / out).ravel()[None, :], (v / out).ravel()[None, :]


def looked_up(values: NDArray, surface: Surface, *, u_mm: NDArray, v_mm: NDArray) -> NDArray:
    """`values` (n, n) of a surface between its cells, without letting in what lies off the face; 0 off the face."""
    on_face = surface.areas_mm2 > 0.0
    where = [_index(v_mm, surface.v_mm), _index(u_mm, surface.u_mm)]
    known = map_coordinates(on_face.astype(float), where, order=1, mode="nearest")
    found = map_coordinates(np.where(on_face, values, 0.0), where, order=1, mode="nearest")
    inside = surface.face.contains(u_mm, v_mm) & (known > 0.0)
    return np.where(inside, found / np.where(known > 0.0, known, 1.0), 0.0)


def sag_um(surface: Surface) -> float:
    """Height of the least-squares sphere at the centre above its height at the end of the longer half axis; a hill is positive."""
    return -float(_parts(surface)[1]) * surface.face.semi_major_mm**2


def astigmatism_um(surface: Surface) -> float:
    """How much higher the face is at the ends of the major axis than at those of the minor, beyond a sphere, were both at semi-major."""
    return 2.0 * float(_parts(surface)[2]) * surface.face.semi_major_mm**2


def _parts(surface: Surface) -> NDArray:
    """Weights of 1, u2 + v2 and v2 - u2 in the face, by least squares over its area."""
    u, v = np.meshgrid(surface.u_mm, surface.v_mm)
    weight = np.sqrt(surface.areas_mm2)
    columns = np.stack([weight, weight * (u**2 + v**2), weight * (v**2 - u**2), weight * u, weight * v, weight * u * v], axis=-1)
    keep = surface.areas_mm2 > 0.0
    return np.linalg.lstsq(columns[keep], (weight * surface.heights_um)[keep], rcond=None)[0]


def _middles(cells: int) -> NDArray:
    return (np.arange(cells) + 0.5) * 2.0 / cells - 1.0


def _index(at_mm: NDArray, middles_mm: NDArray) -> NDArray:
    return (at_mm - middles_mm[0]) / (middles_mm[1] - middles_mm[0])
