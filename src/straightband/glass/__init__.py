"""Kinds of glass a flat is made of: what a blank weighs, how far it sags under its own weight, what heat does to it.

The sags are those of a thin round plate lying level. At a thickness of one eighth of the diameter shear, left out here, adds about 6 %.

Sources
-------
Density, modulus and Poisson's ratio: borosilicate 2230 kg/m3, 64 GPa, 0.20 from public data pages; densities of soda-lime glass and fused
silica from a public encyclopedia's table, as are their expansions and indices; expansion 3.3e-6, heat capacity 830 and index 1.473 of borosilicate from
public data pages; the rest from memory, where makers' sheets differ by up to 5 % (glass-ceramic expands by 0 +- 0.05e-6 or less).
Plate carried at its edge: S. Timoshenko, S. Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. (1959), eq. 68 (from memory).
Plate on three points: J. Nelson, J. Lubliner, T. Mast, Telescope mirror supports: plate deflections on point supports, Proc. SPIE 332,
212 (1982) for the best radius; the coefficients were computed here by the method of Ritz.
"""

from __future__ import annotations

from dataclasses import dataclass

from straightband.errors import BadInput

GRAVITY_M_S2 = 9.80665  # standard gravity
BEST_THREE_POINTS = 0.645  # radius of three points over that of the plate, where its rms sag is least (Nelson and others 1982)


@dataclass(frozen=True, slots=True, kw_only=True)
class Glass:
    """One kind of glass.

    Attributes
    ----------
    name
        As typed: `borosilicate`, `soda-lime`, ...
    density_kg_m3
        At room temperature.
    youngs_modulus_pa
        Stiffness.
    poisson_ratio
        Narrowing over stretching.
    expansion_per_k
        Linear, at room temperature.
    conductivity_w_m_k, heat_capacity_j_kg_k
        Of heat.
    index
        Refractive, for yellow light.
    """

    name: str
    density_kg_m3: float
    youngs_modulus_pa: float
    poisson_ratio: float
    expansion_per_k: float
    conductivity_w_m_k: float
    heat_capacity_j_kg_k: float
    index: float


GLASSES = {
    name: Glass(
        name=name,
        density_kg_m3=density,
        youngs_modulus_pa=modulus_gpa * 1e9,
        poisson_ratio=poisson,
        expansion_per_k=expansion * 1e-6,
        conductivity_w_m_k=conductivity,
        heat_capacity_j_kg_k=capacity,
        index=index,
    )
    for name, density, modulus_gpa, poisson, expansion, conductivity, capacity, index in (
        ("borosilicate", 2230.0, 64.0, 0.20, 3.3, 1.14, 830.0, 1.473),
        ("soda-lime", 2520.0, 72.0, 0.22, 9.0, 1.0, 840.0, 1.518),
        ("fused-silica", 2203.0, 72.7, 0.17, 0.55, 1.38, 740.0, 1.459),
        ("borosilicate-crown", 2510.0, 82.0, 0.206, 7.1, 1.114, 858.0, 1.5168),
        ("glass-ceramic", 2530.0, 90.3, 0.243, 0.05, 1.46, 800.0, 1.542),
    )
}


def glass_from_text(text: str) -> Glass:
    """The glass of that name, written with a space or a hyphen; raises BadInput.

    Example
    -------
    >>> glass_from_text("Fused silica").density_kg_m3
    2203.0
    """
    known = GLASSES.get("-".join(text.lower().split()))
    if known is None:
        raise BadInput(
            found=f"the glass was given as '{text[:40]}'",
            needed=f"one of {', '.join(GLASSES)} is needed",
            remedy="choose the one nearest to it",
        )
    return known


def weight_kg(glass: Glass, *, volume_mm3: float) -> float:
    """Mass of that much glass."""
    return glass.density_kg_m3 * volume_mm3 * 1e-9


def edge_carried_sag_nm(glass: Glass, *, diameter_mm: float, thickness_mm: float) -> float:
    """How far the middle of a round plate hangs below its rim when it lies level and is carried all round the rim."""
    nu = glass.poisson_ratio
    return (5.0 + nu) / (1.0 + nu) / 64.0 * _scale_nm(glass, diameter_mm=diameter_mm, thickness_mm=thickness_mm)


def three_point_rms_nm(glass: Glass, *, diameter_mm: float, thickness_mm: float) -> float:
    """Rms sag of a round plate that lies level on three points at 0.645 of its radius; its PV is 4.2 times that.

    The coefficient is fitted to Ritz solutions of the free plate for Poisson's ratios from 0.16 to 0.25, within 0.1 %.
    """
    more = glass.poisson_ratio - 0.2
    coefficient = 0.0061286 + 0.002386 * more + 0.00646 * more**2
    return coefficient * _scale_nm(glass, diameter_mm=diameter_mm, thickness_mm=thickness_mm)


def _scale_nm(glass: Glass, *, diameter_mm: float, thickness_mm: float) -> float:
    """Load times a^4 over the plate's bending stiffness, q a^4 / D with q = rho g h and D = E h^3 / (12 (1 - nu^2)), in nm."""
    radius_m, thickness_m = diameter_mm / 2000.0, thickness_mm / 1000.0
    load_pa = glass.density_kg_m3 * GRAVITY_M_S2 * thickness_m
    stiffness_n_m = glass.youngs_modulus_pa * thickness_m**3 / (12.0 * (1.0 - glass.poisson_ratio**2))
    return 1e9 * load_pa * radius_m**4 / stiffness_n_m
