"""From an outline good to a hundredth of its size to one good to a fraction of a pixel.

A bevel shows two edges a constant distance apart: where the bands end, and the outline itself. Either may be faint on part of the rim,
where the bevel is as bright as what lies beside it; so both are fitted as one, an ellipse or rectangle and a width. Along the rim a faint
edge is seen by averaging; across it, its place is where linear light is steepest, which a symmetric blur does not shift.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from straightband.photo.bandends import BandEnds, band_ends
from straightband.photo.curves import CREST_PX, SHARP, Strip, edge_strip
from straightband.photo.figure import Figure, apart, grown, moved, rim_motions
from straightband.photo.rimprofile import OuterStep, outer_step, outward_of_line, sides_on_inner_edge
from straightband.photo.twoedges import on_two_edges
from straightband.photo.unrolled import Pyramid

FINE_COUNT, AVERAGED = 384, 9
NARROWEST_PX = 3.5  # a bevel narrower than this shows as one edge
REACH_PX, REACH_SHARE = 3.0, 0.004  # how far the edge may lie from the curve found, in pixels or relative to the shorter half axis
INSIDE_PX, OUTWARD_PX = 3.0, 7.0  # where a second edge is looked for
OUTER_SHARE = 0.25  # of the strongest slope in a row: an edge, not what a JPEG writes beside one
AGREE_PX, AGREE_SHARE = 0.8, 0.45  # how alike, and along how much of the rim or side
FARTHER_PX = 1.2  # less is the same edge
PEAK_STEPS = 4  # half pixels on either side of the top of a crest that give its centre
WIDTH_TRUST = 10.0  # in rim points: how hard the width first found is held on to
CROSSING_PX = 2.0  # farther outside the outline no bands show: what was taken for their end is something else
MIXED_PX, MIXED_SHARE = (
    1.5,
    0.5,
)  # a curve is now on the outer, now on the inner edge: widest gap to the bands, and narrowest relative to it
MIXED_SCATTERS, LARGEST_SCATTER_PX = 3.0, 0.8
TURNED_SHARE = 0.3  # of the widest gap
SAME_EDGE_PX = 1.0
LEAST_SEEN_LOST = 0.05  # share of the rim
WIDTH_SHARES = np.arange(0.5, 1.2, 0.05)  # of the widest gap: what the width of the bevel may be
PINNED_PX = 1.5  # how far the fit of both edges may take the outline from where bands and width put it
STEP_STANDARD_PX = 0.4  # how well the place of a step a few pixels outside a stronger edge is known; rms over our drawn photographs
TUKEY = 4.7  # rejects beyond this many standard deviations, 95 % efficient (common practice)


@dataclass(frozen=True, slots=True, kw_only=True)
class Refined:
    """A figure placed to a fraction of a pixel.

    Attributes
    ----------
    figure
        The figure.
    standard_px
        Standard uncertainty of its place and half axes, plane pixels.
    support
        Share of the rim where the edge, or the inner edge of the bevel, was taken into the fit.
    bevel_px
        Width of the bevel or line seen along the rim, plane pixels; 0 if none.
    doubtful
        True where two edges a few pixels apart compete; half their distance is then in `standard_px`.
    """

    figure: Figure
    standard_px: float
    support: float
    bevel_px: float
    doubtful: bool = False


def refined(pyramid: Pyramid, figure: Figure, *, bevel: float = 0.0) -> Refined:
    """The figure fitted to the edge that runs along it; `bevel` is the width of a bevel inside it, relative to the radius, 0 for none."""
    width = bevel * figure.axes()[1]
    if width > NARROWEST_PX:
        return _fine_fit(pyramid, figure, width)
    fine = on_one_edge(pyramid, figure)
    two = on_two_edges(pyramid, fine.figure)
    if two is not None:
        inner = grown(two.figure, -two.width_px)
        return _pinned(pyramid, inner, width=two.width_px, fine=fine, standard_px=max(two.scatter_px / 2.0, STEP_STANDARD_PX))
    ends = band_ends(pyramid, fine.figure)
    if ends is not None and _is_mixed(ends):
        return _around_bands(pyramid, ends, fine=fine)
    may_be_inner = fine.bevel_px < SAME_EDGE_PX and (ends is None or float(ends.gaps_px.max()) < MIXED_PX)
    step = outer_step(pyramid, fine.figure) if may_be_inner else None
    return fine if step is None else _stepped(pyramid, step, fine=fine)


def _is_mixed(ends: BandEnds) -> bool:
    widest, narrowest = float(ends.gaps_px.max()), float(ends.gaps_px.min())
    # A side of a rectangle runs along one edge of the bevel: where the gap is a wedge, bands turned away before they reached the rim.
    turned = max(float(np.ptp(side)) for side in np.split(ends.gaps_px, 4)) if ends.figure.square else 0.0
    sharp = ends.scatter_px < LARGEST_SCATTER_PX and widest > max(MIXED_PX, MIXED_SCATTERS * ends.scatter_px)
    return sharp and -CROSSING_PX < narrowest < MIXED_SHARE * widest and turned < max(SAME_EDGE_PX, TURNED_SHARE * widest)


def _stepped(pyramid: Pyramid, step: OuterStep, *, fine: Refined) -> Refined:
    """The outline on the step outside the edge found if that is sure, else the edge found, in doubt by half the distance."""
    if step.sure:
        return _pinned(pyramid, fine.figure, width=step.outward_px, fine=fine, standard_px=STEP_STANDARD_PX)
    return replace(fine, standard_px=float(np.hypot(fine.standard_px, step.outward_px / 2.0)), doubtful=True)


def _around_bands(pyramid: Pyramid, ends: BandEnds, *, fine: Refined) -> Refined:
    """The outline a bevel's width outside the bands, the width being the one at which most of an edge lies."""
    widest = float(ends.gaps_px.max())
    offsets = np.arange(-CREST_PX, WIDTH_SHARES[-1] * widest + CREST_PX, 0.25)
    sure = edge_strip(pyramid, ends.figure, offsets=offsets, count=FINE_COUNT, averaged=AVERAGED).sure
    votes = np.array([sure[:, np.abs(offsets - share * widest) < AGREE_PX].max(axis=1).mean() for share in WIDTH_SHARES])
    width = widest * float(WIDTH_SHARES[votes > 0.98 * votes.max()].mean())
    placed = _pinned(pyramid, ends.figure, width=width, fine=fine, standard_px=max(ends.scatter_px / 2.0, STEP_STANDARD_PX))
    # Bands that turn away before the rim end too early: then the edges seen do not bear the outline out.
    borne_out = _seen_along(pyramid, placed.figure, width=placed.bevel_px) > _seen_along(pyramid, fine.figure, width=0.0) - LEAST_SEEN_LOST
    return placed if borne_out else fine


def _seen_along(pyramid: Pyramid, figure: Figure, *, width: float) -> float:
    """Share of the rim with an edge on it or the bevel's width inside it."""
    offsets = np.arange(-width - 2.0 * CREST_PX, 2.0 * CREST_PX, 0.5)
    sure = edge_strip(pyramid, figure, offsets=offsets, count=FINE_COUNT, averaged=AVERAGED).sure
    near = (np.abs(offsets) < SAME_EDGE_PX) | (np.abs(offsets + width) < SAME_EDGE_PX)
    return float((sure[:, near].max(axis=1) > 0.5).mean())


def _pinned(pyramid: Pyramid, inner: Figure, *, width: float, fine: Refined, standard_px: float) -> Refined:
    """The outline a width outside an inner edge, placed on both edges where they can be told apart and agree with that."""
    standard_px = float(np.hypot(fine.standard_px, standard_px))
    return _refitted(pyramid, Refined(figure=grown(inner, width), standard_px=standard_px, support=fine.support, bevel_px=width))


def _refitted(pyramid: Pyramid, placed: Refined) -> Refined:
    """An outline fitted to both edges of its bevel, where they can be told apart and agree with where it is."""
    if placed.bevel_px <= NARROWEST_PX:
        return placed
    both = _fine_fit(pyramid, placed.figure, placed.bevel_px)
    return both if apart(placed.figure, both.figure) * placed.figure.axes()[1] < PINNED_PX else placed


def on_one_edge(pyramid: Pyramid, figure: Figure) -> Refined:
    """The figure fitted to one edge, the outermost of those close together."""
    fine = _fine_fit(pyramid, figure, 0.0)
    outer, width = _outermost(pyramid, fine.figure)
    if width:
        fine = replace(fine, figure=outer, bevel_px=width)
        return _all_sides_out(pyramid, fine) if figure.square else fine
    outward = outward_of_line(pyramid, fine.figure)
    return fine if outward == 0.0 else replace(fine, figure=grown(fine.figure, outward), bevel_px=outward)


def _all_sides_out(pyramid: Pyramid, fine: Refined) -> Refined:
    """The rectangle with those sides moved out that still run along the inner edge of the bevel the other sides show."""
    inner = sides_on_inner_edge(pyramid, fine.figure, width_px=fine.bevel_px)
    if not inner.any():
        return fine
    amounts = np.zeros((4, 2))
    amounts[:, 0] = inner * fine.bevel_px / fine.figure.depths(4)
    return _refitted(pyramid, replace(fine, figure=moved(fine.figure, amounts.ravel())))


def _outermost(pyramid: Pyramid, figure: Figure) -> tuple[Figure, float]:
    """The figure through another edge a few pixels outside the figure's, and how far outside; the figure and 0 where there is none.

    The inner edge of a narrow bevel is often the stronger one. Of a rectangle each side is moved by itself.
    """
    offsets = np.arange(-INSIDE_PX, OUTWARD_PX + 0.25, 0.5)
    size = np.abs(edge_strip(pyramid, figure, offsets=offsets, count=FINE_COUNT, averaged=AVERAGED).slope)
    ahead = np.pad(size[:, 6:], ((0, 0), (0, 6)), mode="edge")
    top = np.zeros(size.shape, dtype=bool)
    top[:, 1:-1] = (size[:, 1:-1] >= size[:, :-2]) & (size[:, 1:-1] > size[:, 2:])
    top &= (size > OUTER_SHARE * size.max(axis=1, keepdims=True)) & (ahead < SHARP * size) & (offsets > FARTHER_PX)
    seen = np.asarray(top.any(axis=1))
    column = top.shape[1] - 1 - np.argmax(top[:, ::-1], axis=1)
    place = np.where(seen, _peak(size, column, offsets), 0.0)
    weights = np.zeros(FINE_COUNT)
    for rows in np.split(np.arange(FINE_COUNT), 4 if figure.square else 1):
        near = np.abs(place[rows][:, None] - offsets[None, :]) < AGREE_PX
        share = (near & seen[rows][:, None]).mean(axis=0)
        mode = int(share.argmax())
        moves = share[mode] > AGREE_SHARE
        place[rows] = np.where(moves, place[rows], 0.0)
        weights[rows] = (near[:, mode] & seen[rows]) if moves else 1.0
    if not place.any():
        return figure, 0.0
    motions = rim_motions(square=figure.square, count=FINE_COUNT) * figure.depths(FINE_COUNT)[:, None]
    weights, _ = _robust(place, weights, motions)
    normal = motions.T @ (weights[:, None] * motions) + 1e-9 * np.eye(motions.shape[1])
    amounts = np.linalg.solve(normal, motions.T @ (weights * place))
    return moved(figure, amounts), float((motions @ amounts).max())


def _peak(size: NDArray, column: NDArray, offsets: NDArray) -> NDArray:
    """Offset of the top of a parabola through a sample and its two neighbours, per row."""
    rows, inside = np.arange(len(size)), np.clip(column, 1, size.shape[1] - 2)
    left, middle, right = size[rows, inside - 1], size[rows, inside], size[rows, inside + 1]
    bend = np.minimum(left - 2.0 * middle + right, -1e-12)
    return offsets[inside] + (offsets[1] - offsets[0]) * np.clip(0.5 * (left - right) / bend, -1.0, 1.0)


def _fine_fit(pyramid: Pyramid, figure: Figure, width: float) -> Refined:
    """Least squares, outliers left out, on the places of the outer edge and of the inner one (one more unknown: the width)."""
    plain = rim_motions(square=figure.square, count=FINE_COUNT)
    reach = max(REACH_PX, REACH_SHARE * figure.axes()[1])
    reach = min(reach, 0.5 * width) if width else reach
    offsets = np.arange(-width - reach - CREST_PX, reach + CREST_PX + 0.25, 0.5)
    for share in (0.5, 0.3, 0.25):
        crests = edge_strip(pyramid, figure, offsets=offsets, count=FINE_COUNT, averaged=AVERAGED)
        depths = figure.depths(FINE_COUNT)[:, None]
        place, sure = _place(crests, crests.sure * crests.glass if width else crests.sure, at=0.0, spread=share * reach)
        motions, targets, trust = plain * depths, place, sure
        if width:
            inner_place, inner_sure = _place(crests, crests.sure, at=-width, spread=share * reach)
            # The inner edge runs the width inside; what the width is, and how it differs between the axes, are unknowns too.
            points = figure.unit_rim(FINE_COUNT)
            narrower = -np.column_stack([np.ones(FINE_COUNT), points[:, 0] ** 2 - points[:, 1] ** 2])
            motions = np.block([[motions, np.zeros((FINE_COUNT, 2))], [motions, narrower]])
            targets, trust = np.concatenate([place, inner_place + width]), np.concatenate([sure, inner_sure])
        weights, sigma = _robust(targets, trust, motions)
        normal = motions.T @ (weights[:, None] * motions) + np.diag([1e-9] * plain.shape[1] + ([WIDTH_TRUST, WIDTH_TRUST] if width else []))
        found = np.linalg.solve(normal, motions.T @ (weights * targets))
        figure = moved(figure, found[: plain.shape[1]])
        width += float(found[plain.shape[1]]) if width else 0.0
    seen = (weights > 0.1).reshape(-1, FINE_COUNT).any(axis=0).mean()
    # Neighbouring points share pixels, blur and the average along the rim: about one in ten is independent.
    standard = sigma * np.sqrt(10.0 * np.linalg.inv(normal)[0, 0]) * float(depths.mean())
    return Refined(figure=figure, standard_px=float(standard), support=float(seen), bevel_px=width)


def _place(crests: Strip, sure: NDArray, *, at: float, spread: float) -> tuple[NDArray, NDArray]:
    """Offset of the crest near `at`, per rim point, and how surely it is one."""
    near = sure * np.exp(-0.5 * ((crests.offsets - at) / spread) ** 2)
    picked = np.argmax(near, axis=1)[:, None]
    weight = crests.height**2 * (np.abs(np.arange(crests.offsets.size) - picked) <= PEAK_STEPS)
    place = (weight @ crests.offsets) / (weight.sum(axis=1) + 1e-12)
    # An edge far from where it is looked for is another one.
    return place, np.take_along_axis(near, picked, axis=1)[:, 0]


def _robust(place: NDArray, base: NDArray, motions: NDArray) -> tuple[NDArray, float]:
    """Weights of a robust fit of the motions to the places (Tukey's biweight), and the scatter left, pixels."""
    weights, sigma = base, 1.0
    for _ in range(6):
        normal = motions.T @ (weights[:, None] * motions) + 1e-9 * np.eye(motions.shape[1])
        left = place - motions @ np.linalg.solve(normal, motions.T @ (weights * place))
        sigma = max(1.4826 * float(np.median(np.abs(left[base > 0.2]))) if (base > 0.2).any() else 1.0, 0.02)
        weights = base * np.clip(1.0 - (left / (TUKEY * sigma)) ** 2, 0.0, None) ** 2
    return weights, sigma
