"""What a hand's heat does to a plate, and how long to wait.

A hand leaves heat in the glass at its face. The warmer face stands convex until the heat has spread through the thickness; after that the whole plate is
a little warmer than the room and loses heat through the face that lies open, which bends it the other way for much longer.

Sources
-------
Slowest modes of the heat equation in a plate: H. S. Carslaw, J. C. Jaeger, Conduction of Heat in Solids, 2nd ed. (1959), chapter 3 (from memory).
Curvature of a free plate with a temperature gradient: B. A. Boley, J. H. Weiner, Theory of Thermal Stresses (1960) (from memory).
A face held warmer by 5 K for 10 s stands for a hand: an order of magnitude, since skin is no fixed temperature. Loss of heat to still air, radiation
included, about 10 W/m2/K: from memory.
"""

from __future__ import annotations

import math

from straightband.glass import Glass

HAND_WARMER_K, HAND_S = 5.0, 10.0
AIR_W_M2_K = 10.0


def diffusivity_m2_s(glass: Glass) -> float:
    """How fast differences of temperature spread: k / (rho c)."""
    return glass.conductivity_w_m_k / (glass.density_kg_m3 * glass.heat_capacity_j_kg_k)


def equalising_s(glass: Glass, *, thickness_mm: float) -> float:
    """Time in which a front-back difference falls to 1/e while neither face loses heat: h^2 / (pi^2 kappa)."""
    return (thickness_mm / 1000.0) ** 2 / (math.pi**2 * diffusivity_m2_s(glass))


def cooling_s(glass: Glass, *, thickness_mm: float) -> float:
    """Time in which the whole plate comes to 1/e of what it is warmer than the room, one face open: rho c h / hc."""
    return glass.density_kg_m3 * glass.heat_capacity_j_kg_k * thickness_mm / 1000.0 / AIR_W_M2_K


def difference_sag_nm(glass: Glass, *, width_mm: float, thickness_mm: float, difference_k: float) -> float:
    """Sag over a width for a front-back difference: alpha dT D^2 / (8 h); the warmer face stands convex."""
    return 1e6 * glass.expansion_per_k * difference_k * width_mm**2 / (8.0 * thickness_mm)


def hand_heat_j_m2(glass: Glass, *, warmer_k: float = HAND_WARMER_K, seconds: float = HAND_S) -> float:
    """Heat that goes into thick glass whose face is held warmer for a time: 2 dT sqrt(k rho c t / pi)."""
    effusivity = math.sqrt(glass.conductivity_w_m_k * glass.density_kg_m3 * glass.heat_capacity_j_kg_k)
    return 2.0 * warmer_k * effusivity * math.sqrt(seconds / math.pi)


def swelling_nm(glass: Glass, *, heat_j_m2: float, held_sideways: bool = False) -> float:
    """How far a face stands out over heat in the glass: alpha Q / (rho c), and (1 + nu) / (1 - nu) of it where cold glass around holds it."""
    free = 1e9 * glass.expansion_per_k * heat_j_m2 / (glass.density_kg_m3 * glass.heat_capacity_j_kg_k)
    nu = glass.poisson_ratio
    return free * (1.0 + nu) / (1.0 - nu) if held_sideways else free


def mean_rise_k(glass: Glass, *, heat_j_m2: float, thickness_mm: float) -> float:
    """By how much the whole thickness is warmer in the end: Q / (rho c h)."""
    return heat_j_m2 / (glass.density_kg_m3 * glass.heat_capacity_j_kg_k * thickness_mm / 1000.0)


def fresh_bend_nm(glass: Glass, *, heat_j_m2: float, width_mm: float, thickness_mm: float) -> float:
    """Sag over a width at once, all heat still at one face: curvature 6 alpha Q / (rho c h^2) (thermal moment)."""
    curvature = 6.0 * glass.expansion_per_k * heat_j_m2 / (glass.density_kg_m3 * glass.heat_capacity_j_kg_k * (thickness_mm / 1000.0) ** 2)
    return 1e9 * curvature * (width_mm / 1000.0) ** 2 / 8.0


def share_left(since: float) -> float:
    """Share of the first bend that is left after `since` times `equalising_s`: the sum of 8 / (pi n)^2 exp(-n^2 t) over odd n.

    Example
    -------
    >>> round(share_left(1.0) / math.exp(-1.0), 4)
    0.8106
    """
    return min(1.0, sum(8.0 / (math.pi * n) ** 2 * math.exp(-(n**2) * since) for n in range(1, 60, 2)))


def bend_after_nm(glass: Glass, *, width_mm: float, thickness_mm: float, seconds: float) -> tuple[float, float]:
    """Sags left some time after a hand warmed a whole face: of the heat still spreading, and of the warm plate losing it through one face.

    The first falls by `share_left`; the second is that of a difference hc dT h / (2 k), and falls with `cooling_s`.
    """
    heat = hand_heat_j_m2(glass)
    fresh = fresh_bend_nm(glass, heat_j_m2=heat, width_mm=width_mm, thickness_mm=thickness_mm)
    rise = mean_rise_k(glass, heat_j_m2=heat, thickness_mm=thickness_mm)
    difference = AIR_W_M2_K * rise * thickness_mm / 1000.0 / (2.0 * glass.conductivity_w_m_k)
    losing = difference_sag_nm(glass, width_mm=width_mm, thickness_mm=thickness_mm, difference_k=difference)
    return (
        fresh * share_left(seconds / equalising_s(glass, thickness_mm=thickness_mm)),
        losing * math.exp(-seconds / cooling_s(glass, thickness_mm=thickness_mm)),
    )


def wait_s(glass: Glass, *, width_mm: float, thickness_mm: float, limit_nm: float) -> float:
    """How long after a hand the two sags together fall to a limit; 0 where they never exceed it."""

    def excess(seconds: float) -> float:
        return sum(bend_after_nm(glass, width_mm=width_mm, thickness_mm=thickness_mm, seconds=seconds)) - limit_nm

    if excess(0.0) <= 0.0:
        return 0.0
    late = equalising_s(glass, thickness_mm=thickness_mm)
    while excess(late) > 0.0:
        late *= 2.0
    early = 0.0
    for _ in range(60):
        middle = (early + late) / 2.0
        early, late = (middle, late) if excess(middle) > 0.0 else (early, middle)
    return late
