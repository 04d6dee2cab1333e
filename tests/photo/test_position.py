"""Where a photograph was taken is taken out of it, and nothing else."""

import io
import re
import struct
from pathlib import Path

import numpy as np
import pi_heif
import pytest
import tifffile
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from straightband.photo.load import load_photo
from straightband.photo.position import without_position

LEVELS = np.random.default_rng(1).integers(0, 256, (480, 640, 3), dtype=np.uint8)
HEIC = Path(__file__).parents[1] / "truth" / "heic" / "ramp.heic"


def with_position():
    exif = Image.Exif()
    exif[0x0112], exif[0x010F] = 6, "Invented Camera"
    exif.get_ifd(0x8769)[0xA405] = 26
    exif.get_ifd(0x8825).update({1: "N", 2: (51.0, 28.0, 40.12), 3: "W", 4: (0.0, 0.0, 5.31), 6: 45.5, 29: "2026:03:03"})
    return exif


def saved(kind, **more):
    kept = io.BytesIO()
    Image.fromarray(LEVELS).save(kept, kind, exif=with_position(), **more)
    return kept.getvalue()


@pytest.mark.parametrize("kind", ["jpeg", "png"])
def test_the_position_is_gone_and_the_picture_stays(kind):
    """Pillow, which reads EXIF by itself, found the position before and finds none of its values after; levels, turn and lens are as they were."""
    data = saved(kind)
    bare = without_position(data)
    assert len(bare) == len(data)
    before, after = (Image.open(io.BytesIO(each)).getexif() for each in (data, bare))
    assert float(before.get_ifd(0x8825)[2][2]) == pytest.approx(40.12)
    values = [value for each in after.get_ifd(0x8825).values() for value in (each if isinstance(each, tuple) else (each,))]
    assert all(not str(value).strip("\0 ") or not (float(value) == float(value) and float(value)) for value in values)
    first, second = load_photo(data, name="a"), load_photo(bare, name="a")
    assert np.array_equal(first.levels, second.levels)
    assert (second.focal_35mm, second.orientation) == (26.0, first.orientation)
    assert after[0x010F] == "Invented Camera"


def test_a_photograph_without_a_position_is_left_as_it_is():
    """The very bytes come back, so that its hash is that of the file on the telephone."""
    kept = io.BytesIO()
    Image.fromarray(LEVELS).save(kept, "jpeg")
    assert without_position(kept.getvalue()) == kept.getvalue()
    assert without_position(HEIC.read_bytes()) == HEIC.read_bytes()
    assert without_position(b"") == b""


def heic_with_position():
    """The HEIC of the tests with another block of EXIF: its last item, so that only two lengths change (ISO/IEC 14496-12: `iloc`, `mdat`)."""
    data, exif = bytearray(HEIC.read_bytes()), with_position().tobytes()
    item = struct.pack(">I", 6) + exif
    begin, length = (struct.unpack(">I", data[at : at + 4])[0] for at in (111, 121))
    assert (begin, length, data[77:81], data[450:454]) == (len(data) - length, 36, b"iloc", b"mdat")
    data[121:125] = struct.pack(">I", len(item))
    data[446:450] = struct.pack(">I", struct.unpack(">I", data[446:450])[0] + len(item) - length)
    return bytes(data[:begin] + item)


def test_the_position_in_a_heic_is_gone():
    """The general-purpose reader of EXIF finds the position in the block of EXIF before and zeros after; the picture stays."""
    data = heic_with_position()
    bare = without_position(data)
    before, after = (Image.Exif() for _ in range(2))
    before.load(pi_heif.open_heif(io.BytesIO(data)).info["exif"])
    after.load(pi_heif.open_heif(io.BytesIO(bare)).info["exif"])
    assert float(before.get_ifd(0x8825)[2][2]) == pytest.approx(40.12)
    assert not any(str(value).strip("\0 ") and value in before.get_ifd(0x8825).values() for value in after.get_ifd(0x8825).values())
    assert after[0x010F] == "Invented Camera"
    assert np.array_equal(load_photo(data, name="a").levels, load_photo(bare, name="a").levels)


def raw_with_position():
    """A camera RAW (DNG, one plane of a mosaic), its directory of the position at the end."""
    # The writer does not write that tag: another in its place, renamed afterwards.
    tags = [
        (34852, "I", 1, 0, True),
        (50706, "B", 4, (1, 4, 0, 0), True),
        (33421, "H", 2, (2, 2), True),
        (33422, "B", 4, (0, 1, 1, 2), True),
    ]
    kept = io.BytesIO()
    tifffile.imwrite(kept, LEVELS[:, :, 0].astype(np.uint16) * 16, photometric=32803, extratags=tags)
    data = bytearray(kept.getvalue() + b"\0" * (len(kept.getvalue()) % 2))
    entry, end = data.index(struct.pack("<HHI", 34852, 4, 1)), len(data)
    data[entry : entry + 12] = struct.pack("<HHII", 0x8825, 4, 1, end)
    latitude = struct.pack("<6I", 51, 1, 28, 1, 4012, 100)
    return bytes(data) + struct.pack("<HHHI4sHHIII", 2, 1, 2, 2, b"N\0", 2, 5, 3, end + 30, 0) + latitude


def test_the_position_in_a_raw_file_is_gone():
    """A library that reads such directories by itself finds the position before and zeros after; the mosaic stays."""
    data = raw_with_position()
    bare = without_position(data)
    before, after = (tifffile.TiffFile(io.BytesIO(each)).pages[0] for each in (data, bare))
    assert before.tags[0x8825].value["GPSLatitude"] == (51, 1, 28, 1, 4012, 100)
    assert not any(after.tags[0x8825].value["GPSLatitude"])
    assert np.array_equal(before.asarray(), after.asarray())


def test_the_position_in_xmp_is_gone():
    """Both ways of writing it in XMP, and the text by which films say it (ISO 6709)."""
    text = (
        b'<x exif:GPSLatitude="51,28.6687N" exif:GPSLongitude = \'0,0.0885W\' tiff:Make="A"/><exif:GPSAltitude>455/10</exif:GPSAltitude>'
        b"\xa9xyz+51.4778-000.0014+045.5/"
    )
    bare = without_position(text)
    assert len(bare) == len(text)
    assert not re.search(rb"[1-9]", bare.replace(b"tiff", b""))
    assert b'tiff:Make="A"' in bare


@given(data=st.binary(max_size=400), head=st.sampled_from([b"II*\0", b"MM\0*", b"Exif\0\0II*\0\x08\0\0\0", b"\x89PNG\r\n\x1a\n", b""]))
def test_whatever_comes_keeps_its_length(data, head):
    """No bytes make it fail, run for ever or change a length."""
    assert len(without_position(head + data)) == len(head + data)
