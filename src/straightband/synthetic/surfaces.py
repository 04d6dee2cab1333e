"""Surfaces with known heights: polynomials, turned edges, local hills and zones.

A surface is smooth and given in closed form, so its height is known at any point to rounding error.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from itertools import zip_longest

import numpy as np
from numpy.typing import NDArray

from straightband.face.polynomials import face_polynomials, noll_count
from straightband.face.shapes import Face, Shape


class EdgeProfile(StrEnum):
    """How a turned edge falls: as an exponential of the distance from the outline, or as a parabola that starts at its width."""

    EXPONENTIAL = "exponential"
    QUADRATIC = "quadratic"


class LocalProfile(StrEnum):
    """How a local hill ends: as a bell without end, or as a raised cosine that is zero beyond its radius."""

    GAUSSIAN = "gaussian"
    RAISED_COSINE = "raised cosine"


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnedEdge:
    """Glass missing along the rim.

    Attributes
    ----------
    depth_nm
        How far the surface lies below itself at the outline; negative for a turned-up edge.
    width_mm
        1/e width of the exponential, or where the parabola starts.
    profile
        Exponential or quadratic.
    middle_deg, half_span_deg
        Part of the rim, as angles of (u / semi-axis, v / semi-axis) from +u toward +v; a half span of 180 is the whole rim. A part fades out
        over 20 degrees at either end.
    """

    depth_nm: float
    width_mm: float
    profile: EdgeProfile = EdgeProfile.EXPONENTIAL
    middle_deg: float = 0.0
    half_span_deg: float = 180.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LocalHill:
    """A hill, or with negative height a hole.

    Attributes
    ----------
    u_mm, v_mm
        Its top.
    radius_mm
        Where the bell has fallen to 1/e, or where the raised cosine ends.
    height_nm
        Height at its top.
    profile
        Gaussian or raised cosine.
    """

    u_mm: float
    v_mm: float
    radius_mm: float
    height_nm: float
    profile: LocalProfile = LocalProfile.GAUSSIAN


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """A ring that lies high (or low, with negative height), parallel to the outline.

    Attributes
    ----------
    radius
        Normalised radius of its crest: 0 at the centre, 1 on the outline.
    width_mm
        1/e half width of its bell, along the smaller semi-axis.
    height_nm
        Height of its crest.
    """

    radius: float
    width_mm: float
    height_nm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """A surface over a face, the sum of everything named.

    Attributes
    ----------
    face
        The face it covers, bevel included.
    coefficients_nm
        Of the polynomials orthonormal on the face, in the order of `face_polynomials`; piston and tilts may be given but are zero by habit.
    edges, hills, zones
        What polynomials describe badly.
    """

    face: Face
    coefficients_nm: tuple[float, ...] = ()
    edges: tuple[TurnedEdge, ...] = ()
    hills: tuple[LocalHill, ...] = ()
    zones: tuple[Zone, ...] = ()

    def heights_nm(self, u_mm: NDArray, v_mm: NDArray) -> NDArray:
        """Heights at points of one common shape, in the precision of the points; goes on smoothly outside the outline."""
        heights = _polynomial_sum(u_mm, v_mm, surface=self)
        for edge in self.edges:
            _add_edge(heights, u_mm, v_mm, face=self.face, edge=edge)
        for hill in self.hills:
            _add_hill(heights, u_mm, v_mm, hill=hill)
        for zone in self.zones:
            distance = (self.face.normalised_radius(u_mm, v_mm) - zone.radius) * min(self.face.semi_u_mm, self.face.semi_v_mm)
            heights += zone.height_nm * np.exp(-((distance / zone.width_mm) ** 2))
        return heights


def edge_distance_mm(u_mm: NDArray, v_mm: NDArray, *, face: Face) -> NDArray:
    """Distance to the outline, positive inside; on a true ellipse to first order, exact on its axes and on the outline."""
    if face.shape is Shape.RECTANGLE:
        return np.minimum(face.semi_u_mm - np.abs(u_mm), face.semi_v_mm - np.abs(v_mm))
    x, y = u_mm / face.semi_u_mm, v_mm / face.semi_v_mm
    rho = np.hypot(x, y)
    slope = np.hypot(x / face.semi_u_mm, y / face.semi_v_mm)
    tiny = 1e-6
    return (1.0 - rho) * (rho + tiny) / (slope + tiny / face.semi_major_mm)


def _polynomial_sum(u_mm: NDArray, v_mm: NDArray, *, surface: Surface) -> NDArray:
    """Horner's scheme on plain powers: a photograph of 12 megapixels would wait minutes for 45 polynomials one by one."""
    x, y = u_mm / surface.face.semi_u_mm, v_mm / surface.face.semi_v_mm
    powers = _power_coefficients(surface.coefficients_nm, surface.face.shape)
    order = len(powers) - 1
    total = np.zeros_like(x)
    for i in range(order, -1, -1):
        inner = np.full_like(y, powers[i][order - i])
        for j in range(order - i - 1, -1, -1):
            inner *= y
            inner += powers[i][j]
        total *= x
        total += inner
    return total


@lru_cache(maxsize=256)
def _power_coefficients(coefficients_nm: tuple[float, ...], shape: Shape) -> tuple[tuple[float, ...], ...]:
    """Coefficients c[i][j] of x^i y^j that make the same sum as `coefficients_nm` of the orthonormal polynomials."""
    order = 0
    while noll_count(order) < len(coefficients_nm):
        order += 1
    unit = Face(shape=shape, semi_u_mm=1.0, semi_v_mm=1.0)
    nodes = np.cos(np.pi * (np.arange(2 * order + 2) + 0.5) / (2 * order + 2))
    x, y = (a.ravel() for a in np.meshgrid(nodes, nodes))
    padded = np.zeros(noll_count(order))
    padded[: len(coefficients_nm)] = coefficients_nm
    values = padded @ face_polynomials(x, y, face=unit, order=order)
    exponents = [(i, j) for i in range(order + 1) for j in range(order + 1 - i)]
    matrix = np.stack([x**i * y**j for i, j in exponents], axis=1)
    found = dict(zip(exponents, np.linalg.lstsq(matrix, values, rcond=None)[0].tolist(), strict=True))
    return tuple(tuple(found[i, j] for j in range(order + 1 - i)) for i in range(order + 1))


def _add_edge(heights: NDArray, u_mm: NDArray, v_mm: NDArray, *, face: Face, edge: TurnedEdge) -> None:
    distance = edge_distance_mm(u_mm, v_mm, face=face)
    # Beyond 25 widths the exponential is below 1e-10 of the depth.
    reach = edge.width_mm * (25.0 if edge.profile is EdgeProfile.EXPONENTIAL else 1.0)
    near = distance < reach
    share = distance[near] / edge.width_mm
    if edge.profile is EdgeProfile.EXPONENTIAL:
        fall = np.exp(-np.maximum(share, -2.0))
    else:
        fall = (1.0 - share) ** 2
    if edge.half_span_deg < 180.0:
        fall = fall * _span_taper(u_mm[near] / face.semi_u_mm, v_mm[near] / face.semi_v_mm, edge=edge)
    heights[near] -= edge.depth_nm * fall


def _span_taper(x: NDArray, y: NDArray, *, edge: TurnedEdge) -> NDArray:
    """1 in the part of the rim, 0 away from it, a raised cosine of 20 degrees between."""
    off = np.abs((np.degrees(np.arctan2(y, x)) - edge.middle_deg + 180.0) % 360.0 - 180.0)
    taper_deg = 20.0
    share = np.clip((off - edge.half_span_deg) / taper_deg + 0.5, 0.0, 1.0)
    return 0.5 + 0.5 * np.cos(np.pi * share)


def _add_hill(heights: NDArray, u_mm: NDArray, v_mm: NDArray, *, hill: LocalHill) -> None:
    r2 = ((u_mm - hill.u_mm) ** 2 + (v_mm - hill.v_mm) ** 2) / hill.radius_mm**2
    # exp(-25) is 1e-11: beyond five radii a bell is gone.
    near = r2 < (25.0 if hill.profile is LocalProfile.GAUSSIAN else 1.0)
    if hill.profile is LocalProfile.GAUSSIAN:
        heights[near] += hill.height_nm * np.exp(-r2[near])
    else:
        heights[near] += hill.height_nm * (0.5 + 0.5 * np.cos(np.pi * np.sqrt(r2[near])))


def coefficients_of(face: Face, heights: Callable[[NDArray, NDArray], NDArray], *, order: int) -> tuple[float, ...]:
    """Coefficients, in nm, of a polynomial `heights(u_mm, v_mm)` of degree up to `order`, for `Surface`."""
    nodes = np.cos(np.pi * (np.arange(2 * order + 2) + 0.5) / (2 * order + 2))
    u_mm, v_mm = (a.ravel() for a in np.meshgrid(nodes * face.semi_u_mm, nodes * face.semi_v_mm))
    basis = face_polynomials(u_mm, v_mm, face=face, order=order)
    return tuple(np.linalg.lstsq(basis.T, heights(u_mm, v_mm), rcond=None)[0].tolist())


def sphere(face: Face, *, sag_nm: float) -> Surface:
    """A sphere whose centre stands `sag_nm` above the end of the longer semi-axis; positive is convex. Piston left out."""
    steepness = sag_nm / face.semi_major_mm**2
    found = coefficients_of(face, lambda u, v: -steepness * (u * u + v * v), order=2)
    return Surface(face=face, coefficients_nm=(0.0, *found[1:]))


def saddle(face: Face, *, rise_nm: float, axis_deg: float) -> Surface:
    """A saddle that rises `rise_nm` at one longer semi-axis from the centre along `axis_deg` (from +u toward +v), and falls as much across."""
    steepness = rise_nm / face.semi_major_mm**2
    turn = 2.0 * math.radians(axis_deg)
    found = coefficients_of(face, lambda u, v: steepness * ((u * u - v * v) * math.cos(turn) + 2.0 * u * v * math.sin(turn)), order=2)
    return Surface(face=face, coefficients_nm=(0.0, *found[1:]))


def added(one: Surface, other: Surface) -> Surface:
    """The sum of two surfaces over the same face."""
    pairs = zip_longest(one.coefficients_nm, other.coefficients_nm, fillvalue=0.0)
    return Surface(
        face=one.face,
        coefficients_nm=tuple(a + b for a, b in pairs),
        edges=one.edges + other.edges,
        hills=one.hills + other.hills,
        zones=one.zones + other.zones,
    )


def random_surface(face: Face, rng: np.random.Generator, *, pv_nm: float, order: int = 6) -> Surface:
    """A polynomial surface with `pv_nm` from its highest to its lowest point inside the outline, piston and tilt left out.

    Power and astigmatism lead and higher orders fall off, as hand work leaves them (common practice, no source).
    """
    degree = np.concatenate([np.full(n + 1, n) for n in range(order + 1)])
    spread = np.where(degree < 2, 0.0, 1.0 / np.maximum(degree - 1.0, 1.0) ** 1.5)
    drawn = rng.standard_normal(degree.size) * spread
    shape = Surface(face=face, coefficients_nm=tuple(drawn.tolist()))
    scale = pv_nm / peak_to_valley_nm(shape)
    return Surface(face=face, coefficients_nm=tuple((scale * drawn).tolist()))


def peak_to_valley_nm(surface: Surface, *, points: int = 201) -> float:
    """Highest less lowest point of the surface as given, on a grid of `points` squared inside the outline."""
    heights = heights_on_grid(surface, points=points)
    return float(np.nanmax(heights) - np.nanmin(heights))


def heights_on_grid(surface: Surface, *, points: int) -> NDArray:
    """Heights on an even grid [v, u] that spans the outline, NaN outside."""
    face = surface.face
    share = np.linspace(-1.0, 1.0, points)
    u_mm, v_mm = np.meshgrid(share * face.semi_u_mm, share * face.semi_v_mm)
    heights = surface.heights_nm(u_mm, v_mm)
    return np.where(face.contains(u_mm, v_mm), heights, math.nan)
