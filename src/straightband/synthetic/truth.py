"""What is true of a rendered photograph: heights, outline, the way round."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from straightband.face.shapes import CLEAR_MARGIN, Face
from straightband.heightmap.map import HeightMap
from straightband.synthetic.projection import Projection, picture_direction, projection_of
from straightband.synthetic.scene import Scene


@dataclass(frozen=True, slots=True, kw_only=True)
class OutlineEllipse:
    """An ellipse in the upright picture; centres of pixels are whole numbers, y runs down.

    Attributes
    ----------
    cx, cy
        Centre, px.
    semi_major, semi_minor
        Semi-axes, px.
    angle_deg
        Of the semi-major axis, from +x (right) toward +y (down), in (-90, 90].
    """

    cx: float
    cy: float
    semi_major: float
    semi_minor: float
    angle_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What is true of a photograph.

    Attributes
    ----------
    scene
        What was photographed.
    homography
        3 x 3, from (u / semi_u, v / semi_v, 1) to pixels of the upright picture, before lens distortion.
    corners_px
        (4, 2): where (-1, -1), (1, -1), (1, 1), (-1, 1) of the normalised face fall, x then y, lens distortion included.
    outline_px
        The ellipse seen; of a rectangle the ellipse inscribed in it. Exact without lens distortion, else the ellipse closest to the curve.
    """

    scene: Scene
    homography: NDArray
    corners_px: NDArray
    outline_px: OutlineEllipse


def truth_of(scene: Scene) -> Truth:
    """What is true of the photograph a scene gives."""
    projection = projection_of(scene.view, face=scene.face)
    face = scene.face
    square = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    corners = np.stack(projection.to_pixels(square[:, 0] * face.semi_u_mm, square[:, 1] * face.semi_v_mm), axis=1)
    return Truth(scene=scene, homography=projection.normalised_homography, corners_px=corners, outline_px=outline_of(projection))


def truth_map(scene: Scene, *, u_mm: NDArray, v_mm: NDArray, clear_margin: float = CLEAR_MARGIN) -> HeightMap:
    """True heights of the surface at columns `u_mm` and rows `v_mm`, NaN off the clear aperture; piston and tilt as drawn."""
    face = scene.face
    u_grid, v_grid = np.meshgrid(np.asarray(u_mm, dtype=float), np.asarray(v_mm, dtype=float))
    inside = face.clear_aperture(clear_margin).contains(u_grid, v_grid)
    heights = np.where(inside, scene.surface.heights_nm(u_grid, v_grid), math.nan)
    return HeightMap(
        heights_nm=heights,
        u_mm=np.array(u_mm, dtype=float),
        v_mm=np.array(v_mm, dtype=float),
        uncertainty_nm=np.zeros_like(heights),
        face=face,
        clear_margin=clear_margin,
    )


def outline_of(projection: Projection) -> OutlineEllipse:
    """The ellipse as which the outline of the face is seen."""
    if projection.view.distortion_percent:
        return ellipse_of_conic(_closest_conic(*outline_points(projection, count=720)))
    inverse = np.linalg.inv(projection.normalised_homography)
    return ellipse_of_conic(inverse.T @ np.diag([1.0, 1.0, -1.0]) @ inverse)


def outline_points(projection: Projection, *, count: int) -> tuple[NDArray, NDArray]:
    """`count` points (x, y) along the outline as seen, lens distortion included; of a rectangle along the inscribed ellipse."""
    angle = 2.0 * np.pi * np.arange(count) / count
    return projection.to_pixels(projection.face.semi_u_mm * np.cos(angle), projection.face.semi_v_mm * np.sin(angle))


def ellipse_of_conic(conic: NDArray) -> OutlineEllipse:
    """Centre, semi-axes and angle of the ellipse (x, y, 1) C (x, y, 1)^T = 0."""
    conic = (conic + conic.T) / 2.0
    shape = conic[:2, :2]
    centre = np.linalg.solve(shape, -conic[:2, 2])
    level = conic[2, 2] + conic[:2, 2] @ centre
    values, vectors = np.linalg.eigh(-shape / level)
    along = vectors[:, 0]
    angle = math.degrees(math.atan2(along[1], along[0]))
    return OutlineEllipse(
        cx=float(centre[0]),
        cy=float(centre[1]),
        semi_major=float(1.0 / math.sqrt(values[0])),
        semi_minor=float(1.0 / math.sqrt(values[1])),
        angle_deg=90.0 - (90.0 - angle) % 180.0,
    )


def _closest_conic(x: NDArray, y: NDArray) -> NDArray:
    """Conic with the least algebraic distance to points, in coordinates scaled to unit size."""
    mid_x, mid_y = x.mean(), y.mean()
    size = np.hypot(x - mid_x, y - mid_y).max()
    p, q = (x - mid_x) / size, (y - mid_y) / size
    rows = np.stack([p * p, p * q, q * q, p, q, np.ones_like(p)], axis=1)
    a, b, c, d, e, f = np.linalg.svd(rows, full_matrices=False)[2][-1]
    unit = np.array([[a, b / 2, d / 2], [b / 2, c, e / 2], [d / 2, e / 2, f]])
    to_unit = np.array([[1 / size, 0, -mid_x / size], [0, 1 / size, -mid_y / size], [0, 0, 1]])
    return to_unit.T @ unit @ to_unit


def mark_hour(scene: Scene) -> float:
    """Clock hour (0 to 12) in the upright picture toward which +v points, where a pencil mark on the rim would show."""
    return _hour(*picture_direction(scene.view, u=0.0, v=1.0))


def thicker_hour(scene: Scene) -> float:
    """Clock hour (0 to 12) in the upright picture toward which the wedge opens; meaningless without wedge."""
    face: Face = scene.face
    slope_u, slope_v = scene.bands_u / face.semi_u_mm, scene.bands_v / face.semi_v_mm
    return _hour(*picture_direction(scene.view, u=slope_u, v=slope_v))


def _hour(right: float, up: float) -> float:
    return (math.degrees(math.atan2(right, up)) / 30.0) % 12.0
