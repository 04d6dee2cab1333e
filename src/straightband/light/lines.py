"""Spectral lines, lamps and the index of air.

Sources
-------
Lines in air: "Standard spectral lines" of optical glass (e, g, h, d, C', as in ISO 7944 and glass catalogues), sodium doublet from
university reference tables; helium-neon: CIPM Recommendation 2 (2007), 632.9908 nm in vacuum, relative standard uncertainty 1.5e-6.
Air: P. E. Ciddor, Refractive index of air: new equations for the visible and near infrared, Appl. Opt. 35, 1566-1573 (1996).
Widths of LEDs and lamps without a line: common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from straightband.errors import BadInput
from straightband.quantities import half_last_figure_nm, parse_wavelength_nm

LINES_AIR_NM = {
    "mercury e": 546.074,
    "mercury g": 435.8343,
    "mercury h": 404.6561,
    "sodium D1": 589.5924,
    "sodium D2": 588.9950,
    "helium d": 587.5618,
    "cadmium C'": 643.8469,
    "helium-neon": 632.8,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Lamp:
    """The light the bands are seen in.

    Attributes
    ----------
    name
        Trade name of the kind of lamp, or the wavelength as typed.
    wavelength_nm
        Mean wavelength in air.
    wavelength_uncertainty_nm
        Expanded (95 %).
    fwhm_nm
        Full width at half maximum of the spectrum.
    """

    name: str
    wavelength_nm: float
    wavelength_uncertainty_nm: float
    fwhm_nm: float

    @property
    def coherent_bands(self) -> float:
        """Wavelength over width of the line: after about so many bands from contact nothing is left to be seen."""
        return self.wavelength_nm / self.fwhm_nm if self.fwhm_nm > 0.0 else math.inf


def _lamp(name: str, wavelength_nm: float, uncertainty_nm: float, fwhm_nm: float) -> Lamp:
    return Lamp(name=name, wavelength_nm=wavelength_nm, wavelength_uncertainty_nm=uncertainty_nm, fwhm_nm=fwhm_nm)


def sodium_mean_nm(*, d2_weight: float = 1.0) -> float:
    """Mean wavelength of the sodium doublet when D2 is `d2_weight` times as bright as D1 (plain mean by default)."""
    d1, d2 = LINES_AIR_NM["sodium D1"], LINES_AIR_NM["sodium D2"]
    return (d1 + d2_weight * d2) / (1.0 + d2_weight)


# The sodium value lies between the plain and the 2:1 mean, its uncertainty spans both.
LAMPS = {
    "sodium": _lamp("sodium", sodium_mean_nm(), 0.2, 0.6),
    "mercury-green": _lamp("mercury-green", LINES_AIR_NM["mercury e"], 0.02, 0.1),
    "helium-neon": _lamp("helium-neon", LINES_AIR_NM["helium-neon"], 0.02, 0.01),
    "red-led": _lamp("red-led", 630.0, 10.0, 20.0),
    "green-led": _lamp("green-led", 525.0, 10.0, 35.0),
    "blue-led": _lamp("blue-led", 465.0, 10.0, 25.0),
}


def lamp_from_text(text: str) -> Lamp:
    """The lamp named (`sodium`, `mercury-green`, ...) or the wavelength typed (`632.8nm`); raises BadInput.

    A typed wavelength is taken as exact to half a unit of its last figure, and as a narrow line.
    """
    named = LAMPS.get(text.strip().lower())
    if named is not None:
        return named
    if not any(c.isdigit() for c in text):
        raise BadInput(
            found=f"the light was given as '{text[:40]}'",
            needed=f"a wavelength or one of {', '.join(LAMPS)} is needed",
            remedy="write it like 632.8nm",
        )
    return _lamp(text.strip(), parse_wavelength_nm(text, what="the light"), half_last_figure_nm(text), 0.1)


def air_index(wavelength_vacuum_nm: float) -> float:
    """Refractive index of standard air (15 C, 101325 Pa, dry, 450 ppm CO2): Ciddor 1996, eq. 1."""
    s2 = (1000.0 / wavelength_vacuum_nm) ** 2
    return 1.0 + 0.05792105 / (238.0185 - s2) + 0.00167917 / (57.362 - s2)


def wavelength_in_air_nm(wavelength_vacuum_nm: float) -> float:
    """Wavelength in standard air of a line given in vacuum."""
    return wavelength_vacuum_nm / air_index(wavelength_vacuum_nm)
