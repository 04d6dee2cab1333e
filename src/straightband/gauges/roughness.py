"""From the share of light that passes a grey back unscattered to its roughness, and to the contrast that bands will have through it.

Sources
-------
H. E. Bennett, J. O. Porteus, Relation between surface roughness and specular reflectance at normal incidence, J. Opt. Soc. Am. 51, 123
(1961), for reflection; the form for transmission is that of a thin Gaussian phase screen, exp(-(2 pi (n - 1) sigma / lambda)^2).
Two faces of like reflectance that interfere beside a third that does not: contrast 2/3, elementary.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

PLAIN_CONTRAST = 2.0 / 3.0  # of bands between bare glass through a clear back, whose own reflection is the third of three
LEAST_TOLD, MOST_TOLD = 0.03, 0.98  # shares outside of which a photograph tells a bound only: our trial on rendered photographs
WHITE_NM, WHITE_DOUBT_NM = 540.0, 50.0  # mean of the green channel of a camera under white light, 95 %: common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Roughness:
    """Rms roughness of a back.

    Attributes
    ----------
    nm, uncertainty_nm
        Value and its 95 % uncertainty.
    bound
        Empty, or `at least` / `at most` where the photograph tells no more; the value is then that bound, uncertainty included.
    """

    nm: float
    uncertainty_nm: float
    bound: str


def passed_share(*, rms_nm: float, index_step: float, wavelength_nm: float) -> float:
    """Share of light that passes one rough face unscattered; `index_step` is the index of the glass less that outside."""
    return math.exp(-((2.0 * math.pi * index_step * rms_nm / wavelength_nm) ** 2))


def rms_of_share(share: float, *, index_step: float, wavelength_nm: float) -> float:
    """Rms roughness in nm at which `share` of the light passes unscattered: the inverse of `passed_share`."""
    return wavelength_nm * math.sqrt(-math.log(share)) / (2.0 * math.pi * index_step)


def roughness_from_share(share: float, *, share_doubt: float, index_step: float, index_doubt: float) -> Roughness:
    """Roughness from the share seen in white light; both doubts at 95 %."""
    scale = math.hypot(WHITE_DOUBT_NM / WHITE_NM, index_doubt / index_step)

    def rms(value: float) -> float:
        return rms_of_share(min(max(value, 1e-6), 1.0 - 1e-9), index_step=index_step, wavelength_nm=WHITE_NM)

    if share - share_doubt < LEAST_TOLD:
        least = rms(share + share_doubt)
        return Roughness(nm=least * (1.0 - scale), uncertainty_nm=math.nan, bound="at least")
    if share + share_doubt > MOST_TOLD:
        most = rms(share - share_doubt)
        return Roughness(nm=most * (1.0 + scale), uncertainty_nm=math.nan, bound="at most")
    value = rms(share)
    either = max(rms(share - share_doubt) - value, value - rms(share + share_doubt))
    return Roughness(nm=value, uncertainty_nm=math.hypot(either, scale * value), bound="")


def band_contrast(share: float) -> float:
    """Least contrast of bands seen through a back that passes `share`: the light goes through it twice, at different points."""
    return PLAIN_CONTRAST * share**2
