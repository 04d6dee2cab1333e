"""Where the glass ends, seen in the light across the rim.

A bevel or a dark line only a few pixels wide blurs into one edge, whose steepest place lies inside the outline. Along a closed curve good
to a few pixels the light across the rim is therefore compared with two edges a little apart, blurred alike: where the outer one lies, how
far inside it the other, and the blur are found for the whole rim together; the levels differ from sector to sector.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import ndtr

from straightband.photo.figure import Figure
from straightband.photo.unrolled import Pyramid, unroll

COUNT, SECTORS = 384, 24
STEP_PX = 0.5
INWARD_PX, OUTWARD_PX = 9.0, 7.0
WIDEST_PX = 7.0
BLURS_PX = (1.0, 2.0)
SHARPEST_PX, SOFTEST_PX = 0.4, 4.5
BETTER = 0.75  # what two edges leave, of what one leaves, at most
LINE_SECTORS = 0.7  # share of the sectors in which the light between the edges lies beyond that on both sides
LEAST_OUTWARD_PX = 0.3  # less is within what the place of the edge itself is good to
LEAST_JUMP = 0.15  # of the smaller edge, relative to the larger
FAR_INWARD_PX, FAR_OUTWARD_PX = 7.0, 16.0  # where a step outside an inner edge that is known is looked for
INNER_PX, STEP_WIDTHS_PX, STEP_BLURS_PX = (-0.6, 0.0, 0.6), np.arange(1.5, 12.1, 0.5), (0.7, 1.0, 1.5, 2.2, 3.2)
OUT_OF_FOCUS_PX, IN_FOCUS = 2.0, 2.0  # blur; how many times it a second edge must lie outside
SURE_LEFT, DOUBTFUL_LEFT, NARROW_LEFT = 0.5, 0.65, 0.25  # what two edges leave, of what one leaves
NARROW_PX = 1.75  # two edges nearer than this are mostly one whose blur is not even
LEAST_STEP_PX = 1.5  # less is what an edge looks like whose blur is no bell curve
BETTER_SECTORS, FEWEST_BETTER = 0.66, 0.5
WORSE, MOST_WORSE = 1.1, 0.1  # what two edges leave of what one leaves where the second is none; share of the sectors
QUIET = 0.25  # what one edge leaves in a sector, of the mean of all, where there is nothing a second one could explain: a bevel as dark as a shadow beside it
SHADOWS_PX = (4.0, 7.0, 12.0)  # how far from the rim the shadow of the glass has fallen to 1/e: common practice, no source
SHADED_PLACES_PX, SHADED_BLURS_PX = np.linspace(-0.8, 0.8, 9), (0.6, 0.75, 0.9, 1.05, 1.2, 1.4, 1.7, 2.2, 2.8, 3.5)
# What two edges leave, of what one edge and a shadow leave: sure below whatever one edge leaves, sure below, given up above.
FAR_BETTER_THAN_SHADOW, BETTER_THAN_SHADOW, LIKE_SHADOW = 0.75, 0.97, 1.05
SIDE_PLACES_PX, SIDE_BLURS_PX = (-0.4, 0.0, 0.4), (0.7, 1.0, 1.5, 2.2)
LEFT_OF_SIDE = 0.85  # what a side leaves unexplained as inner edge, of what it leaves as outer one, at most; where it is right, 2 to 8


@dataclass(frozen=True, slots=True, kw_only=True)
class OuterStep:
    """A second edge outside an inner one: how far outside the figure it lies (plane pixels), and whether it is sure."""

    outward_px: float
    sure: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fit:
    """Two edges across a rim: `outer_px` and `outer_px - width_px`, blurred by `blur_px`; `left` is the variance left unexplained."""

    outer_px: float
    width_px: float
    blur_px: float
    left: float


def outward_of_line(pyramid: Pyramid, figure: Figure) -> float:
    """How many plane pixels outside the rim the glass ends, if a line or bevel a few pixels wide runs along it; 0 if none does."""
    offsets = np.arange(-INWARD_PX, OUTWARD_PX + STEP_PX / 2.0, STEP_PX)
    profiles = profiles_across(pyramid, figure, offsets=offsets)
    alone = min((_fitted(profiles, offsets, start=(0.0, 0.0, blur)) for blur in BLURS_PX), key=lambda fit: fit.left)
    starts = [(alone.outer_px + out, width, alone.blur_px) for width in (1.5, 3.0, 5.0) for out in (0.0, width)]
    pair = _fitted(profiles, offsets, start=min(starts, key=lambda start: _left(profiles, offsets, *start)))
    if pair.left > BETTER * alone.left:
        return 0.0
    jumps = _jumps(profiles, offsets, fit=pair)
    line = float(np.mean((jumps[0] * jumps[1] < 0.0) & (np.abs(jumps).min(axis=0) > LEAST_JUMP * np.abs(jumps).max(axis=0))))
    return pair.outer_px if line > LINE_SECTORS and pair.outer_px > LEAST_OUTWARD_PX else 0.0


def outer_step(pyramid: Pyramid, figure: Figure) -> OuterStep | None:
    """The step of light that runs outside a rim all around, if that rim may be the inner edge of a bevel; None if none is seen.

    The bevel may lie in brightness between face and surround, where both edges are steps of one sign and look like one that is soft; here
    the place of the inner edge is known, so that one soft edge will not do.
    """
    offsets = np.arange(-FAR_INWARD_PX, FAR_OUTWARD_PX + STEP_PX / 2.0, STEP_PX)
    profiles = profiles_across(pyramid, figure, offsets=offsets)
    alone = min((unexplained(profiles, offsets, outer=at, width=0.0, blur=blur) for at in INNER_PX for blur in STEP_BLURS_PX), key=np.sum)
    tried = [(at + width, width, blur) for at in INNER_PX for width in STEP_WIDTHS_PX for blur in STEP_BLURS_PX]
    parts = [unexplained(profiles, offsets, outer=outer, width=width, blur=blur) for outer, width, blur in tried]
    best = int(np.argmin([part.sum() for part in parts]))
    outer, width, blur = tried[best]
    left = float(parts[best].sum() / (alone.sum() + 1e-12))
    if not _alike(parts[best], alone) or outer < LEAST_STEP_PX or left > DOUBTFUL_LEFT or (width < NARROW_PX and left > NARROW_LEFT):
        return None
    # one edge with a shadow outside it may explain the light as well
    shaded = [
        unexplained(profiles, offsets, outer=at, width=0.0, blur=blur, shadow=reach).sum()
        for at in SHADED_PLACES_PX
        for blur in SHADED_BLURS_PX
        for reach in SHADOWS_PX
    ]
    to_shadow = float(parts[best].sum() / (min(shaded) + 1e-12))
    if to_shadow > LIKE_SHADOW:
        return None
    clear = (left < SURE_LEFT and to_shadow < BETTER_THAN_SHADOW) or to_shadow < FAR_BETTER_THAN_SHADOW
    # the foot of an edge out of focus, blurred after the camera's curve, looks like a second edge
    in_focus = blur < OUT_OF_FOCUS_PX or outer > IN_FOCUS * blur
    return OuterStep(outward_px=float(outer), sure=clear and in_focus)


def _alike(pair: NDArray, alone: NDArray) -> bool:
    """Whether the second edge explains the light (sectors,) nearly all around, but for where it does not show since one edge leaves hardly anything."""
    better = pair < BETTER * alone
    if float(np.mean(better)) > BETTER_SECTORS:
        return True
    telling = alone > QUIET * np.mean(alone)
    nowhere_worse = float(np.mean(pair > WORSE * alone)) < MOST_WORSE
    return nowhere_worse and float(np.mean(better[telling])) > BETTER_SECTORS and float(np.mean(better)) > FEWEST_BETTER


def sides_on_inner_edge(pyramid: Pyramid, figure: Figure, *, width_px: float) -> NDArray:
    """(4,) True for the sides of a rectangle that run along the inner edge of a bevel whose width is known from the other sides."""
    offsets = np.arange(-FAR_INWARD_PX, FAR_OUTWARD_PX + STEP_PX / 2.0, STEP_PX)
    profiles = profiles_across(pyramid, figure, offsets=offsets)

    def left(outer_px: float) -> NDArray:
        places = [(outer_px + off, blur) for off in SIDE_PLACES_PX for blur in SIDE_BLURS_PX]
        tried = [unexplained(profiles, offsets, outer=outer, width=width_px, blur=blur) for outer, blur in places]
        return np.min(tried, axis=0).reshape(4, -1)

    # by the median: a speck or a streak of glare spoils one part of a side
    return np.median(left(width_px) / left(0.0), axis=1) < LEFT_OF_SIDE


def profiles_across(pyramid: Pyramid, figure: Figure, *, offsets: NDArray) -> NDArray:
    """(offsets, sectors): linear light across the rim, the median of each sector."""
    strip = unroll(pyramid, figure, radii=1.0 + offsets / figure.depths(COUNT)[:, None], count=COUNT)
    return np.median(np.nan_to_num(strip).reshape(SECTORS, COUNT // SECTORS, -1), axis=1).T.astype(float)


def _fitted(profiles: NDArray, offsets: NDArray, *, start: tuple[float, float, float]) -> _Fit:
    """The best edges near a start; a width of 0 stays 0."""
    free = np.array([0, 2] if start[1] == 0.0 else [0, 1, 2])
    values = np.array(start)

    def left(some: NDArray) -> float:
        values[free] = some
        return _left(profiles, offsets, *values)

    found = minimize(left, np.array(start)[free], method="Nelder-Mead", options={"xatol": 0.02, "fatol": 1e-9, "maxiter": 120})
    values[free] = found.x
    return _Fit(outer_px=float(values[0]), width_px=float(values[1]), blur_px=float(values[2]), left=float(found.fun))


def _left(profiles: NDArray, offsets: NDArray, outer: float, width: float, blur: float) -> float:
    """Share of the variance that levels and slopes on both sides of the edges leave."""
    if not (SHARPEST_PX < blur < SOFTEST_PX and 0.0 <= width <= WIDEST_PX and abs(outer) < OUTWARD_PX - 1.0):
        return 2.0
    left = unexplained(profiles, offsets, outer=outer, width=width, blur=blur)
    return float(left.sum() / (np.sum((profiles - profiles.mean(axis=0)) ** 2) + 1e-12))


def unexplained(profiles: NDArray, offsets: NDArray, *, outer: float, width: float, blur: float, shadow: float = 0.0) -> NDArray:
    """(sectors,): sum of squares that levels and slopes on both sides of the edges leave; `shadow` is the reach of one outside them, 0 for none."""
    if not shadow:
        return unexplained_at(profiles, offsets, outer=np.array([outer]), width=width, blur=blur)[0]
    basis = _basis(offsets, outer=np.array([outer]), width=width, blur=blur)
    bare = _left_by(basis, profiles)[0]
    beyond = offsets - outer
    shade = _left_by(basis, (ndtr(beyond / blur) * np.exp(-np.maximum(beyond, 0.0) / shadow))[:, None])[0, :, 0]
    # a shadow takes light away: where adding some would explain more, it is none
    depth = np.minimum(shade @ bare, 0.0) / (shade @ shade)
    return np.sum((bare - np.outer(shade, depth)) ** 2, axis=0)


def unexplained_at(profiles: NDArray, offsets: NDArray, *, outer: NDArray, width: float, blur: float) -> NDArray:
    """(places, sectors): the same without a shadow at many places of the outer edge."""
    return np.sum(_left_by(_basis(offsets, outer=outer, width=width, blur=blur), profiles) ** 2, axis=1)


def _left_by(basis: NDArray, values: NDArray) -> NDArray:
    """What least squares by the columns of each basis (places, offsets, columns) leave of values (offsets, sectors)."""
    q, _ = np.linalg.qr(basis)
    return values - q @ (q.transpose(0, 2, 1) @ values)


def _basis(offsets: NDArray, *, outer: NDArray, width: float, blur: float) -> NDArray:
    """(places, offsets, columns): light outside, its slope, the step at the inner edge, slope and bend inside, and the step at the outer edge if there are two."""
    beyond = offsets - outer[:, None]
    glass, inner, inward = ndtr(-beyond / blur), ndtr(-(beyond + width) / blur), beyond + width
    columns = [np.ones_like(beyond), (1.0 - glass) * beyond, inner, inner * inward, inner * inward**2]
    return np.stack([*columns, glass] if width > 0.0 else columns, axis=-1)


def _jumps(profiles: NDArray, offsets: NDArray, *, fit: _Fit) -> NDArray:
    """(2, sectors): steps of the light at the outer and at the inner edge, going inward."""
    basis = _basis(offsets, outer=np.array([fit.outer_px]), width=fit.width_px, blur=fit.blur_px)[0]
    levels = np.linalg.lstsq(basis, profiles, rcond=None)[0]
    return levels[[5, 2]] if fit.width_px > 0.0 else levels[[2, 2]]
