"""Hill or hole: what the clock hour or the rings say, in photographs turned and foreshortened any way."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from straightband.face.shapes import Shape, ellipse, round_face
from straightband.fringes.sign import gap_sense_from_clock, gap_sense_from_rings
from straightband.photo.outline import Outline
from straightband.photo.rectify import SquarePicture, face_to_pixels

FACE = ellipse(minor_mm=90.0)
CLEAR = FACE.clear_aperture()


def photographed(face, *, angle_deg, semi_minor=210.0, mark_hour=None):
    """A picture of which only the place in the photograph matters here."""
    outline = Outline(
        shape=face.shape,
        cx=640.0,
        cy=480.0,
        semi_major=300.0,
        semi_minor=semi_minor,
        angle_deg=angle_deg,
        corners=None,
        standard_px=0.1,
        support=1.0,
        flags=(),
        told=True,
    )
    return SquarePicture(
        light=np.zeros((2, 2), dtype=np.float32),
        missing=np.zeros((2, 2), dtype=bool),
        u_mm=np.zeros(2),
        v_mm=np.zeros(2),
        pixels_per_sample=1.0,
        face_to_pixels=face_to_pixels(outline, face, mark_hour=mark_hour),
        face=face,
    )


def wedge_in_photo(picture, *, hour, rad_per_px=0.1, extra=None):
    """A phase that grows toward a clock hour of the photograph, over the face; the plainest thing a camera can see."""
    right, up = math.sin(math.radians(30.0 * hour)), math.cos(math.radians(30.0 * hour))

    def phase(u, v):
        column, row = picture.pixel_positions(u, v)
        return rad_per_px * (right * column - up * row) + (0.0 if extra is None else extra(u, v))

    return phase


@given(angle=st.floats(-89.0, 90.0), hour=st.floats(0.0, 11.99), semi_minor=st.floats(196.0, 220.0))
def test_the_thicker_side_decides_however_the_face_is_turned(reading_of, angle, hour, semi_minor):
    """Toward the told hour the gap grows: +1; away from it: -1; across it: undecided; for any turn and foreshortening."""
    picture = photographed(FACE, angle_deg=angle, semi_minor=semi_minor)
    reading = reading_of(CLEAR, wedge_in_photo(picture, hour=hour), samples=24)
    assert gap_sense_from_clock(reading, picture, hour=hour) == 1
    assert gap_sense_from_clock(reading, picture, hour=(hour + 6.0) % 12.0) == -1
    assert gap_sense_from_clock(reading, picture, hour=(hour + 3.0) % 12.0) == 0
    assert gap_sense_from_clock(reading, picture, hour=(hour + 1.9) % 12.0) == 1  # 57 degrees off still means that side
    assert gap_sense_from_clock(reading, picture, hour=(hour + 2.1) % 12.0) == 0  # 63 degrees off does not


@pytest.mark.parametrize("mark_hour", [1.0, 7.0])
def test_the_mark_turns_the_frame_and_not_the_answer(reading_of, mark_hour):
    """The end that carries the mark is +v, so the phase turns with it and the clock hour still means the photograph's."""
    picture = photographed(FACE, angle_deg=-60.0, mark_hour=mark_hour)
    reading = reading_of(CLEAR, wedge_in_photo(picture, hour=2.0), samples=24)
    assert gap_sense_from_clock(reading, picture, hour=2.0) == 1


def test_a_figure_does_not_hide_the_wedge(reading_of):
    """Two bands of power over four bands of wedge: the slope over the whole face decides."""
    picture = photographed(FACE, angle_deg=90.0)
    bowl = wedge_in_photo(picture, hour=10.0, rad_per_px=0.042, extra=lambda u, v: 4.0 * math.pi * (u * u + v * v) / 45.0**2)
    assert gap_sense_from_clock(reading_of(CLEAR, bowl), picture, hour=10.0) == 1


def test_half_a_band_of_wedge_decides_nothing(reading_of):
    """Less than half a band of slope across the face could be figure: undecided."""
    picture = photographed(FACE, angle_deg=90.0)
    weak = wedge_in_photo(picture, hour=12.0, rad_per_px=0.45 * 2.0 * math.pi / 600.0)
    assert gap_sense_from_clock(reading_of(CLEAR, weak), picture, hour=12.0) == 0
    enough = wedge_in_photo(picture, hour=12.0, rad_per_px=0.55 * 2.0 * math.pi / 600.0)
    assert gap_sense_from_clock(reading_of(CLEAR, enough), picture, hour=12.0) == 1


@pytest.mark.parametrize("face", [CLEAR, round_face(diameter_mm=80.0)], ids=lambda face: face.shape.value)
@pytest.mark.parametrize("bands", [1.5, -1.5])
def test_rings_say_it_by_where_the_gap_is_thicker(reading_of, face, bands):
    """A phase that grows outward by 1.5 bands grows with the gap if that is thicker outside, and the other three cases follow."""
    reading = reading_of(face, lambda u, v: 2.0 * math.pi * bands * (u * u + v * v) / face.semi_major_mm**2)
    grows_outward = bands > 0
    assert gap_sense_from_rings(reading, thicker_outside=True) == (1 if grows_outward else -1)
    assert gap_sense_from_rings(reading, thicker_outside=False) == (-1 if grows_outward else 1)


def test_rings_too_weak_decide_nothing(reading_of):
    """Under 0.4 of a band from the middle to the rim there are no rings to speak of, wedge or not."""
    face = round_face(diameter_mm=80.0)
    assert face.shape is Shape.ROUND
    weak = reading_of(face, lambda u, v: 2.0 * math.pi * (0.35 * (u * u + v * v) / 1600.0 + 5.0 * u / 80.0))
    assert gap_sense_from_rings(weak, thicker_outside=True) == 0
