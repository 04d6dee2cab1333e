"""Plates bent by their weight, on their real outline.

Sources: S. Timoshenko, S. Woinowsky-Krieger, Theory of Plates and Shells, for the round plate carried at its edge; J. Nelson, J. Lubliner, T. Mast, Proc.
SPIE 332, 212 (1982), for plates on points (0.645 and the factor of four; coefficients from memory, computed anew by others); scikit-fem, a general-purpose
finite-element library, with Morley's element for outlines that have no closed form.
"""

from dataclasses import replace

import numpy as np
import pytest
from skfem import Basis, ElementTriMorley, MeshTri, condense, solve
from skfem.assembly import BilinearForm, LinearForm
from skfem.helpers import dd, ddot, eye, trace

from straightband.glass import GLASSES, GRAVITY_M_S2
from straightband.glass.bending import Blank, ellipse_places, rectangle_places, weight_sag_nm

BOROSILICATE = GLASSES["borosilicate"]


def blank_of(glass, *, semi_x_mm, semi_y_mm, thickness_mm, places=ellipse_places):
    x, y, area = places(semi_x_mm=semi_x_mm, semi_y_mm=semi_y_mm)
    return Blank(glass=glass, thickness_mm=thickness_mm, x_mm=x, y_mm=y, area_mm2=area)


def ring(count, radius, *, start=0.0):
    angle = start + 2 * np.pi * np.arange(count) / count
    return radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)


def rms_on_points(count, share, *, poisson, radius=100.0, thickness=25.0):
    """Rms sag of a round plate on a circle of points, in nm, and q a^4 / D for it."""
    glass = replace(BOROSILICATE, poisson_ratio=poisson)
    blank = blank_of(glass, semi_x_mm=radius, semi_y_mm=radius, thickness_mm=thickness)
    sag = weight_sag_nm(blank, supports_mm=ring(count, share * radius), at_mm=(blank.x_mm, blank.y_mm))
    share_of = blank.area_mm2 / blank.area_mm2.sum()
    stiffness = glass.youngs_modulus_pa * (thickness / 1000) ** 3 / (12 * (1 - poisson**2))
    unit = 1e9 * glass.density_kg_m3 * GRAVITY_M_S2 * thickness / 1000 * (radius / 1000) ** 4 / stiffness
    return np.sqrt((sag - sag @ share_of) ** 2 @ share_of), unit


@pytest.mark.parametrize(
    ("name", "diameter", "thickness", "sag"),
    [
        ("borosilicate", 200, 25, 42.64421752),
        ("fused-silica", 200, 25, 38.25521544),
        ("soda-lime", 200, 25, 41.92519395),
        ("borosilicate", 300, 30, 149.9210772),
    ],
)
def test_a_round_plate_carried_at_its_edge(name, diameter, thickness, sag):
    """The middle hangs by (5 + nu) / (1 + nu) q a^4 / (64 D) (GRAV-1): a polynomial of the fourth degree, so the solution is exact."""
    blank = blank_of(GLASSES[name], semi_x_mm=diameter / 2, semi_y_mm=diameter / 2, thickness_mm=thickness)
    found = weight_sag_nm(blank, supports_mm=ring(48, diameter / 2), at_mm=(np.zeros(1), np.zeros(1)))
    assert -found[0] == pytest.approx(sag, rel=1e-6)  # least squares over redundant supports


def test_three_points_at_their_best_radius():
    """At nu = 0.25 and 0.645 of the radius: the published coefficients, a best radius, and the rim four times as bad (GRAV-2)."""
    rms, unit = rms_on_points(3, 0.645, poisson=0.25)
    assert rms / unit == pytest.approx(0.006264034111, rel=3e-3)
    assert rms / unit / (np.pi / 3) ** 2 == pytest.approx(0.005712114155, rel=3e-3)
    assert rms < min(rms_on_points(3, share, poisson=0.25)[0] for share in (0.633, 0.657))
    assert rms_on_points(3, 1.0, poisson=0.25)[0] / rms == pytest.approx(3.9207, rel=5e-3)


def test_six_points():
    """Six points at 0.683: gamma of 0.002935 (GRAV-2)."""
    rms, unit = rms_on_points(6, 0.683, poisson=0.25)
    assert rms / unit / (np.pi / 6) ** 2 == pytest.approx(0.002935159357, rel=0.01)


def test_three_points_under_a_borosilicate_plate():
    """A 200 mm plate, 25 mm thick: 3.86 nm rms and 16.2 nm PV (GRAV-2)."""
    blank = blank_of(BOROSILICATE, semi_x_mm=100, semi_y_mm=100, thickness_mm=25)
    radius, angle = np.meshgrid(np.linspace(0, 100, 101), np.linspace(0, 2 * np.pi, 181))
    places = ((radius * np.cos(angle)).ravel(), (radius * np.sin(angle)).ravel())
    sag = weight_sag_nm(blank, supports_mm=ring(3, 64.5), at_mm=places)
    assert np.ptp(sag) == pytest.approx(16.19902929, rel=0.01)
    assert rms_on_points(3, 0.645, poisson=0.2)[0] == pytest.approx(3.859922452, rel=5e-3)


def by_finite_elements(mesh, *, supports_mm, glass, thickness_mm):
    """Heights in nm at the nodes of a mesh in mm: a thin plate by Morley's elements, its supports held at nodes."""
    mesh = MeshTri(mesh.p / 1000.0, mesh.t)
    thickness, nu = thickness_mm / 1000, glass.poisson_ratio
    stiffness = glass.youngs_modulus_pa * thickness**3 / (12 * (1 - nu**2))
    load = glass.density_kg_m3 * GRAVITY_M_S2 * thickness

    @BilinearForm
    def bending(u, v, _):
        moment = stiffness * ((1 - nu) * dd(u) + nu * eye(trace(dd(u)), 2))
        return ddot(moment, dd(v))

    @LinearForm
    def weight(v, _):
        return -load * v

    basis = Basis(mesh, ElementTriMorley())
    held = [int(np.argmin(np.hypot(mesh.p[0] - x / 1000, mesh.p[1] - y / 1000))) for x, y in supports_mm]
    fixed = basis.nodal_dofs[0, held]
    heights = solve(*condense(bending.assemble(basis), weight.assemble(basis), D=fixed))
    return 1e9 * heights[basis.nodal_dofs[0]], [tuple(1000 * mesh.p[:, k]) for k in held]


def test_a_free_ellipse_on_three_points_agrees_with_finite_elements():
    """A diagonal of 90 mm on three points near its rim: heights as those of scikit-fem within two per cent of the PV."""
    mesh = MeshTri.init_circle(5)
    mesh = MeshTri(mesh.p * np.array([[45.0], [45.0 * np.sqrt(2)]]), mesh.t)
    wanted = ring(3, 1.0, start=np.pi / 2) * 0.9 * np.array([45.0, 45.0 * np.sqrt(2)])
    expected, held = by_finite_elements(mesh, supports_mm=wanted, glass=BOROSILICATE, thickness_mm=15.0)
    blank = blank_of(BOROSILICATE, semi_x_mm=45.0, semi_y_mm=45.0 * np.sqrt(2), thickness_mm=15.0)
    found = weight_sag_nm(blank, supports_mm=np.array(held), at_mm=(mesh.p[0], mesh.p[1]))
    assert np.max(np.abs(found - expected)) < 0.02 * np.ptp(expected)  # the mesh: halving it moves the PV by 1 %


def test_a_free_rectangle_on_four_points_agrees_with_finite_elements():
    """A block of 60 by 90 mm on its corners, which are more supports than a plane needs: as scikit-fem within two per cent of the PV."""
    mesh = MeshTri.init_tensor(np.linspace(-30, 30, 33), np.linspace(-45, 45, 49))
    corners = np.array([[30.0, 45.0], [-30.0, 45.0], [-30.0, -45.0], [30.0, -45.0]])
    expected, held = by_finite_elements(mesh, supports_mm=corners, glass=GLASSES["soda-lime"], thickness_mm=12.0)
    blank = blank_of(GLASSES["soda-lime"], semi_x_mm=30.0, semi_y_mm=45.0, thickness_mm=12.0, places=rectangle_places)
    found = weight_sag_nm(blank, supports_mm=np.array(held), at_mm=(mesh.p[0], mesh.p[1]))
    assert np.max(np.abs(found - expected)) < 0.02 * np.ptp(expected)


def test_the_areas_add_up():
    """The places integrate area and second moments of an ellipse and a rectangle exactly."""
    x, y, area = ellipse_places(semi_x_mm=3.0, semi_y_mm=5.0)
    assert area.sum() == pytest.approx(np.pi * 15.0, rel=1e-12)
    assert y**2 @ area == pytest.approx(np.pi / 4 * 3 * 5**3, rel=1e-12)
    x, y, area = rectangle_places(semi_x_mm=3.0, semi_y_mm=5.0)
    assert x**2 @ area == pytest.approx(4 * 3 * 5 * 3**2 / 3, rel=1e-12)
