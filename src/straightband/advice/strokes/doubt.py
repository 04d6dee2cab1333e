"""Errors that a map may have, drawn at random: smooth figures as large as its own uncertainty says."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from straightband.face.polynomials import face_polynomials, noll_count
from straightband.face.shapes import Face
from straightband.uncertainty import COVERAGE_95

DRAWS = 120  # whose spread is itself known to 7 %
ORDER = 5  # of the figures: what a tilt of the camera, a lens or an outline makes is of this kind


def drawn_errors(uncertainty_nm: NDArray, *, face: Face, u_mm: NDArray, v_mm: NDArray, rng: np.random.Generator) -> NDArray:
    """(DRAWS, n) errors, of the standard size that the expanded uncertainty (n,) says, in places that hang together."""
    shapes = face_polynomials(u_mm, v_mm, face=face, order=ORDER)[3:]
    drawn = rng.standard_normal((DRAWS, len(shapes))) @ shapes
    local = np.sqrt(np.mean(shapes**2, axis=0) * len(shapes))  # of a sum with coefficients of one, at each place
    return drawn / local * (uncertainty_nm / COVERAGE_95)


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """A map at some places of a face, without piston and tilt.

    Attributes
    ----------
    heights_nm
        (n,) as measured.
    errors_nm
        (d, n) random errors they may have.
    likely_nm
        (n,) less the part of them that is likely to be error.
    left_nm
        (d, n) random errors that this may still have.
    sign_known
        Whether hills are known from holes.
    """

    heights_nm: NDArray
    errors_nm: NDArray
    likely_nm: NDArray
    left_nm: NDArray
    sign_known: bool


def seen(heights_nm: NDArray, errors_nm: NDArray, *, face: Face, u_mm: NDArray, v_mm: NDArray, sign_known: bool = True) -> Seen:
    """A map (n,) with random errors (d, n) it may have, parted into what is likely to be figure and what error.

    Whoever works at the figure of a map works at its errors too, and would find afterwards that less has come off than was foretold. Figures
    of each degree are therefore shrunk by the share that errors have of their square in the map (James and Stein 1961, from memory).
    """
    shapes = face_polynomials(u_mm, v_mm, face=face, order=ORDER)
    whole, _ = np.linalg.qr(shapes.T)
    level = whole[:, :3]
    heights, errors = heights_nm - level @ (level.T @ heights_nm), errors_nm - (errors_nm @ level) @ level.T
    likely, left = heights.copy(), errors.copy()
    for degree in range(2, ORDER + 1):
        kind = whole[:, noll_count(degree - 1) : noll_count(degree)]
        in_map, in_errors = kind.T @ heights, errors @ kind
        noise, square = float(np.mean(np.sum(in_errors**2, axis=1))), float(in_map @ in_map)
        share = min(1.0, noise / square) if square > 0.0 else 1.0
        likely -= share * kind @ in_map
        left -= (1.0 - math.sqrt(1.0 - share)) * in_errors @ kind.T
    return Seen(heights_nm=heights, errors_nm=errors, likely_nm=likely, left_nm=left, sign_known=sign_known)
