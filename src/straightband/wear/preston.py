"""How fast glass goes: Preston's equation, and what it takes to turn a weighing or a sag into glass removed.

Sources
-------
F. W. Preston, The theory and design of plate glass polishing machines, J. Soc. Glass Technol. 11, 214 (1927): removal goes as pressure times
speed. The coefficient is a shop's own and must be measured there, for instance by weighing.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

_UM_MIN = 1e3 * 1e-3 * 1e6 * 60.0  # kPa to Pa, mm/s to m/s, m to um, s to min
PER_PA_OF_CM2_PER_DYNE = 10.0  # 1 cm2/dyne = 1e-4 m2 / 1e-5 N


def removal_rate_um_min(*, preston_per_pa: NDArray | float, pressure_kpa: NDArray | float, speed_mm_s: NDArray | float) -> NDArray:
    """Depth of glass that goes in a minute: k p v (Preston 1927).

    Example
    -------
    >>> round(60.0 * float(removal_rate_um_min(preston_per_pa=5e-13, pressure_kpa=2.0, speed_mm_s=200.0)), 6)
    0.72
    """
    return np.asarray(preston_per_pa) * pressure_kpa * speed_mm_s * _UM_MIN


def depth_from_mass_um(*, mass_g: float, area_mm2: float, density_kg_m3: float) -> float:
    """Mean depth removed from what a piece lost in weight.

    Example
    -------
    >>> round(depth_from_mass_um(mass_g=0.1, area_mm2=math.pi * 50.0**2, density_kg_m3=2510.0), 6)
    5.072668
    """
    return mass_g * 1e9 / (density_kg_m3 * area_mm2)


def cap_volume_mm3(*, sag_um: float, radius_mm: float) -> float:
    """Glass above the rim of a shallow cap: what at least must go to make it flat.

    Example
    -------
    >>> round(cap_volume_mm3(sag_um=5.0, radius_mm=100.0), 6)
    78.539816
    """
    return 0.5 * math.pi * radius_mm**2 * sag_um * 1e-3
