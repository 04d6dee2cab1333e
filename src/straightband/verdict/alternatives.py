"""Maps that could be the true one just as well, and the spread of a figure over them.

With draws (random realisations of the map, from whoever read the photograph) the spread is theirs. Without them the map's pointwise
uncertainty says nothing of how errors at neighbouring points go together; the worst for a diagonal is that all of it is one smooth figure,
so the whole of it is put into power and into each of the two astigmatisms, and the changes they make are added as squares: no
direction among the three can then do more harm while the figure answers in a straight line.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from straightband.errors import BadInput
from straightband.face.polynomials import face_polynomials
from straightband.heightmap.map import HeightMap
from straightband.uncertainty import COVERAGE_95

FEWEST_DRAWS = 30  # the spread of 30 is itself known to 13 % (1 / sqrt(2 n))
_SECOND_ORDER = slice(3, 6)  # power and the two astigmatisms, each of unit rms on the face


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternatives:
    """Maps to try in the place of the measured one.

    Attributes
    ----------
    heights_nm
        (k, v, u) on the grid of the map.
    drawn
        True for random realisations; False for pairs of plus and minus one smooth figure of the whole 95 % uncertainty.
    """

    heights_nm: NDArray
    drawn: bool


def random_alternatives(height_map: HeightMap, *, draws_nm: NDArray) -> Alternatives:
    """Alternatives from random realisations [k, v, u] of the map; raises BadInput when they are too few or do not fit it."""
    if draws_nm.ndim != 3 or draws_nm.shape[1:] != height_map.heights_nm.shape or len(draws_nm) < FEWEST_DRAWS:
        raise BadInput(
            found=f"the random maps come as an array of shape {draws_nm.shape}",
            needed=f"at least {FEWEST_DRAWS} maps on the grid {height_map.heights_nm.shape} are needed",
            remedy="draw them on the grid of the map",
        )
    return Alternatives(heights_nm=draws_nm, drawn=True)


def smooth_alternatives(height_map: HeightMap) -> Alternatives:
    """Alternatives when only the pointwise uncertainty is known: plus and minus power and each astigmatism of its full size."""
    valid = height_map.valid
    doubts_nm = height_map.uncertainty_nm[valid]
    doubts_nm = doubts_nm[np.isfinite(doubts_nm)]
    size_nm = np.sqrt(np.mean(doubts_nm**2)) if doubts_nm.size else np.nan
    u, v = np.meshgrid(height_map.u_mm, height_map.v_mm)
    figures = face_polynomials(u, v, face=height_map.clear, order=2)[_SECOND_ORDER]
    figures = figures / np.sqrt(np.mean(figures[:, valid] ** 2, axis=1))[:, None, None]
    pairs = np.concatenate([size_nm * figures, -size_nm * figures])
    return Alternatives(heights_nm=height_map.heights_nm + pairs, drawn=False)


def expanded_spread(value: NDArray, tried: NDArray, *, drawn: bool) -> NDArray:
    """Expanded uncertainty (95 %) of `value` (...) from what the alternatives make of it, (k, ...).

    Draws: 1.96 times the rms distance from `value`, so that a one-sided shift counts as doubt too. Pairs of figures: the larger change
    of each pair, added as squares.
    """
    change = np.abs(tried - value)
    if drawn:
        return COVERAGE_95 * np.sqrt(np.mean(change**2, axis=0))
    half = len(change) // 2
    return np.sqrt(np.sum(np.maximum(change[:half], change[half:]) ** 2, axis=0))


def expanded_loss(loss: float, tried: NDArray, *, mirrored: NDArray) -> float:
    """Expanded uncertainty (95 %) of a loss that grows as the square of figure and error together, such as 1 - Strehl.

    `tried` (k,) is what random realisations of the map make of it, `mirrored` what their opposites do. What changes sign with the error hangs on
    figure times error, what does not on the square of the error alone. The figure seen holds the error already, which on average adds as much to the loss
    as the realisations do; figure times error is therefore only as large as what is left of the loss says.
    """
    odd, even = 0.5 * (tried - mirrored), 0.5 * (tried + mirrored) - loss
    left = np.clip((loss - np.mean(even)) / max(loss, 1e-12), 0.0, 1.0)
    return COVERAGE_95 * float(np.sqrt(left * np.mean(odd**2) + np.mean(even**2)))
