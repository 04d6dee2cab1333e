"""Polynomials on disc, ellipse and rectangle, against Noll's table, closed forms and a general-purpose library.

Sources: R. J. Noll, Zernike polynomials and atmospheric turbulence, J. Opt. Soc. Am. 66, 207-211 (1976), Table I; ANSI Z80.28 / ISO 24157 for
the other index; V. N. Mahajan, J. Opt. Soc. Am. 72, 1258 (1982), for the rms of classical terms; V. N. Mahajan, G.-m. Dai, J. Opt. Soc.
Am. A 24, 2994 (2007), for the ellipse, whose closed forms were derived anew from the moments.
"""

from fractions import Fraction
from math import comb, factorial, sqrt

import numpy as np
import pytest
from zernike import RZern

from straightband.face.polynomials import (
    circle_polynomials,
    ellipse_polynomials,
    face_polynomials,
    legendre_products,
    noll_count,
    noll_to_nm,
)
from straightband.face.shapes import ellipse, rectangle, round_face

DIAGONAL = 1 / sqrt(2)


def disc_quadrature(rings=40, spokes=120):
    """Points x, y and weights (summing to 1) of the unit disc, exact for polynomials of degree below 4 `rings`."""
    nodes, weights = np.polynomial.legendre.leggauss(rings)
    r = np.sqrt((nodes + 1) / 2)[:, None]
    angle = 2 * np.pi * np.arange(spokes)[None, :] / spokes
    w = np.repeat(weights[:, None] / 2 / spokes, spokes, axis=1)
    return (r * np.cos(angle)).ravel(), (r * np.sin(angle)).ravel(), w.ravel()


def test_noll_order_is_that_of_table_i():
    """Index j gives the n and m of NOLL 1976 Table I, even j cosine and odd j sine."""
    n = [0, 1, 1, 2, 2, 2, 3, 3, 3, 3, 4, 4, 4, 4, 4]
    m = [0, 1, -1, 0, -2, 2, -1, 1, -3, 3, 0, 2, -2, 4, -4]
    assert [noll_to_nm(j) for j in range(1, 16)] == list(zip(n, m, strict=True))


def test_noll_order_agrees_with_the_ansi_index():
    """The pair (n, m) of each j is the ANSI Z80.28 / ISO 24157 index (n (n + 2) + m) / 2 of the published correspondence."""
    ansi = [(n * (n + 2) + m) // 2 for n, m in (noll_to_nm(j) for j in range(1, 16))]
    assert ansi == [0, 2, 1, 4, 3, 5, 7, 8, 6, 9, 12, 13, 11, 14, 10]


def test_each_pair_of_orders_has_one_index():
    """Counting j to a full order names every allowed (n, m) once."""
    order = 12
    pairs = [noll_to_nm(j) for j in range(1, noll_count(order) + 1)]
    assert sorted(pairs) == [(n, m) for n in range(order + 1) for m in range(-n, n + 1, 2)]


def test_first_eleven_values_are_nolls():
    """At r = 0.7, 25 degrees the values are those of the eleven formulas of NOLL 1976 Table I."""
    r, t = 0.7, np.radians(25)
    table = [
        1.0,
        2 * r * np.cos(t),
        2 * r * np.sin(t),
        sqrt(3) * (2 * r**2 - 1),
        sqrt(6) * r**2 * np.sin(2 * t),
        sqrt(6) * r**2 * np.cos(2 * t),
        sqrt(8) * (3 * r**3 - 2 * r) * np.sin(t),
        sqrt(8) * (3 * r**3 - 2 * r) * np.cos(t),
        sqrt(8) * r**3 * np.sin(3 * t),
        sqrt(8) * r**3 * np.cos(3 * t),
        sqrt(5) * (6 * r**4 - 6 * r**2 + 1),
    ]
    values = circle_polynomials(r * np.cos(t), r * np.sin(t), order=4)[:11]
    np.testing.assert_allclose(values, table, atol=1e-12)  # rounding of a few products


def test_circle_polynomials_are_orthonormal():
    """The area mean of the product of two of them is 1 for the same and 0 for others (Noll's eq. 3, by exact quadrature)."""
    x, y, w = disc_quadrature()
    z = circle_polynomials(x, y, order=14)
    np.testing.assert_allclose((z * w) @ z.T, np.eye(len(z)), atol=1e-12)  # rounding over 4800 points


def test_circle_polynomials_agree_with_another_implementation():
    """To order 12 they equal those of the general-purpose `zernike` package (Noll normalisation), term by term."""
    rng = np.random.default_rng(3)
    r, t = np.sqrt(rng.uniform(size=50)), rng.uniform(0, 2 * np.pi, size=50)
    other = RZern(12)
    theirs = np.array([[other.Zk(k, rho, theta) for rho, theta in zip(r, t, strict=True)] for k in range(other.nk)])
    ours = circle_polynomials(r * np.cos(t), r * np.sin(t), order=12)
    np.testing.assert_allclose(ours, theirs, atol=1e-9)  # theirs sums factorials, which cancel at order 12


@pytest.mark.parametrize(("order", "worst"), [(10, 1e-13), (20, 1e-12), (40, 1e-11), (80, 1e-10)])
def test_accuracy_holds_to_high_order(order, worst):
    """Radial parts stay near Noll's eq. 2 summed in exact fractions: the table says how accuracy falls with order."""
    r = Fraction(7, 8)
    m = order % 4
    exact = sum(
        (-1) ** k * Fraction(comb(order - k, k) * factorial(order - 2 * k), factorial((order + m) // 2 - k) * factorial((order - m) // 2 - k))
        * r ** (order - 2 * k)
        for k in range((order - m) // 2 + 1)
    )  # fmt: skip
    j = next(j for j in range(noll_count(order - 1) + 1, noll_count(order) + 1) if noll_to_nm(j) == (order, m))
    norm = sqrt(order + 1) if m == 0 else sqrt(2 * (order + 1))
    assert circle_polynomials(np.array(0.875), np.array(0.0), order=order)[j - 1] == pytest.approx(norm * float(exact), abs=worst * norm)


@pytest.mark.parametrize(
    ("j", "pv"),
    [(2, 4), (4, 2 * sqrt(3)), (6, 2 * sqrt(6)), (8, 2 * sqrt(8)), (10, 2 * sqrt(8)), (11, 1.5 * sqrt(5)), (12, 2 * sqrt(10)), (14, 2 * sqrt(10))],
)  # fmt: skip
def test_pv_of_a_term_of_unit_rms(j, pv):
    """Peak to valley over the disc is the extremes of the closed form of the term."""
    r, t = np.meshgrid(np.linspace(0, 1, 401), np.linspace(0, 2 * np.pi, 361))
    z = circle_polynomials(r * np.cos(t), r * np.sin(t), order=4)[j - 1]
    assert np.ptp(z) == pytest.approx(pv, rel=1e-4)  # grid of radii near the inner extreme of spherical


@pytest.mark.parametrize(
    ("term", "rms"),
    [
        (lambda r, _: r**2, 1 / (2 * sqrt(3))),
        (lambda r, _: r**4, 2 / (3 * sqrt(5))),
        (lambda r, _: r**4 - r**2, 1 / (6 * sqrt(5))),
        (lambda r, t: r**3 * np.cos(t), 1 / sqrt(8)),
        (lambda r, t: (r**3 - 2 * r / 3) * np.cos(t), 1 / (6 * sqrt(2))),
        (lambda r, t: r**2 * np.cos(t) ** 2, 1 / 4),
        (lambda r, t: r**2 * np.cos(2 * t) / 2, 1 / (2 * sqrt(6))),
    ],
    ids=["defocus", "spherical", "spherical, best focus", "coma", "coma, best tilt", "astigmatism", "astigmatism, best focus"],
)
def test_coefficients_add_up_to_the_rms_of_classical_terms(term, rms):
    """Root of the sum of squares of the coefficients past piston is the rms that MAHAJAN 1982 lists for the term."""
    x, y, w = disc_quadrature(12, 40)
    coefficients = circle_polynomials(x, y, order=4) @ (w * term(np.hypot(x, y), np.arctan2(y, x)))
    assert sqrt(np.sum(coefficients[1:] ** 2)) == pytest.approx(rms, rel=1e-12)  # exact quadrature


def test_whole_numbers_do_not_make_whole_values():
    """Integer coordinates give the same values as the same coordinates written as decimals."""
    np.testing.assert_array_equal(
        circle_polynomials(np.array([0, 1]), np.array([1, 0]), order=3),
        circle_polynomials(np.array([0.0, 1.0]), np.array([1.0, 0.0]), order=3),
    )


def test_single_precision_stays_single():
    """Photographs are worked in single precision, and the polynomials keep it."""
    x = np.zeros(3, dtype=np.float32)
    assert circle_polynomials(x, x, order=2).dtype == np.float32


def test_legendre_products_are_orthonormal_on_the_square():
    """The area mean of products is 1 for the same and 0 for others, by exact Gauss-Legendre quadrature."""
    nodes, weights = np.polynomial.legendre.leggauss(16)
    x, y = (a.ravel() for a in np.meshgrid(nodes, nodes))
    w = np.outer(weights, weights).ravel() / 4
    p = legendre_products(x, y, order=12)
    np.testing.assert_allclose((p * w) @ p.T, np.eye(len(p)), atol=1e-12)  # rounding over 256 points


def test_legendre_products_agree_with_numpy():
    """Term by term they are numpy's Legendre polynomials times sqrt((2 i + 1) (2 j + 1)), ordered as promised."""
    x, y = np.random.default_rng(5).uniform(-1, 1, size=(2, 30))
    pairs = [(i, n - i) for n in range(6) for i in range(n, -1, -1)]
    one = [np.polynomial.legendre.Legendre.basis(i) for i in range(6)]
    expected = [sqrt((2 * i + 1) * (2 * j + 1)) * one[i](x) * one[j](y) for i, j in pairs]
    np.testing.assert_allclose(legendre_products(x, y, order=5), expected, atol=1e-12)  # rounding


@pytest.mark.parametrize(
    "face", [ellipse(minor_mm=60), round_face(diameter_mm=80), rectangle(width_mm=30, length_mm=70)], ids=lambda f: f.shape
)
def test_face_polynomials_are_orthonormal_on_their_face(face):
    """On a grid over the face itself the mean of products approaches the identity."""
    u, v = np.meshgrid(*(np.linspace(-s, s, 801)[:-1] + s / 800 for s in (face.semi_u_mm, face.semi_v_mm)))
    inside = face.contains(u, v)
    p = face_polynomials(u[inside], v[inside], face=face, order=3)
    np.testing.assert_allclose(p @ p.T / inside.sum(), np.eye(len(p)), atol=2e-3)  # steps along the rim of the grid


def closed_ellipse_forms(x, y, b):
    """E1 to E11 derived from the moments of the ellipse, semi-major axis 1 along x."""
    r2 = x**2 + y**2
    second, odd_y = 3 - 2 * b**2 + 3 * b**4, 5 - 6 * b**2 + 9 * b**4
    odd_x = 9 - 6 * b**2 + 5 * b**4
    fourth = 45 - 60 * b**2 + 94 * b**4 - 60 * b**6 + 45 * b**8
    return np.stack([
        np.ones_like(x),
        2 * x,
        2 * y / b,
        sqrt(3) * (4 * r2 - 1 - b**2) / sqrt(second),
        2 * sqrt(6) * x * y / b,
        sqrt(6) * ((3 * b**2 - 1) * x**2 + (b**2 - 3) * y**2 / b**2 + 1 - b**2) / sqrt(second),
        4 * y * (6 * r2 - 1 - 3 * b**2) / (b * sqrt(odd_y)),
        4 * x * (6 * r2 - 3 - b**2) / sqrt(odd_x),
        4 * y * (3 * (3 * b**2 - 1) * x**2 + (3 * b**2 - 5) * y**2 / b**2 + 3 * (1 - b**2)) / (b * sqrt(odd_y)),
        4 * x * ((5 * b**2 - 3) * x**2 + 3 * (b**2 - 3) * y**2 / b**2 + 3 * (1 - b**2)) / sqrt(odd_x),
        sqrt(5) * (48 * r2**2 - 12 * (3 + b**2) * x**2 - 12 * (1 + 3 * b**2) * y**2 + 3 + 2 * b**2 + 3 * b**4) / sqrt(fourth),
    ])  # fmt: skip


@pytest.mark.parametrize("b", [DIAGONAL, 0.5, 0.8, 1.0])
def test_ellipse_polynomials_are_the_closed_forms(b):
    """E1 to E11 equal the closed forms of the ellipse (MAHAJAN, DAI 2007, derived anew), for the diagonal and other aspects."""
    x, y, _ = disc_quadrature(6, 17)
    np.testing.assert_allclose(ellipse_polynomials(x, b * y, aspect=b), closed_ellipse_forms(x, b * y, b), atol=1e-11)  # one matrix inverse


@pytest.mark.parametrize(
    ("j", "powers", "coefficients"),
    [
        (4, [(2, 0), (0, 2), (0, 0)], [4.177863743, 4.177863743, -1.566698904]),
        (6, [(2, 0), (0, 2), (0, 0)], [0.7385489459, -7.385489459, 0.7385489459]),
        (5, [(1, 1)], [6.92820323]),
        (7, [(2, 1), (0, 3), (0, 1)], [16.46386417, 16.46386417, -6.859943406]),
        (8, [(3, 0), (1, 2), (1, 0)], [8.913376232, 8.913376232, -5.199469469]),
        (9, [(2, 1), (0, 3), (0, 1)], [4.115966043, -19.20784154, 4.115966043]),
        (10, [(3, 0), (1, 2), (1, 0)], [-0.7427813527, -22.28344058, 2.228344058]),
        (11, [(4, 0), (2, 2), (0, 4), (2, 0), (0, 2), (0, 0)], [18.45812566, 36.91625132, 18.45812566, -16.15085995, -11.53632854, 1.826585352]),
    ],
)  # fmt: skip
def test_polynomials_of_a_diagonal_have_their_coefficients(j, powers, coefficients):
    """For 1 : sqrt(2) each E_j has the coefficients of an independent symbolic Gram-Schmidt, powers given as (of x, of y)."""
    x, y = np.random.default_rng(7).uniform(-0.7, 0.7, size=(2, 40))
    expected = sum(c * x**p * y**q for (p, q), c in zip(powers, coefficients, strict=True))
    np.testing.assert_allclose(ellipse_polynomials(x, y, aspect=DIAGONAL)[j - 1], expected, atol=2e-8)  # ten figures given


@pytest.mark.parametrize("b", [DIAGONAL, 0.4])
def test_ellipse_polynomials_are_orthonormal(b):
    """The area mean of the product of two E is 1 for the same and 0 for others, to order 5, on the ellipse (exact quadrature)."""
    x, y, w = disc_quadrature(16, 60)
    e = ellipse_polynomials(x, b * y, aspect=b, count=21)
    np.testing.assert_allclose((e * w) @ e.T, np.eye(21), atol=1e-10)  # one Cholesky factor of a 21 by 21 matrix


def test_on_a_circle_the_ellipse_set_is_nolls():
    """Aspect 1 gives Noll's polynomials back."""
    x, y, _ = disc_quadrature(6, 17)
    np.testing.assert_allclose(ellipse_polynomials(x, y, aspect=1.0), circle_polynomials(x, y, order=4)[:11], atol=1e-12)  # rounding
