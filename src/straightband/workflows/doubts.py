"""Maps that could be the true one just as well, drawn from everything a reading knows of its own errors.

The verdict needs to know how errors of the map go together. A reading knows: each cause is a whole departure of the map, so a draw takes
every cause at a random size, one of its choices, and adds a random draw of the fit's noise (JCGM 101:2008).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from straightband.uncertainty import COVERAGE_95
from straightband.workflows.read import Reading

DRAWS = 60  # whose spread is itself known to 9 % (1 / sqrt(2 n))
SEED = 45  # any number: the same photograph must be judged the same each time


def draws_of(reading: Reading) -> NDArray:
    """Random realisations (DRAWS, v, u) of the height map of a reading, on its grid."""
    rng = np.random.default_rng(SEED)
    departures = np.zeros((DRAWS, reading.phase.points.u_mm.size))
    for cause in reading.causes:
        departures += rng.standard_normal((DRAWS, len(cause.modes_nm))) @ cause.modes_nm / COVERAGE_95
        if len(cause.draws_nm):
            departures += _as_many(cause.draws_nm, rng=rng)
        if len(cause.choices_nm):
            departures += _of_each(cause.choices_nm, rng=rng)
    label = reading.phase.label
    grids = np.where(label >= 0, departures[:, label], np.nan)
    # The departures stand in the photograph's own frame; the map is as seen looking at the face.
    hand = slice(None, None, -1 if reading.height_map.meta["mirrored"] % 2 else 1)
    return reading.height_map.heights_nm + grids[:, :, hand]


def _as_many(draws_nm: NDArray, *, rng: np.random.Generator) -> NDArray:
    """DRAWS of some random departures; picked at random, again and again, where there are fewer."""
    return draws_nm[:DRAWS] if len(draws_nm) >= DRAWS else draws_nm[rng.integers(0, len(draws_nm), DRAWS)]


def _of_each(choices_nm: NDArray, *, rng: np.random.Generator) -> NDArray:
    """DRAWS in which each choice, and none of them, is so as often, in random order."""
    with_none = np.concatenate([np.zeros_like(choices_nm[:1]), choices_nm])
    return with_none[rng.permutation(np.resize(np.arange(len(with_none)), DRAWS))]
