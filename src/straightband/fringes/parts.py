"""Growing from a part of the face: a quadratic phase holds over a part where it does not over the whole.

Where a figure of higher order is as large as a few bands, no chirp over the whole face comes near enough to grow to the truth. Over a disc of half its
size one does; grown there first, and then outward with rising order, the phase follows the bands from where they are simple to where they are not.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from straightband.face.shapes import Shape
from straightband.fringes.grow import GRIDS, CoarsePicture, WholeFit, at_start, best_first, grid_for, grown, thin
from straightband.fringes.starts import WEAK_SAMPLES, disc_grid, find_starts

# In units of the half extents.
CENTRES = ((0.0, 0.0), (0.4, 0.0), (-0.4, 0.0), (0.0, 0.4), (0.0, -0.4))
FIRST_RADIUS = 0.55
STARTS = 12
# (radius, polynomial orders, samples used, steps an order, fits kept); the last discs hold the whole face
OUTWARD = ((0.55, (2, 3), 800, 5, 6), (0.8, (3, 4), 1500, 4, 4), (1.2, (4,), 2500, 4, 3), (np.inf, (5, 6), 4000, 5, 3))
LEAST_SAMPLES = 100


def grown_from_parts(pictures: dict[int, CoarsePicture], *, shape: Shape) -> list[WholeFit]:
    """Fits of the whole face that grew from five parts of it; `pictures` holds it at WEAK_SAMPLES and at each of GRIDS."""
    found: list[WholeFit] = []
    for centre in CENTRES:
        bands, coarse = (_cut_out(pictures[n].grid, centre=centre) for n in (GRIDS[1], WEAK_SAMPLES))
        fits = [at_start(start) for start in find_starts(bands, coarse=coarse)[:STARTS]]
        for radius, orders, count, steps, kept in OUTWARD:
            within = {n: _within(pictures[n], centre=centre, radius=radius) for n in GRIDS}
            if within[GRIDS[0]].x.size < LEAST_SAMPLES:
                fits = []
                break
            tried = [grown(thin(within[grid_for(fit.start)], count), fit, shape=shape, orders=orders, steps=steps) for fit in fits]
            fits = best_first(tried, picture=within[GRIDS[0]], shape=shape)[:kept]
        found += fits
    return found


def _cut_out(grid: NDArray, *, centre: tuple[float, float]) -> NDArray:
    """The grid [y, x] within the first disc, zero elsewhere."""
    x, y = disc_grid(len(grid))
    return grid * (np.hypot(x - centre[0], y - centre[1]) <= FIRST_RADIUS)


def _within(picture: CoarsePicture, *, centre: tuple[float, float], radius: float) -> CoarsePicture:
    """The cells of a picture within a disc."""
    return picture.only(np.hypot(picture.x - centre[0], picture.y - centre[1]) <= radius)
