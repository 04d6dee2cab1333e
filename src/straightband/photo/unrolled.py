"""The picture unrolled around a rim: one row per point of the rim, one column per relative radius."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from straightband.photo.figure import Figure, rim_points

DARK_SHARE = 0.02  # of the brightest light: below it the noise of the sensor no longer falls with the light (common practice, no source)
SMALLEST_SIDE = 200  # plane pixels; coarser pictures are of no use


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A part of the frame, in plane pixels; right and bottom are the first beyond it."""

    left: int
    top: int
    right: int
    bottom: int


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """A small picture of a part of the frame.

    Attributes
    ----------
    picture
        float32 [row, column], root of linear light and a little more: noise is then even, and dark edges count beside bright ones.
    back
        (3, 3), from its pixels to plane pixels.
    """

    picture: NDArray[np.float32]
    back: NDArray

    def to_plane(self, figure: Figure) -> Figure:
        """A figure found in the picture, in plane pixels."""
        return Figure(square=figure.square, matrix=self.back @ figure.matrix)

    def from_plane(self, figure: Figure) -> Figure:
        """A figure in plane pixels, in those of the picture."""
        return Figure(square=figure.square, matrix=np.linalg.solve(self.back, figure.matrix))

    def pyramid(self) -> Pyramid:
        """A pyramid of the picture alone, in light again."""
        return Pyramid(pictures=(self.picture * self.picture,))


@dataclass(frozen=True, slots=True, kw_only=True)
class Pyramid:
    """The plane at full, half, quarter ... size.

    Attributes
    ----------
    pictures
        float32 [row, column] each, linear light.
    """

    pictures: tuple[NDArray[np.float32], ...]

    def evened(self, light: NDArray[np.float32]) -> NDArray[np.float32]:
        """Root of light and a little more, in which noise is even and dark edges count beside bright ones."""
        return np.sqrt(light + np.float32(DARK_SHARE * np.percentile(self.pictures[-1], 99.0)))

    @property
    def whole(self) -> Window:
        """The window of the whole frame."""
        rows, cols = self.pictures[0].shape
        return Window(left=0, top=0, right=cols, bottom=rows)

    def view(self, window: Window, *, side_px: int) -> View:
        """A part of the frame with its longer side brought to `side_px`, or left as it is if smaller."""
        longer = max(window.right - window.left, window.bottom - window.top)
        level = min(max(int(np.log2(max(longer / side_px, 1.0))), 0), len(self.pictures) - 1)
        part = self.pictures[level][window.top >> level : window.bottom >> level, window.left >> level : window.right >> level]
        share = min(1.0, side_px / max(part.shape))
        size = (max(1, round(part.shape[1] * share)), max(1, round(part.shape[0] * share)))
        picture = self.evened(cv2.resize(part, size, interpolation=cv2.INTER_AREA) if share < 1.0 else part)
        across, down = (part.shape[1] << level) / size[0], (part.shape[0] << level) / size[1]
        left, top = window.left >> level << level, window.top >> level << level
        back = np.array([[across, 0.0, 0.5 * across - 0.5 + left], [0.0, down, 0.5 * down - 0.5 + top], [0.0, 0.0, 1.0]])
        return View(picture=picture, back=back)


def pyramid_of(light: NDArray[np.float32]) -> Pyramid:
    """The pyramid of a plane of linear light."""
    pictures = [light]
    while max(light.shape) >= 2 * SMALLEST_SIDE:
        rows, cols = light.shape[0] // 2, light.shape[1] // 2
        light = cv2.resize(light[: 2 * rows, : 2 * cols], (cols, rows), interpolation=cv2.INTER_AREA)
        pictures.append(light)
    return Pyramid(pictures=tuple(pictures))


def unroll(pyramid: Pyramid, figure: Figure, *, radii: NDArray, count: int) -> NDArray[np.float32]:
    """Linear light [point of the rim, relative radius], NaN outside the frame, from the level whose pixels match the step.

    `radii` is (n,), or (count, n) where they differ from point to point.
    """
    unit = rim_points(square=figure.square, count=count).astype(np.float32)
    radii = radii.astype(np.float32)
    x, y = figure.pixels(unit[:, :1] * radii, unit[:, 1:] * radii)
    step_px = float(np.diff(radii[..., :2]).min()) * figure.axes()[1]
    level = min(max(int(np.log2(max(step_px, 1.0))), 0), len(pyramid.pictures) - 1)
    shift = 0.5 - 0.5**level * 0.5
    x, y = x * 0.5**level - shift, y * 0.5**level - shift
    return cv2.remap(pyramid.pictures[level], x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR, borderValue=float("nan"))


def slopes(strip: NDArray[np.float32]) -> NDArray[np.float32]:
    """Derivative along the radius per column, smoothed over neighbours; NaN near the edge of the frame."""
    wrapped = cv2.copyMakeBorder(strip, 1, 1, 0, 0, cv2.BORDER_WRAP)
    across, along = np.array([-0.25, -0.5, 0.0, 0.5, 0.25]), np.array([0.25, 0.5, 0.25])
    return cv2.sepFilter2D(wrapped, cv2.CV_32F, across, along, borderType=cv2.BORDER_REPLICATE)[1:-1]


def edge_shares(slope: NDArray[np.float32]) -> NDArray[np.float32]:
    """How surely there is an edge, 0 to 1: rises over the noise (median) and a share of the strongest edges around; 0 off the frame."""
    size = np.abs(slope)
    known = size[np.isfinite(size)]
    if known.size == 0:
        return np.zeros_like(size)
    floor = 2.5 * np.median(known) + 0.12 * np.percentile(known, 97.0) + 1e-6
    size = np.nan_to_num(size)
    return size * size / (size * size + floor * floor)
