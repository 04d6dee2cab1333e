"""How much contrast bands can have: glass, coating, lamp and size of the pupil, each a factor.

Sources
-------
Fresnel's formula at normal incidence and two-beam contrast: M. Born, E. Wolf, Principles of Optics, 7th ed. (1999), sections 1.5.2 and 7.3 (from memory).
Beat of two lines and fading of a Gaussian line: Fourier transform of the spectrum at a path difference of twice the gap; derived.
A round source or pupil of half-angle th seen in a gap t: paths 2 t cos(th), uniform in th^2 over the disc; derived.
Sodium's lines: D2 is between once and twice as bright as D1 in lamps (common practice, no source); twice is taken.
"""

from __future__ import annotations

import math

from straightband.light.bands import gap_for_contrast_um, led_contrast
from straightband.light.lines import LINES_AIR_NM, Lamp

SODIUM_RATIO = 2.0


def reflectance(index: float) -> float:
    """Share of light that a bare face of glass in air sends back: ((n - 1) / (n + 1))^2.

    Example
    -------
    >>> round(reflectance(1.5168), 5)
    0.04216
    """
    return ((index - 1.0) / (index + 1.0)) ** 2


def pair_contrast(*, reference: float, test: float, stray: float = 0.0) -> float:
    """Contrast of the bands between two faces of those reflectances, the reference passed twice; `stray` is light that makes no bands."""
    first, second = reference, (1.0 - reference) ** 2 * test
    return 2.0 * math.sqrt(first * second) / (first + second + stray)


def doublet_contrast(*, gap_um: float, longer_nm: float, shorter_nm: float, ratio: float = 1.0) -> float:
    """Contrast left at a gap by two narrow lines, one `ratio` times as bright as the other: |1 + r exp(i phi)| / (1 + r)."""
    phase = 2.0 * math.pi * 2000.0 * gap_um * (1.0 / shorter_nm - 1.0 / longer_nm)
    return math.sqrt(1.0 + ratio**2 + 2.0 * ratio * math.cos(phase)) / (1.0 + ratio)


def doublet_minimum_um(*, longer_nm: float, shorter_nm: float) -> float:
    """Gap at which two lines fall out of step for the first time: l1 l2 / (4 dl); at twice that they are in step again."""
    return longer_nm * shorter_nm / (4.0 * (longer_nm - shorter_nm)) / 1000.0


def lamp_contrast(lamp: Lamp, *, gap_um: float) -> float:
    """Contrast that a lamp's spectrum leaves at a gap."""
    if lamp.name == "sodium":
        longer, shorter = LINES_AIR_NM["sodium D1"], LINES_AIR_NM["sodium D2"]
        return doublet_contrast(gap_um=gap_um, longer_nm=longer, shorter_nm=shorter, ratio=SODIUM_RATIO)
    return led_contrast(gap_um=gap_um, wavelength_nm=lamp.wavelength_nm, fwhm_nm=lamp.fwhm_nm)


def lamp_gap_um(lamp: Lamp, *, contrast: float) -> float:
    """Largest gap up to which a lamp's spectrum leaves at least `contrast`; for sodium at most the first minimum of its two lines."""
    if lamp.name != "sodium":
        return gap_for_contrast_um(contrast=contrast, wavelength_nm=lamp.wavelength_nm, fwhm_nm=lamp.fwhm_nm)
    longer, shorter = LINES_AIR_NM["sodium D1"], LINES_AIR_NM["sodium D2"]
    r = SODIUM_RATIO
    cosine = ((contrast * (1.0 + r)) ** 2 - 1.0 - r * r) / (2.0 * r)
    share = math.acos(max(-1.0, min(1.0, cosine))) / math.pi
    return share * doublet_minimum_um(longer_nm=longer, shorter_nm=shorter)


def pupil_contrast(*, gap_um: float, half_angle_rad: float, wavelength_nm: float) -> float:
    """Contrast that a round source or pupil of that half-angle leaves: |sin u / u|, u = pi t th^2 / lambda."""
    u = math.pi * 1000.0 * gap_um * half_angle_rad**2 / wavelength_nm
    return abs(math.sin(u) / u) if u else 1.0
