"""Where a photograph was taken is taken out of it, and nothing else."""

import io
import re
from pathlib import Path

import numpy as np
import pytest
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
