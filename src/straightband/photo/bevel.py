"""How far inside the outline the bands end: where the bevel begins, or where the face ends under a back whose rim is nearer to the camera.

Glass seen through its back shows that back's rim outside the face, the farther the nearer the camera stands and the thicker the glass is.
A bevel is as wide all around; the two rims of a thick piece seen a little from the side are not concentric.
"""

from __future__ import annotations

import math
from dataclasses import replace

from straightband.photo.bandends import REACH_PX, band_ends
from straightband.photo.figure import grown
from straightband.photo.refine import Refined
from straightband.photo.unrolled import Pyramid

WIDEST = 0.09  # of the shorter half axis: farther inside the bands end for another reason
NARROWEST = 0.004  # less is within what the place of the edge is good to
UNEVEN = 0.015  # widest less narrowest gap, from which on two rims are not one bevel's, where the narrowest is as wide too
LARGEST_SCATTER_PX = 0.6


def within_bevel(pyramid: Pyramid, best: Refined) -> tuple[Refined, float]:
    """The outline, and how far inside it the bands end, as a share of the shorter half axis; 0 if there is no telling.

    Where the gap is uneven the outline found is taken for the rim of the back, and that of the face is put where the gap is narrowest all
    around the bands: in doubt by as much, since what the bevel is wide does not show.
    """
    size_px = best.figure.axes()[1]
    ends = band_ends(pyramid, best.figure, reach_px=max(REACH_PX, WIDEST * size_px))
    if ends is None or ends.scatter_px > LARGEST_SCATTER_PX or float(ends.gaps_px.min()) < NARROWEST * size_px:
        return best, best.bevel_px / size_px
    narrow_px, wide_px = float(ends.gaps_px.min()), float(ends.gaps_px.max())
    if wide_px - narrow_px < UNEVEN * size_px:
        return best, wide_px / size_px
    if best.figure.square or narrow_px < UNEVEN * size_px:  # bands that turn away from the rim end unevenly too
        return best, best.bevel_px / size_px
    doubt_px = narrow_px / math.sqrt(3.0)
    moved = replace(
        best,
        figure=grown(ends.figure, narrow_px),
        standard_px=math.hypot(best.standard_px, doubt_px),
        bevel_px=narrow_px,
        doubtful=True,
    )
    return moved, narrow_px / size_px
