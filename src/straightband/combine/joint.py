"""One figure from several photographs: what they share is the glass and the lens, what each has for itself is its wedge and its view.

Every photograph reads the figure plus its own small departures: the camera's distortion and nearness times its wedge (strengths that all share), the
perspective of its view times its wedge (strengths of its own). The figure drops out of the differences between photographs, which therefore tell the strengths; what they do not
tell stays as uncertain as it was before. The figure is then the mean of the photographs, their departures taken off.

Sources
-------
R. T. Birge, The calculation of errors by the method of least squares, Phys. Rev. 40, 207-227 (1932), for noise raised to the misfit.
Least squares with prior knowledge of the parameters: JCGM 102:2011 (GUM supplement 2), and any text on Gauss-Markov estimation (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

ROUNDS = 4  # in which noise and strengths settle
PLANE = 3  # functions that are gap and wedge
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
    """

    strengths: NDArray
    covariance: NDArray
    corrected_nm: NDArray
    modes_nm: NDArray

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
    strengths, covariance = _settled(heights, smooth, noise=noise)
    corrected = np.stack([shot.heights_nm - strengths @ each for shot, each in zip(shots, departures, strict=True)])
    modes = _root(covariance) @ departures.mean(axis=0)
    return Joint(strengths=strengths, covariance=covariance, corrected_nm=corrected, modes_nm=modes)


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


def _settled(heights: NDArray, smooth: NDArray, *, noise: NDArray) -> tuple[NDArray, NDArray]:
    """Strengths and their covariance, the noise raised to what the photographs really differ by where that is more (Birge's ratio)."""
    raised, expected = 1.0, 1.0
    freedom = heights.shape[1] * (len(heights) - 1)
    for _ in range(ROUNDS):
        strengths, covariance = _strengths(heights, smooth, noise=raised * noise, expected=expected)
        # A lens worse than was thought is not held to what was thought.
        expected = max(1.0, abs(float(strengths[0])))
        left = heights - np.einsum("k,nkb->nb", strengths, smooth)
        weight = 1.0 / noise
        apart = left - np.sum(weight * left, axis=0) / np.sum(weight, axis=0)
        # What the strengths took up counts by how far the photographs told them.
        told = float(np.sum(1.0 - np.diagonal(covariance)))
        raised = max(1.0, float(np.sum(weight * apart**2)) / max(freedom - told, 1.0))
    return strengths, covariance


def _strengths(heights: NDArray, smooth: NDArray, *, noise: NDArray, expected: float) -> tuple[NDArray, NDArray]:
    """Strengths and their covariance from heights (n, b) and departures (n, k, b), the figure free in every term; `expected` is the first one's size."""
    count = smooth.shape[1]
    normal, right = np.eye(count), np.zeros(count)
    normal[0, 0] = 1.0 / expected**2
    for term in range(heights.shape[1]):
        weight = 1.0 / noise[:, term]
        share = weight / weight.sum()
        # The figure takes up the weighted mean, so only what differs from it says anything of the strengths.
        apart = smooth[:, :, term] - share @ smooth[:, :, term]
        normal += (apart * weight[:, None]).T @ apart
        right += (apart * weight[:, None]).T @ (heights[:, term] - share @ heights[:, term])
    covariance = np.linalg.inv(normal)
    return covariance @ right, covariance
