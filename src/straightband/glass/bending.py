"""A plate that lies level and bends under its own weight, on its real outline and its real supports.

The heights are a sum of polynomials; the energy of bending less the work of the weight is made stationary (method of Ritz) with the plate held at
its supports. Free edges need nothing, they are natural to the energy. Shear is left out: at a thickness of one eighth of the width it adds about 6 %.

Sources
-------
Energy of a thin plate: S. Timoshenko, S. Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. (1959), eq. 117 (from memory).
W. Ritz, Über eine neue Methode zur Lösung gewisser Variationsprobleme der mathematischen Physik, J. reine angew. Math. 135, 1-61 (1909).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import NDArray

from straightband.glass import GRAVITY_M_S2, Glass

HOLDING = 3  # supports that hold a plate and say nothing twice
DEGREE = 16  # of the polynomials in x and y together: three points on a round plate come to 0.2 % of finer solutions


@dataclass(frozen=True, slots=True, kw_only=True)
class Blank:
    """A plate to be bent.

    Attributes
    ----------
    glass, thickness_mm
        What it is made of, and how thick.
    x_mm, y_mm, area_mm2
        (n,) places and areas that integrate polynomials over its outline exactly enough.
    """

    glass: Glass
    thickness_mm: float
    x_mm: NDArray
    y_mm: NDArray
    area_mm2: NDArray


def ellipse_places(*, semi_x_mm: float, semi_y_mm: float, degree: int = DEGREE) -> tuple[NDArray, NDArray, NDArray]:
    """Places (n,) and areas that integrate polynomials up to twice `degree` exactly over an ellipse."""
    nodes, weights = legendre.leggauss(degree + 1)
    radius, angles = np.sqrt((nodes + 1.0) / 2.0), 2.0 * np.pi * np.arange(2 * degree + 2) / (2 * degree + 2)
    r, phi = np.meshgrid(radius, angles, indexing="ij")
    share = np.broadcast_to(weights[:, None] / 2.0 / angles.size, r.shape)
    return (
        (semi_x_mm * r * np.cos(phi)).ravel(),
        (semi_y_mm * r * np.sin(phi)).ravel(),
        (share * np.pi * semi_x_mm * semi_y_mm).ravel(),
    )


def rectangle_places(*, semi_x_mm: float, semi_y_mm: float, degree: int = DEGREE) -> tuple[NDArray, NDArray, NDArray]:
    """Places (n,) and areas that integrate polynomials up to twice `degree` exactly over a rectangle."""
    nodes, weights = legendre.leggauss(degree + 1)
    x, y = np.meshgrid(nodes * semi_x_mm, nodes * semi_y_mm)
    return x.ravel(), y.ravel(), (np.outer(weights, weights) * semi_x_mm * semi_y_mm).ravel()


def weight_sag_nm(blank: Blank, *, supports_mm: NDArray, at_mm: tuple[NDArray, NDArray], degree: int = DEGREE) -> NDArray:
    """Heights (m,) in nm, positive up, of a level plate at places (x, y), with the supports at height 0.

    Parameters
    ----------
    blank
        The plate.
    supports_mm
        (s, 2) points that hold it from below; three at least, not in line. Many along the rim are a ring.
    at_mm
        x and y of the places asked, (m,) each.
    """
    scale = float(max(np.max(np.abs(blank.x_mm)), np.max(np.abs(blank.y_mm))))
    area = blank.area_mm2 / scale**2
    inside = _polynomials(blank.x_mm / scale, blank.y_mm / scale, degree=degree)
    energy = _energy(inside, area=area, poisson=blank.glass.poisson_ratio)
    held = _polynomials(supports_mm[:, 0] / scale, supports_mm[:, 1] / scale, degree=degree)["w"]
    count = len(energy)
    system = np.block([[energy, held], [held.T, np.zeros((held.shape[1], held.shape[1]))]])
    load = np.concatenate([-(inside["w"] @ area), np.zeros(held.shape[1])])
    if held.shape[1] == HOLDING:
        found = np.linalg.solve(system, load)[:count]
    else:  # Many supports along a rim say the same more than once: the least-norm forces will do, the heights are the same.
        found = np.linalg.lstsq(system, load, rcond=1e-13)[0][:count]
    return found @ _polynomials(at_mm[0] / scale, at_mm[1] / scale, degree=degree)["w"] * _scale_nm(blank, scale_mm=scale)


def _scale_nm(blank: Blank, *, scale_mm: float) -> float:
    """Weight of an area times a length to the fourth over the bending stiffness, in nm."""
    glass, thickness_m = blank.glass, blank.thickness_mm / 1000.0
    stiffness_n_m = glass.youngs_modulus_pa * thickness_m**3 / (12.0 * (1.0 - glass.poisson_ratio**2))
    return 1e9 * glass.density_kg_m3 * GRAVITY_M_S2 * thickness_m * (scale_mm / 1000.0) ** 4 / stiffness_n_m


def _polynomials(x: NDArray, y: NDArray, *, degree: int) -> dict[str, NDArray]:
    """Products of Legendre polynomials (k, n) with their second derivatives."""
    runs = []
    for t in (x, y):
        plain = legendre.legvander(t, degree).T
        slopes = [legendre.legvander(t, max(degree - d, 0)).T for d in (1, 2)]
        first, second = (_derived(slopes[d - 1], degree=degree, times=d) for d in (1, 2))
        runs.append((plain, first, second))
    pairs = [(i, n - i) for n in range(degree + 1) for i in range(n, -1, -1)]
    i, j = np.array(pairs).T
    (px, px1, px2), (py, py1, py2) = runs
    return {"w": px[i] * py[j], "xx": px2[i] * py[j], "yy": px[i] * py2[j], "xy": px1[i] * py1[j]}


def _derived(lower: NDArray, *, degree: int, times: int) -> NDArray:
    """Derivatives (degree + 1, n) of Legendre polynomials, from their values up to the degree left."""
    rows = np.zeros((degree + 1, lower.shape[1]))
    for k in range(times, degree + 1):
        coefficients = legendre.legder(np.eye(degree + 1)[k], times)[: len(lower)]
        rows[k] = np.pad(coefficients, (0, max(0, len(lower) - len(coefficients))))[: len(lower)] @ lower
    return rows


def _energy(at: dict[str, NDArray], *, area: NDArray, poisson: float) -> NDArray:
    """Second derivatives of the bending energy of a plate of unit stiffness by the coefficients."""
    bend = at["xx"] + at["yy"]
    mixed = (at["xx"] * area) @ at["yy"].T
    return (bend * area) @ bend.T - (1.0 - poisson) * (mixed + mixed.T - 2.0 * (at["xy"] * area) @ at["xy"].T)
