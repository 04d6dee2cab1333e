"""Footprints of stars on the diagonal, against an independent trace of the folded light and closed forms.

Source: straight lines and a plane; nothing is taken from the code under test.
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from straightband.face.shapes import ellipse
from straightband.telescope.light_cone import Pupil, footprint, pupil_points, rim_points, turned
from straightband.telescope.sizing import cut_of_cone, illumination
from straightband.telescope.telescope import Telescope

SCOPE = Telescope(aperture_mm=300, focal_length_mm=1500, intercept_mm=240)
TOWARD_FOCUSER, UP_THE_TUBE = np.array([0.0, 1.0, 0.0]), np.array([0.0, 0.0, 1.0])
NORMAL = (TOWARD_FOCUSER - UP_THE_TUBE) / math.sqrt(2)  # of the reflecting side


def traced_from_the_focuser(scope, *, pupil_xy, field, offset):
    """The mirror points found backward: from the image really formed in the focuser, through the mirror, to the pupil.

    The image is mirrored in the plane of the diagonal, and the path image - mirror - pupil must obey the law of reflection, so it is
    found as the point of the plane with the shortest path (Hero of Alexandria), by Newton steps on the path length.
    """
    crossing = np.array([0.0, 0.0, scope.focal_length_mm - scope.intercept_mm])
    before = np.array([field[0], field[1], scope.focal_length_mm])
    image = before - 2 * np.dot(before - crossing, NORMAL) * NORMAL
    start = np.array([*pupil_xy, 0.0]) * np.array([scope.aperture_mm / 2, scope.aperture_mm / 2, 0.0])
    along_u, along_v = np.array([1.0, 0.0, 0.0]), -(TOWARD_FOCUSER + UP_THE_TUBE) / math.sqrt(2)
    axes = np.stack([along_u, along_v])
    place = np.zeros(2)
    for _ in range(30):
        point = crossing + place @ axes
        slope, curve = np.zeros(2), np.zeros((2, 2))
        for end in (start, image):
            d = point - end
            length = np.linalg.norm(d)
            slope += axes @ d / length
            curve += (np.eye(2) - np.outer(axes @ d, axes @ d) / length**2) / length
        place = place - np.linalg.solve(curve, slope)
    centre = -offset * (TOWARD_FOCUSER + UP_THE_TUBE)  # away from the focuser, toward the primary
    point = crossing + place @ axes
    into = (point - start) / np.linalg.norm(point - start)
    return axes @ (point - crossing - centre), abs(into @ NORMAL)


@pytest.mark.parametrize("field", [(0.0, 0.0), (7.5, 0.0), (-3.0, 6.0), (0.0, -7.5)])
@pytest.mark.parametrize("offset", [0.0, 2.9])
def test_rays_meet_the_mirror_where_fermat_says(field, offset):
    """Mirror point and angle of incidence of rays are those of the shortest path from pupil to the image in the focuser."""
    x, y = np.array([0.0, 0.9, -0.3, 0.0, -0.6]), np.array([0.0, 0.1, 0.8, -1.0, -0.6])
    rays = footprint(SCOPE, pupil=Pupil(x=x, y=y, weights=np.full(5, 0.2)), field_mm=field, offset_mm=offset)
    for k, pupil_xy in enumerate(zip(x, y, strict=True)):
        place, cosine = traced_from_the_focuser(SCOPE, pupil_xy=pupil_xy, field=field, offset=offset)
        assert (rays.u_mm[k], rays.v_mm[k]) == pytest.approx(tuple(place), abs=1e-8)  # Newton's last step
        assert rays.cos_incidence[k] == pytest.approx(cosine, abs=1e-10)


def test_the_wide_end_is_toward_the_primary():
    """The axial beam is wider across the half of the glass nearer the primary, which is +v."""
    rays = footprint(SCOPE, pupil=rim_points(count=3600))
    u_at = [np.max(np.abs(rays.u_mm[np.abs(rays.v_mm - v) < 0.5])) for v in (20.0, -20.0)]
    assert u_at[0] > u_at[1] + 1.0
    assert rays.v_mm.max() > -rays.v_mm.min()
    near_primary = footprint(SCOPE, pupil=Pupil(x=np.zeros(1), y=-np.ones(1), weights=np.ones(1)))
    assert near_primary.v_mm[0] > 0  # the ray from the side away from the focuser meets the glass lower in the tube


def test_the_ray_along_the_axis_comes_in_at_45_degrees():
    """The ray from the middle of the pupil to the middle of the field meets the crossing at 45 degrees."""
    rays = footprint(SCOPE, pupil=Pupil(x=np.zeros(1), y=np.zeros(1), weights=np.ones(1)))
    assert (rays.u_mm[0], rays.v_mm[0]) == pytest.approx((0.0, 0.0), abs=1e-12)
    assert rays.cos_incidence[0] == pytest.approx(math.sqrt(0.5), rel=1e-12)


def test_incidence_varies_across_the_cone_by_its_half_angle():
    """Marginal rays come in at 45 degrees plus and minus atan(D / 2 f)."""
    rays = footprint(SCOPE, pupil=Pupil(x=np.zeros(2), y=np.array([1.0, -1.0]), weights=np.full(2, 0.5)))
    half = math.atan(0.1)
    assert np.arccos(rays.cos_incidence) == pytest.approx([math.pi / 4 - half, math.pi / 4 + half], rel=1e-12)


@pytest.mark.parametrize(("focal", "intercept", "aperture", "beam"), [(1500, 240, 300, 48.0), (1e6, 4e5, 100, 40.0)])
def test_width_of_the_beam_where_the_axis_crosses(focal, intercept, aperture, beam):
    """Level with the crossing the axial beam is D L / f wide (similar triangles)."""
    scope = Telescope(aperture_mm=aperture, focal_length_mm=focal, intercept_mm=intercept)
    rays = footprint(scope, pupil=Pupil(x=np.array([-1.0, 1.0]), y=np.zeros(2), weights=np.full(2, 0.5)))
    assert np.ptp(rays.u_mm) == pytest.approx(beam, rel=1e-12)
    assert rays.v_mm == pytest.approx([0.0, 0.0], abs=1e-9)


def test_a_slow_beam_fills_a_one_to_root_two_ellipse():
    """In the limit of parallel light pupil (X, Y) falls on u = X a, v = -Y a sqrt(2), and every ray comes in at 45 degrees."""
    scope = Telescope(aperture_mm=100, focal_length_mm=1e8, intercept_mm=6e7)
    pupil = pupil_points(rings=6, spokes=12)
    rays = footprint(scope, pupil=pupil)
    np.testing.assert_allclose(rays.u_mm, 30 * pupil.x, atol=1e-4)  # slope of 5e-7
    np.testing.assert_allclose(rays.v_mm, -30 * math.sqrt(2) * pupil.y, atol=1e-4)
    np.testing.assert_allclose(rays.cos_incidence, math.sqrt(0.5), rtol=1e-6)


@given(aperture=st.floats(100, 800), ratio=st.floats(3, 10), share=st.floats(0.08, 0.3), field_share=st.floats(0, 0.06))
def test_light_of_the_full_field_just_fits_the_exact_cut(aperture, ratio, share, field_share):
    """Over all directions of the edge of the field, rays stay on the exact ellipse about its offset centre, and touch its rim."""
    scope = Telescope(aperture_mm=aperture, focal_length_mm=aperture * ratio, intercept_mm=aperture * ratio * share)
    cut = cut_of_cone(scope, full_field_mm=aperture * field_share)
    outline = ellipse(minor_mm=cut.cut_minor_mm, major_mm=cut.cut_major_mm)
    radii = []
    for angle in np.linspace(0, 2 * np.pi, 24, endpoint=False):
        point = (aperture * field_share / 2 * math.cos(angle), aperture * field_share / 2 * math.sin(angle))
        rays = footprint(scope, pupil=rim_points(count=72), field_mm=point, offset_mm=cut.offset_mm)
        radii.append(outline.normalised_radius(rays.u_mm, rays.v_mm).max())
    # Same-side rays (the 24 directions are among the 72 of the pupil) are generators of the cone, so each touches.
    np.testing.assert_allclose(radii, 1.0, rtol=1e-9)


def test_light_counted_through_the_glass_agrees_with_two_circles():
    """Rays that meet a 60 mm diagonal at its offset are, averaged over the directions of the field, the paraxial share to order k^2."""
    scope, minor, radius = SCOPE, 60.0, 15.0
    face = ellipse(minor_mm=minor)
    offset = cut_of_cone(scope, full_field_mm=15.0).offset_mm
    pupil = pupil_points(rings=60, spokes=180)
    counted = []
    for angle in np.linspace(0, 2 * np.pi, 16, endpoint=False):
        rays = footprint(scope, pupil=pupil, field_mm=(radius * math.cos(angle), radius * math.sin(angle)), offset_mm=offset)
        counted.append(pupil.weights[face.contains(rays.u_mm, rays.v_mm)].sum())
    paraxial = illumination(scope, minor_axis_mm=minor, field_radius_mm=radius)
    assert np.mean(counted) == pytest.approx(paraxial, abs=0.01)  # k^2 is 0.009 here


@pytest.mark.parametrize("obstruction", [0.0, 0.3])
def test_pupil_weights_integrate_the_disc_and_the_ring(obstruction):
    """Weights sum to 1 and give the mean of X^2, of r^4 and of X^2 Y^2 over the ring between e and 1 in closed form."""
    pupil = pupil_points(rings=8, spokes=16, obstruction_ratio=obstruction)
    e2 = obstruction**2
    r2, r4 = (1 + e2) / 2, (1 + e2 + e2**2) / 3
    found = [pupil.weights @ f for f in (np.ones_like(pupil.x), pupil.x**2, (pupil.x**2 + pupil.y**2) ** 2, (pupil.x * pupil.y) ** 2)]
    assert found == pytest.approx([1.0, r2 / 2, r4, r4 / 8], rel=1e-12)
    assert np.hypot(pupil.x, pupil.y).min() > obstruction


def test_turning_the_mirror_swaps_both_its_ends():
    """Put in the other way round, a ray that met (u, v) meets (-u, -v) at the same angle."""
    rays = footprint(SCOPE, pupil=rim_points(count=8), field_mm=(3.0, 4.0), offset_mm=2.0)
    other = turned(rays)
    np.testing.assert_array_equal([other.u_mm, other.v_mm, other.cos_incidence], [-rays.u_mm, -rays.v_mm, rays.cos_incidence])
