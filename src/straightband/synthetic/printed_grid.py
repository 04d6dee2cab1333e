"""Photographs of a printed grid seen through a mirror whose back is part grey, from a back that is known.

What a rough back does: a share of the light passes unscattered and shows the grid sharp, the rest is spread over the sheet and shows it
blurred, and room light thrown back by the grey adds a veil.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from straightband.face.shapes import Face
from straightband.synthetic.layers import lighting_gain
from straightband.synthetic.projection import projection_of
from straightband.synthetic.scene import Lighting, Sensor, View
from straightband.synthetic.sensor import encode_pixels, expose, to_levels, turn_for_orientation
from straightband.synthetic.surfaces import edge_distance_mm

_FINER = 2  # samples per pixel and direction
_WHITE = (0.97, 1.0, 0.9)  # of a white lamp on the three channels


@dataclass(frozen=True, slots=True, kw_only=True)
class GridSheet:
    """The printed sheet under the mirror.

    Attributes
    ----------
    pitch_mm, line_mm
        From line to line, and width of a line.
    paper, ink
        Light they send back.
    angle_deg
        Turn of the lines against the face.
    reach_mm
        Half extent of the printed square; beyond it the paper is bare.
    chequered
        Squares of half the pitch, dark and light in turn, instead of lines.
    """

    pitch_mm: float = 3.0
    line_mm: float = 0.9
    paper: float = 1.0
    ink: float = 0.08
    angle_deg: float = 0.0
    reach_mm: float = math.inf
    chequered: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class GreyZone:
    """A round place of the back that is not clear yet.

    Attributes
    ----------
    u_mm, v_mm, radius_mm
        Where, in the frame of the face.
    soft_mm
        Half width over which grey turns into clear.
    specular
        Share of light that passes its middle unscattered.
    veil
        Light that it adds there, in units of the paper's.
    """

    u_mm: float
    v_mm: float
    radius_mm: float
    soft_mm: float = 0.0
    specular: float = 0.1
    veil: float = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class GridScene:
    """A mirror over a printed grid.

    Attributes
    ----------
    face, view, sheet, lighting, sensor
        What, from where, over what, in which light and with what.
    zones
        The places that are not clear.
    specular
        Share that passes the rest of the back unscattered.
    transmittance
        Of clear glass: two faces lose 8 %.
    scatter_mm
        How far scattered light comes from, on the sheet (standard deviation).
    shift_mm
        How far the glass displaces the grid along u and v, which a tilted plate does.
    bevel_mm, bevel_level
        Width of the bevel and its light.
    """

    face: Face
    view: View = field(default_factory=View)
    sheet: GridSheet = field(default_factory=GridSheet)
    lighting: Lighting = field(default_factory=Lighting)
    sensor: Sensor = field(default_factory=Sensor)
    zones: tuple[GreyZone, ...] = ()
    specular: float = 1.0
    transmittance: float = 0.92
    scatter_mm: float = 3.0
    shift_mm: tuple[float, float] = (0.4, 0.2)
    bevel_mm: float = 1.0
    bevel_level: float = 0.45


def specular_share(scene: GridScene, *, u_mm: NDArray, v_mm: NDArray) -> NDArray:
    """Share of light that passes the back unscattered."""
    share = np.full(np.broadcast(u_mm, v_mm).shape, scene.specular)
    for zone in scene.zones:
        share = share + (zone.specular - share) * greyness(zone, u_mm=u_mm, v_mm=v_mm)
    return share


def greyness(zone: GreyZone, *, u_mm: NDArray, v_mm: NDArray) -> NDArray:
    """1 in the middle of a grey place, 0 beyond its border."""
    inward = zone.radius_mm - np.hypot(u_mm - zone.u_mm, v_mm - zone.v_mm)
    if not zone.soft_mm:
        return (inward > 0.0).astype(float)
    x = np.clip(0.5 + 0.5 * inward / zone.soft_mm, 0.0, 1.0)
    return x * x * (3.0 - 2.0 * x)


def render_grid(scene: GridScene, *, rng: np.random.Generator) -> bytes:
    """The photograph as JPEG."""
    light = _through_lens(_paint(scene), view=scene.view)
    view = scene.view
    x_px, y_px = np.arange(view.width_px, dtype=np.float32)[None, :], np.arange(view.height_px, dtype=np.float32)[:, None]
    light *= lighting_gain(scene.lighting, view=view, x_px=x_px, y_px=y_px)
    channels = [
        to_levels(expose(light, sensor=scene.sensor, response=response, rng=rng), sensor=scene.sensor, bits=8) for response in _WHITE
    ]
    upright = np.stack(channels, axis=-1)
    return encode_pixels(turn_for_orientation(upright, orientation=scene.sensor.orientation), kind="jpeg", sensor=scene.sensor)


def _paint(scene: GridScene) -> NDArray:
    """Light of sheet and mirror on every pixel, float32, painted finer and averaged."""
    view = scene.view
    x = ((np.arange(view.width_px * _FINER) + 0.5) / _FINER - 0.5).astype(np.float32)[None, :]
    y = ((np.arange(view.height_px * _FINER) + 0.5) / _FINER - 0.5).astype(np.float32)[:, None]
    u_mm, v_mm = projection_of(view, face=scene.face).to_face(x, y)
    beside = printed(scene.sheet, u_mm=u_mm, v_mm=v_mm)
    behind = printed(scene.sheet, u_mm=u_mm + scene.shift_mm[0], v_mm=v_mm + scene.shift_mm[1])
    spread = _spread(behind, sigma=scene.scatter_mm * view.scale_px_per_mm * _FINER)
    share = specular_share(scene, u_mm=u_mm, v_mm=v_mm).astype(np.float32)
    seen = scene.transmittance * (share * behind + (1.0 - share) * spread)
    for zone in scene.zones:
        seen += zone.veil * greyness(zone, u_mm=u_mm, v_mm=v_mm).astype(np.float32)
    depth = edge_distance_mm(u_mm, v_mm, face=scene.face)
    light = np.where(depth > scene.bevel_mm, seen, np.where(depth > 0.0, scene.bevel_level, beside)).astype(np.float32)
    return cv2.resize(light, (view.width_px, view.height_px), interpolation=cv2.INTER_AREA)


def _spread(light: NDArray, *, sigma: float) -> NDArray:
    """Light blurred widely; made small first, which costs nothing in accuracy."""
    step = max(1, int(sigma / 6.0))
    small = cv2.resize(light, (max(2, light.shape[1] // step), max(2, light.shape[0] // step)), interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), sigma / step, borderType=cv2.BORDER_REFLECT)
    return cv2.resize(small, light.shape[::-1], interpolation=cv2.INTER_LINEAR)


def printed(sheet: GridSheet, *, u_mm: NDArray, v_mm: NDArray) -> NDArray:
    """Light that points of the sheet send back, float32."""
    c, s = math.cos(math.radians(sheet.angle_deg)), math.sin(math.radians(sheet.angle_deg))
    along, across = c * u_mm + s * v_mm, c * v_mm - s * u_mm
    if sheet.chequered:
        inked = (np.floor(2.0 * along / sheet.pitch_mm) + np.floor(2.0 * across / sheet.pitch_mm)) % 2.0 == 0.0
    else:
        inked = ((along % sheet.pitch_mm) < sheet.line_mm) | ((across % sheet.pitch_mm) < sheet.line_mm)
    inked &= np.maximum(np.abs(along), np.abs(across)) < sheet.reach_mm
    return np.where(inked, sheet.ink, sheet.paper).astype(np.float32)


def mean_light(sheet: GridSheet) -> float:
    """Mean light of the printed part of the sheet."""
    inked = 0.5 if sheet.chequered else 1.0 - (1.0 - sheet.line_mm / sheet.pitch_mm) ** 2
    return sheet.paper + (sheet.ink - sheet.paper) * inked


def _through_lens(light: NDArray, *, view: View) -> NDArray:
    return cv2.GaussianBlur(light, (0, 0), view.blur_px, borderType=cv2.BORDER_REPLICATE) if view.blur_px else light
