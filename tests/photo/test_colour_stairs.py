"""The level of the lamp's channel taken from brightness, where a JPEG keeps colour in coarse stairs."""

import io

import numpy as np
import pytest
from PIL import Image

from straightband.photo.load import load_photo
from straightband.photo.plane import light_plane

SODIUM, RED = (1.0, 0.7, 0.03), (1.0, 0.0, 0.0)
SHAPE = (480, 640)


def bands():
    """Light of five bands across the frame, uneven, 0.1 to 0.55 of full scale."""
    y, x = np.indices(SHAPE)
    return (0.33 + 0.05 * y / SHAPE[0]) * (1.0 + 0.5 * np.cos(2.0 * np.pi * (5.0 * x / SHAPE[1] + 0.5 * y / SHAPE[0])))


def photograph(light, *, colour, room=0.0, **saved):
    """The file of a picture whose channels hold `colour` times the light, and a little white light of the room."""
    linear = light[:, :, None] * np.array(colour) + room
    coded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 1e-9) ** (1.0 / 2.4) - 0.055)  # IEC 61966-2-1
    stream = io.BytesIO()
    Image.fromarray(np.round(255.0 * coded).astype(np.uint8)).save(stream, **saved)
    return load_photo(stream.getvalue(), name="bands")


def misfit(found, light):
    """RMS of the found light less its least-squares line on the true light, as a share of the mean."""
    line = np.polyval(np.polyfit(light.ravel(), found.ravel(), 1), light)
    return float(np.std(found - line) / np.mean(found))


def blocks(values, size=8):
    return values.reshape(SHAPE[0] // size, size, SHAPE[1] // size, size).mean(axis=(1, 3))


def red_alone(photo):
    level = photo.levels[:, :, 0] / 255.0
    return np.where(level <= 0.04045, level / 12.92, ((level + 0.055) / 1.055) ** 2.4)


@pytest.mark.parametrize("room", [0.0, 0.03])
@pytest.mark.parametrize("quality", [75, 90])
def test_colour_stairs_of_a_jpeg_do_not_reach_the_light(quality, room):
    """Under sodium light, which fills two channels, what stairs leave in blocks of 8 pixels, wide as a cell of the fit, falls to 0.65 or less.

    The bound is ours: 0.47 to 0.58 was found, and where nothing is mixed it is 1.
    """
    light = bands()
    photo = photograph(light, colour=SODIUM, room=room, format="JPEG", quality=quality, subsampling=2)
    found = light_plane(photo, wavelength_nm=589.3)
    assert found.channel == "red"
    assert misfit(blocks(found.light), blocks(light)) < 0.65 * misfit(blocks(red_alone(photo)), blocks(light))


def test_without_stairs_nothing_is_lost():
    """A PNG keeps every level: what is left is its rounding, a third of a level in 150, and the little that the room bends the line."""
    light = bands()
    photo = photograph(light, colour=SODIUM, room=0.02, format="PNG")
    assert misfit(light_plane(photo, wavelength_nm=589.3).light, light) < 0.006


def test_a_lamp_that_fills_one_channel_is_taken_from_it():
    """Brightness holds only three tenths of a red lamp's light: the red channel itself is better, and is taken as it is."""
    photo = photograph(bands(), colour=RED, format="PNG")
    assert light_plane(photo, wavelength_nm=632.8).light == pytest.approx(red_alone(photo), abs=1e-6)  # single precision


def test_a_photograph_of_one_single_colour_chooses_no_channel():
    """Where nothing varies there is no lamp to tell: the mean of the channels is taken, without a warning."""
    photo = photograph(np.full(SHAPE, 0.3), colour=SODIUM, format="PNG")
    assert light_plane(photo, wavelength_nm=589.3).channel == "mean"
