"""Several readings of one face: their mean, and what their scatter says.

Sources
-------
JCGM 100:2008 (GUM), 4.2 for the mean of repeated readings, table G.2 for Student's factor, G.4.1 for effective degrees of freedom (Welch and Satterthwaite).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import special

from straightband.fringes.budget import Cause
from straightband.heightmap.figures import Points
from straightband.uncertainty import COVERAGE_95


def aligned(heights_nm: NDArray, *, to_nm: NDArray) -> NDArray:
    """`heights_nm` or its negative, whichever agrees better with `to_nm`: two readings of unknown sign mean the same face."""
    both = np.isfinite(heights_nm) & np.isfinite(to_nm)
    return heights_nm if float(np.sum(heights_nm[both] * to_nm[both])) >= 0.0 else -heights_nm


def student_95(readings: int) -> float:
    """Student's factor for 95 % with `readings` - 1 degrees of freedom (GUM table G.2)."""
    return float(special.stdtrit(readings - 1, 0.975))


def factor_beside(readings: int, *, scatter: float, beside: float) -> float:
    """Factor on a standard uncertainty `scatter` of a mean, so that as squares with an expanded `beside` it makes the interval of both (GUM G.4.1).

    Alone it is Student's; beside much larger doubts that are known well, two readings need no 12.7 any more.
    """
    if scatter == 0.0:
        return student_95(readings)
    other = beside / COVERAGE_95
    freedom = (readings - 1) * (1.0 + (other / scatter) ** 2) ** 2
    expanded = float(special.stdtrit(freedom, 0.975)) * math.hypot(scatter, other)
    return max(COVERAGE_95, math.sqrt(max(0.0, expanded**2 - beside**2)) / scatter)


def repeat(points: Points, cells_nm: NDArray, *, beside_nm: NDArray) -> Cause:
    """Scatter of n readings (n, c) about their mean, as modes of the mean: alone t s / sqrt(n), less beside much else that is unknown of each cell.

    As squares with `beside_nm` (c,), the expanded uncertainty of all other causes, they make an interval of 95 %.
    """
    n = len(cells_nm)
    apart = cells_nm - cells_nm.mean(axis=0)
    scatter = math.sqrt(float(np.sum(apart**2 @ points.area / points.area.sum())) / (n * (n - 1.0)))
    beside = math.sqrt(float(beside_nm**2 @ points.area / points.area.sum()))
    modes = apart * (factor_beside(n, scatter=scatter, beside=beside) / math.sqrt(n * (n - 1.0)))
    return Cause(name="repeat", origin=f"scatter of {n} photographs", modes_nm=modes, draws_nm=np.zeros((0, points.u_mm.size)))
