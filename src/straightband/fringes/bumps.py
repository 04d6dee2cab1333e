"""Local hills and holes at the top of a band, where a small change of height changes nothing and a linear step finds no way.

Where a band is brightest or darkest the picture does not change with the phase to first order, so a hill there looks to a linear step like
something laid over the bands. Held against the whole cosine, the two differ.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from straightband.fringes.frame import Fields, Frame
from straightband.fringes.noise import WIDEST_SPECK

LEAST_PIXELS, LARGEST_SHARE = 110, 0.06  # of a patch; smaller ones are specks, larger ones belong to the figure
MOST_PATCHES = 8
REACH = 2.2  # radii of the patch around its middle that the trial looks at
HEIGHTS_RAD = (0.6, 1.2, 2.2)
WIDTHS = (0.6, 1.0, 1.5)  # radii of the patch
LEAST_EXPLAINED = 0.9  # of the squares in the patch's surroundings
MOVED_EXPLAINED = 0.8  # the same, noise taken off, where the bands are known to have moved and specks may lie about
SHAPE, AROUND = 6, 3  # numbers that make a bell, and the level and slope of the phase around it
MOST_STRETCHED = 1.5  # logarithm of the ratio of a bell's axes
HALF_HEIGHT_WIDTHS = 2.355  # full width of a Gaussian at half its height, in standard deviations
FARTHEST, HIGHEST_RAD = 0.7, 2.5  # middle from the patch's, in its radii, and height of a bell that is a hill
# Of what light laid over the bands leaves: brighter patches are a lamp's image, small ones dust, unless a hill does much better.
LESS_THAN_ADDED = 0.5
LONGEST = 0.7  # logarithm of the longer standard deviation, in radii of the patch: a longer bell is a slope of what lies around
ONE_SIGN = 0.85  # share of the departures by which dust is darker, or a glint brighter; a hill so small rarely lies on one flank of a band


@dataclass(frozen=True, slots=True, kw_only=True)
class Bumps:
    """What a hill explains.

    Attributes
    ----------
    phase_rad
        (n,) phase to add.
    where
        (n,) True on the patches that it explains.
    """

    phase_rad: NDArray
    where: NDArray


def find_bumps(
    value: NDArray, fields: Fields, *, patches: NDArray, present: NDArray, frame: Frame, noise: float = 0.0, least: float = LEAST_EXPLAINED
) -> Bumps:
    """Bell-shaped hills and holes that explain what a model without them left over.

    Parameters
    ----------
    value, present
        (n,) over the frame's pixels.
    patches
        [v, u] True where what is left is far off the noise.
    noise
        Standard deviation of a pixel, which no hill explains.
    least
        Share of the rest that one must explain.
    """
    label = _largest(patches, of=int(present.sum()))[frame.inside]
    rows, columns = (each.astype(float) for each in np.nonzero(frame.inside))
    phase, where = np.zeros(value.size), np.zeros(value.size, dtype=bool)
    for number in range(1, int(label.max(initial=0)) + 1):
        patch = label == number
        middle = rows[patch].mean(), columns[patch].mean()
        radius = float(np.sqrt(patch.sum() / np.pi))
        near = present & ((label == 0) | patch) & (np.hypot(rows - middle[0], columns - middle[1]) < REACH * radius)
        trial = _Trial(
            value=value[near] - fields.light[near],
            modulation=fields.modulation[near],
            phase_rad=fields.phase_rad[near],
            row=(rows[near] - middle[0]) / radius,
            column=(columns[near] - middle[1]) / radius,
            radius_px=radius,
        )
        shape = trial.best(least=least, unexplainable=noise**2 * trial.value.size)
        if shape is not None:
            phase += _bell(shape, row=(rows - middle[0]) / radius, column=(columns - middle[1]) / radius)
            where |= patch
    return Bumps(phase_rad=phase, where=where)


def _largest(patches: NDArray, *, of: int) -> NDArray:
    """Number [v, u] of each patch, largest first, 0 elsewhere; `of` is how many pixels are present."""
    _, label, stats, _ = cv2.connectedComponentsWithStats(patches.astype(np.uint8))
    size = stats[:, cv2.CC_STAT_AREA].copy()
    size[0] = 0
    order = [i for i in np.argsort(-size)[:MOST_PATCHES] if LEAST_PIXELS <= size[i] <= LARGEST_SHARE * of]
    fresh = np.zeros(len(size), dtype=int)
    fresh[order] = np.arange(1, len(order) + 1)
    return fresh[label]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Trial:
    """The surroundings of a patch: value less light, modulation, phase, and place in radii from the patch's middle, (k,) each, and that radius."""

    value: NDArray
    modulation: NDArray
    phase_rad: NDArray
    row: NDArray
    column: NDArray
    radius_px: float

    def best(self, *, least: float, unexplainable: float) -> NDArray | None:
        """Height, middle, width and stretch of the bell that explains the patch, or None; `unexplainable` is the sum of squares that noise leaves."""
        bands = self._left(np.zeros(SHAPE + AROUND))
        starts = [
            np.array([sign * h, 0.0, 0.0, np.log(w), *np.zeros(2 + AROUND)]) for sign in (1.0, -1.0) for h in HEIGHTS_RAD for w in WIDTHS
        ]
        start = min(starts, key=lambda shape: float(np.sum(self._left(shape) ** 2)))
        found = optimize.least_squares(self._left, start, method="lm", max_nfev=60)
        left = float(np.sum(found.fun**2))
        stretch = float(np.hypot(*found.x[4:SHAPE]))
        likely = abs(found.x[0]) < HIGHEST_RAD and np.hypot(found.x[1], found.x[2]) < FARTHEST and found.x[3] + 0.5 * stretch < LONGEST
        if not likely or left - unexplainable > (1.0 - least) * (float(np.sum(bands**2)) - unexplainable):
            return None
        across = float(np.exp(found.x[3] - 0.5 * stretch))
        narrow = HALF_HEIGHT_WIDTHS * across * self.radius_px < WIDEST_SPECK
        if narrow and abs(float(np.sum(bands))) > ONE_SIGN * float(np.sum(np.abs(bands))):
            return None
        if (narrow or float(np.sum(bands)) > 0.0) and left > LESS_THAN_ADDED * self._left_by_light(bands):
            return None
        return found.x[:SHAPE]

    def _left(self, shape: NDArray) -> NDArray:
        level, down, right = shape[SHAPE:]
        around = level + down * self.row + right * self.column
        return self.value - self.modulation * np.cos(self.phase_rad + around + _bell(shape[:SHAPE], row=self.row, column=self.column))

    def _left_by_light(self, bands: NDArray) -> float:
        """Squares left of what the bands alone leave where a bell of light is laid over them, or taken away, instead."""

        def left(shape: NDArray) -> NDArray:
            bare = self._left(np.r_[np.zeros(SHAPE), shape[SHAPE:]])
            return bare - _bell(shape[:SHAPE], row=self.row, column=self.column)

        start = np.r_[bands[np.argmax(np.abs(bands))], np.zeros(SHAPE - 1 + AROUND)]
        return float(np.sum(optimize.least_squares(left, start, method="lm", max_nfev=60).fun ** 2))


def _bell(shape: NDArray, *, row: NDArray, column: NDArray) -> NDArray:
    """A Gaussian of height, middle, logarithm of the mean width, and how it is stretched along the rows and along their diagonal."""
    height, middle_row, middle_column, log_width, along, slanting = shape
    down, right = row - middle_row, column - middle_column
    # the logarithm of the quadratic form is free, so that the form is positive whatever the fit tries
    size = float(np.hypot(along, slanting))
    stretch = min(size, MOST_STRETCHED)
    share = np.sinh(stretch) / max(size, 1e-9)
    away = np.cosh(stretch) * (down**2 + right**2) + share * (along * (right**2 - down**2) + 2.0 * slanting * down * right)
    return height * np.exp(-0.5 * away * np.exp(-2.0 * np.clip(log_width, -2.0, 2.0)))
