"""What the face must hold to for a Strehl ratio: power, astigmatism and irregularity, through the 45-degree step.

Refocusing takes out only what has become defocus by the time it is a wavefront. Power of the face becomes partly astigmatism on the way,
so it has a limit too, though a flat tested square-on would show that power focuses out.

Sources
-------
Strehl from rms: exp(-(2 pi sigma / lambda)^2), V. N. Mahajan, Strehl ratio for primary aberrations: some analytical results for circular
and annular pupils, J. Opt. Soc. Am. 72, 1258-1266 (1982). Limits added as rms values add at worst: derived.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from straightband.telescope.light_cone import footprint, pupil_points
from straightband.telescope.telescope import Telescope
from straightband.verdict.strehl import refocused

_RINGS, _SPOKES = 16, 64  # a wavefront of second degree, times a smooth cosine, is integrated exactly to all figures shown


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceTolerance:
    """How far a face may depart from flat, tilt removed, over its clear aperture, in the figures of a reading.

    Attributes
    ----------
    wavefront_rms_nm
        What the refocused wavefront of a star on the axis may have.
    power_nm
        Sag of the sphere over the semi-major axis, when it is the only fault.
    astigmatism_nm
        Difference of the two sags over the semi-major axis, in the worst direction, when it is the only fault.
    irregularity_rms_nm
        Rms without the sphere, when it is the only fault and no part of it is taken up by refocusing.
    share
        What each of power and irregularity may have of its limit when both are there and add at worst.
    """

    wavefront_rms_nm: float
    power_nm: float
    astigmatism_nm: float
    irregularity_rms_nm: float
    share: float


def face_tolerance(
    telescope: Telescope, *, clear_semi_major_mm: float, offset_mm: float, strehl_wanted: float, wavelength_nm: float
) -> FaceTolerance:
    """Limits for a mirror whose clear aperture has that semi-major axis.

    The beam of one star covers part of the face; power and astigmatism count by what they are within it. Irregularity is taken to be as
    large there as over the whole face.
    """
    pupil = pupil_points(rings=_RINGS, spokes=_SPOKES)
    rays = footprint(telescope, pupil=pupil, offset_mm=offset_mm)
    x, y = rays.u_mm / clear_semi_major_mm, rays.v_mm / clear_semi_major_mm
    shapes = np.stack([x * x + y * y, 0.5 * (x * x - y * y), x * y])  # power of 1 nm, astigmatism of 1 nm in its two directions
    waves = refocused(2.0 * shapes * rays.cos_incidence, pupil=pupil)
    products = (waves * pupil.weights) @ waves.T
    allowed = wavelength_nm / (2.0 * math.pi) * math.sqrt(-math.log(strehl_wanted))
    return FaceTolerance(
        wavefront_rms_nm=allowed,
        power_nm=allowed / math.sqrt(products[0, 0]),
        astigmatism_nm=allowed / math.sqrt(float(np.linalg.eigvalsh(products[1:, 1:])[-1])),
        irregularity_rms_nm=allowed / math.sqrt(float(pupil.weights @ (2.0 * rays.cos_incidence) ** 2)),
        share=0.5,
    )
