"""Light caught by a diagonal, ray by ray.

Sources: a trace of single rays written here from a line and a plane; the paraxial area two circles share, plane geometry.
"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from straightband.telescope.lit import lit_by_counting, lit_shares
from straightband.telescope.sizing import cut_of_cone, illumination
from straightband.telescope.telescope import Telescope


def telescope(aperture, focal, intercept):
    return Telescope(aperture_mm=aperture, focal_length_mm=focal, intercept_mm=intercept)


SMALL, MIDDLE = telescope(200, 1000, 180), telescope(300, 1500, 240)
LARGE, GIANT = telescope(400, 1800, 300), telescope(760, 3040, 500)
SIZES = st.builds(
    lambda aperture, ratio, share: telescope(aperture, aperture * ratio, aperture * ratio * share),
    st.floats(80, 1000),
    st.floats(3, 12),
    st.floats(0.1, 0.4),
)


def counted(scope, *, minor, offset, image, across=601):
    """Share of a grid of rays whose crossing with the plane y = z - (f - L) lies within the ellipse, by vectors."""
    radius = scope.aperture_mm / 2
    grid = np.linspace(-radius, radius, across)
    start = np.stack([each.ravel() for each in np.meshgrid(grid, grid)] + [np.zeros(across**2)])
    start = start[:, np.hypot(start[0], start[1]) <= radius]
    end = np.array([[image[0]], [image[1]], [scope.focal_length_mm]])
    normal, on_plane = np.array([0.0, 1.0, -1.0]), np.array([0.0, 0.0, scope.focal_length_mm - scope.intercept_mm])
    t = (normal @ on_plane - normal @ start) / (normal @ (end - start))
    from_centre = start + t * (end - start) - (on_plane - offset * np.array([0.0, 1.0, 1.0]))[:, None]
    along = from_centre.T @ np.array([0.0, 1.0, 1.0]) / math.sqrt(2)
    return np.mean((2 * from_centre[0] / minor) ** 2 + (2 * along / (math.sqrt(2) * minor)) ** 2 <= 1.0)


@settings(max_examples=15)
@given(
    scope=SIZES,
    minor_share=st.floats(0.6, 1.3),
    radius_share=st.floats(0, 0.15),
    offset_share=st.floats(-0.05, 0.1),
    turn=st.floats(0, 2 * math.pi),
)
def test_the_share_is_that_of_rays_counted_one_by_one(scope, minor_share, radius_share, offset_share, turn):
    """The share of a star's light is that of rays traced on a grid, whatever the telescope, the mirror, its place and the star's."""
    minor = minor_share * scope.aperture_mm * scope.intercept_mm / scope.focal_length_mm
    x, y = radius_share * scope.aperture_mm * math.cos(turn), radius_share * scope.aperture_mm * math.sin(turn)
    offset = offset_share * minor
    found = lit_shares(scope, minor_axis_mm=minor, offset_mm=offset, field_mm=([x], [y]))
    assert found[0] == pytest.approx(counted(scope, minor=minor, offset=offset, image=(x, y)), abs=2e-3)  # 601 rays across: their rim


def test_one_star_is_right_to_four_figures():
    """With a million rays the counted share of one star agrees to what such a grid resolves."""
    found = lit_shares(LARGE, minor_axis_mm=80, offset_mm=4.4, field_mm=([12.0], [16.0]))
    assert found[0] == pytest.approx(counted(LARGE, minor=80, offset=4.4, image=(12.0, 16.0), across=1201), abs=3e-4)


def test_the_ring_is_told_by_its_mean_and_extremes():
    """Around a circle of stars the mean lies between the extremes, and these are met toward the focuser and away from it."""
    lit = lit_by_counting(LARGE, minor_axis_mm=80, offset_mm=0.0, field_radius_mm=20)
    ends = lit_shares(LARGE, minor_axis_mm=80, offset_mm=0.0, field_mm=([0.0, 0.0], [20.0, -20.0]))
    assert sorted(ends) == pytest.approx([lit.least, lit.most], rel=1e-12)
    assert lit.least < lit.fraction < lit.most


@pytest.mark.parametrize(("scope", "field"), [(SMALL, 12), (MIDDLE, 15), (LARGE, 18), (GIANT, 25)])
def test_the_exact_size_at_the_exact_offset_lights_its_field_fully_and_no_more(scope, field):
    """At the edge of the field nothing is lost in any direction; a tenth of a millimetre of glass less loses light somewhere."""
    cut = cut_of_cone(scope, full_field_mm=field)
    lit = lit_by_counting(scope, minor_axis_mm=cut.minor_axis_mm, offset_mm=cut.offset_mm, field_radius_mm=field / 2)
    assert lit.least == pytest.approx(1.0, abs=1e-12)  # roots of a quadratic in double precision
    less = lit_by_counting(scope, minor_axis_mm=cut.minor_axis_mm - 0.1, offset_mm=cut.offset_mm, field_radius_mm=field / 2)
    assert less.least < 1.0 - 1e-6


def test_a_mirror_put_without_its_offset_lights_one_side_of_the_field_less():
    """On the giant the unshifted mirror loses light at the edge of the field, more on one side than on the other."""
    cut = cut_of_cone(GIANT, full_field_mm=25)
    unshifted = lit_by_counting(GIANT, minor_axis_mm=cut.minor_axis_mm, offset_mm=0.0, field_radius_mm=12.5)
    assert unshifted.least < 0.99
    assert unshifted.most > 0.999


@pytest.mark.parametrize(("scope", "minor", "radius"), [(SMALL, 46, 10), (MIDDLE, 60, 15), (LARGE, 80, 20)])
def test_exact_and_paraxial_light_differ_by_the_square_of_the_slope(scope, minor, radius):
    """The mean around the circle is the area two circles share, but for terms of the order of the slope squared."""
    offset = cut_of_cone(scope, full_field_mm=0.0).offset_mm
    lit = lit_by_counting(scope, minor_axis_mm=minor, offset_mm=offset, field_radius_mm=radius)
    slope = scope.aperture_mm / (2 * scope.focal_length_mm)
    assert lit.fraction == pytest.approx(illumination(scope, minor_axis_mm=minor, field_radius_mm=radius), abs=slope**2)
