"""Each flat by itself from maps of pairs: least squares over all of them, and what they leave undetermined.

Every flat is a sum of polynomials orthonormal on its own clear aperture from the second order up, with its finer detail on the grid. Piston and
tilt of each pair are left free, for they are the gap and the wedge. Combinations of terms that no pair shows come out of the singular value
decomposition; the solution holds nothing along them, and its uncertainty holds what flats like these may well have there.

Sources
-------
B. S. Fritz, Absolute calibration of an optical flat, Opt. Eng. 23, 379-383 (1984): circle polynomials and a fourth, turned measurement.
U. Griesmann, Three-flat test solutions based on simple mirror symmetry, Appl. Opt. 45, 5856-5865 (2006).
C. J. Evans, R. N. Kestner, Test optics error removal, Appl. Opt. 35, 1015-1021 (1996): what turned positions remove.
JCGM 102:2011, 6.2, for carrying covariance through a linear model; JCGM 100:2008, table G.2, for Student's factor.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from straightband.combine.pairs import Flat, Pair, flats_in, place_on_other
from straightband.face.polynomials import face_polynomials, noll_count, noll_to_nm
from straightband.face.shapes import Shape
from straightband.uncertainty import COVERAGE_95

ORDER = 6  # of the polynomials; finer detail goes on the grid
FIRST = 3  # piston and both tilts stand before it
POINTS_A_PAIR = 8000  # enough for polynomials to order 12 by a wide margin
SEEN = 1e-9  # of the largest eigenvalue: below it a combination counts as not seen (single precision squared is 1e-14)
ERROR_SHAPES = (3, 4, 5, 6, 7, 10)  # power, astigmatisms, comas and spherical share a map's stated uncertainty, as in a reading
ERROR_SHAPES_RECTANGLE = (3, 4, 5, 6, 9, 12)


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """Coefficients of all flats, one after the other.

    Attributes
    ----------
    flats
        In the order of the coefficients.
    order
        Highest order of the polynomials.
    terms_nm
        (k,) coefficients.
    rank
        How many combinations of them the pairs determine.
    unseen
        (k, k) projection on the combinations that no pair shows.
    gains
        (p, k, e): change of the coefficients for the stated uncertainty (standard) of each pair's map along each shape of error.
    left_nm
        One array (n,) of what the polynomials leave of each pair, at `samples`.
    samples
        The points of each pair that were used.
    """

    flats: tuple[Flat, ...]
    order: int
    terms_nm: NDArray
    rank: int
    unseen: NDArray
    gains: NDArray
    left_nm: tuple[NDArray, ...]
    samples: tuple[Samples, ...]

    @property
    def each(self) -> int:
        """Number of terms of one flat."""
        return noll_count(self.order) - FIRST

    def rows(self, name: str) -> slice:
        """Where the coefficients of a flat stand."""
        at = [flat.name for flat in self.flats].index(name)
        return slice(at * self.each, (at + 1) * self.each)


@dataclass(frozen=True, slots=True, kw_only=True)
class Samples:
    """Points of a pair where both faces are clear.

    Attributes
    ----------
    u_mm, v_mm, other_u_mm, other_v_mm
        (n,) on the piece, and on the other.
    heights_nm, standard_nm
        (n,) of the pair.
    """

    u_mm: NDArray
    v_mm: NDArray
    other_u_mm: NDArray
    other_v_mm: NDArray
    heights_nm: NDArray
    standard_nm: NDArray


def solve(pairs: tuple[Pair, ...], *, order: int = ORDER) -> Solution:
    """Least squares over all pairs, each weighted by its stated uncertainty; nothing along what they don't show."""
    flats = flats_in(pairs)
    samples = tuple(sampled(pair, flats=flats) for pair in pairs)
    designs = [_design(pair, each, flats=flats, order=order) for pair, each in zip(pairs, samples, strict=True)]
    heights = [_without_plane(each, each.heights_nm[None])[0] for each in samples]
    shares = _shares(samples)
    normal = sum(share * design @ design.T for share, design in zip(shares, designs, strict=True))
    values, vectors = np.linalg.eigh(normal)
    kept = values > SEEN * values[-1]
    inverse = (vectors[:, kept] / values[kept]) @ vectors[:, kept].T
    terms = inverse @ sum(share * design @ h for share, design, h in zip(shares, designs, heights, strict=True))
    gains = [
        inverse @ (share * design @ _without_plane(each, _error_shapes(pair, each)).T)
        for share, design, pair, each in zip(shares, designs, pairs, samples, strict=True)
    ]
    unseen = vectors[:, ~kept] @ vectors[:, ~kept].T
    return Solution(
        flats=flats,
        order=order,
        terms_nm=terms,
        rank=int(kept.sum()),
        unseen=unseen,
        gains=np.stack(gains),
        left_nm=tuple(h - terms @ design for h, design in zip(heights, designs, strict=True)),
        samples=samples,
    )


def sampled(pair: Pair, *, flats: tuple[Flat, ...], most: int = POINTS_A_PAIR) -> Samples:
    """Points of the pair's map where both faces are clear, thinned evenly to about `most`."""
    height_map = pair.height_map
    by_name = {flat.name: flat for flat in flats}
    rows, columns = np.nonzero(height_map.valid)
    u, v = height_map.u_mm[columns], height_map.v_mm[rows]
    other_u, other_v = place_on_other(pair, u_mm=u, v_mm=v)
    both = by_name[pair.piece].clear.contains(u, v) & by_name[pair.other].clear.contains(other_u, other_v)
    step = max(1, round(math.sqrt(both.sum() / most)))
    # Thinned the same way from both sides, so that what is symmetric stays so.
    both &= (_from_middle(rows, height_map.v_mm.size) % step == 0) & (_from_middle(columns, height_map.u_mm.size) % step == 0)
    uncertainty = np.nan_to_num(height_map.uncertainty_nm[rows, columns][both])
    return Samples(
        u_mm=u[both],
        v_mm=v[both],
        other_u_mm=other_u[both],
        other_v_mm=other_v[both],
        heights_nm=height_map.heights_nm[rows, columns][both],
        standard_nm=uncertainty / COVERAGE_95,
    )


def _from_middle(index: NDArray, size: int) -> NDArray:
    return np.abs(2 * index - (size - 1)) // 2


def _design(pair: Pair, at: Samples, *, flats: tuple[Flat, ...], order: int) -> NDArray:
    """(k, n): height of the pair for a unit of each coefficient, less its plane."""
    by_name = {flat.name: flat for flat in flats}
    each = noll_count(order) - FIRST
    full = np.zeros((each * len(flats), at.u_mm.size))
    for name, u, v in ((pair.piece, at.u_mm, at.v_mm), (pair.other, at.other_u_mm, at.other_v_mm)):
        start = [flat.name for flat in flats].index(name) * each
        full[start : start + each] += face_polynomials(u, v, face=by_name[name].clear, order=order)[FIRST:]
    return _without_plane(at, full)


def _without_plane(at: Samples, values: NDArray) -> NDArray:
    """Rows (r, n) less the plane that fits each best."""
    plane = np.stack([np.ones_like(at.u_mm), at.u_mm - at.u_mm.mean(), at.v_mm - at.v_mm.mean()])
    return values - np.linalg.solve(plane @ plane.T, plane @ values.T).T @ plane


def _shares(samples: tuple[Samples, ...]) -> list[float]:
    """Weight of one point of each pair: by the pair's stated variance where all state one, and the same total for many points as for few."""
    variances = [float(np.mean(each.standard_nm**2)) for each in samples]
    stated = all(variance > 0.0 for variance in variances)
    return [1.0 / (each.u_mm.size * (variance if stated else 1.0)) for each, variance in zip(samples, variances, strict=True)]


def _error_shapes(pair: Pair, at: Samples) -> NDArray:
    """(e, n): the map's stated uncertainty (standard) shared among a few smooth shapes, so that each point has what is stated."""
    clear = pair.height_map.clear
    chosen = ERROR_SHAPES_RECTANGLE if clear.shape is Shape.RECTANGLE else ERROR_SHAPES
    shapes = face_polynomials(at.u_mm, at.v_mm, face=clear, order=4)[list(chosen)]
    return at.standard_nm / math.sqrt(len(chosen)) * shapes


@dataclass(frozen=True, slots=True, kw_only=True)
class Covariances:
    """What is not known of the coefficients, standard, (k, k) each.

    Attributes
    ----------
    independent
        From the maps, were their errors independent of each other.
    common
        From the maps, were their errors the same in all (one lamp, one lens, one camera).
    unseen
        From what no pair shows, taken to be as large as the terms of the same order that are seen.
    unseen_size_nm
        Size of a term by its order, from the second on.
    """

    independent: NDArray
    common: NDArray
    unseen: NDArray
    unseen_size_nm: dict[int, float]


def covariances(solution: Solution) -> Covariances:
    """Covariances of the coefficients of all flats."""
    gains = solution.gains
    together = gains.sum(axis=0)
    sizes = _sizes(solution)
    prior = np.array([sizes[order] ** 2 for _ in solution.flats for order in orders_of(solution)])
    return Covariances(
        independent=np.einsum("pke,ple->kl", gains, gains),
        common=together @ together.T,
        unseen=solution.unseen @ (prior[:, None] * solution.unseen),
        unseen_size_nm=sizes,
    )


def orders_of(solution: Solution) -> list[int]:
    """Order of each term of one flat."""
    # Products of Legendre polynomials stand in the same rows by their total degree.
    return [noll_to_nm(j)[0] for j in range(FIRST + 1, FIRST + 1 + solution.each)]


def _sizes(solution: Solution) -> dict[int, float]:
    """Rms term of each order among what is seen, widened by Student's factor for how few they are."""
    hidden = np.diagonal(solution.unseen)
    orders = np.array(orders_of(solution) * len(solution.flats))
    found = {}
    for order in sorted(set(orders.tolist())):
        at = orders == order
        seen = float(np.sum(1.0 - hidden[at]))
        rms = math.sqrt(float(np.sum(solution.terms_nm[at] ** 2)) / max(seen, 1.0))
        found[order] = rms * float(special.stdtrit(max(seen, 1.0), 0.975)) / COVERAGE_95
    return found
