"""The block's face and the platen beside it, gathered into cells of one frame.

The frame is the block's own: `across` runs -1 to 1 from its left edge to its right, `down` -1 to 1 from its top edge to its bottom. A cell
holds the mean light of the photograph's pixels in it, so photographs of any size cost the same.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from straightband.errors import BadInput

ACROSS_LIMIT = 2.2  # platen taken up to 0.6 of the block's width beside it: further out it tells more of its own figure than of the step
COLUMNS, ROWS = 160, 224  # 5 rows a band at 45 bands down the face
DIMMEST = 0.3  # of the block's light, taken at the bright bands; below that the platen lies in the rim's shadow
SMALLEST_FACE_PX = 40.0  # across; a quarter of that lies in the blurred edges
LEAST_SHOWN = 0.7  # of the block's face that must lie in the photograph
TOLD_STANDARD = 0.02  # corners set by hand on a blurred edge
LEAST_STRIP = 0.15  # width of platen on either side, as a share of half the block's width


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockFace:
    """Where the block's face lies, in pixels (x right, y down).

    Attributes
    ----------
    centre
        (x, y).
    half_across, half_down
        Vectors from the centre to the middle of the right edge and of the bottom edge.
    standard
        Standard error of the centre, as a share of half the face.
    faint
        True if it was found by seams alone, which a plain face may show by chance.
    """

    centre: tuple[float, float]
    half_across: tuple[float, float]
    half_down: tuple[float, float]
    standard: float
    faint: bool = False

    @property
    def axes(self) -> NDArray:
        """(2, 2) matrix that takes (across, down) to pixels from the centre."""
        return np.array([self.half_across, self.half_down]).T

    @property
    def corners(self) -> NDArray:
        """(4, 2) x, y of the top-left, bottom-left, bottom-right and top-right corner."""
        return np.array(self.centre) + np.array([[-1.0, -1.0], [-1.0, 1.0], [1.0, 1.0], [1.0, -1.0]]) @ self.axes.T


def face_from_corners(corners_px: NDArray) -> BlockFace:
    """The face from its top-left, bottom-left and bottom-right corner, (3, 2) x, y; raises BadInput where these can't be three corners so named."""
    top_left, bottom_left, bottom_right = np.asarray(corners_px, dtype=float)
    across, down = (bottom_right - bottom_left) / 2.0, (bottom_left - top_left) / 2.0
    area = across[0] * down[1] - across[1] * down[0]
    sizes = np.hypot(*across), np.hypot(*down)
    skewed = area < 0.8 * sizes[0] * sizes[1]  # a rectangle seen within some 35 degrees
    if min(sizes) < SMALLEST_FACE_PX / 2.0 or skewed or down[1] <= abs(down[0]):
        raise BadInput(
            found=f"the three corners make a face of {2 * sizes[0]:.0f} by {2 * sizes[1]:.0f} pixels that is no upright rectangle of use",
            needed=f"the top-left, bottom-left and bottom-right corner of a face at least {SMALLEST_FACE_PX:.0f} pixels wide are needed",
            remedy="give them in this order, x before y, in pixels of the upright photograph",
        )
    return BlockFace(
        centre=_pair((top_left + bottom_right) / 2.0), half_across=_pair(across), half_down=_pair(down), standard=TOLD_STANDARD
    )


def _pair(vector: NDArray) -> tuple[float, float]:
    return float(vector[0]), float(vector[1])


@dataclass(frozen=True, slots=True, kw_only=True)
class StepCells:
    """The photograph in the block's frame.

    Attributes
    ----------
    across, down
        [row, column] coordinates of the cells.
    light
        [row, column] mean linear light, about 1 on the block; 0 where no pixel falls.
    present
        [row, column] True where the light can be trusted.
    """

    across: NDArray
    down: NDArray
    light: NDArray
    present: NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Margins:
    """What is left out beside the block's edges, which are blurred: shares of its width and of its height."""

    inside: float = 0.09
    outside: float = 0.09
    ends: float = 0.04


def gather_step(light: NDArray, clipped: NDArray, *, face: BlockFace) -> StepCells:
    """The cells of the block's frame from a picture [row, column] of linear light."""
    rows, columns = light.shape
    x, y = np.arange(columns) - face.centre[0], np.arange(rows) - face.centre[1]
    turn = np.linalg.inv(face.axes)
    across = turn[0, 0] * x[None, :] + turn[0, 1] * y[:, None]
    down = turn[1, 0] * x[None, :] + turn[1, 1] * y[:, None]
    taken = (np.abs(across) < ACROSS_LIMIT) & (np.abs(down) < 1.0)
    column = np.minimum(((across[taken] / ACROSS_LIMIT + 1.0) * COLUMNS / 2).astype(int), COLUMNS - 1)
    row = np.minimum(((down[taken] + 1.0) * ROWS / 2).astype(int), ROWS - 1)
    label = row * COLUMNS + column
    count = np.bincount(label, minlength=ROWS * COLUMNS)
    bad = np.bincount(label, clipped[taken], minlength=ROWS * COLUMNS)
    total = np.bincount(label, light[taken], minlength=ROWS * COLUMNS)
    mean = (total / np.maximum(count, 1)).reshape(ROWS, COLUMNS)
    present = ((count > 0) & (bad == 0)).reshape(ROWS, COLUMNS)
    cell_across, cell_down = np.meshgrid(_middles(COLUMNS, ACROSS_LIMIT), _middles(ROWS, 1.0))
    on_block = present & (np.abs(cell_across) < 1.0)
    level = float(np.median(mean[on_block])) if np.any(on_block) else 0.0
    return StepCells(across=cell_across, down=cell_down, light=mean / level if level > 0.0 else mean, present=present)


def _middles(count: int, limit: float) -> NDArray:
    return ((np.arange(count) + 0.5) * 2.0 / count - 1.0) * limit


def block_cells(cells: StepCells, margins: Margins) -> NDArray:
    """[row, column] True on the block's face less its margins."""
    return cells.present & (np.abs(cells.across) < 1.0 - 2.0 * margins.inside) & _between_ends(cells, margins)


def platen_cells(cells: StepCells, margins: Margins) -> NDArray:
    """[row, column] True on the platen to the left and right of the block."""
    return cells.present & (np.abs(cells.across) > 1.0 + 2.0 * margins.outside) & _between_ends(cells, margins)


def _between_ends(cells: StepCells, margins: Margins) -> NDArray:
    return np.abs(cells.down) < 1.0 - 2.0 * margins.ends


def without_shadow(cells: StepCells, *, bands_per_half: float) -> StepCells:
    """The cells less those in the shadow of the field's rim, judged by the brightest light within a band of each."""
    reach = int(np.clip(np.ceil(ROWS / (2.0 * max(bands_per_half, 0.5))), 5, ROWS))
    smooth = ndimage.uniform_filter(np.where(cells.present, cells.light, 0.0), 3)
    bright = ndimage.maximum_filter(smooth, size=(reach, 1))
    level = float(np.median(bright[cells.present & (np.abs(cells.across) < 1.0)]))
    return StepCells(across=cells.across, down=cells.down, light=cells.light, present=cells.present & (bright > DIMMEST * level))


def check_shown(cells: StepCells, margins: Margins) -> None:
    """Raises BadInput unless enough of the block and of the platen on both sides shows."""
    block, platen = block_cells(cells, margins), platen_cells(cells, margins)
    whole = np.mean(_between_ends(cells, margins) & (np.abs(cells.across) < 1.0 - 2.0 * margins.inside))
    if np.mean(block) < LEAST_SHOWN * whole:
        raise BadInput(
            found=f"{100 * np.mean(block) / whole:.0f} % of the block's face can be seen inside the corners given",
            needed=f"at least {100 * LEAST_SHOWN:.0f} % is needed, neither cut off nor overexposed",
            remedy="check the corners, which are pixels of the upright photograph, x before y",
        )
    strip = [np.mean(platen & side) * 2.0 * ACROSS_LIMIT for side in (cells.across < 0.0, cells.across > 0.0)]
    if min(strip) < LEAST_STRIP:
        raise BadInput(
            found=f"the platen shows over {100 * min(strip) / 2:.0f} % of the block's width on the {'left' if strip[0] < strip[1] else 'right'}",
            needed=f"at least {100 * LEAST_STRIP / 2:.0f} % beyond the blurred edge is needed on both sides, to carry its bands under the block",
            remedy="use a photograph that shows more of the platen",
        )
