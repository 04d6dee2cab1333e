"""A block that lies: longer across the photograph than down, it often fills the field from left to right, and its platen shows above and below.

It is read in a frame turned by a quarter, whose `across` runs down the photograph, and told in the frame of its corners.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from straightband.errors import BadInput
from straightband.fringes.step_cells import TOLD_STANDARD, BlockFace, Margins, StepCells, check_shown, gather_step
from straightband.fringes.step_fit import FaceFit

LEAST_LENGTH = 1.5  # of its height: gauge blocks are 30 by 9 or 35 by 9 mm, or square; under a square one too many bands go uncounted


def frame_of(light: NDArray, clipped: NDArray, *, face: BlockFace, margins: Margins) -> tuple[StepCells, BlockFace]:
    """Cells with enough of block and platen, and the frame they are in: the face's own or, where a lying block's platen is too narrow, a turned one.

    Raises BadInput where neither shows enough.
    """
    refusals = []
    for frame in (face, turned(face)) if _may_be_turned(face) else (face,):
        cells = gather_step(light, clipped, face=frame)
        try:
            check_shown(cells, margins)
        except BadInput as refusal:
            refusals.append(refusal)
        else:
            return cells, frame
    raise refusals[0]


def _may_be_turned(face: BlockFace) -> bool:
    """True for a told face that lies; one found by its upright edges without platen beside them is no block."""
    return bool(face.standard <= TOLD_STANDARD and np.hypot(*face.half_across) > LEAST_LENGTH * np.hypot(*face.half_down))


def turned(face: BlockFace) -> BlockFace:
    """The same face in a frame whose across is its down, and whose down runs to its left."""
    x, y = face.half_across
    return replace(face, half_across=face.half_down, half_down=(-x, -y))


def turned_back(fit: FaceFit) -> FaceFit:
    """A fit in the turned frame, told in the face's own."""
    return replace(fit, waves=fit.waves[[0, 2, 1, 5, 4, 3]] * np.array([1.0, 1.0, -1.0, 1.0, -1.0, 1.0]))
