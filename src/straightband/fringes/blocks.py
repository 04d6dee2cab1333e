"""Blocks of basis functions whose coefficients are found together, each with a stiffness that the picture itself may set.

Only sums over cells enter: a step costs by the cell and not by the pixel.

Sources
-------
Evidence and its fixed-point iteration: D. J. C. MacKay, Bayesian interpolation, Neural Computation 4, 415-447 (1992), section 4 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse

from straightband.fringes.cells import CHANNELS, Moments

LIGHT, MODULATION, PHASE, OVERTONE = range(CHANNELS)
STIFFEST = 1e10
MIRRORED_AT_ONCE = 128  # rows; few enough to stay in the processor's cache


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """Basis functions of one field that share a stiffness.

    Attributes
    ----------
    channel
        Which field they add to.
    columns
        (c, k) values at the cells, dense or sparse.
    penalty
        (k, k) or (k,): stiffness 1 in its own units.
    stiffness
        Factor on the penalty.
    loosest
        Smallest factor the evidence may set.
    adapts
        Whether the evidence sets the factor.
    """

    channel: int
    columns: NDArray | sparse.csr_array
    penalty: NDArray
    stiffness: float
    adapts: bool
    loosest: float = 0.0

    @property
    def size(self) -> int:
        """Number of functions."""
        return int(self.columns.shape[1])


def normal_equations(blocks: list[Block], moments: Moments) -> tuple[NDArray, NDArray]:
    """J'WJ and J'Wr of all blocks together, from the moments of the cells."""
    ends = np.cumsum([0] + [block.size for block in blocks])
    place = [np.arange(ends[i], ends[i + 1]) for i in range(len(blocks))]
    # in the order of Fortran, so that the factorisation needs no copy
    normal = np.zeros((ends[-1], ends[-1]), order="F")
    right = np.concatenate([block.columns.T @ moments.with_residual[block.channel] for block in blocks])
    thin = [i for i, block in enumerate(blocks) if sparse.issparse(block.columns)]
    dense = _by_channel([i for i in range(len(blocks)) if i not in thin], blocks=blocks)
    at = {channel: np.concatenate([place[i] for i in members]) for channel, members in dense.items()}
    columns = {channel: np.concatenate([blocks[i].columns for i in members], axis=1) for channel, members in dense.items()}

    def fill(part: NDArray, *, rows: NDArray, across: NDArray) -> None:
        normal[np.ix_(rows, across)] = part
        normal[np.ix_(across, rows)] = part.T

    for one in dense:
        # both sides alike, which takes half the arithmetic
        half = columns[one] * np.sqrt(moments.products[one, one])[:, None]
        fill(half.T @ half, rows=at[one], across=at[one])
    for one, other in combinations(dense, 2):
        fill((columns[one] * moments.products[one, other][:, None]).T @ columns[other], rows=at[one], across=at[other])
    for k, i in enumerate(thin):
        for channel in dense:
            weighed = _row_scaled(blocks[i].columns, moments.products[blocks[i].channel, channel])
            fill(weighed.T @ columns[channel], rows=place[i], across=at[channel])
        for j in thin[k:]:
            weight = moments.products[blocks[i].channel, blocks[j].channel]
            part = (_row_scaled(blocks[i].columns, weight).T @ blocks[j].columns).tocoo()
            normal[ends[i] + part.row, ends[j] + part.col] = part.data
            normal[ends[j] + part.col, ends[i] + part.row] = part.data
    return normal, right


def _by_channel(chosen: list[int], *, blocks: list[Block]) -> dict[int, list[int]]:
    """Numbers of the chosen blocks of each channel."""
    found: dict[int, list[int]] = {}
    for i in chosen:
        found.setdefault(blocks[i].channel, []).append(i)
    return found


def _row_scaled(matrix: sparse.csr_array, factor: NDArray) -> sparse.csr_array:
    """The matrix with each row times its factor."""
    data = matrix.data * np.repeat(factor, np.diff(matrix.indptr))
    return sparse.csr_array((data, matrix.indices, matrix.indptr), shape=matrix.shape)


def split(coefficients: NDArray, blocks: list[Block]) -> list[NDArray]:
    """The coefficients of each block."""
    return np.split(coefficients, np.cumsum([block.size for block in blocks])[:-1])


def solve(
    normal: NDArray, right: NDArray, *, coefficients: NDArray, blocks: list[Block], hold: bool
) -> tuple[NDArray, NDArray, float, list[Block]]:
    """One Gauss-Newton step under the prior, the posterior covariance, the log odds and the stiffness that the evidence asks for.

    The normal matrix is used up, its room taken by the covariance: at this size fresh memory costs as much as the arithmetic.
    """
    posterior, pull = normal, right.copy()
    ends = np.cumsum([0] + [block.size for block in blocks])
    for i, block in enumerate(blocks):
        rows = slice(ends[i], ends[i + 1])
        part = block.stiffness * (np.diag(block.penalty) if block.penalty.ndim == 1 else block.penalty)
        posterior[rows, rows] += part
        pull[rows] -= part @ coefficients[rows]
    factor, fault = linalg.lapack.dpotrf(posterior, lower=1, overwrite_a=1)
    if fault:
        raise linalg.LinAlgError
    change, _ = linalg.lapack.dpotrs(factor, pull, lower=1)
    log_odds = -2.0 * float(np.sum(np.log(np.diag(factor))))
    covariance, _ = linalg.lapack.dpotri(factor, lower=1, overwrite_c=1)
    _mirror(covariance)
    updated = coefficients + change
    log_odds += sum(_log_prior(block, updated[ends[i] : ends[i + 1]]) for i, block in enumerate(blocks))
    fresh = [
        block
        if hold and block.channel == MODULATION
        else _by_evidence(block, updated[ends[i] : ends[i + 1]], covariance[ends[i] : ends[i + 1], ends[i] : ends[i + 1]])
        for i, block in enumerate(blocks)
    ]
    return updated, covariance, log_odds, fresh


def _mirror(matrix: NDArray) -> None:
    """Writes the lower triangle of a square matrix over its upper one."""
    for start in range(0, len(matrix), MIRRORED_AT_ONCE):
        here, beyond = slice(start, start + MIRRORED_AT_ONCE), slice(start + MIRRORED_AT_ONCE, None)
        matrix[here, beyond] = matrix[beyond, here].T
        lower = np.tril(matrix[here, here])
        matrix[here, here] = lower + np.tril(lower, -1).T


def _log_prior(block: Block, coefficients: NDArray) -> float:
    """Twice the logarithm of the prior density, but for what depends on the basis alone."""
    shaped = block.penalty * coefficients if block.penalty.ndim == 1 else block.penalty @ coefficients
    return block.size * float(np.log(block.stiffness)) - block.stiffness * float(coefficients @ shaped)


def _by_evidence(block: Block, coefficients: NDArray, covariance: NDArray) -> Block:
    """The block with the stiffness that makes the picture most likely: gamma / c'Pc (MacKay eq. 4.8 and the text below it)."""
    if not block.adapts:
        return block
    if block.penalty.ndim == 1:
        trace, energy = float(np.sum(block.penalty * np.diag(covariance))), float(np.sum(block.penalty * coefficients**2))
    else:
        trace, energy = float(np.sum(block.penalty * covariance)), float(coefficients @ block.penalty @ coefficients)
    known = max(block.size - block.stiffness * trace, 1e-3)
    return replace(
        block,
        stiffness=float(
            np.clip(known / max(energy, 1e-300), max(block.loosest, 1e-3 * block.stiffness), min(STIFFEST, 1e3 * block.stiffness))
        ),
    )
