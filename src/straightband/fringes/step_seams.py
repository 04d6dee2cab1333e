"""Seams: lines along which the bands are weaker than on both sides, all the way down.

At a block's edge the chamfer sends light elsewhere, and where the bands jump, the light of both faces runs together in the blur.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from straightband.fringes.step_field import COLUMNS, GROUPS, ROWS, Lines, by_groups

SIZES = ((1, 3, 7), (3, 6, 13))  # columns from a line: how far its own reach, and from where to where those lie that it is held against
LEAST_GROUPS = 6  # of rows in which a seam must go on: a block need not fill the field
USUAL_DEPTH = 0.1  # of the contrast; a seam as deep as that has the strength of its standard errors
SHOWN = 0.2  # of the usual contrast: less is the field's rim


@dataclass(frozen=True, slots=True, kw_only=True)
class Seams:
    """How the bands weaken on each line.

    Attributes
    ----------
    depth
        (COLUMNS,) as a share of their contrast on both sides.
    standard
        (COLUMNS,) its standard error, from how it differs between groups of rows; at least what is usual in the picture.
    size
        (COLUMNS,) number of the SIZES at which it is surest.
    """

    depth: NDArray
    standard: NDArray
    size: NDArray

    @property
    def sure_depth(self) -> NDArray:
        """(COLUMNS,) depth that is left after two standard errors."""
        return self.depth - 2.0 * self.standard

    @property
    def strength(self) -> NDArray:
        """(COLUMNS,) how sure each is, in standard errors, and how deep."""
        return self.depth / self.standard * np.sqrt(np.maximum(self.depth, 0.0) / USUAL_DEPTH)


def seams_of(lines: Lines) -> Seams:
    """The seam on each line, narrow or wide, whichever is surer."""
    several = np.array([_surest(lines, size=size) for size in SIZES])  # [size, depth or standard, column]
    pick = np.argmax(several[:, 0] / several[:, 1], axis=0)
    depth, standard = np.take_along_axis(several, pick[None, None], axis=0)[0]
    return Seams(depth=depth, standard=standard, size=pick)


def depth_down(lines: Lines, seams: Seams, *, column: int) -> NDArray:
    """(ROWS,) depth of one seam row by row."""
    return _depths(lines.contrast, SIZES[int(seams.size[column])])[:, column]


def _depths(contrast: NDArray, size: tuple[int, int, int]) -> NDArray:
    """[row or group, column] by how much of its contrast a line has less than its neighbours on both sides."""
    core, near, far = size
    own = ndimage.uniform_filter1d(contrast, 2 * core + 1, axis=1)
    aside = ndimage.uniform_filter1d(contrast, far - near + 1, axis=1)
    shift = (near + far) // 2
    beside = (np.roll(aside, shift, axis=1) + np.roll(aside, -shift, axis=1)) / 2.0
    shown = beside > SHOWN * float(np.median(contrast))
    return np.where(shown, 1.0 - own / np.where(shown, beside, 1.0), 0.0)


def _surest(lines: Lines, *, size: tuple[int, int, int]) -> NDArray:
    """(2, COLUMNS) depth and its standard error over that stretch of groups in which it is surest."""
    depth = _depths(by_groups(lines.contrast), size)
    lit = by_groups(np.abs(lines.phasor) > 0.0) > 0.5 * ROWS / GROUPS
    usable = ndimage.minimum_filter1d(lit, 2 * size[2] + 1, axis=1, mode="constant", cval=0).astype(float)
    sums = np.concatenate([np.zeros((3, 1, COLUMNS)), np.cumsum([usable, usable * depth, usable * depth**2], axis=1)], axis=1)
    groups = len(depth)
    first, last = np.array([(a, b) for a in range(groups) for b in range(a + LEAST_GROUPS, groups + 1)]).T
    count, total, square = sums[:, last] - sums[:, first]
    enough = count >= LEAST_GROUPS
    mean = np.where(enough, total / np.maximum(count, 1.0), 0.0)
    scatter = np.sqrt(np.maximum(square - count * mean**2, 0.0) / np.maximum(count - 1.0, 1.0))
    usual = float(np.median(scatter[enough])) if enough.any() else 1.0
    # Groups that the blur along the line ties together count for less.
    standard = np.where(enough, np.maximum(scatter, max(usual, 1e-3)) / np.sqrt(np.maximum(count * lines.independent, 1.0)), 1.0)
    pick = np.argmax(mean / standard, axis=0)[None]
    return np.concatenate([np.take_along_axis(mean, pick, axis=0), np.take_along_axis(standard, pick, axis=0)])
