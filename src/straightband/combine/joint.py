"""One figure from several photographs: what they share is the glass and the lens, what each has for itself is its wedge and its view.

Every photograph reads the figure plus its own small departures: the camera's distortion and nearness times its wedge (strengths that all share), the
perspective of its view times its wedge (strengths of its own). The figure drops out of the differences between photographs, which therefore tell the strengths; what they do not
tell stays as uncertain as it was before. The figure is then the mean of the photographs, their departures taken off.

Glass also bends a little between photographs (hands, heat, what it lies on), which looks like power and astigmatism that come and go. How much of that there is
the photographs tell only in part: several sizes of it are tried, and each counts by how likely it makes what is seen. Three photographs and more tell it by their scatter.

Sources
-------
Weights of several models by their evidence: D. J. C. MacKay, Bayesian interpolation, Neural Computation 4, 415-447 (1992) (from memory).
Student's factor for few readings: JCGM 100:2008 (GUM), table G.2.
R. T. Birge, The calculation of errors by the method of least squares, Phys. Rev. 40, 207-227 (1932), for noise raised to the misfit.
Least squares with prior knowledge of the parameters: JCGM 102:2011 (GUM supplement 2), and any text on Gauss-Markov estimation (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from straightband.uncertainty import COVERAGE_95

ROUNDS = 4  # in which noise and strengths settle
PLANE = 3  # functions that are gap and wedge
SECOND_ORDER = slice(PLANE, 6)  # power and the two astigmatisms
BENDS_NM = 0.1 * 2.0 ** np.arange(7)  # rms of each of them from photograph to photograph, standard: the sizes tried
TOLD_BY = 3  # photographs from which on their scatter itself tells the size of each
USUAL_BEND_NM = 0.7  # larger ones are less likely by exp(-size / this): common practice, no source
FLOOR_NM = 0.1  # of each smooth term beside the noise: what no model of ours explains, from trials on rendered photographs


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """One photograph's reading, ready to be put with others.

    Attributes
    ----------
    heights_nm
        (c,) at the cells, piston and tilt free.
    shared_nm
        (s, c) departures for a unit of each of the strengths all photographs share; the first may be larger than was thought.
    own_nm
        (m, c) departures for a unit of each of its own strengths.
    draws_nm
        (d, c) random departures that its noise may make.
    """

    heights_nm: NDArray
    shared_nm: NDArray
    own_nm: NDArray
    draws_nm: NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint:
    """What the photographs tell together.

    Attributes
    ----------
    strengths
        (k,) the shared strengths, then each photograph's own, in units of what was thought of them before (standard).
    covariance
        (k, k) of the strengths.
    corrected_nm
        (n, c) heights of each photograph, departures taken off.
    modes_nm
        (k, c) departures of the mean, standard, independent of each other: what stays unknown of the strengths, each with what hangs together with it
        of those before it.
    bends_nm
        (3, c) departures of the mean, standard: power and astigmatisms by which the glass bends between photographs.
    """

    strengths: NDArray
    covariance: NDArray
    corrected_nm: NDArray
    modes_nm: NDArray
    bends_nm: NDArray

    @property
    def shared(self) -> tuple[float, float]:
        """The first shared strength and its standard uncertainty."""
        return float(self.strengths[0]), float(np.sqrt(self.covariance[0, 0]))


def joint(shots: list[Shot], *, basis: NDArray, area: NDArray) -> Joint:
    """The strengths that make the photographs agree, and the photographs corrected by them.

    Parameters
    ----------
    shots
        Two at least; with one nothing is learnt and the strengths stay 0, standard 1.
    basis
        (b, c) smooth functions on the cells in which photographs are compared; piston and both tilts come first and are left out.
    area
        (c,) of the cells.
    """
    weighted = basis * area
    into_terms = np.linalg.solve(weighted @ basis.T, weighted)[PLANE:]  # (b, c)
    departures = _departures(shots)
    heights = np.stack([into_terms @ shot.heights_nm for shot in shots])
    smooth = departures @ into_terms.T  # (n, k, b)
    noise = np.stack([np.mean((shot.draws_nm @ into_terms.T) ** 2, axis=0) for shot in shots]) + FLOOR_NM**2
    strengths, covariance, bend_nm = _settled(heights, smooth, noise=noise)
    corrected = np.stack([shot.heights_nm - strengths @ each for shot, each in zip(shots, departures, strict=True)])
    modes = _root(covariance) @ departures.mean(axis=0)
    bend = _scattered(corrected @ into_terms[: SECOND_ORDER.stop - PLANE].T) if len(shots) >= TOLD_BY else np.full(3, bend_nm)
    bends = bend[:, None] / np.sqrt(len(shots)) * basis[SECOND_ORDER]
    return Joint(strengths=strengths, covariance=covariance, corrected_nm=corrected, modes_nm=modes, bends_nm=bends)


def _scattered(terms: NDArray) -> NDArray:
    """Spread (3,) of power and either astigmatism as their scatter (n, 3) tells it, raised by Student's factor over the normal one."""
    count = len(terms)
    variance = terms.var(axis=0, ddof=1)
    # warmth bends to power and supports to astigmatism, whose axis is any
    factors = special.stdtrit(np.array([count - 1, 2 * (count - 1)]), 0.975) / COVERAGE_95
    return np.sqrt([variance[0], variance[1:].mean(), variance[1:].mean()]) * factors[[0, 1, 1]]


def _root(covariance: NDArray) -> NDArray:
    """Triangular root R, R^T R the covariance: each strength's row holds what hangs together with those before it, the first only what is its own."""
    return np.linalg.cholesky(covariance[::-1, ::-1])[::-1, ::-1].T


def _departures(shots: list[Shot]) -> NDArray:
    """(n, k, c): departure of each photograph for a unit of every strength; nothing for the others' own."""
    counts = [len(shot.own_nm) for shot in shots]
    at = len(shots[0].shared_nm)
    found = np.zeros((len(shots), at + sum(counts), shots[0].heights_nm.size))
    for k, (shot, count) in enumerate(zip(shots, counts, strict=True)):
        found[k, : len(shot.shared_nm)] = shot.shared_nm
        found[k, at : at + count] = shot.own_nm
        at += count
    return found


def _settled(heights: NDArray, smooth: NDArray, *, noise: NDArray) -> tuple[NDArray, NDArray, float]:
    """Strengths, their covariance and the rms bend between photographs, over all sizes of bend, each by its odds."""
    tried = [_at_bend(heights, smooth, noise=noise, bend_nm=bend) for bend in BENDS_NM]
    # sizes a factor apart: in steps that even, the prior of a size is its density times itself
    log_odds = np.array([each.log_evidence for each in tried]) - BENDS_NM / USUAL_BEND_NM + np.log(BENDS_NM)
    odds = np.exp(log_odds - log_odds.max())
    odds /= odds.sum()
    strengths = np.sum([share * each.strengths for share, each in zip(odds, tried, strict=True)], axis=0)
    covariance = np.sum(
        [
            share * (each.covariance + np.outer(each.strengths - strengths, each.strengths - strengths))
            for share, each in zip(odds, tried, strict=True)
        ],
        axis=0,
    )
    return strengths, covariance, float(np.sqrt(odds @ BENDS_NM**2))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Solved:
    """Strengths, their covariance, and the logarithm of how likely what is seen is with them free."""

    strengths: NDArray
    covariance: NDArray
    log_evidence: float


def _at_bend(heights: NDArray, smooth: NDArray, *, noise: NDArray, bend_nm: float) -> _Solved:
    """The solution for one size of bend, the noise raised to what the photographs really differ by where that is more (Birge's ratio)."""
    bend = np.zeros(heights.shape[1])
    bend[: SECOND_ORDER.stop - PLANE] = bend_nm**2
    raised, expected = 1.0, 1.0
    freedom = heights.shape[1] * (len(heights) - 1)
    for _ in range(ROUNDS):
        solved, left_over = _strengths(heights, smooth, noise=raised * noise + bend, expected=expected)
        # A lens worse than was thought is not held to what was thought.
        expected = max(1.0, abs(float(solved.strengths[0])))
        # What the strengths took up counts by how far the photographs told them.
        told = float(np.sum(1.0 - np.diagonal(solved.covariance)))
        raised = max(1.0, raised * left_over / max(freedom - told, 1.0))
    return solved


def _strengths(heights: NDArray, smooth: NDArray, *, noise: NDArray, expected: float) -> tuple[_Solved, float]:
    """The solution from heights (n, b) and departures (n, k, b), the figure free in every term, and the sum of squares left over their variance.

    `expected` is the size of the first strength.
    """
    count = smooth.shape[1]
    prior = np.eye(count)
    prior[0, 0] = 1.0 / expected**2
    # The figure takes up the weighted mean, so only what differs from it says anything of the strengths.
    weight = 1.0 / noise
    share = weight / weight.sum(axis=0)
    apart = smooth - np.sum(share[:, None, :] * smooth, axis=0)
    differ = heights - np.sum(share * heights, axis=0)
    rows = (apart * np.sqrt(weight)[:, None, :]).transpose(1, 0, 2).reshape(count, -1)
    seen = (differ * np.sqrt(weight)).ravel()
    normal = prior + rows @ rows.T
    covariance = np.linalg.inv(normal)
    strengths = covariance @ rows @ seen
    left = float(np.sum((seen - strengths @ rows) ** 2))
    size = np.linalg.slogdet(normal)[1] - np.linalg.slogdet(prior)[1] + np.sum(np.log(noise)) + np.sum(np.log(weight.sum(axis=0)))
    evidence = -0.5 * (left + strengths @ prior @ strengths + size)
    return _Solved(strengths=strengths, covariance=covariance, log_evidence=float(evidence)), left
