"""Jumps: how the bands change from one side of a line to the other, close by, all the way down.

A face bends its bands slowly, whatever its form; an edge changes them within its blur. So only a few columns on either side of each line are
compared, less what changes evenly across them, and the change down the line is told by least squares: as a share of the bands on one side.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from straightband.fringes.step_field import COLUMNS, ROWS, Field, bands_along, centred, climb_along, lines_of, lit_along

SIZES = ((2, 6), (3, 10), (4, 14))  # columns from a line: from where to where its sides are compared, for sharp edges and for blunt ones
SEAM_SIZE = (1, 3, 7)  # columns: how far a seam's own reach, and from where to where its sides lie
LEAST_SHOWN = 0.4  # of the height that a line must lie in the light
STEEPEST = 4.0  # rows that a band may climb from column to column and still be followed
ROWS_TOGETHER = 2  # rows taken as one, to save time: a band is ten times as wide


@dataclass(frozen=True, slots=True, kw_only=True)
class Telling:
    """Coefficients told on each line, with their standard errors.

    Attributes
    ----------
    value, standard
        (COLUMNS, k).
    shown
        (COLUMNS,) True where enough of the line lies in the light.
    """

    value: NDArray
    standard: NDArray
    shown: NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class LineJumps:
    """What changes at each of the lines of one lean.

    Attributes
    ----------
    lean
        In pixels of the picture.
    left, right
        For each of SIZES: the block's bands as a share of the platen's less 1, were the line the block's left edge, or its right one:
        real and imaginary part at mid-height, and how they grow down half the height.
    seam
        Share of the contrast, and of the light, by which the line has more than its neighbours.
    """

    lean: float
    left: tuple[Telling, ...]
    right: tuple[Telling, ...]
    seam: Telling


def jumps_of(field: Field, *, lean: float) -> LineJumps:
    """What changes at each of the lines that lean so."""
    sheared = _Sheared.of(field, lean=lean)
    left, right = [], []
    for near, far in SIZES:
        change, shown = sheared.combined(_step_weights(near, far))
        before, after = sheared.reference(-far, -near), sheared.reference(near, far)
        left.append(_told(change, before, shown, kept=[0, 2, 1, 3]))
        right.append(_told(-change, after, shown, kept=[0, 2, 1, 3]))
    own, shown = sheared.combined(_seam_weights(*SEAM_SIZE))
    beside = sheared.reference(-SEAM_SIZE[2], SEAM_SIZE[2])
    return LineJumps(lean=lean, left=tuple(left), right=tuple(right), seam=_told(own, beside, shown, kept=[0, 4]))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheared:
    """The field along leaning lines with rows taken together: `climb` rows down a band goes from line to line, `running` sums of the bands' phasors."""

    bands: NDArray
    lit: NDArray
    tone: NDArray
    running: NDArray
    climb: float

    @classmethod
    def of(cls, field: Field, *, lean: float) -> _Sheared:
        bands, tone = bands_along(field, lean=lean)
        lines = lines_of(field, lean=lean)
        running = np.zeros((ROWS // ROWS_TOGETHER, COLUMNS + 1), dtype=np.complex64)
        np.cumsum(_binned(lines.phasor * lines.contrast), axis=1, out=running[:, 1:])
        return cls(
            bands=_binned(bands).astype(np.float32),
            lit=_binned(lit_along(field, lean=lean)) > 0.99,
            tone=tone.reshape(-1, ROWS_TOGETHER, COLUMNS).mean(axis=1).astype(np.complex64),
            running=running,
            climb=float(np.clip(climb_along(field, lean=lean), -STEEPEST, STEEPEST)) / ROWS_TOGETHER,
        )

    def combined(self, weights: dict[int, float]) -> tuple[NDArray, NDArray]:
        """[row, column] bands of the columns so far aside, weighted, each taken where the band runs that the line meets; True where all are lit."""
        reach = max(weights)
        high = int(np.ceil(abs(self.climb) * reach)) + 1
        kernel = np.zeros((2 * high + 1, 2 * reach + 1), dtype=np.float32)
        for aside, weight in weights.items():
            whole, part = divmod(self.climb * aside, 1.0)
            kernel[high + int(whole), reach + aside] += weight * (1.0 - part)
            kernel[high + int(whole) + 1, reach + aside] += weight * part
        shown = cv2.erode(self.lit.astype(np.uint8), np.ones(kernel.shape, np.uint8), borderType=cv2.BORDER_CONSTANT, borderValue=0)
        return cv2.filter2D(self.bands, -1, kernel), shown > 0

    def reference(self, first: int, last: int) -> NDArray:
        """[row, column] phasors of the bands on the mean of the columns from `first` to `last` aside."""
        start, end = (np.clip(np.arange(COLUMNS) + cut, 0, COLUMNS) for cut in (first, last + 1))
        return (self.running[:, end] - self.running[:, start]) / np.maximum(end - start, 1) * self.tone


def _binned(picture: NDArray) -> NDArray:
    return picture.reshape(-1, ROWS_TOGETHER, picture.shape[1]).mean(axis=1)


def _step_weights(near: int, far: int) -> dict[int, float]:
    """Weights that give the height of a step at 0 and nothing for a slope."""
    aside = np.array([*range(-far, -near + 1), *range(near, far + 1)])
    fit = np.linalg.pinv(np.stack([np.ones(aside.size), aside, 0.5 * np.sign(aside)], axis=1))
    return dict(zip(aside.tolist(), fit[2].tolist(), strict=True))


def _seam_weights(core: int, near: int, far: int) -> dict[int, float]:
    """Weights that give what the columns at 0 have more than those on both sides."""
    own = dict.fromkeys(range(-core, core + 1), 1.0 / (2 * core + 1))
    return own | {sign * aside: -0.5 / (far - near + 1) for aside in range(near, far + 1) for sign in (-1, 1)}


def _told(change: NDArray, reference: NDArray, shown: NDArray, *, kept: list[int]) -> Telling:
    """The change on each line by least squares as a share of the reference bands, each with a slope down the line.

    Coefficients are the bands' own share, its slope, that a quarter of a band on, its slope, even light, its slope.
    """
    down = centred(len(change))
    powers = np.stack([down**n for n in range(3)]).astype(np.float32)
    parts = np.stack([2.0 * reference.real, -2.0 * reference.imag, np.ones_like(change)]) * shown
    moments = np.einsum("nr,irc,jrc->cijn", powers, parts, parts, optimize=["einsum_path", (1, 2), (0, 1)])
    normal = moments[..., np.add.outer(np.arange(2), np.arange(2))].transpose(0, 1, 3, 2, 4).reshape(COLUMNS, 6, 6).astype(float)
    normal[:, np.arange(6), np.arange(6)] += 1e-3
    right = np.einsum("nr,irc->cin", powers[:2], parts * change, optimize=True).reshape(COLUMNS, 6).astype(float)
    inverse = np.linalg.inv(normal)
    value = np.einsum("cij,cj->ci", inverse, right)
    count = shown.sum(axis=0)
    left_over = np.maximum((change**2 * shown).sum(axis=0) - np.einsum("ci,ci->c", value, right), 1e-9) / np.maximum(count - 6, 1)
    standard = np.sqrt(np.einsum("cii->ci", inverse) * left_over[:, None])
    return Telling(value=value[:, kept], standard=standard[:, kept], shown=count > LEAST_SHOWN * len(change))
