"""The keystone told by a grid that is drawn with a known one, in closed form."""

from dataclasses import replace

import numpy as np
import pytest

from straightband.face.shapes import ellipse
from straightband.gauges.printed_grid.keystone import keystone_of, levelled, levelled_outline
from straightband.photo.outline import outline_from_text
from straightband.photo.plane import Plane

WIDTH, HEIGHT, PITCH = 800, 600, 16.0


def keystoned(right, bottom):
    """Stripes both ways whose picture has been divided by 1 + right x + bottom y, in halves of the longer side."""
    x, y = np.meshgrid(np.arange(WIDTH) - (WIDTH - 1) / 2.0, np.arange(HEIGHT) - (HEIGHT - 1) / 2.0)
    weight = 1.0 + (right * x + bottom * y) / (WIDTH / 2.0)
    light = 0.5 + 0.15 * (np.cos(2.0 * np.pi * x / weight / PITCH) + np.cos(2.0 * np.pi * y / weight / PITCH))
    return Plane(
        light=light.astype(np.float32),
        clipped=np.zeros(light.shape, dtype=bool),
        scale=1.0,
        size_px=(WIDTH, HEIGHT),
        channel="green",
        focal_35mm=float("nan"),
        flags=(),
    )


@pytest.mark.parametrize(("right", "bottom"), [(0.0, 0.0), (0.06, -0.03), (-0.05, 0.045)])
def test_a_known_keystone_is_found(right, bottom):
    """Both numbers to 0.003: 0.04 mm of the middle of a 90 mm mirror that fills half the frame."""
    plane = keystoned(right, bottom)
    found = keystone_of(plane, pitch_px=PITCH)
    assert (found.toward_right, found.toward_bottom) == pytest.approx((right, bottom), abs=3e-3)
    level = keystone_of(levelled(plane, found), pitch_px=PITCH)
    assert (level.toward_right, level.toward_bottom) == pytest.approx((0.0, 0.0), abs=3e-3)


def test_outlines_go_there_and_back():
    """An outline taken into the levelled picture and back is the same, to the fit of an ellipse."""
    keystone = keystone_of(keystoned(0.06, -0.03), pitch_px=PITCH)
    told = outline_from_text("420,280,220,155.6,30", face=ellipse(minor_mm=90.0))
    again = levelled_outline(levelled_outline(told, keystone), keystone, back=True)
    for name in ("cx", "cy", "semi_major", "semi_minor", "angle_deg"):
        assert getattr(again, name) == pytest.approx(getattr(told, name), abs=0.02)
    assert replace(again, cx=0.0).shape is told.shape
