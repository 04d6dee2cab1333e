"""What one band is worth, and how light makes bands between two glass faces.

Conventions: `t` is the air gap; uncoated glass / air / glass is dark at contact, so dark bands lie at 2 t cos(theta) = m lambda.

Sources
-------
Two-beam interference in a thin film: M. Born, E. Wolf, Principles of Optics, 7th ed. (1999), section 7.6 (from memory); each function states its derivation.
"""

from __future__ import annotations

import math


def height_per_band_nm(*, wavelength_nm: float, incidence_rad: float = 0.0) -> float:
    """Height step between neighbouring bands: lambda / (2 cos theta), theta measured in the air gap.

    Example
    -------
    >>> height_per_band_nm(wavelength_nm=546.074)
    273.037
    """
    return wavelength_nm / (2.0 * math.cos(incidence_rad))


def false_sag_nm(*, gap_um: float, radius_mm: float, camera_mm: float) -> float:
    """Concavity that is not there, read at `radius_mm` when a uniform gap is seen from a near camera: t (1 - cos atan(r / L))."""
    return 1000.0 * gap_um * (1.0 - math.cos(math.atan2(radius_mm, camera_mm)))


def camera_for_false_sag_mm(*, sag_nm: float, gap_um: float, radius_mm: float) -> float:
    """Least distance of the camera at which a uniform gap reads no more than `sag_nm` concave at `radius_mm`: the inverse of `false_sag_nm`.

    Example
    -------
    >>> round(camera_for_false_sag_mm(sag_nm=24.81404895, gap_um=5.0, radius_mm=100.0), 3)
    1000.0
    """
    return radius_mm / math.tan(math.acos(max(0.0, 1.0 - sag_nm / (1000.0 * gap_um))))


def wedge_rad(*, spacing_mm: float, wavelength_nm: float) -> float:
    """Angle between the faces when bands are `spacing_mm` apart: lambda / (2 p)."""
    return wavelength_nm * 1e-6 / (2.0 * spacing_mm)


def relative_radius_m(*, radius_mm: float, bands: float, wavelength_nm: float) -> float:
    """Radius of the sphere between two faces from rings: a^2 / (N lambda), N bands over the semi-diameter a."""
    return radius_mm**2 * 1e-6 / (bands * wavelength_nm * 1e-9)


def led_contrast(*, gap_um: float, wavelength_nm: float, fwhm_nm: float) -> float:
    """Band contrast left at a gap under a lamp with a Gaussian line: exp(-[pi dl 2t / (2 sqrt(ln 2) l^2)]^2).

    Fourier transform of a Gaussian spectrum; the gap is half the path difference.
    """
    exponent = math.pi * fwhm_nm * 2.0 * gap_um * 1000.0 / (2.0 * math.sqrt(math.log(2.0)) * wavelength_nm**2)
    return math.exp(-(exponent**2))


def gap_for_contrast_um(*, contrast: float, wavelength_nm: float, fwhm_nm: float) -> float:
    """Largest gap at which a lamp with a Gaussian line still gives `contrast`: the inverse of `led_contrast`."""
    return math.sqrt(math.log(2.0) * math.log(1.0 / contrast)) * wavelength_nm**2 / (math.pi * fwhm_nm) / 1000.0
