"""Kinds of glass a flat is made of: what a blank weighs, and how far it sags under its own weight.

The sags are those of a thin round plate lying level. At a thickness of one eighth of the diameter shear, left out here, adds about 6 %.

Sources
-------
Density, modulus and Poisson's ratio: borosilicate 2230 kg/m3, 64 GPa, 0.20 from public data pages; densities of soda-lime glass and fused
silica from a public encyclopedia's table; the rest from memory, where makers' sheets differ by up to 5 %.
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
    """

    name: str
    density_kg_m3: float
    youngs_modulus_pa: float
    poisson_ratio: float


GLASSES = {
    name: Glass(name=name, density_kg_m3=density, youngs_modulus_pa=modulus_gpa * 1e9, poisson_ratio=poisson)
    for name, density, modulus_gpa, poisson in (
        ("borosilicate", 2230.0, 64.0, 0.20),
        ("soda-lime", 2520.0, 72.0, 0.22),
        ("fused-silica", 2203.0, 72.7, 0.17),
        ("borosilicate-crown", 2510.0, 82.0, 0.206),
        ("glass-ceramic", 2530.0, 90.3, 0.243),
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
