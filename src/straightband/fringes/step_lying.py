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
    cells = gather_step(light, clipped, face=face)
    try:
        check_shown(cells, margins)
    except BadInput:
        lies = np.hypot(*face.half_across) > LEAST_LENGTH * np.hypot(*face.half_down)
        told = face.standard <= TOLD_STANDARD  # a face found by its upright edges without platen beside them is no block
        if not (told and lies and _shown_turned(light, clipped, face=face, margins=margins)):
            raise
        return gather_step(light, clipped, face=turned(face)), turned(face)
    return cells, face


def _shown_turned(light: NDArray, clipped: NDArray, *, face: BlockFace, margins: Margins) -> bool:
    try:
        check_shown(gather_step(light, clipped, face=turned(face)), margins)
    except BadInput:
        return False
    return True


def turned(face: BlockFace) -> BlockFace:
    """The same face in a frame whose across is its down, and whose down runs to its left."""
    x, y = face.half_across
    return replace(face, half_across=face.half_down, half_down=(-x, -y))


def turned_back(fit: FaceFit) -> FaceFit:
    """A fit in the turned frame, told in the face's own."""
    return replace(fit, waves=fit.waves[[0, 2, 1, 5, 4, 3]] * np.array([1.0, 1.0, -1.0, 1.0, -1.0, 1.0]))
