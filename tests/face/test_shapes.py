"""Outlines of faces and their clear apertures."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from straightband.errors import BadInput
from straightband.face.shapes import Shape, ellipse, rectangle, round_face

SIZES = st.floats(1.0, 1000.0)


def test_a_diagonal_is_one_to_root_two():
    """Without a major axis an ellipse is the cut of a cylinder at 45 degrees, with the major axis along v."""
    face = ellipse(minor_mm=60)
    assert (face.shape, face.semi_u_mm, face.semi_v_mm) == (Shape.ELLIPSE, 30.0, pytest.approx(30 * math.sqrt(2)))


def test_a_major_axis_shorter_than_the_minor_is_refused():
    """Swapped axes are refused in one sentence that says how to mend it."""
    with pytest.raises(BadInput) as refused:
        ellipse(minor_mm=80, major_mm=60)
    assert (
        str(refused.value)
        == "the major axis (60 mm) is shorter than the minor axis (80 mm); the longer axis is the major one; swap the two."
    )


@pytest.mark.parametrize(
    ("face", "area"),
    [
        (ellipse(minor_mm=60, major_mm=90), math.pi * 30 * 45),
        (round_face(diameter_mm=80), math.pi * 1600),
        (rectangle(width_mm=9, length_mm=35), 315),
    ],
    ids=["ellipse", "round", "rectangle"],
)
def test_area_is_the_closed_form_and_the_share_of_points_inside(face, area):
    """Area is pi a b or width times length, and a grid counts the same."""
    u, v = np.meshgrid(np.linspace(-face.semi_u_mm, face.semi_u_mm, 1001), np.linspace(-face.semi_v_mm, face.semi_v_mm, 1001))
    assert face.area_mm2 == pytest.approx(area, rel=1e-12)  # one formula
    assert face.contains(u, v).mean() * 4 * face.semi_u_mm * face.semi_v_mm == pytest.approx(area, rel=3e-3)  # 1001 points along a rim


@given(minor=SIZES, ratio=st.floats(1.0, 3.0), angle=st.floats(0, 6.3))
def test_points_of_the_outline_are_at_radius_one(minor, ratio, angle):
    """The parametric ellipse lies at normalised radius 1, whatever its size."""
    face = ellipse(minor_mm=minor, major_mm=minor * ratio)
    radius = face.normalised_radius(np.array(face.semi_u_mm * math.cos(angle)), np.array(face.semi_v_mm * math.sin(angle)))
    assert radius == pytest.approx(1.0, rel=1e-12)  # rounding


@given(width=SIZES, length=SIZES, margin=st.floats(0.0, 0.3))
def test_the_clear_aperture_leaves_a_share_of_each_semi_axis(width, length, margin):
    """The bevel takes the same share of both semi-axes and leaves the shape."""
    face = rectangle(width_mm=width, length_mm=length)
    clear = face.clear_aperture(margin)
    assert (clear.semi_u_mm, clear.semi_v_mm) == pytest.approx((width / 2 * (1 - margin), length / 2 * (1 - margin)))
    assert clear.shape is face.shape
    assert clear.semi_major_mm == max(clear.semi_u_mm, clear.semi_v_mm)
