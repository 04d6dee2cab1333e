"""Detail of the flats that is finer than the polynomials: least squares on the grids themselves, as far as the pairs show it.

The unknowns are the heights at every point of every flat's grid; a pair reads the other flat between its points, bilinearly. The solver starts from
nothing and stays within what the pairs show, so detail that none of them shows stays out. How much that is, is tried on random detail.

Sources
-------
C. C. Paige, M. A. Saunders, LSQR: an algorithm for sparse linear equations and sparse least squares, ACM Trans. Math. Softw. 8, 43-71 (1982).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, sparse
from scipy.sparse.linalg import lsqr

from straightband.combine.flats import Samples, sampled
from straightband.combine.pairs import Flat, Pair

STEPS = 15  # of the solver: more of them turn the noise of single points into detail, in trials
NODES = 121  # along the longer side of a flat: a bump two millimetres wide on a 100 mm flat keeps its shape
GRAIN = 2.0  # nodes: standard deviation of the blur of the random detail that is tried
TRIAL_SEED = 7  # any number: the same maps must give the same flats each time


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """The grid of one flat.

    Attributes
    ----------
    u_mm, v_mm
        Its columns and rows.
    inside
        [v, u] True where the face is clear.
    """

    u_mm: NDArray
    v_mm: NDArray
    inside: NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Detail:
    """What the grids hold beside the polynomials.

    Attributes
    ----------
    heights_nm
        One array [v, u] for each flat, 0 where nothing is seen.
    missing
        Share of the variance of such detail that the pairs do not show, for each flat.
    """

    heights_nm: tuple[NDArray, ...]
    missing: tuple[float, ...]


def grid_of(flat: Flat) -> Grid:
    """An even grid over the clear aperture of a flat, centred, with a point on each axis."""
    clear = flat.clear
    half = (NODES - 1) // 2
    pitch = max(clear.semi_u_mm, clear.semi_v_mm) / half
    across, along = (np.arange(-n, n + 1) * pitch for n in (round(clear.semi_u_mm / pitch), round(clear.semi_v_mm / pitch)))
    return Grid(u_mm=across, v_mm=along, inside=clear.contains(across[None, :], along[:, None]))


def detail_of(pairs: tuple[Pair, ...], *, flats: tuple[Flat, ...], left: list[NDArray], samples: list[Samples]) -> Detail:
    """Detail that explains what the polynomials leave (n,) of each pair at its points."""
    grids = [grid_of(flat) for flat in flats]
    matrix = sparse.vstack([_rows(pair, each, flats=flats, grids=grids) for pair, each in zip(pairs, samples, strict=True)]).tocsr()
    found = lsqr(matrix, np.concatenate(left), iter_lim=STEPS)[0]
    rng = np.random.default_rng(TRIAL_SEED)
    trial = np.concatenate(
        [(ndimage.gaussian_filter(rng.standard_normal(grid.inside.shape), GRAIN) * grid.inside).ravel() for grid in grids]
    )
    seen = lsqr(matrix, matrix @ trial, iter_lim=STEPS)[0]
    heights, missing, at = [], [], 0
    for grid in grids:
        part = slice(at, at + grid.inside.size)
        at += grid.inside.size
        heights.append(found[part].reshape(grid.inside.shape))
        missing.append(float(np.clip(np.sum((trial[part] - seen[part]) ** 2) / np.sum(trial[part] ** 2), 0.0, 1.0)))
    return Detail(heights_nm=tuple(heights), missing=tuple(missing))


def all_samples(pairs: tuple[Pair, ...], *, flats: tuple[Flat, ...]) -> list[Samples]:
    """The points of each pair, all of them up to about four a node."""
    return [sampled(pair, flats=flats, most=NODES * NODES) for pair in pairs]


def _rows(pair: Pair, at: Samples, *, flats: tuple[Flat, ...], grids: list[Grid]) -> sparse.csr_array:
    names = [flat.name for flat in flats]
    starts = np.cumsum([0, *(grid.inside.size for grid in grids)])
    parts = []
    for name, u, v in ((pair.piece, at.u_mm, at.v_mm), (pair.other, at.other_u_mm, at.other_v_mm)):
        grid = grids[names.index(name)]
        columns, shares = _between(grid, u=u, v=v)
        rows = np.broadcast_to(np.arange(u.size), columns.shape)
        places = (rows.ravel(), columns.ravel() + starts[names.index(name)])
        parts.append(sparse.csr_array((shares.ravel(), places), shape=(u.size, int(starts[-1]))))
    return parts[0] + parts[1]


def _between(grid: Grid, *, u: NDArray, v: NDArray) -> tuple[NDArray, NDArray]:
    """(4, n) nodes around each point and their bilinear shares."""
    pitch = grid.u_mm[1] - grid.u_mm[0]
    x, y = (u - grid.u_mm[0]) / pitch, (v - grid.v_mm[0]) / pitch
    rows, columns = grid.inside.shape
    i, j = np.clip(np.floor(y), 0, rows - 2).astype(int), np.clip(np.floor(x), 0, columns - 2).astype(int)
    fy, fx = y - i, x - j
    shares = np.stack([(1 - fy) * (1 - fx), (1 - fy) * fx, fy * (1 - fx), fy * fx])
    nodes = np.stack([i * columns + j, i * columns + j + 1, (i + 1) * columns + j, (i + 1) * columns + j + 1])
    return nodes, shares
