"""Where the light of one star falls on the diagonal: exact lines from the pupil to the image, cut by the 45-degree plane.

Frame of the tube: z up the tube from the stop, y toward the focuser, x = y cross z. Light travels +z and is turned toward +y by the
plane z - (f - L) = y, so the half away from the focuser is nearer the primary. Frame of the face, as seen looking AT it: u = x across,
v along the glass, **+v toward the primary**, the wide end. The image is taken before folding, at (x, y, f).

The pupil is the flat disc of the stop; the cone is the converging beam, so the footprint is a little wider at +v and the angle of
incidence differs from ray to ray.

Sources
-------
Derived here; nothing but straight lines and a plane.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from straightband.telescope.telescope import Telescope


@dataclass(frozen=True, slots=True, kw_only=True)
class Pupil:
    """Points of the pupil with the share of the light each stands for.

    Attributes
    ----------
    x, y
        (n,), in units of the radius of the stop; x along u of the face, y toward the focuser.
    weights
        (n,), summing to 1.
    """

    x: NDArray
    y: NDArray
    weights: NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Footprint:
    """Where rays meet the face.

    Attributes
    ----------
    u_mm, v_mm
        (n,), in the frame of the face, +v toward the primary.
    cos_incidence
        (n,), cosine of the angle between each ray and the normal of the face.
    """

    u_mm: NDArray
    v_mm: NDArray
    cos_incidence: NDArray


def pupil_points(*, rings: int, spokes: int, obstruction_ratio: float = 0.0) -> Pupil:
    """Evenly lit disc or ring: Gauss-Legendre in the square of the radius, even steps in angle.

    Exact for polynomials of degree below 4 `rings` in radius and below `spokes` in angle.
    """
    nodes, shares = np.polynomial.legendre.leggauss(rings)
    inner = obstruction_ratio**2
    radius = np.sqrt(inner + (1.0 - inner) * (nodes + 1.0) / 2.0)[:, None]
    angle = 2.0 * math.pi * (np.arange(spokes) + 0.5) / spokes
    weights = np.broadcast_to(shares[:, None] / (2.0 * spokes), (rings, spokes))
    return Pupil(x=(radius * np.cos(angle)).ravel(), y=(radius * np.sin(angle)).ravel(), weights=weights.ravel())


def rim_points(*, count: int) -> Pupil:
    """Points of the rim of the pupil, for drawing the outline of a footprint."""
    angle = 2.0 * math.pi * np.arange(count) / count
    return Pupil(x=np.cos(angle), y=np.sin(angle), weights=np.full(count, 1.0 / count))


def footprint(telescope: Telescope, *, pupil: Pupil, field_mm: tuple[float, float] = (0.0, 0.0), offset_mm: float = 0.0) -> Footprint:
    """Where the rays of one field point meet the face of a diagonal that stands `offset_mm` off the axis.

    Parameters
    ----------
    telescope
        Its dimensions.
    pupil
        Where in the stop the rays start.
    field_mm
        The image point (x, y) in the focal plane, before folding.
    offset_mm
        Of the centre of the mirror, each of: away from the focuser, toward the primary.
    """
    f, radius = telescope.focal_length_mm, telescope.aperture_mm / 2.0
    px, py = radius * pupil.x, radius * pupil.y
    dx, dy = field_mm[0] - px, field_mm[1] - py
    t = (f - telescope.intercept_mm + py) / (f - dy)  # of the line P + t (Q - P) with the plane z - (f - L) = y
    across = py + t * dy
    return Footprint(
        u_mm=px + t * dx,
        v_mm=-math.sqrt(2.0) * (across + offset_mm),
        cos_incidence=(f - dy) / (math.sqrt(2.0) * np.sqrt(dx**2 + dy**2 + f * f)),
    )


def turned(rays: Footprint) -> Footprint:
    """The same rays on a mirror put in the other way round: half a turn in its own plane about its centre."""
    return replace(rays, u_mm=-rays.u_mm, v_mm=-rays.v_mm)
