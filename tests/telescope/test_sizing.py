"""Size and offset of a diagonal, and the light it passes.

Sources: the exact cut is derived in each test from straight lines, a second way; the classical formulas are those of telescope-making handbooks
(usually credited to J. Texereau and J. B. Sidgwick, attribution from memory); the lens common to two circles is plane geometry.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from straightband.errors import BadInput
from straightband.telescope.sizing import (
    classical_full_field_mm,
    classical_minor_mm,
    classical_offset_mm,
    cut_of_cone,
    full_field_of,
    illumination,
    loss_mag,
    obstruction_of,
)
from straightband.telescope.telescope import Telescope, with_rim_as_stop


def telescope(aperture, focal, intercept):
    return Telescope(aperture_mm=aperture, focal_length_mm=focal, intercept_mm=intercept)


SMALL, MIDDLE = telescope(200, 1000, 180), telescope(300, 1500, 240)
LARGE, GIANT = telescope(400, 1800, 300), telescope(760, 3040, 500)
SIZES = st.builds(
    lambda aperture, ratio, share: telescope(aperture, aperture * ratio, aperture * ratio * share),
    st.floats(80, 1000),
    st.floats(3, 12),
    st.floats(0.05, 0.4),
)


@pytest.mark.parametrize(
    ("scope", "field", "minor", "major", "offset", "blank"),
    [
        (SMALL, 12, 46.04387319, 65.40547245, 2.173686696, 46.2486531),
        (MIDDLE, 15, 60.8753225, 86.48184049, 2.904715053, 61.15189586),
        (LARGE, 18, 82.13035172, 116.8093302, 4.382212186, 82.59666948),
        (GIANT, 25, 146.9659868, 209.3768334, 8.9488534, 148.0517787),
    ],
)
def test_the_cut_of_four_telescopes(scope, field, minor, major, offset, blank):
    """Axes, offset and the 1 : sqrt(2) blank of four telescopes are those computed from w^2 + x^2 = (r0 + k x)^2 by another program."""
    cut = cut_of_cone(scope, full_field_mm=field)
    found = (cut.cut_minor_mm, cut.cut_major_mm, cut.offset_mm, cut.minor_axis_mm)
    assert found == pytest.approx((minor, major, offset, blank), rel=1e-9)


@given(scope=SIZES, share=st.floats(0.0, 0.2))
def test_the_cut_is_where_the_envelope_of_the_light_meets_the_plane(scope, share):
    """Lines from the rim of the primary to the rim of the field, cut by the plane at 45 degrees, give the axes and the offset."""
    field = share * scope.aperture_mm
    angle = np.linspace(0, 2 * np.pi, 100_001)
    start = np.stack([scope.aperture_mm / 2 * np.sin(angle), scope.aperture_mm / 2 * np.cos(angle), 0 * angle])
    end = np.stack([field / 2 * np.sin(angle), field / 2 * np.cos(angle), 0 * angle + scope.focal_length_mm])
    crossing = scope.focal_length_mm - scope.intercept_mm
    # The plane's normal is (y - z) / sqrt(2): it turns light going up the tube (+z) toward the focuser (+y).
    normal = np.array([0, 1, -1]) / math.sqrt(2)
    t = (normal @ np.array([0, 0, crossing]) - normal @ start) / (normal @ (end - start))
    x, y, z = start + t * (end - start)
    cut = cut_of_cone(scope, full_field_mm=field)
    assert np.ptp(x) == pytest.approx(cut.cut_minor_mm, rel=1e-7)  # 100,001 points of the rim
    assert np.ptp(y) * math.sqrt(2) == pytest.approx(cut.cut_major_mm, rel=1e-7)
    middle_y, middle_z = (y.max() + y.min()) / 2, (z.max() + z.min()) / 2 - crossing
    assert -middle_y == pytest.approx(cut.offset_mm, abs=1e-6 * cut.cut_minor_mm)  # away from the focuser
    assert -middle_z == pytest.approx(cut.offset_mm, abs=1e-6 * cut.cut_minor_mm)  # toward the primary


@given(scope=SIZES, share=st.floats(0.0, 0.2))
def test_the_blank_just_covers_the_cut(scope, share):
    """The 1 : sqrt(2) blank is as long as the cut and wider than it, and no shorter one would do."""
    cut = cut_of_cone(scope, full_field_mm=share * scope.aperture_mm)
    assert cut.minor_axis_mm * math.sqrt(2) == pytest.approx(cut.cut_major_mm, rel=1e-12)
    assert cut.minor_axis_mm >= cut.cut_minor_mm


@pytest.mark.parametrize(
    ("scope", "field", "minor"), [(SMALL, 12, 45.84), (MIDDLE, 15, 60.6), (LARGE, 18, 81.6666666667), (GIANT, 25, 145.888157895)]
)
def test_classical_minor_axis(scope, field, minor):
    """The handbook's i + L (D - i) / f of the same telescopes."""
    assert classical_minor_mm(scope, full_field_mm=field) == pytest.approx(minor, rel=1e-9)


def test_classical_offset_in_both_its_forms():
    """The forms a (D - i) / (4 f) and a (D - a) / (4 (f - L)) are one number, 2.8785 mm for the 300 mm telescope."""
    a = classical_minor_mm(MIDDLE, full_field_mm=15)
    assert classical_offset_mm(MIDDLE, full_field_mm=15) == pytest.approx(2.8785, rel=1e-9)
    assert a * (300 - a) / (4 * (1500 - 240)) == pytest.approx(2.8785, rel=1e-9)


def test_classical_full_field():
    """A 65 mm diagonal in the 300 mm telescope lights 20.24 mm by the handbook."""
    assert classical_full_field_mm(MIDDLE, minor_axis_mm=65) == pytest.approx(20.23809524, rel=1e-9)


@given(scope=SIZES, share=st.floats(0.0, 0.2))
def test_the_handbook_falls_short_by_the_square_of_the_slope(scope, share):
    """Classical minor axis and offset are short of the exact ones by exactly k^2 of them, k = (D - i) / (2 f)."""
    field = share * scope.aperture_mm
    k = (scope.aperture_mm - field) / (2 * scope.focal_length_mm)
    cut = cut_of_cone(scope, full_field_mm=field)
    assert classical_minor_mm(scope, full_field_mm=field) == pytest.approx(cut.minor_axis_mm * (1 - k**2), rel=1e-12)
    assert classical_offset_mm(scope, full_field_mm=field) == pytest.approx(cut.offset_mm * (1 - k**2), rel=1e-12, abs=1e-12)


def test_the_shortfall_of_the_giant_is_over_two_millimetres():
    """On a 760 mm f/4 the handbook's blank is 2.16 mm too narrow; with the rim of the mirror as the stop it must be 148.55 mm."""
    exact = cut_of_cone(GIANT, full_field_mm=25).minor_axis_mm
    assert exact - classical_minor_mm(GIANT, full_field_mm=25) == pytest.approx(2.163620806, rel=1e-6)
    assert cut_of_cone(with_rim_as_stop(GIANT), full_field_mm=25).minor_axis_mm == pytest.approx(148.5501938, rel=1e-9)


@given(scope=SIZES, share=st.floats(0.0, 0.2))
def test_the_field_of_a_diagonal_undoes_its_sizing(scope, share):
    """The field that a blank lights fully is the field it was sized for."""
    field = share * scope.aperture_mm
    blank = cut_of_cone(scope, full_field_mm=field).minor_axis_mm
    assert full_field_of(scope, minor_axis_mm=blank) == pytest.approx(field, abs=1e-9 * scope.aperture_mm)


def test_a_diagonal_too_small_for_the_axis_lights_no_field_fully():
    """Below the axial beam the fully lit field is none, never less than none, also where the quadratic has no root."""
    assert full_field_of(MIDDLE, minor_axis_mm=40) == 0.0
    assert full_field_of(telescope(300, 900, 850), minor_axis_mm=150) == 0.0


@pytest.mark.parametrize(
    ("scope", "minor", "radius", "fraction", "loss"),
    [
        (SMALL, 46, 5, 1.0, 0.0),
        (SMALL, 46, 10, 0.9236055417, 0.08628367485),
        (MIDDLE, 60, 15, 0.8640911032, 0.158601166),
        (LARGE, 80, 20, 0.8437959525, 0.1844064054),
    ],
)
def test_light_at_the_edge_of_the_field(scope, minor, radius, fraction, loss):
    """Share and loss at four field points are those of the lens common to two circles, computed by another program."""
    found = illumination(scope, minor_axis_mm=minor, field_radius_mm=radius)
    assert found == pytest.approx(fraction, rel=1e-9)
    assert loss_mag(found) == pytest.approx(loss, abs=1e-8)


@given(scope=SIZES, minor_share=st.floats(0.5, 1.5), radius_share=st.floats(0, 0.3))
def test_light_is_the_area_counted_on_a_grid(scope, minor_share, radius_share):
    """Counting points that lie in both circles gives the same share."""
    l_over_f = scope.intercept_mm / scope.focal_length_mm
    beam = scope.aperture_mm * l_over_f / 2
    minor, radius = 2 * beam * minor_share, radius_share * scope.aperture_mm
    x, y = np.meshgrid(np.linspace(-beam, beam, 400), np.linspace(-beam, beam, 400))
    inside = np.hypot(x, y) <= beam
    counted = (np.hypot(x - radius * (1 - l_over_f), y) <= minor / 2)[inside].mean()
    assert illumination(scope, minor_axis_mm=minor, field_radius_mm=radius) == pytest.approx(counted, abs=4e-3)  # 400 points across


def test_no_light_is_an_infinite_loss():
    """Nothing left is infinitely faint, and less than nothing is refused."""
    assert loss_mag(0.0) == math.inf
    with pytest.raises(BadInput) as refused:
        loss_mag(-0.1)
    assert str(refused.value) == "a share of light of -0.1; zero or more is needed; check the dimensions."


@pytest.mark.parametrize(("ratio", "mag"), [(0.25, 0.070071809), (0.3, 0.1023965192), (0.41, 0.1998221893)])
def test_light_lost_to_the_obstruction(ratio, mag):
    """A shadow of 30 % of the aperture costs a tenth of a magnitude, one of 41 % a fifth: -2.5 log10(1 - e^2)."""
    e = obstruction_of(MIDDLE, minor_axis_mm=300 * ratio)
    assert loss_mag(1 - e**2) == pytest.approx(mag, rel=1e-9)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"aperture_mm": 0.0}, "the aperture is 0 mm; a length above zero is needed; measure it and give it with its unit."),
        ({"focal_length_mm": math.nan}, "the focal length is nan mm; a length above zero is needed; measure it and give it with its unit."),
        (
            {"intercept_mm": 1500.0},
            ("the intercept (1500 mm) is not shorter than the focal length (1500 mm); the diagonal must stand between the primary and the focus; "
            "give the distance from the diagonal to the focus."),
        ),
        (
            {"aperture_mm": 1600.0},
            "the aperture (1600 mm) is not smaller than the focal length (1500 mm); a telescope slower than f/1 is needed; check the two lengths.",
        ),
        (
            {"full_field_mm": 300.0},
            ("the fully lit field is 300 mm across; a diameter from 0 to less than the aperture (300 mm) is needed; give the diameter of the field "
            "at the focus."),
        ),
        (
            {"obstruction_ratio": 1.0},
            "the obstruction is 1 of the aperture; a share from 0 to less than 1 is needed; divide its diameter by the aperture.",
        ),
    ],
    ids=lambda value: next(iter(value)) if isinstance(value, dict) else "",
)  # fmt: skip
def test_impossible_telescopes_are_refused(change, message):
    """Each impossible dimension is named with what is needed."""
    with pytest.raises(BadInput) as refused:
        replace(MIDDLE, **change)
    assert str(refused.value) == message
