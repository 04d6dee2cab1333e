"""Decoding: upright, whole, at full depth, or a sentence."""

import io
import struct
import zlib

import numpy as np
import pytest
from PIL import Image

from straightband.errors import PhotoUnreadable
from straightband.photo.load import UPRIGHT, load_photo
from straightband.photo.plane import light_plane
from straightband.synthetic.sensor import tone_curve, turn_for_orientation

LEVELS = np.random.default_rng(1).integers(0, 256, (600, 800, 3), dtype=np.uint8)


def encoded(levels, kind="png", **more):
    """The levels as a file."""
    kept = io.BytesIO()
    Image.fromarray(levels).save(kept, kind, **more)
    return kept.getvalue()


def exif_of(orientation):
    """EXIF with nothing but an orientation."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    return exif


@pytest.mark.parametrize("kind", ["png", "tiff"])
def test_levels_come_back_as_they_were(kind):
    """A format without loss keeps every level."""
    assert np.array_equal(load_photo(encoded(LEVELS, kind), name="a").levels, LEVELS)


def test_sixteen_bits_stay_sixteen():
    """A gray PNG of 16 bits keeps levels that 8 bits could not hold."""
    deep = np.random.default_rng(2).integers(0, 65536, (600, 800), dtype=np.uint16)
    photo = load_photo(encoded(deep), name="a.png")
    assert photo.full_scale == 65535
    assert np.array_equal(np.squeeze(photo.levels), deep)


@pytest.mark.parametrize("orientation", [1, *UPRIGHT])
def test_every_orientation_stands_upright(orientation):
    """Exif 2.32, tag 0x0112: however a file is stored, the photograph is read as it was seen."""
    stored = turn_for_orientation(LEVELS, orientation=orientation)
    photo = load_photo(encoded(np.ascontiguousarray(stored), "tiff", exif=exif_of(orientation)), name="a.tif")
    assert np.array_equal(photo.levels, LEVELS)


def test_light_is_linear():
    """IEC 61966-2-1: the light behind a level coded for a screen, to the step between two levels."""
    light = np.linspace(0.02, 0.9, 800)
    levels = np.broadcast_to(np.round(255.0 * tone_curve(light))[None, :, None], (600, 800, 3)).astype(np.uint8)
    plane = light_plane(load_photo(encoded(np.ascontiguousarray(levels)), name="a"), wavelength_nm=546.0)
    assert plane.scale == 1.0
    assert plane.light[300] == pytest.approx(light, abs=0.005)  # one level near white is 0.009 of the light


@pytest.mark.parametrize(("wavelength_nm", "channel"), [(632.8, "red"), (546.1, "green"), (435.8, "blue")])
def test_the_channel_the_lamp_fills_is_read(wavelength_nm, channel):
    """A lamp of one line fills one channel; the others hold noise."""
    levels = LEVELS // 40
    place = ("red", "green", "blue").index(channel)
    levels[:, :, place] = 128 + 100 * np.cos(np.arange(800) / 20.0)
    assert light_plane(load_photo(encoded(levels), name="a"), wavelength_nm=wavelength_nm).channel == channel


def test_clipped_light_counts_as_missing():
    """A pixel at full scale tells only that it was bright."""
    levels = LEVELS // 2
    levels[100:120, 200:230] = 255
    clipped = light_plane(load_photo(encoded(levels), name="a"), wavelength_nm=632.8).clipped
    assert clipped[100:120, 200:230].all()
    assert not clipped[300:].any()


def bomb(side):
    """A PNG of a few bytes that claims to be `side` x `side`."""

    def chunk(name, data):
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    header = struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(b"\0" * 1000)) + chunk(b"IEND", b"")


@pytest.mark.parametrize(
    ("data", "found"),
    [
        (b"these are not the bands you are looking for", "is no picture of a kind that is read"),
        (b"", "is empty"),
        (encoded(LEVELS, "jpeg")[:20000], "is damaged or cut short"),
        (bomb(30000), "claims more than 60 megapixels"),
        (encoded(LEVELS[:50, :50]), "50 x 50"),
    ],
)
def test_what_is_no_photograph_is_refused_in_one_sentence(data, found):
    """Text renamed, an empty or a cut file, a bomb, a stamp: found, needed and remedy, never a traceback."""
    with pytest.raises(PhotoUnreadable) as refusal:
        load_photo(data, name="bands.jpg")
    assert found in str(refusal.value)
    assert "\n" not in str(refusal.value)
    assert all((refusal.value.found, refusal.value.needed, refusal.value.remedy))
