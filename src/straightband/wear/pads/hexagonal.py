"""The lay-out that needs no thought: pads in rows, each in the dip of two of the row before, one in the middle."""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely.geometry import Polygon

from straightband.wear.pads.outlines import Pad, placed, reach_mm


def hexagonal_layout(pad: Pad, *, plate_radius_mm: float, gap_mm: float) -> tuple[Polygon, ...]:
    """Whole pads on a hexagonal lattice about the middle of the plate, as many as lie wholly on it."""
    pitch = 2.0 * reach_mm(pad.outline) + gap_mm
    rows = math.ceil(plate_radius_mm / (pitch * math.sqrt(0.75)))
    found = []
    for row in range(-rows, rows + 1):
        for column in range(-rows - 2, rows + 3):
            x, y = (column + 0.5 * (row % 2)) * pitch, row * pitch * math.sqrt(0.75)
            outline = placed(pad.outline, x_mm=x, y_mm=y, turn_rad=0.0)
            if np.hypot(*shapely.get_coordinates(outline).T).max() <= plate_radius_mm * (1.0 + 1e-9):
                found.append(outline)
    return tuple(found)
