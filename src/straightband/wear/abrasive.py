"""What a loose abrasive does to glass: how deep it breaks, how fast it takes off, how much it gives.

Sources
-------
Depth of damage: J. C. Lambropoulos, From abrasive size to subsurface damage in grinding, Optical Fabrication and Testing, OSA Technical Digest
(2000), from memory: between 0.3 L^0.68 and 2 L^0.85 for grains of L um. That damage over roughness is no universal number: P. Blaineau and
others, Opt. Express 21 (2013), abstract. Taking off the upper bound of the grade before is common practice.
Rate: loose grains of 5 to 30 um on glass have Preston coefficients of 1e-11 to 2e-10 per Pa, from memory; growing with the grain is our choice.
Give of the layer: our own estimate. A grain size is the mean of sizes spread by a third, and the larger ones carry first.
All of these are starting points: a shop's own weighings replace the rate.
"""

from __future__ import annotations

from dataclasses import dataclass

PRESTON_PER_PA_UM = 5e-12  # coefficient for each um of grain: 2.5e-11 at 5 um, 1.5e-10 at 30 um
PRESTON_FACTOR = 2.0  # either way at 95 %: the width of the range from memory at one grain size
SQUEEZE_SHARE = 0.1  # of the grain, that the layer gives at the pressure below
SQUEEZE_PRESSURE_KPA = 2.0  # a kilogram or two on a face of a hand's breadth
SQUEEZE_FACTOR = 3.0  # either way at 95 %


@dataclass(frozen=True, slots=True, kw_only=True)
class Abrasive:
    """A grade of loose abrasive between glass and glass.

    Attributes
    ----------
    size_um
        Mean grain.
    preston_per_pa
        Preston coefficient of either face.
    stiffness_kpa_um
        Pressure of the layer for each um of squeeze.
    """

    size_um: float
    preston_per_pa: float
    stiffness_kpa_um: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Depth:
    """A depth known between two bounds, in um."""

    lower_um: float
    upper_um: float


def abrasive_of(size_um: float) -> Abrasive:
    """A grade by its mean grain, with what is usual for it.

    Example
    -------
    >>> f"{abrasive_of(20.0).preston_per_pa:.1e}"
    '1.0e-10'
    """
    return Abrasive(
        size_um=size_um, preston_per_pa=PRESTON_PER_PA_UM * size_um, stiffness_kpa_um=SQUEEZE_PRESSURE_KPA / (SQUEEZE_SHARE * size_um)
    )


def damage_depth(size_um: float) -> Depth:
    """How deep the cracks under a face ground with that grain go (Lambropoulos 2000): the next grade must take them off.

    Example
    -------
    >>> round(damage_depth(30.0).upper_um, 2)
    36.02
    """
    return Depth(lower_um=0.3 * size_um**0.68, upper_um=2.0 * size_um**0.85)
