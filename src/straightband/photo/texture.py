"""Rough places of a face by its bands: where the light keeps changing, against a surround where it does not.

The median of the gradient over a patch sees an area full of bands and is blind to lines: the rim of a larger flat, dust, scratches.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from straightband.photo.figure import Figure, disc, magnified, rectangle_figure

PATCHES_PX = (7, 13, 23)
MOST_STRENGTH = 40.0
SMALLEST_AREA = 0.004  # of the frame
NARROW_PX = 25  # at half the size of the picture: the ground rim of a larger flat, with the edges on both its sides


def textured_areas(picture: NDArray[np.float32], *, square: bool) -> list[Figure]:
    """Figures of free proportions around areas full of gradient, in the pixels of `picture` (about 600 px wide)."""
    strength = np.maximum(_over_noise(picture, blur_px=1.2), _over_noise(picture, blur_px=3.0))
    coded = np.clip(np.log(np.maximum(strength, 1.0)) * (255.0 / math.log(MOST_STRENGTH)), 0.0, 255.0).astype(np.uint8)
    found = []
    for patch in PATCHES_PX:
        calm = cv2.medianBlur(coded, patch)
        middle, _ = cv2.threshold(calm, 0, 255, cv2.THRESH_OTSU)
        for threshold in (middle - 15.0, middle, middle + 20.0):
            found += _areas((calm > threshold).astype(np.uint8), square=square)
    found += _areas(_without_narrow(coded), square=square)
    return [magnified(figure, 2.0) for figure in found]


def _without_narrow(coded: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The areas without what is narrow: a face close to the rim of a larger flat hangs together with it."""
    calm = cv2.medianBlur(coded, PATCHES_PX[0])
    _, full = cv2.threshold(calm, 0, 1, cv2.THRESH_OTSU)
    return cv2.morphologyEx(full, cv2.MORPH_OPEN, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (NARROW_PX, NARROW_PX)))


def _over_noise(picture: NDArray[np.float32], *, blur_px: float) -> NDArray[np.float32]:
    """Size of the gradient of the blurred picture at half its size, over its lower quartile, which holds little else than noise."""
    smooth = cv2.GaussianBlur(picture, (0, 0), blur_px)
    size = cv2.magnitude(cv2.Scharr(smooth, cv2.CV_32F, 1, 0), cv2.Scharr(smooth, cv2.CV_32F, 0, 1))
    size = cv2.resize(size[: size.shape[0] // 2 * 2, : size.shape[1] // 2 * 2], None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    return size / (np.percentile(size[::2, ::2], 25.0) + 1e-6)


def _areas(mask: NDArray[np.uint8], *, square: bool) -> list[Figure]:
    contours, nested = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    # Each area by itself, not the holes in it: the rim of a larger flat is a ring around the face.
    around = np.reshape([] if nested is None else nested, (-1, 4))[:, 3].tolist()
    areas = [contour for contour, hole_of in zip(contours, around, strict=True) if hole_of < 0]
    large = sorted((area for area in areas if cv2.contourArea(area) > SMALLEST_AREA * mask.size), key=cv2.contourArea)
    hulls = [cv2.convexHull(contour) for contour in large[-2:]]
    return [_rectangle_around(hull) if square else _ellipse_around(hull) for hull in hulls]


def _ellipse_around(hull: NDArray) -> Figure:
    """The ellipse with the centre and second moments of the hull."""
    m = cv2.moments(hull)
    spread = np.array([[m["mu20"], m["mu11"]], [m["mu11"], m["mu02"]]]) / m["m00"]
    sizes, directions = np.linalg.eigh(spread)
    across, along = 2.0 * np.sqrt(np.maximum(sizes, 1e-6))
    angle = math.atan2(directions[1, 1], directions[0, 1])
    return disc(cx=m["m10"] / m["m00"], cy=m["m01"] / m["m00"], along=float(along), across=float(across), angle_rad=angle)


def _rectangle_around(hull: NDArray) -> Figure:
    (cx, cy), (width, height), angle = cv2.minAreaRect(hull)
    return rectangle_figure(cx=cx, cy=cy, along=width / 2.0, across=height / 2.0, angle_rad=math.radians(angle))
