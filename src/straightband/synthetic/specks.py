"""What lies over the picture: glare, a ghost of the outline, dust and scratches."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from straightband.synthetic.projection import Projection
from straightband.synthetic.scene import Blemishes, Glare


def add_glare(light: NDArray, glare: Glare, *, projection: Projection) -> None:
    """Add a bell of light, stretched into a streak if asked for."""
    middle_x, middle_y = (float(p) for p in projection.to_pixels(np.array(glare.u_mm), np.array(glare.v_mm)))
    scale = projection.view.scale_px_per_mm
    # Below exp(-9) = 1e-4 of the peak nothing is seen.
    reach = 3.0 * glare.radius_mm * max(glare.stretch, 1.0) * scale
    rows, columns = _patch(light, x=middle_x, y=middle_y, reach=reach)
    if rows.stop <= rows.start or columns.stop <= columns.start:
        return
    y_px, x_px = np.ogrid[rows, columns]
    u_mm, v_mm = projection.to_face(x_px.astype(np.float32), y_px.astype(np.float32))
    angle = math.radians(glare.angle_deg)
    along = (u_mm - glare.u_mm) * math.cos(angle) + (v_mm - glare.v_mm) * math.sin(angle)
    across = (v_mm - glare.v_mm) * math.cos(angle) - (u_mm - glare.u_mm) * math.sin(angle)
    light[rows, columns] += glare.level * np.exp(-((along / (glare.radius_mm * glare.stretch)) ** 2 + (across / glare.radius_mm) ** 2))


def add_ghost(light: NDArray, blemishes: Blemishes, *, projection: Projection) -> None:
    """Add the faint second image of the whole outline, displaced."""
    face = projection.face
    corners_x, corners_y = projection.to_pixels(
        blemishes.ghost_u_mm + face.semi_u_mm * np.array([-1.0, 1.0, 1.0, -1.0]),
        blemishes.ghost_v_mm + face.semi_v_mm * np.array([-1.0, -1.0, 1.0, 1.0]),
    )
    top, bottom = max(0, math.floor(corners_y.min()) - 2), min(light.shape[0], math.ceil(corners_y.max()) + 3)
    left, right = max(0, math.floor(corners_x.min()) - 2), min(light.shape[1], math.ceil(corners_x.max()) + 3)
    x_px = np.arange(left, right, dtype=np.float32)[None, :]
    for row in range(top, bottom, 64):
        y_px = np.arange(row, min(row + 64, bottom), dtype=np.float32)[:, None]
        u_mm, v_mm = projection.to_face(x_px, y_px)
        inside = face.contains(u_mm - blemishes.ghost_u_mm, v_mm - blemishes.ghost_v_mm)
        light[row : row + y_px.size, left:right] += blemishes.ghost_level * inside


def add_dust(light: NDArray, blemishes: Blemishes, *, rng: np.random.Generator) -> None:
    """Strew dark specks, which hide the light, and bright ones, which scatter the lamp's, over the whole frame."""
    for kind in [-1.0] * blemishes.dark_specks + [1.0] * blemishes.bright_specks:
        x, y = rng.uniform(0.0, light.shape[1]), rng.uniform(0.0, light.shape[0])
        radius = blemishes.speck_px * math.exp(rng.normal(0.0, math.log(2.0)))
        length = rng.uniform(1.0, 2.0)
        angle = rng.uniform(0.0, math.pi)
        rows, columns = _patch(light, x=x, y=y, reach=length * radius + 2.0)
        y_px, x_px = np.ogrid[rows, columns]
        along = (x_px - x) * math.cos(angle) + (y_px - y) * math.sin(angle)
        across = (y_px - y) * math.cos(angle) - (x_px - x) * math.sin(angle)
        share = np.clip(radius + 0.5 - np.hypot(along / length, across), 0.0, 1.0) * rng.uniform(0.4, 1.0)
        if kind < 0.0:
            light[rows, columns] *= 1.0 - share
        else:
            light[rows, columns] += share * rng.uniform(0.3, 1.5)


def add_scratches(light: NDArray, blemishes: Blemishes, *, projection: Projection, rng: np.random.Generator) -> None:
    """Draw fine straight scratches on the face, half a pixel to a pixel and a half wide, brighter than the bands."""
    face = projection.face
    for _ in range(blemishes.scratches):
        start = rng.uniform(-0.6, 0.6, 2)
        end = start + rng.uniform(-0.35, 0.35, 2)
        x, y = projection.to_pixels(np.array([start[0], end[0]]) * face.semi_u_mm, np.array([start[1], end[1]]) * face.semi_v_mm)
        level, width = rng.uniform(0.1, 0.6), rng.uniform(0.5, 1.5)
        length = math.hypot(x[1] - x[0], y[1] - y[0])
        rows, columns = _patch(light, x=(x[0] + x[1]) / 2.0, y=(y[0] + y[1]) / 2.0, reach=length / 2.0 + 3.0)
        y_px, x_px = np.ogrid[rows, columns]
        along_x, along_y = (x[1] - x[0]) / length, (y[1] - y[0]) / length
        along = np.clip((x_px - x[0]) * along_x + (y_px - y[0]) * along_y, 0.0, length)
        away = np.hypot(x_px - x[0] - along * along_x, y_px - y[0] - along * along_y)
        light[rows, columns] += level * np.clip(width / 2.0 + 0.5 - away, 0.0, 1.0)


def add_blemishes(light: NDArray, blemishes: Blemishes, *, projection: Projection, rng: np.random.Generator) -> None:
    """Lay everything named over the picture, in place."""
    if blemishes.ghost_level:
        add_ghost(light, blemishes, projection=projection)
    add_scratches(light, blemishes, projection=projection, rng=rng)
    add_dust(light, blemishes, rng=rng)
    for glare in blemishes.glares:
        add_glare(light, glare, projection=projection)


def _patch(light: NDArray, *, x: float, y: float, reach: float) -> tuple[slice, slice]:
    """Rows and columns of the frame within `reach` of a point."""
    rows = slice(max(0, math.floor(y - reach)), min(light.shape[0], math.ceil(y + reach) + 1))
    return rows, slice(max(0, math.floor(x - reach)), min(light.shape[1], math.ceil(x + reach) + 1))
