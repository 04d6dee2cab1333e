"""From the face to the picture and back: one homography, then lens distortion.

A pinhole at a finite distance sees a plane through a homography; the outline of an ellipse stays a conic. The shift of rays inside
thick glass only moves the plane along the line of sight, which a camera distance already describes, so it is left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from straightband.face.shapes import Face
from straightband.synthetic.scene import View


@dataclass(frozen=True, slots=True, kw_only=True)
class Projection:
    """How points of the face frame fall on the upright picture.

    Attributes
    ----------
    homography
        3 x 3, from (u, v, 1) in mm to ideal pixels (x right, y down), before lens distortion.
    view, face
        What it was made from.
    """

    homography: NDArray
    view: View
    face: Face

    @property
    def normalised_homography(self) -> NDArray:
        """3 x 3, from (u / semi_u, v / semi_v, 1) to ideal pixels, before lens distortion."""
        return self.homography @ np.diag([self.face.semi_u_mm, self.face.semi_v_mm, 1.0])

    def to_pixels(self, u_mm: NDArray, v_mm: NDArray) -> tuple[NDArray, NDArray]:
        """Pixel (x, y) at which points of the face are seen, lens distortion included."""
        x, y = apply_homography(self.homography, x=np.asarray(u_mm, dtype=float), y=np.asarray(v_mm, dtype=float))
        return self._distort(x, y)

    def to_face(self, x_px: NDArray, y_px: NDArray) -> tuple[NDArray, NDArray]:
        """Point (u, v) in mm of the plane of the face that is seen at pixels (x, y), in the precision of the pixels."""
        view = self.view
        if view.distortion_percent:
            mid_x, mid_y, corner = _frame(view)
            dx, dy = x_px - mid_x, y_px - mid_y
            gain = 1.0 + (dx * dx + dy * dy) * (view.distortion_percent / 100.0 / corner**2)
            x_px, y_px = mid_x + dx * gain, mid_y + dy * gain
        return apply_homography(np.linalg.inv(self.homography), x=x_px, y=y_px)

    def cos_incidence(self, u_mm: NDArray, v_mm: NDArray) -> NDArray | float:
        """Cosine of the angle to the normal at which points of the face are seen."""
        view = self.view
        cos_tilt = math.cos(math.radians(view.tilt_deg))
        if math.isinf(view.camera_distance_mm):
            return cos_tilt
        side = math.sin(math.radians(view.tilt_deg)) * _camera_side(view)
        along = side[0] * u_mm + side[1] * v_mm
        distance = view.camera_distance_mm
        return cos_tilt / np.sqrt(1.0 - 2.0 * along / distance + (u_mm * u_mm + v_mm * v_mm) / distance**2)

    def _distort(self, x: NDArray, y: NDArray) -> tuple[NDArray, NDArray]:
        """Ideal to seen pixels: Newton's iteration on r (1 + k r^2) = r_ideal."""
        k = self.view.distortion_percent / 100.0
        if not k:
            return x, y
        mid_x, mid_y, corner = _frame(self.view)
        dx, dy = (x - mid_x) / corner, (y - mid_y) / corner
        ideal = np.hypot(dx, dy)
        seen = ideal.copy()
        for _ in range(20):
            seen -= (seen * (1.0 + k * seen**2) - ideal) / (1.0 + 3.0 * k * seen**2)
        gain = 1.0 / (1.0 + k * seen**2)
        return mid_x + dx * gain * corner, mid_y + dy * gain * corner


def projection_of(view: View, *, face: Face) -> Projection:
    """The projection a view makes of the plane of a face."""
    turn = _face_to_picture(view)
    tilt = math.radians(view.tilt_deg)
    azimuth = math.radians(view.tilt_azimuth_deg)
    side = np.array([math.cos(azimuth), math.sin(azimuth)])
    seen = (np.eye(2) - (1.0 - math.cos(tilt)) * np.outer(side, side)) @ turn
    # 1 / inf is 0: parallel rays.
    nearer = -math.sin(tilt) / view.camera_distance_mm * (side @ turn)
    weight = np.array([nearer[0], nearer[1], 1.0])
    top = np.array([*(view.scale_px_per_mm * seen[0]), 0.0]) + view.centre_x_px * weight
    bottom = np.array([*(-view.scale_px_per_mm * seen[1]), 0.0]) + view.centre_y_px * weight
    return Projection(homography=np.stack([top, bottom, weight]), view=view, face=face)


def apply_homography(homography: NDArray, *, x: NDArray, y: NDArray) -> tuple[NDArray, NDArray]:
    """Points (x, y) through a 3 x 3 homography, in the precision of the points."""
    (a, b, c), (d, e, f), (g, h, i) = homography.tolist()
    if g == 0.0 and h == 0.0:
        return (a * x + b * y + c) / i, (d * x + e * y + f) / i
    weight = 1.0 / (g * x + h * y + i)
    return (a * x + b * y + c) * weight, (d * x + e * y + f) * weight


def _face_to_picture(view: View) -> NDArray:
    """2 x 2 from (u, v) to (right, up) in a picture seen square on: the reversal first, then the turn."""
    turn = math.radians(view.rotation_deg)
    rotation = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    return rotation @ np.diag([-1.0 if view.mirrored % 2 else 1.0, 1.0])


def _camera_side(view: View) -> NDArray:
    """Unit vector (u, v) of the face frame toward which the camera has moved off the normal."""
    azimuth = math.radians(view.tilt_azimuth_deg)
    return np.array([math.cos(azimuth), math.sin(azimuth)]) @ _face_to_picture(view)


def picture_direction(view: View, *, u: float, v: float) -> tuple[float, float]:
    """Where a direction (u, v) of the face points in the picture, as (right, up), seen square on."""
    right, up = _face_to_picture(view) @ np.array([u, v])
    return float(right), float(up)


def _frame(view: View) -> tuple[float, float, float]:
    """Middle (x, y) of the frame and distance of its corner from there, in px."""
    mid_x, mid_y = (view.width_px - 1) / 2.0, (view.height_px - 1) / 2.0
    return mid_x, mid_y, math.hypot(mid_x, mid_y)
