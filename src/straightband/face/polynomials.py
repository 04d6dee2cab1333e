"""Polynomials orthonormal on a face: the area mean of the product of two different ones is 0, of one with itself 1.

Round and elliptical faces get the circle polynomials stretched with the outline, rectangles products of Legendre polynomials; both stay
orthonormal under that stretch. `ellipse_polynomials` gives the other orthonormal set on an ellipse, which keeps the sphere in one term.

Sources
-------
[1] R. J. Noll, Zernike polynomials and atmospheric turbulence, J. Opt. Soc. Am. 66, 207-211 (1976), Table I and eqs. (1)-(3).
[2] V. N. Mahajan, G.-m. Dai, Orthonormal polynomials in wavefront analysis: analytical solution, J. Opt. Soc. Am. A 24, 2994-3016 (2007).
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from straightband.face.shapes import Face, Shape


def noll_to_nm(j: int) -> tuple[int, int]:
    """Radial order n and signed angular order m (negative: sine) of Noll's index j, counted from 1 ([1], Table I)."""
    n = (math.isqrt(8 * (j - 1) + 1) - 1) // 2
    place = j - n * (n + 1) // 2 - 1
    m = 2 * ((place + 1) // 2) if n % 2 == 0 else 2 * (place // 2) + 1
    return (n, m) if j % 2 == 0 or m == 0 else (n, -m)


def noll_count(order: int) -> int:
    """Number of circle polynomials up to and including radial order `order`."""
    return (order + 1) * (order + 2) // 2


def circle_polynomials(x: NDArray, y: NDArray, *, order: int) -> NDArray:
    """Noll's polynomials 1 .. up to radial order `order` at points of the unit disc.

    Parameters
    ----------
    x, y
        Coordinates, any shape S, in units of the radius.
    order
        Highest radial order.

    Returns
    -------
    ndarray
        Shape (noll_count(order), *S); row j - 1 holds Z_j, [1] eqs. (1)-(3).
    """
    x, y = np.asarray(x), np.asarray(y)
    r2 = x * x + y * y
    z = x + 1j * y
    # float32 stays float32; whole numbers must not make the values whole.
    out = np.empty((noll_count(order), *r2.shape), dtype=np.result_type(r2, np.float32))
    index = {noll_to_nm(j): j - 1 for j in range(1, noll_count(order) + 1)}
    z_m = np.ones_like(z)
    for m in range(order + 1):
        for k, radial in enumerate(_jacobi_run(2.0 * r2 - 1.0, m=m, count=(order - m) // 2 + 1)):
            n = m + 2 * k
            if m == 0:
                out[index[n, 0]] = math.sqrt(n + 1.0) * radial
            else:
                norm = math.sqrt(2.0 * (n + 1.0))
                out[index[n, m]] = norm * radial * z_m.real
                out[index[n, -m]] = norm * radial * z_m.imag
        z_m = z_m * z
    return out


def _jacobi_run(t: NDArray, *, m: int, count: int) -> list[NDArray]:
    """Jacobi polynomials P_k^(0, m)(t) for k below `count`, by the three-term recurrence (DLMF 18.9.2)."""
    run = [np.ones_like(t)]
    if count > 1:
        run.append(0.5 * ((m + 2.0) * t - m))
    for k in range(2, count):
        a = 2.0 * k * (k + m) * (2 * k + m - 2)
        b = (2 * k + m - 1.0) * (2 * k + m) * (2 * k + m - 2)
        c = (2 * k + m - 1.0) * m * m
        d = 2.0 * (k - 1) * (k + m - 1) * (2 * k + m)
        run.append(((b * t - c) * run[k - 1] - d * run[k - 2]) / a)
    return run


def legendre_products(x: NDArray, y: NDArray, *, order: int) -> NDArray:
    """Products of Legendre polynomials of total degree up to `order`, orthonormal on the square -1..1.

    Ordered by total degree, then by falling degree in x; shape (noll_count(order), *x.shape).
    """
    x, y = np.asarray(x), np.asarray(y)
    px, py = _jacobi_legendre(x, order), _jacobi_legendre(y, order)
    return np.stack([px[i] * py[n - i] for n in range(order + 1) for i in range(n, -1, -1)])


def _jacobi_legendre(x: NDArray, order: int) -> list[NDArray]:
    run = [np.ones_like(x), x]
    for k in range(2, order + 1):
        run.append(((2 * k - 1) * x * run[k - 1] - (k - 1) * run[k - 2]) / k)
    return [math.sqrt(2 * k + 1.0) * p for k, p in enumerate(run[: order + 1])]


def face_polynomials(u_mm: NDArray, v_mm: NDArray, *, face: Face, order: int) -> NDArray:
    """Polynomials orthonormal on `face` at points (u, v): row 0 is piston, rows 1 and 2 the tilts, 3 to 5 the second order."""
    x, y = u_mm / face.semi_u_mm, v_mm / face.semi_v_mm
    if face.shape is Shape.RECTANGLE:
        return legendre_products(x, y, order=order)
    return circle_polynomials(x, y, order=order)


def ellipse_polynomials(x: NDArray, y: NDArray, *, aspect: float, count: int = 11) -> NDArray:
    """Orthonormal polynomials E_1 .. E_count on the ellipse x^2 + y^2 / aspect^2 <= 1, semi-major axis 1 along x.

    Gram-Schmidt of Noll's Z_1 .. Z_count with the ellipse's own moments ([2], section 4, which gives E_j in closed form; derived here
    anew); E_4 is the sphere. Shape (count, *x.shape).
    """
    order = noll_to_nm(count)[0]
    circle = circle_polynomials(np.asarray(x, dtype=float), np.asarray(y, dtype=float), order=order)[:count]
    return np.tensordot(_ellipse_transform(aspect, count), circle, axes=1)


@lru_cache(maxsize=16)
def _ellipse_transform(aspect: float, count: int) -> NDArray:
    """Lower-triangular matrix from Z to E: inverse Cholesky factor of the Gram matrix of Z on the ellipse."""
    order = noll_to_nm(count)[0]
    # Gauss-Legendre in r^2 and even spacing in angle integrate these polynomials exactly.
    nodes, weights = np.polynomial.legendre.leggauss(order + 2)
    r = np.sqrt((nodes + 1.0) / 2.0)[:, None]
    angle = 2.0 * np.pi * np.arange(4 * order + 4) / (4 * order + 4)
    z = circle_polynomials(r * np.cos(angle), aspect * r * np.sin(angle), order=order)[:count]
    w = np.broadcast_to((weights / 2.0)[:, None] / angle.size, z.shape[1:])
    gram = np.einsum("iab,jab,ab->ij", z, z, w)
    return np.linalg.inv(np.linalg.cholesky(gram))
