"""Several readings of one face: their mean, and what their scatter says.

Sources
-------
JCGM 100:2008 (GUM), 4.2 for the mean of repeated readings, table G.2 for Student's factor.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import special

from straightband.fringes.budget import Cause
from straightband.heightmap.figures import Points


def aligned(heights_nm: NDArray, *, to_nm: NDArray) -> NDArray:
    """`heights_nm` or its negative, whichever agrees better with `to_nm`: two readings of unknown sign mean the same face."""
    both = np.isfinite(heights_nm) & np.isfinite(to_nm)
    return heights_nm if float(np.sum(heights_nm[both] * to_nm[both])) >= 0.0 else -heights_nm


def student_95(readings: int) -> float:
    """Student's factor for 95 % with `readings` - 1 degrees of freedom (GUM table G.2)."""
    return float(special.stdtrit(readings - 1, 0.975))


def repeat(points: Points, cells_nm: NDArray) -> Cause:
    """Scatter of n readings (n, c) about their mean, as modes of the mean whose squares add up to Student's interval of it: t s / sqrt(n)."""
    n = len(cells_nm)
    modes = (cells_nm - cells_nm.mean(axis=0)) * (student_95(n) / np.sqrt(n * (n - 1.0)))
    return Cause(name="repeat", origin=f"scatter of {n} photographs", modes_nm=modes, draws_nm=np.zeros((0, points.u_mm.size)))
