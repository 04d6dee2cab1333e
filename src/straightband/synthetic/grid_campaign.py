"""Mirrors over a printed grid drawn at random, as they come from a bench, with what is true of them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from straightband.face.shapes import ellipse, round_face
from straightband.synthetic.printed_grid import GreyZone, GridScene, GridSheet, greyness, mean_light, specular_share
from straightband.synthetic.scene import Lighting, Sensor, View

_STEP_MM = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class GridTruth:
    """What is true of a scene with one grey place.

    Attributes
    ----------
    clear_fraction
        Share of the face where clearness is `enough` or more.
    u_mm, v_mm, radius_mm
        Centre of area of the rest, and radius of the circle of the same area.
    """

    clear_fraction: float
    u_mm: float
    v_mm: float
    radius_mm: float


def random_grid_scene(rng: np.random.Generator, *, tilt_deg: float = 10.0, width_px: int = 1400, height_px: int = 1050) -> GridScene:
    """A mirror with one grey place, seen from `tilt_deg` off the normal, in uneven light, with blur, veil and JPEG.

    How strongly each is drawn is our estimate: common practice, no source.
    """
    minor = rng.uniform(40.0, 120.0)
    face = round_face(diameter_mm=1.25 * minor) if rng.random() < 0.25 else ellipse(minor_mm=minor)
    semi = minor / 2.0
    scale = rng.uniform(0.68, 0.78) * height_px / (2.0 * face.semi_major_mm)
    view = View(
        width_px=width_px,
        height_px=height_px,
        scale_px_per_mm=scale,
        centre_x_px=width_px / 2.0 + rng.uniform(-30.0, 30.0),
        centre_y_px=height_px / 2.0 + rng.uniform(-20.0, 20.0),
        rotation_deg=rng.uniform(-12.0, 12.0),
        tilt_deg=tilt_deg,
        tilt_azimuth_deg=rng.uniform(0.0, 360.0),
        camera_distance_mm=rng.uniform(10.0, 20.0) * face.semi_major_mm,
        blur_px=rng.uniform(0.6, 1.5),
        distortion_percent=rng.uniform(-1.0, 1.0),
    )
    away, where = rng.uniform(0.0, 0.35) * semi, rng.uniform(0.0, 2.0 * math.pi)
    zone = GreyZone(
        u_mm=away * math.cos(where),
        v_mm=away * math.sin(where),
        radius_mm=rng.uniform(0.2, 0.55) * semi,
        soft_mm=rng.uniform(0.0, 0.12) * semi,
        specular=rng.uniform(0.01, 0.25),
        veil=rng.uniform(0.0, 0.4),
    )
    pitch = rng.uniform(12.0, 28.0) / scale
    sheet = GridSheet(
        pitch_mm=pitch, line_mm=rng.uniform(0.22, 0.4) * pitch, angle_deg=rng.uniform(-25.0, 25.0), chequered=bool(rng.random() < 0.3)
    )
    return GridScene(
        face=face,
        view=view,
        sheet=sheet,
        zones=(zone,),
        lighting=Lighting(slope_x=rng.uniform(-0.25, 0.25), slope_y=rng.uniform(-0.25, 0.25), vignetting=rng.uniform(0.0, 0.2)),
        sensor=Sensor(exposure=rng.uniform(0.35, 0.6), jpeg_quality=int(rng.integers(75, 95))),
        scatter_mm=rng.uniform(0.8, 2.0) * pitch,
        shift_mm=(rng.uniform(-0.5, 0.5), rng.uniform(-0.5, 0.5)),
        bevel_mm=rng.uniform(0.012, 0.025) * semi,
        bevel_level=rng.uniform(0.25, 0.7),
    )


def true_clearness(scene: GridScene, *, u_mm: NDArray, v_mm: NDArray) -> NDArray:
    """Contrast of the grid through the back over that beside the mirror: a veil v divides contrast by 1 + v."""
    paper = scene.transmittance * mean_light(scene.sheet)
    veil = sum((zone.veil * greyness(zone, u_mm=u_mm, v_mm=v_mm) for zone in scene.zones), start=np.zeros(()))
    return specular_share(scene, u_mm=u_mm, v_mm=v_mm) / (1.0 + veil / paper)


def grid_truth(scene: GridScene, *, enough: float) -> GridTruth:
    """What is true of the scene, counted on a fine raster of the face."""
    u = np.arange(-scene.face.semi_u_mm, scene.face.semi_u_mm, _STEP_MM)[None, :]
    v = np.arange(-scene.face.semi_v_mm, scene.face.semi_v_mm, _STEP_MM)[:, None]
    on_face = scene.face.contains(u, v)
    grey = on_face & (true_clearness(scene, u_mm=u, v_mm=v) < enough)
    rows, columns = np.nonzero(grey)
    return GridTruth(
        clear_fraction=1.0 - float(grey.sum() / on_face.sum()),
        u_mm=float(u[0, columns].mean()),
        v_mm=float(v[rows, 0].mean()),
        radius_mm=math.sqrt(rows.size * _STEP_MM**2 / math.pi),
    )
