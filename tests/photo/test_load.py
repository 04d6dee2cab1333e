"""Decoding: upright, whole, at full depth, or a sentence."""

import io
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image

from straightband.errors import PhotoUnreadable
from straightband.photo.load import UPRIGHT, load_photo
from straightband.photo.plane import light_plane, linear_from_levels
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


@pytest.mark.parametrize("orientation", [1, *UPRIGHT])
def test_sixteen_bit_colour_of_a_tiff_stays_whole(orientation):
    """A TIFF of 16 bits in three colours keeps levels that 8 bits could not hold, and is turned upright once, by whichever reader."""
    deep = np.random.default_rng(7).integers(0, 65536, (500, 700, 3), dtype=np.uint16)
    kept = io.BytesIO()
    stored = np.ascontiguousarray(turn_for_orientation(deep, orientation=orientation))
    tifffile.imwrite(kept, stored, photometric="rgb", extratags=[(0x0112, "H", 1, orientation, True)])
    photo = load_photo(kept.getvalue(), name="a.tif")
    assert photo.full_scale == 65535
    assert np.array_equal(photo.levels, deep)


def test_a_heic_photograph_is_read_upright():
    """tests/truth/heic: stored on its side with orientation 6, so that red rises downward once upright."""
    photo = load_photo((Path(__file__).parents[1] / "truth" / "heic" / "ramp.heic").read_bytes(), name="a.heic")
    assert photo.size_px == (480, 640)
    red = 30.0 + 200.0 * np.arange(640) / 639.0
    assert np.median(photo.levels[:, :, 0], axis=1) == pytest.approx(red, abs=4.0)  # what quality 80 leaves of a smooth ramp


class Lender:
    """Stands in for the HEIC reader's picture: lends its memory, and wipes it when it is let go, as a reader that frees it may."""

    def __init__(self, levels):
        self.info = {}
        self._memory = bytearray(levels.tobytes())
        self._shape = levels.shape
        self.size = levels.shape[1], levels.shape[0]

    @property
    def __array_interface__(self):
        return {"shape": self._shape, "typestr": "|u1", "version": 3, "data": memoryview(self._memory)}

    def __del__(self):
        self._memory[:] = bytes(len(self._memory))


@pytest.mark.parametrize("channels", [1, 2, 3, 4])
def test_levels_of_a_heic_outlive_their_reader(monkeypatch, channels):
    """The reader's memory is its own and goes with it: gray and colour, with and without transparency, are kept by then."""
    stored = np.random.default_rng(4).integers(1, 256, (600, 800, channels), dtype=np.uint8)
    monkeypatch.setattr("pi_heif.open_heif", lambda *_, **__: Lender(stored[:, :, 0] if channels == 1 else stored))
    photo = load_photo(b"\0\0\0\x18ftypheic", name="a.heic")
    assert np.array_equal(photo.levels, stored[:, :, : 3 if channels > 2 else 1])


def dng(levels, *, black, white):
    """A linear-sensor DNG (Adobe DNG specification 1.4): one plane of a red-green-green-blue mosaic."""
    kept = io.BytesIO()
    matrix = [value for n in (1, 0, 0, 0, 1, 0, 0, 0, 1) for value in (n, 1)]
    tifffile.imwrite(
        kept,
        levels,
        photometric=32803,  # colour filter array
        extratags=[
            (50706, "B", 4, (1, 4, 0, 0), True),  # DNGVersion
            (50708, "s", 0, "Invented Camera", True),  # UniqueCameraModel
            (33421, "H", 2, (2, 2), True),  # CFARepeatPatternDim
            (33422, "B", 4, (0, 1, 1, 2), True),  # CFAPattern: red, green, green, blue
            (50714, "H", 1, black, True),  # BlackLevel
            (50717, "H", 1, white, True),  # WhiteLevel
            (50721, "2i", 9, matrix, True),  # ColorMatrix1
            (274, "H", 1, 1, True),
        ],
    )
    return kept.getvalue()


def test_camera_raw_is_linear_and_binned():
    """A mosaic of known levels: each 2 x 2 cell becomes one red, one mean green and one blue level, black taken off."""
    rng = np.random.default_rng(8)
    mosaic = rng.integers(300, 3000, (600, 800)).astype(np.uint16)
    photo = load_photo(dng(mosaic, black=256, white=4095), name="a.dng")
    assert (photo.encoding, photo.binning, photo.size_px) == ("linear", 2, (800, 600))
    assert photo.full_scale == 4095 - 256
    cells = mosaic.astype(int) - 256
    assert np.array_equal(photo.levels[:, :, 0], cells[::2, ::2])
    assert np.array_equal(photo.levels[:, :, 1], (cells[::2, 1::2] + cells[1::2, ::2] + 1) // 2)
    assert np.array_equal(photo.levels[:, :, 2], cells[1::2, 1::2])


def test_every_level_is_decoded_by_the_published_curve():
    """IEC 61966-2-1:1999: three pairs of coded value and light that its formula gives (by hand), and the joint of its two parts."""
    table = linear_from_levels("srgb", 255)
    assert table[[0, 255]] == pytest.approx([0.0, 1.0])
    assert table[10] == pytest.approx(10.0 / 255.0 / 12.92, rel=1e-6)  # below the joint at 0.04045 (level 10.3)
    assert table[128] == pytest.approx(((128.0 / 255.0 + 0.055) / 1.055) ** 2.4, rel=1e-6)
    assert np.all(np.diff(table) > 0.0)


def test_sodium_fills_two_channels_and_one_is_read():
    """589 nm shines in red and green; the brighter is read as long as it is not clipped, else the other."""
    levels = np.full((600, 800, 3), 8, dtype=np.uint8)
    bands = 0.5 + 0.5 * np.cos(np.arange(800) / 20.0)
    levels[:, :, 0], levels[:, :, 1] = 30 + 160 * bands, 20 + 120 * bands
    assert light_plane(load_photo(encoded(levels), name="a"), wavelength_nm=589.3).channel == "red"
    levels[:, :, 0] = np.minimum(levels[:, :, 0].astype(int) * 2, 255)
    plane = light_plane(load_photo(encoded(levels), name="a"), wavelength_nm=589.3)
    assert plane.channel == "green"
    assert "lamp-channel-clipped" in plane.flags


def test_large_photographs_are_averaged_in_linear_light():
    """4400 pixels are averaged two by two: of black and white in turn the light is a half, not the light of the mean level."""
    levels = np.zeros((600, 4400, 3), dtype=np.uint8)
    levels[:, ::2] = 200
    plane = light_plane(load_photo(encoded(levels), name="a"), wavelength_nm=546.0)
    assert plane.scale == 2.0
    assert plane.light[10, 10] == pytest.approx(0.5 * linear_from_levels("srgb", 255)[200], rel=1e-5)  # single precision


@pytest.mark.parametrize("mode", ["P", "CMYK", "LA", "RGBA", "1", "L"])
def test_unusual_kinds_of_picture_are_read_or_refused_in_a_sentence(mode):
    """Palette, printing colours, transparency, one bit: never a traceback."""
    kept = io.BytesIO()
    Image.fromarray(LEVELS).convert("RGBA" if mode == "RGBA" else mode).save(kept, "TIFF" if mode == "CMYK" else "PNG")
    assert load_photo(kept.getvalue(), name="a").size_px == (800, 600)


def test_several_pictures_in_one_file_are_refused():
    """Which of the pages is meant can't be told."""
    kept = io.BytesIO()
    Image.fromarray(LEVELS).save(kept, "TIFF", save_all=True, append_images=[Image.fromarray(LEVELS[::-1])])
    with pytest.raises(PhotoUnreadable, match="holds 2 pictures"):
        load_photo(kept.getvalue(), name="a.tif")
