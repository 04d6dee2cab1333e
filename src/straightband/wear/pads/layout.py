"""Where pads go: on the plate, none over another, no spacing repeated, and so that they wear the piece evenly.

Whole pads first, as many as the hexagonal lay-out has; then, only if evenness asks for it, one or two more pads cut into halves and petals. The
places are found by annealing: random moves of one pad at a time, taken when they make things better, at first now and then when they don't.

Sources
-------
S. Kirkpatrick, C. D. Gelatt, M. P. Vecchi, Optimization by simulated annealing, Science 220, 671 (1983) (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from straightband.errors import BadInput
from straightband.wear.pads.hexagonal import hexagonal_layout
from straightband.wear.pads.outlines import Cut, Pad, centred, cut_pieces, placed, reach_mm
from straightband.wear.pads.rates import Passing, circle_areas, covered_share, points_in, rates_of, unevenness

POINTS_ACROSS = 40  # of a pad, standing for its area while places are searched
FINE_ACROSS = 200
MOVES = 5000
FIRST_STEP, LAST_STEP = 0.35, 0.015  # of the pad's size
FIRST_HEAT, LAST_HEAT = 0.05, 0.0005  # of the cost
SCATTERINGS = 2
SHAKES = 60  # moves for each piece, by which the lattice is forgotten
MOST_ANNEALED = 4  # lay-outs, of which the evenest is taken if none is even enough
MOST_CROWDED = 3  # lay-outs without room, after which no more pads are tried
TRIES = 1500  # to find a free place for a piece
HALVED = 0.4  # of the unevenness beyond 1 of the hexagonal lay-out: what is aimed at before another pad is cut; a half is promised
EVEN_ENOUGH = 0.04  # unevenness beyond 1 that placing pads by hand does not hold anyway
RADIUS_APART = 0.02  # of the plate's radius: two pads whose middles lie closer in radius rub the same ring
SPACING_APART = 0.012  # of the plate's radius: two neighbourly distances closer than that are a repeat
PENALTY = 1.5
MOST_MORE = 3  # pads beyond those of the hexagonal lay-out
FEWER = (0.9, 0.8)
RECIPES: tuple[tuple[Cut, ...], ...] = (
    (),
    (Cut.HALF,),
    (Cut.PETAL,),
    (Cut.HALF, Cut.PETAL),
    (Cut.PETAL, Cut.PETAL),
    (Cut.HALF, Cut.PETAL, Cut.PETAL),
)  # how pads that are not whole are cut, tried in this order


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A pad or a part of one in its place.

    Attributes
    ----------
    outline
        On the plate, in mm from its middle, x right and y up as the plate is seen.
    cut
        What it is.
    pad, part
        Number of the pad it is cut from, and which part of it.
    """

    outline: Polygon
    cut: Cut
    pad: int
    part: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Pads on a plate.

    Attributes
    ----------
    pieces
        In their places.
    plate_radius_mm, gap_mm, rim_mm
        Of the plate; least distance kept between pieces; and to the plate's edge.
    covered
        (k,) share of each circle of the plate that is covered, at the passing's edges.
    rates
        (m,) relative rate at the passing's radii, mean 1, even pressure.
    """

    pieces: tuple[Piece, ...]
    plate_radius_mm: float
    gap_mm: float
    rim_mm: float
    covered: NDArray
    rates: NDArray

    @property
    def pads_used(self) -> int:
        """How many pads from the pack."""
        return len({piece.pad for piece in self.pieces})

    @property
    def coverage(self) -> float:
        """Share of the plate that is covered."""
        return sum(piece.outline.area for piece in self.pieces) / (math.pi * self.plate_radius_mm**2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """What is to be laid out.

    Attributes
    ----------
    pad, plate_radius_mm, gap_mm, rim_mm
        The pad and the plate, least distance between pieces and to the plate's edge.
    passing
        How the piece passes over the plate.
    least_coverage
        Share of the plate that pads must cover.
    """

    pad: Pad
    plate_radius_mm: float
    gap_mm: float
    rim_mm: float
    passing: Passing
    least_coverage: float = 0.0


def naive_layout(task: Task) -> Layout:
    """The hexagonal lay-out on the same plate; raises BadInput when not one pad fits."""
    outlines = hexagonal_layout(task.pad, plate_radius_mm=task.plate_radius_mm - task.rim_mm, gap_mm=task.gap_mm)
    if not outlines:
        raise BadInput(
            found=f"a pad {2.0 * reach_mm(task.pad.outline):.4g} mm across was given for a plate of {2.0 * task.plate_radius_mm:.4g} mm",
            needed="a pad that lies wholly on the plate is needed",
            remedy="take smaller pads or a larger plate",
        )
    return _finished([Piece(outline=each, cut=Cut.WHOLE, pad=number, part=0) for number, each in enumerate(outlines)], task=task)


def even_layout(task: Task, *, naive: Layout, rng: np.random.Generator) -> Layout | None:
    """The lay-out with the fewest pads that at least halves the unevenness of the hexagonal one and repeats no spacing, else the evenest.

    None where no lay-out covers as much as asked.
    """
    goal = max(HALVED * (unevenness(naive.rates) - 1.0), EVEN_ENOUGH)
    best: Layout | None = None
    annealed, crowded = 0, 0
    for whole, recipe in _attempts(len(naive.pieces)):
        if (whole + len(recipe)) * task.pad.outline.area < task.least_coverage * math.pi * task.plate_radius_mm**2:
            continue
        if annealed == MOST_ANNEALED or (crowded == MOST_CROWDED and annealed):
            break
        found = _annealed(task, whole=whole, recipe=recipe, rng=rng)
        if found is None:
            crowded += 1
            continue
        annealed += 1
        if best is None or _merit(found) < _merit(best):
            best = found
        if unevenness(found.rates) - 1.0 <= goal and repeats(found) == 0:
            return found
    return best


def _attempts(naive_count: int) -> list[tuple[int, tuple[Cut, ...]]]:
    """Numbers of whole pads and how further ones are cut.

    As many whole pads as the hexagonal lay-out has; then up to a fifth fewer, which leaves room to be even where the plate is full; then more pads,
    cut ones first, since they find room.
    """
    fewer = sorted({round(naive_count * share) for share in FEWER} - {0, naive_count}, reverse=True)
    found: list[tuple[int, tuple[Cut, ...]]] = [(naive_count, ()), *((count, ()) for count in fewer)]
    for more in range(1, MOST_MORE + 1):
        for cut in range(more, -1, -1):
            found += [(naive_count + more - cut, recipe) for recipe in RECIPES if len(recipe) == cut]
    return found


def _merit(layout: Layout) -> float:
    return unevenness(layout.rates) + PENALTY * repeats(layout)


def repeats(layout: Layout) -> int:
    """How many pairs of pieces lie at the same distance from the middle of the plate, or at a neighbourly distance that another pair has."""
    middles = np.array([piece.outline.centroid.coords[0] for piece in layout.pieces])
    radius, spacing = _regularities(middles, size_mm=_size(layout))
    return int(np.sum(np.diff(radius) < RADIUS_APART / 2.0 * layout.plate_radius_mm)) + int(
        np.sum(np.diff(spacing) < SPACING_APART / 2.0 * layout.plate_radius_mm)
    )


def _size(layout: Layout) -> float:
    return max(2.0 * reach_mm(piece.outline) for piece in layout.pieces)


def _regularities(middles: NDArray, *, size_mm: float) -> tuple[NDArray, NDArray]:
    """Radii of the middles, and distances from each to its nearest neighbour within one and a half pads; both sorted, each pair once."""
    radius = np.sort(np.hypot(middles[:, 0], middles[:, 1]))
    if len(middles) < 2:
        return radius, np.empty(0)
    away = np.hypot(*(middles[:, None, :] - middles[None, :, :]).transpose(2, 0, 1))
    np.fill_diagonal(away, np.inf)
    nearest = away.argmin(axis=1)
    pairs = {(min(a, int(b)), max(a, int(b))) for a, b in enumerate(nearest) if away[a, b] < 1.5 * size_mm}
    return radius, np.sort([away[a, b] for a, b in pairs])


class _Search:
    """Pieces on their way to their places; what a move changes is worked out anew for the one piece only."""

    def __init__(self, task: Task, shapes: list[tuple[Polygon, Cut, int, int]], *, rng: np.random.Generator) -> None:
        self.task, self.shapes, self.rng = task, shapes, rng
        step = 2.0 * reach_mm(task.pad.outline) / POINTS_ACROSS
        self.points = [points_in(shape, step_mm=step) for shape, *_ in shapes]
        self.rings = math.pi * np.diff(task.passing.edges_mm**2)
        self.poses = np.zeros((len(shapes), 3))
        self.outlines = np.full(len(shapes), None, dtype=object)
        self.areas = np.zeros((len(shapes), task.passing.edges_mm.size - 1))
        self.reach = np.array([reach_mm(shape) for shape, *_ in shapes])
        self.size_mm = 2.0 * float(self.reach.max())
        self.lying = np.zeros(len(shapes), dtype=bool)

    def free(self, number: int, pose: NDArray) -> Polygon | None:
        """The outline of a piece there, or None where it would leave the plate or come too near another."""
        outline = placed(self.shapes[number][0], x_mm=pose[0], y_mm=pose[1], turn_rad=pose[2])
        if np.hypot(*shapely.get_coordinates(outline).T).max() > self.task.plate_radius_mm - self.task.rim_mm:
            return None
        # Only what lies within reach is measured, which is what takes the time.
        near = self.lying & (np.hypot(*(self.poses[:, :2] - pose[:2]).T) < self.reach[number] + self.reach + self.task.gap_mm)
        near[number] = False
        if near.any() and shapely.distance(outline, self.outlines[near]).min() < self.task.gap_mm:
            return None
        return outline

    def areas_of(self, number: int, pose: NDArray) -> NDArray:
        """What the piece puts on each circle of the plate."""
        c, s = math.cos(pose[2]), math.sin(pose[2])
        points = self.points[number] @ np.array([[c, s], [-s, c]]) + pose[:2]
        return circle_areas(points, area_mm2=self.shapes[number][0].area, edges_mm=self.task.passing.edges_mm)

    def put(self, number: int, pose: NDArray, *, outline: Polygon, areas: NDArray) -> None:
        """Move a piece."""
        self.poses[number], self.outlines[number], self.areas[number], self.lying[number] = pose, outline, areas, True

    def cost(self, areas: NDArray, middles: NDArray) -> float:
        """Unevenness beyond 1, with what repeats added in proportion to how nearly it does."""
        uneven = unevenness(rates_of(areas.sum(axis=0) / self.rings, self.task.passing)) - 1.0
        radius, spacing = _regularities(middles, size_mm=self.size_mm)
        near = np.maximum(1.0 - np.diff(radius) / (RADIUS_APART * self.task.plate_radius_mm), 0.0).sum()
        near += np.maximum(1.0 - np.diff(spacing) / (SPACING_APART * self.task.plate_radius_mm), 0.0).sum()
        return float(min(uneven, 10.0) + 0.1 * PENALTY * near)


def _annealed(task: Task, *, whole: int, recipe: tuple[Cut, ...], rng: np.random.Generator) -> Layout | None:
    """Pieces annealed into their places, or None where they find no room."""
    search = _Search(task, _shapes(task.pad, whole=whole, recipe=recipe), rng=rng)
    if not any(_scattered(search) for _ in range(SCATTERINGS)):
        return None
    cost = search.cost(search.areas, search.poses[:, :2])
    best_cost, best = cost, search.outlines.copy()
    for move in range(MOVES):
        done = move / MOVES
        number = int(rng.integers(len(search.shapes)))
        step = search.size_mm * FIRST_STEP * (LAST_STEP / FIRST_STEP) ** done
        pose = search.poses[number] + rng.standard_normal(3) * [step, step, step / search.size_mm * math.pi]
        outline = search.free(number, pose)
        if outline is None:
            continue
        areas, middles = search.areas.copy(), search.poses[:, :2].copy()
        areas[number], middles[number] = search.areas_of(number, pose), pose[:2]
        new = search.cost(areas, middles)
        if new < cost or rng.random() < math.exp((cost - new) / (FIRST_HEAT * (LAST_HEAT / FIRST_HEAT) ** done)):
            search.put(number, pose, outline=outline, areas=areas[number])
            cost = new
            if cost < best_cost:
                best_cost, best = cost, search.outlines.copy()
    pieces = [Piece(outline=outline, cut=cut, pad=pad, part=part) for outline, (_, cut, pad, part) in zip(best, search.shapes, strict=True)]
    return _finished(pieces, task=task)


def _shapes(pad: Pad, *, whole: int, recipe: tuple[Cut, ...]) -> list[tuple[Polygon, Cut, int, int]]:
    """Outline, kind, number of the pad and number of the part, for every piece."""
    cuts = [Cut.WHOLE] * whole + list(recipe)
    return [(centred(piece), cut, number, part) for number, cut in enumerate(cuts) for part, piece in enumerate(cut_pieces(pad, cut))]


def _scattered(search: _Search) -> bool:
    """Put whole pads onto the hexagonal lattice and shake them about, then the rest at random free places; False where one finds none."""
    search.lying[:] = False
    task = search.task
    start = hexagonal_layout(task.pad, plate_radius_mm=task.plate_radius_mm - task.rim_mm, gap_mm=task.gap_mm)
    whole = [number for number, (_, cut, *_) in enumerate(search.shapes) if cut is Cut.WHOLE]
    for number, place in zip(whole, search.rng.permutation(len(start)), strict=False):
        pose = np.array([*start[place].centroid.coords[0], 0.0])
        search.put(number, pose, outline=start[place], areas=search.areas_of(number, pose))
    for _ in range(SHAKES * len(search.shapes)):
        number = int(search.rng.integers(len(search.shapes)))
        if search.lying[number]:
            spread = FIRST_STEP * search.size_mm
            _try(search, number, search.poses[number] + search.rng.standard_normal(3) * [spread, spread, 1.0])
    reach = task.plate_radius_mm - task.rim_mm
    for number in np.flatnonzero(~search.lying).tolist():
        away, where = reach * np.sqrt(search.rng.random(TRIES)), 2.0 * math.pi * search.rng.random(TRIES)
        poses = np.column_stack([away * np.cos(where), away * np.sin(where), 2.0 * math.pi * search.rng.random(TRIES)])
        if not any(_try(search, number, pose) for pose in poses):
            return False
    return True


def _try(search: _Search, number: int, pose: NDArray) -> bool:
    """Move a piece if there is room."""
    outline = search.free(number, pose)
    if outline is not None:
        search.put(number, pose, outline=outline, areas=search.areas_of(number, pose))
    return outline is not None


def _finished(pieces: list[Piece], *, task: Task) -> Layout:
    step = 2.0 * reach_mm(task.pad.outline) / FINE_ACROSS
    covered = covered_share([piece.outline for piece in pieces], edges_mm=task.passing.edges_mm, step_mm=step)
    return Layout(
        pieces=tuple(pieces),
        plate_radius_mm=task.plate_radius_mm,
        gap_mm=task.gap_mm,
        rim_mm=task.rim_mm,
        covered=covered,
        rates=rates_of(covered, task.passing),
    )
