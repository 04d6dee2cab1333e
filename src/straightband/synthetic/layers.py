"""The picture before the lens blurs it: table, larger flat, piece with its bevel and bands, in one channel of linear light.

Worked strip by strip, so that a photograph of 48 megapixels fits into memory. Pixels that an edge crosses are divided into 8 x 8.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from straightband.synthetic.bands import band_light, gap_nm
from straightband.synthetic.projection import Projection
from straightband.synthetic.scene import Frost, Lighting, ReferencePlate, Scene, View
from straightband.synthetic.surfaces import edge_distance_mm

_STRIP_PX = 200_000  # a few arrays of this size stay in the cache of a small computer
_PARTS = 8

Distance = Callable[[NDArray, NDArray], NDArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Strip:
    """A window of the picture: `x_px` (1, n), `y_px` (m, 1) of its pixels and the points (m, n) of the face plane they see."""

    projection: Projection
    x_px: NDArray
    y_px: NDArray
    u_mm: NDArray
    v_mm: NDArray


def paint(scene: Scene, *, rng: np.random.Generator, projection: Projection) -> NDArray:
    """Light of the scene on every pixel, float32 [row, col], in units of the mean light of the face."""
    light = _table(scene, rng=rng)
    plate = scene.surround.plate
    if plate is not None:
        for window in _windows(_circle_box(plate, projection=projection), view=scene.view):
            _lay_plate(light[window], plate, strip=_strip(window, projection=projection))
    for window in _windows(_piece_box(projection), view=scene.view):
        _lay_piece(light[window], scene, strip=_strip(window, projection=projection))
    for window in _windows((0, 0, scene.view.width_px, scene.view.height_px), view=scene.view):
        x_px, y_px = _pixels(window)
        light[window] *= lighting_gain(scene.lighting, view=scene.view, x_px=x_px, y_px=y_px)
    return light


def lighting_gain(lighting: Lighting, *, view: View, x_px: NDArray, y_px: NDArray) -> NDArray:
    """Relative light on pixels; broadcasts `x_px` against `y_px`."""
    half = view.width_px / 2.0
    x, y = (x_px + 0.5) / half - 1.0, (view.height_px / 2.0 - 0.5 - y_px) / half
    gain = (1.0 + lighting.slope_x * x) + lighting.slope_y * y
    r2 = x * x + y * y
    if lighting.bulge:
        gain = gain - lighting.bulge * r2
    if lighting.spot:
        away = ((x - lighting.spot_x) ** 2 + (y - lighting.spot_y) ** 2) / lighting.spot_radius**2
        gain = gain + lighting.spot * np.exp(-away)
    if lighting.vignetting:
        gain = gain * (1.0 - lighting.vignetting * r2 / (1.0 + (view.height_px / view.width_px) ** 2))
    return np.maximum(gain, 0.02)


def _table(scene: Scene, *, rng: np.random.Generator) -> NDArray:
    size = (scene.view.height_px, scene.view.width_px)
    if not scene.surround.mottle:
        return np.full(size, scene.surround.level, dtype=np.float32)
    patches = (1.0 + scene.surround.mottle * rng.standard_normal((20, 20))).astype(np.float32)
    return cv2.resize(patches, size[::-1], interpolation=cv2.INTER_CUBIC) * np.float32(scene.surround.level)


def _windows(box: tuple[float, float, float, float], *, view: View) -> list[tuple[slice, slice]]:
    """Strips (rows, columns) that cover the part of the frame inside the box (left, top, right, bottom), px."""
    left, right = max(0, math.floor(box[0])), min(view.width_px, math.ceil(box[2]) + 1)
    top, bottom = max(0, math.floor(box[1])), min(view.height_px, math.ceil(box[3]) + 1)
    if left >= right or top >= bottom:
        return []
    step = max(1, _STRIP_PX // (right - left))
    return [(slice(row, min(row + step, bottom)), slice(left, right)) for row in range(top, bottom, step)]


def _pixels(window: tuple[slice, slice]) -> tuple[NDArray, NDArray]:
    rows, columns = window
    x_px = np.arange(columns.start, columns.stop, dtype=np.float32)[None, :]
    return x_px, np.arange(rows.start, rows.stop, dtype=np.float32)[:, None]


def _strip(window: tuple[slice, slice], *, projection: Projection) -> _Strip:
    x_px, y_px = _pixels(window)
    u_mm, v_mm = projection.to_face(x_px, y_px)
    return _Strip(projection=projection, x_px=x_px, y_px=y_px, u_mm=u_mm, v_mm=v_mm)


def _box(x_px: NDArray, y_px: NDArray, *, margin: float) -> tuple[float, float, float, float]:
    return x_px.min() - margin, y_px.min() - margin, x_px.max() + margin, y_px.max() + margin


def _piece_box(projection: Projection) -> tuple[float, float, float, float]:
    side = np.linspace(-1.0, 1.0, 41)
    one = np.ones_like(side)
    x, y = np.concatenate([side, one, side, -one]), np.concatenate([-one, side, one, side])
    margin = 4.0 + 0.05 * projection.view.scale_px_per_mm * projection.face.semi_major_mm  # room for a shadow
    return _box(*projection.to_pixels(x * projection.face.semi_u_mm, y * projection.face.semi_v_mm), margin=margin)


def _circle_box(plate: ReferencePlate, *, projection: Projection) -> tuple[float, float, float, float]:
    angle = np.linspace(0.0, 2.0 * np.pi, 181)
    u_mm, v_mm = plate.u_mm + plate.radius_mm * np.cos(angle), plate.v_mm + plate.radius_mm * np.sin(angle)
    return _box(*projection.to_pixels(u_mm, v_mm), margin=4.0)


def _covered(distance_mm: NDArray, *, strip: _Strip, distance: Distance) -> NDArray:
    """Share of each pixel inside an outline, from the distance at its centre; pixels that the outline crosses are divided."""
    share = (distance_mm > 0.0).astype(np.float32)
    # A pixel's corner is 0.71 px from its centre; twice that leaves room for perspective and for the first order of the distance.
    rows, columns = np.nonzero(np.abs(distance_mm) * strip.projection.view.scale_px_per_mm < 1.5)
    if rows.size:
        part = ((np.arange(_PARTS) + 0.5) / _PARTS - 0.5).astype(np.float32)
        x_px = strip.x_px[0, columns][:, None] + np.tile(part, _PARTS)[None, :]
        y_px = strip.y_px[rows, 0][:, None] + np.repeat(part, _PARTS)[None, :]
        share[rows, columns] = (distance(*strip.projection.to_face(x_px, y_px)) > 0.0).mean(axis=1)
    return share


def _blend(light: NDArray, over: NDArray | float, *, share: NDArray) -> None:
    """Lay `over` on `light`, covering `share` of each pixel."""
    light += share * (over - light)


def _lay_plate(light: NDArray, plate: ReferencePlate, *, strip: _Strip) -> None:
    def from_rim(u_mm: NDArray, v_mm: NDArray) -> NDArray:
        return plate.radius_mm - np.hypot(u_mm - plate.u_mm, v_mm - plate.v_mm)

    depth = from_rim(strip.u_mm, strip.v_mm)
    _blend(light, plate.rim_level, share=_covered(depth, strip=strip, distance=from_rim))
    inner = _covered(depth - plate.rim_width_mm, strip=strip, distance=lambda u, v: from_rim(u, v) - plate.rim_width_mm)
    _blend(light, plate.level, share=inner)


def _lay_piece(light: NDArray, scene: Scene, *, strip: _Strip) -> None:
    surround, face = scene.surround, scene.face

    def from_outline(u_mm: NDArray, v_mm: NDArray) -> NDArray:
        return edge_distance_mm(u_mm, v_mm, face=face)

    depth = from_outline(strip.u_mm, strip.v_mm)
    if surround.shadow_level < 1.0:
        reach_mm = surround.shadow_px / scene.view.scale_px_per_mm
        light *= 1.0 - (1.0 - surround.shadow_level) * np.exp(-np.maximum(-depth, 0.0) / reach_mm)
    bands = _bands(scene, strip=strip)
    whole = _covered(depth, strip=strip, distance=from_outline)
    if not surround.bevel_width_mm:
        _blend(light, bands, share=whole)
        return
    bevel = surround.bevel_level * (1.0 + surround.bevel_unevenness * np.clip(strip.u_mm / face.semi_major_mm, -1.0, 1.0))
    _blend(light, bevel, share=whole)
    width_mm = surround.bevel_width_mm
    inner = _covered(depth - width_mm, strip=strip, distance=lambda u, v: from_outline(u, v) - width_mm)
    _blend(light, bands, share=inner)


def _bands(scene: Scene, *, strip: _Strip) -> NDArray:
    gap = gap_nm(scene, u_mm=strip.u_mm, v_mm=strip.v_mm)
    frosted = _frosted(scene.blemishes.frost, strip=strip)
    clear: NDArray | float = 1.0
    if scene.blemishes.frost is not None:
        clear = 1.0 - (1.0 - scene.blemishes.frost.contrast_left) * frosted
    cos_incidence = strip.projection.cos_incidence(strip.u_mm, strip.v_mm)
    light = band_light(scene, gap=gap, cos_incidence=cos_incidence, clear=clear)
    if scene.blemishes.frost is not None:
        light += scene.blemishes.frost.veil * frosted
    return light


def _frosted(frost: Frost | None, *, strip: _Strip) -> NDArray | float:
    """1 where the back is frosted, 0 where it is clear."""
    if frost is None:
        return 0.0
    angle = math.radians(frost.angle_deg)
    beyond = strip.u_mm * math.cos(angle) + strip.v_mm * math.sin(angle) - frost.border_mm
    if not frost.softness_mm:
        return (beyond > 0.0).astype(np.float32)
    share = np.clip(0.5 + 0.5 * beyond / frost.softness_mm, 0.0, 1.0)
    return share * share * (3.0 - 2.0 * share)
