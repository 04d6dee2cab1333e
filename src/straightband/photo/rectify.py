"""From the outline in the photograph to a square-on picture of the face in its own frame.

An outline of known proportions tells the scale along both axes, hence foreshortening along an axis; an oblique tilt of an ellipse
shows only as a change of ratio and a turn, which no single outline can tell apart, but the rim of a larger round flat around it can. Keystone shows only in a rectangle, whose four corners
are mapped one by one. What stays unknown belongs in the uncertainty budget.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from straightband.errors import BadInput
from straightband.face.shapes import Face, Shape
from straightband.photo.outline import Outline
from straightband.photo.plane import Plane
from straightband.photo.plate import Plate, as_seen_square_on, root_of

LEVEL_AXIS_DEG = 1.0  # a major axis closer to level than this counts as level: +v then points right, whatever the noise
MARK_MARGIN_DEG = 20.0  # a mark nearer to the minor axis than this names neither end of the major axis
MOST_SUPERSAMPLING = 16
LEAST_CONVERGENCE = 1e-9  # of the depth from the middle of the face to its rim: what is less is the rounding of corners that were typed as those of a rectangle


@dataclass(frozen=True, slots=True, kw_only=True)
class SquarePicture:
    """The face as if seen square-on, over the bounding box of the face.

    Attributes
    ----------
    light
        [v, u], float32, linear light, 1 = full scale; 0 where missing.
    missing
        [v, u], True where the photograph is clipped or does not reach.
    u_mm, v_mm
        Coordinates of columns and rows, ascending.
    pixels_per_sample
        Photo pixels averaged into one sample (their area), for noise statistics.
    face_to_pixels
        (3, 3), from (u / semi_u, v / semi_v, 1) to pixels of the full-size upright photograph.
    face
        The face this is a picture of.
    """

    light: NDArray[np.float32]
    missing: NDArray[np.bool_]
    u_mm: NDArray
    v_mm: NDArray
    pixels_per_sample: float
    face_to_pixels: NDArray
    face: Face

    def relative_depth(self, u_mm: NDArray, v_mm: NDArray) -> NDArray:
        """How far points of the face lie from the camera along its axis, of the middle of the face: the corners of a rectangle show it, other outlines don't."""
        across, along, one = self.face_to_pixels[2]
        return 1.0 + (across * np.asarray(u_mm) / self.face.semi_u_mm + along * np.asarray(v_mm) / self.face.semi_v_mm) / one

    @property
    def shows_depth(self) -> bool:
        """Whether the outline told how the view converges."""
        return bool(np.abs(self.face_to_pixels[2, :2] / self.face_to_pixels[2, 2]).max() > LEAST_CONVERGENCE)

    def pixel_positions(self, u_mm: NDArray, v_mm: NDArray) -> tuple[NDArray, NDArray]:
        """Columns and rows in the full-size photograph of points of the face."""
        return map_points(self.face_to_pixels, x=np.asarray(u_mm) / self.face.semi_u_mm, y=np.asarray(v_mm) / self.face.semi_v_mm)


def map_points(homography: NDArray, *, x: NDArray, y: NDArray) -> tuple[NDArray, NDArray]:
    """Points (x, y) taken through a 3 x 3 homography."""
    x, y = np.broadcast_arrays(x, y)
    h = homography
    w = h[2, 0] * x + h[2, 1] * y + h[2, 2]
    return (h[0, 0] * x + h[0, 1] * y + h[0, 2]) / w, (h[1, 0] * x + h[1, 1] * y + h[1, 2]) / w


def face_to_pixels(outline: Outline, face: Face, *, mark_hour: float | None = None) -> NDArray:
    """The 3 x 3 map from normalised face coordinates (u / semi_u, v / semi_v) to full-size pixels.

    u x v is right-handed as seen in the upright photograph. An ellipse's +v is the upper end of its major axis (the right end of a level
    one), or with `mark_hour` (12 = up, 3 = right) the end nearer the mark. A round face has u right and v up, or v toward the mark.
    Raises BadInput if the mark stands so near the minor axis that it names neither end.
    """
    if face.shape is Shape.RECTANGLE:
        return _rectangle_map(outline, face, mark_hour)
    if face.shape is Shape.ROUND:
        return _round_map(outline, mark_hour)
    angle = math.radians(outline.angle_deg)
    v = _chosen_end(np.array([math.cos(angle), math.sin(angle)]), mark_hour)
    u = np.array([-v[1], v[0]])
    linear = np.column_stack([u * outline.semi_minor, v * outline.semi_major])
    return _affine(linear if outline.plate is None else linear @ turn_by_plate(linear, plate=outline.plate), outline)


def turn_by_plate(linear: NDArray, *, plate: Plate) -> NDArray:
    """The rotation (2, 2) of the face within its outline that the circle around it shows.

    `linear` takes the unit disc to the outline in pixels, the minor axis first, as if the axes of the outline were those of the face.
    """
    sizes, axes = as_seen_square_on(linear, plate=plate)
    along = np.linalg.solve(linear, root_of(plate) @ axes[:, 0] * sizes[0])
    along *= np.sign(along[1]) / np.linalg.norm(along)
    return np.array([[along[1], along[0]], [-along[0], along[1]]])


def _affine(linear: NDArray, outline: Outline) -> NDArray:
    matrix = np.eye(3)
    matrix[:2, :2] = linear
    matrix[:2, 2] = outline.cx, outline.cy
    return matrix


def _hour_direction(hour: float) -> NDArray:
    return np.array([math.sin(math.radians(30.0 * hour)), -math.cos(math.radians(30.0 * hour))])


def _chosen_end(axis: NDArray, mark_hour: float | None) -> NDArray:
    """`axis` (a unit vector in pixels) or its opposite, whichever end is +v."""
    if mark_hour is None:
        if abs(axis[1]) < math.sin(math.radians(LEVEL_AXIS_DEG)):
            return axis if axis[0] > 0.0 else -axis
        return axis if axis[1] < 0.0 else -axis
    along = float(axis @ _hour_direction(mark_hour))
    if abs(along) < math.sin(math.radians(MARK_MARGIN_DEG)):
        raise BadInput(
            found=f"the mark at {mark_hour:g} o'clock lies near the minor axis of the face",
            needed="it must lie nearer one end of the major axis",
            remedy="put the pencil mark on the rim at one end of the long axis and take the photograph again",
        )
    return axis if along > 0.0 else -axis


def _round_map(outline: Outline, mark_hour: float | None) -> NDArray:
    # The symmetric matrix is the foreshortening itself: a round face tells no turn of its own.
    angle = math.radians(outline.angle_deg)
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    stretch = turn @ np.diag([outline.semi_major, outline.semi_minor]) @ turn.T
    toward = np.array([0.0, -1.0])
    if mark_hour is not None:
        toward = np.linalg.solve(stretch, _hour_direction(mark_hour))
        toward /= np.linalg.norm(toward)
    return _affine(stretch @ np.column_stack([[-toward[1], toward[0]], toward]), outline)


def _rectangle_map(outline: Outline, face: Face, mark_hour: float | None) -> NDArray:
    corners = np.asarray(outline.corners)
    sides = [np.linalg.norm(corners[k] - corners[k - 1]) for k in range(4)]
    # sides[k] joins corner k-1 to k; the pair (1, 3) against the pair (0, 2).
    ratio = math.log((sides[1] + sides[3]) / (sides[0] + sides[2]))
    expected = math.log(face.semi_u_mm / face.semi_v_mm)
    along = [corners[1] + corners[2] - corners[0] - corners[3], corners[2] + corners[3] - corners[0] - corners[1]]
    errors = [abs(ratio + expected), abs(ratio - expected)]  # v along sides (1, 3), or along (0, 2)
    upness = [abs(axis[1]) / np.linalg.norm(axis) for axis in along]
    alike = abs(errors[0] - errors[1]) < 0.05
    v_axis = along[int(np.argmax(upness))] if alike else along[int(np.argmin(errors))]
    v = _chosen_end(v_axis / np.linalg.norm(v_axis), mark_hour)
    u = np.array([-v[1], v[0]])
    centre = corners.mean(axis=0)
    targets = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    # Going round in one sense, starting at the corner farthest toward -u -v.
    order = np.argsort([math.atan2(float((p - centre) @ v), float((p - centre) @ u)) for p in corners])
    return cv2.getPerspectiveTransform(targets.astype(np.float32), corners[order].astype(np.float32))


def square_on(plane: Plane, outline: Outline, *, face: Face, samples_across: int, mark_hour: float | None = None) -> SquarePicture:
    """The face resampled on an even grid with `samples_across` samples over its shorter extent."""
    pitch = 2.0 * min(face.semi_u_mm, face.semi_v_mm) / samples_across
    u_mm, v_mm = _centred_grid(face.semi_u_mm, pitch), _centred_grid(face.semi_v_mm, pitch)
    to_pixels = face_to_pixels(outline, face, mark_hour=mark_hour)
    grid_to_face = np.array(
        [[pitch / face.semi_u_mm, 0.0, u_mm[0] / face.semi_u_mm], [0.0, pitch / face.semi_v_mm, v_mm[0] / face.semi_v_mm], [0.0, 0.0, 1.0]]
    )
    photo_to_plane = np.array([[1.0, 0.0, 0.5 - 0.5 * plane.scale], [0.0, 1.0, 0.5 - 0.5 * plane.scale], [0.0, 0.0, plane.scale]])
    grid_to_plane = photo_to_plane @ to_pixels @ grid_to_face
    step = math.sqrt(abs(np.linalg.det(grid_to_plane[:2, :2] / grid_to_plane[2, 2])))
    light, missing = _resample(plane, grid_to_plane, shape=(v_mm.size, u_mm.size), finer=min(max(1, math.ceil(step)), MOST_SUPERSAMPLING))
    for array in (light, missing, u_mm, v_mm, to_pixels):
        array.setflags(write=False)
    return SquarePicture(
        light=light, missing=missing, u_mm=u_mm, v_mm=v_mm, pixels_per_sample=(step * plane.scale) ** 2, face_to_pixels=to_pixels, face=face
    )


def _centred_grid(semi_mm: float, pitch_mm: float) -> NDArray:
    count = max(2, round(2.0 * semi_mm / pitch_mm))
    return (np.arange(count) - (count - 1) / 2.0) * pitch_mm


def _resample(plane: Plane, grid_to_plane: NDArray, *, shape: tuple[int, int], finer: int) -> tuple[NDArray, NDArray]:
    """Mean light over each sample: `finer` x `finer` points about a plane pixel apart, interpolated and averaged."""
    fine_to_grid = np.array([[1.0 / finer, 0.0, 0.5 / finer - 0.5], [0.0, 1.0 / finer, 0.5 / finer - 0.5], [0.0, 0.0, 1.0]])
    matrix = grid_to_plane @ fine_to_grid
    size, fine_size = (shape[1], shape[0]), (shape[1] * finer, shape[0] * finer)
    # Linear is the one interpolation this library does without rounding positions to 1/32 pixel.
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    light = cv2.warpPerspective(plane.light, matrix, fine_size, flags=flags, borderValue=float("nan"))
    light = cv2.resize(light, size, interpolation=cv2.INTER_AREA) if finer > 1 else light
    missing = ~np.isfinite(light)
    light[missing] = 0.0
    if plane.clipped.any():
        # Averaging and the lens spread clipped light to the neighbours: those count as missing too.
        over = cv2.dilate(plane.clipped.astype(np.uint8), np.ones((3, 3), np.uint8))
        over = cv2.warpPerspective(over * np.uint8(255), matrix, fine_size, flags=flags)
        missing |= (cv2.resize(over, size, interpolation=cv2.INTER_AREA) if finer > 1 else over) > 0
    return light, missing
