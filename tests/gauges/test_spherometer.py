"""What the sag within the feet of a spherometer says.

Sources: Encyclopaedia Britannica, 11th ed. (1911), "Spherometer", for R = r^2 / 2s + s / 2 and l^2 / 6s + s / 2; the centres of ball feet lie
on a sphere larger or smaller by their radius; the parabola for the whole face; the sum of exp(i n phi) over three feet for what they miss.
"""

import math

import numpy as np
import pytest

from straightband.face.shapes import ellipse, rectangle, round_face
from straightband.gauges.spherometer import (
    Feet,
    Spherometer,
    circle_of_triangle_mm,
    sag_of_sphere_mm,
    sphere_radius_mm,
    stands_on,
    whole_face_factor,
)
from straightband.light.bands import height_per_band_nm

MERCURY_UM = height_per_band_nm(wavelength_nm=546.074) / 1000.0


def gauge(circle, feet=Feet.THREE, outer=None):
    return Spherometer(feet=feet, inner_mm=circle, outer_mm=outer or circle, ball_mm=0.0)


def test_radius_from_sag():
    """10 um within feet of 50 mm radius is 125 m; 0.5 mm within a triangle of 60 mm side is 1200.25 mm (SPH-1)."""
    assert sphere_radius_mm(0.01, circle_mm=50.0) == pytest.approx(125000.005, rel=1e-12)
    assert sphere_radius_mm(0.5, circle_mm=circle_of_triangle_mm(side_mm=60.0)) == pytest.approx(1200.25, rel=1e-12)


def test_sag_from_radius():
    """A sphere of 2 m has 0.400040008 mm within 40 mm (SPH-1), and the two formulas are each other's inverse down to flats."""
    assert sag_of_sphere_mm(2000.0, circle_mm=40.0) == pytest.approx(0.400040008, rel=1e-9)
    for radius in (300.0, 2e3, 1e6, 1e9):
        assert sphere_radius_mm(sag_of_sphere_mm(radius, circle_mm=40.0), circle_mm=40.0) == pytest.approx(radius, rel=1e-12)


def test_ball_feet():
    """Balls of 3 mm radius lengthen a concave sphere to 2003.2 mm and shorten a convex one to 1997.2 mm (SPH-2)."""
    assert sphere_radius_mm(-0.4, circle_mm=40.0, ball_mm=3.0) == pytest.approx(2003.2, rel=1e-12)
    assert sphere_radius_mm(0.4, circle_mm=40.0, ball_mm=3.0) == pytest.approx(1997.2, rel=1e-12)


def test_ball_feet_do_not_correct_a_flat():
    """On a radius of a kilometre balls change it by less than a part in a hundred thousand (SPH-2)."""
    sag = 40.0**2 / (2 * 1e6)
    plain, balls = (sphere_radius_mm(sag, circle_mm=40.0, ball_mm=ball) for ball in (0.0, 3.0))
    assert plain == pytest.approx(1e6, rel=1e-6)
    assert abs(balls / plain - 1) < 1e-5


def test_no_sag_is_a_plane():
    """A face without sag has no finite radius."""
    assert sphere_radius_mm(0.0, circle_mm=40.0) == math.inf


@pytest.mark.parametrize(("circle", "semi", "sag_um", "bands"), [(50.0, 100.0, 4.0, 14.65002912), (30.0, 50.0, 25 / 9, 10.17363133)])
def test_one_micrometre_over_the_whole_face(circle, semi, sag_um, bands):
    """One um within the feet is 4 um or 14.7 bands over one face and 10.2 bands over another: gauges end where bands begin (SPH-3)."""
    whole = whole_face_factor(circle_mm=circle, semi_mm=semi)
    assert whole == pytest.approx(sag_um, rel=1e-12)
    assert whole / MERCURY_UM == pytest.approx(bands, rel=1e-9)


def test_what_a_gauge_must_tell_for_one_band():
    """To tell one band on 100 mm, feet of 30 mm radius must tell 98.3 nm (SPH-3)."""
    assert 1000 * MERCURY_UM / whole_face_factor(circle_mm=30.0, semi_mm=50.0) == pytest.approx(98.29332, rel=1e-9)


def test_the_parabola_is_a_sphere_but_for_what_is_said():
    """Scaled as a parabola, the sag of a real sphere over the face is off by (A / 2R)^2 less (r / 2R)^2 of it."""
    radius, circle, semi = 500.0, 30.0, 80.0
    scaled = sag_of_sphere_mm(radius, circle_mm=circle) * whole_face_factor(circle_mm=circle, semi_mm=semi)
    short = 1 - scaled / sag_of_sphere_mm(radius, circle_mm=semi)
    assert short == pytest.approx((semi**2 - circle**2) / (4 * radius**2), rel=0.05)  # next order of the series


@pytest.mark.parametrize(
    ("feet", "circle", "face", "fits"),
    [
        (Feet.RING, 45.0, ellipse(minor_mm=90.0), True),
        (Feet.RING, 45.1, ellipse(minor_mm=90.0), False),
        (Feet.THREE, 46.0, ellipse(minor_mm=90.0), True),
        (Feet.THREE, 56.0, ellipse(minor_mm=90.0), False),
        (Feet.THREE, 50.0, round_face(diameter_mm=100.0), True),
        (Feet.THREE, 50.1, round_face(diameter_mm=100.0), False),
        (Feet.THREE, 30.0, rectangle(width_mm=53.0, length_mm=200.0), True),
        (Feet.THREE, 30.0, rectangle(width_mm=44.0, length_mm=200.0), False),
    ],
)
def test_room_for_the_feet(feet, circle, face, fits):
    """Three feet turned well stand on a face a little narrower than their circle, a ring does not."""
    assert stands_on(gauge(circle, feet), face) is fits


def test_three_feet_fill_an_ellipse_as_far_as_it_goes():
    """On a 1 : sqrt(2) ellipse the widest circle of three feet is found by hand: one foot on the long axis, the others at 0.866 of r."""
    b = 45.0
    largest = 1 / math.sqrt(0.75 / b**2 + 0.25 / (2 * b**2))
    assert stands_on(gauge(largest * 0.9999), ellipse(minor_mm=2 * b))
    assert not stands_on(gauge(largest * 1.0001), ellipse(minor_mm=2 * b))


def test_a_ring_rests_on_its_inner_edge_under_a_convex_face():
    """The convex face touches the inner edge and the concave one the outer: seen by lowering a ring onto each."""
    ring = gauge(40.0, Feet.RING, outer=42.0)
    edges = np.array([40.0, 42.0])
    for convex, touched in ((True, 40.0), (False, 42.0)):
        surface = -(edges**2) if convex else edges**2
        assert ring.circle_mm(convex=convex) == touched == edges[np.argmax(surface)]
