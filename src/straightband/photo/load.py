"""Decoding a photograph safely, upright and at its full depth.

Levels stay in the file's own integer type: 48 megapixels as floating point would not fit beside their own copies.

Formats: JPEG, PNG, TIFF and HEIC hold levels coded for a screen (IEC 61966-2-1, "sRGB"), unless a PNG declares gamma 1; camera RAW is
linear and is binned 2 x 2, one value per colour and cell, so that nothing is interpolated between unlike pixels.
"""

from __future__ import annotations

import io
import logging
import struct
import warnings
import zlib
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from straightband.errors import PhotoUnreadable
from straightband.photo.quiet import quiet_decoders
from straightband.photo.raw import is_raw, raw_levels
from straightband.provenance import source_of

MOST_MEGAPIXELS = 60.0  # stated limit 50, with room for cameras that count generously
FEWEST_MEGAPIXELS = 0.2
SMALL_MEGAPIXELS = 1.0
DECODER_ERRORS = (OSError, SyntaxError, ValueError, TypeError, KeyError, IndexError, EOFError, OverflowError, struct.error, zlib.error)
FORMATS = ("JPEG", "PNG", "TIFF")
HEIF_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"mif1", b"msf1")
EXIF_ORIENTATION, EXIF_FOLDER, EXIF_FOCAL_35MM = 0x0112, 0x8769, 0xA405
# What to do to the stored picture so that it stands upright, by EXIF orientation (Exif 2.32, tag 0x0112).
UPRIGHT = {2: "m", 3: "180", 4: "m180", 5: "m270", 6: "90", 7: "m90", 8: "270"}
TURNS = {"90": cv2.ROTATE_90_CLOCKWISE, "180": cv2.ROTATE_180, "270": cv2.ROTATE_90_COUNTERCLOCKWISE}


@dataclass(frozen=True, slots=True, kw_only=True)
class Photo:
    """A decoded photograph, upright.

    Attributes
    ----------
    levels
        [row, column, channel], unsigned integers as the file holds them; one channel (gray) or three (red, green, blue).
    full_scale
        The highest level the file can hold.
    encoding
        "srgb" or "linear".
    binning
        Photo pixels per element of `levels` along each side: 2 for camera RAW, else 1.
    name, sha256
        File name without folder, and the hash of its bytes.
    focal_35mm
        Focal length in 35 mm equivalent from EXIF, NaN if not recorded.
    orientation
        The EXIF orientation the file was stored in, 1 to 8.
    flags
        Short names of doubts.
    """

    levels: NDArray
    full_scale: int
    encoding: str
    binning: int
    name: str
    sha256: str
    focal_35mm: float
    orientation: int
    flags: tuple[str, ...]

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height in photo pixels."""
        return self.levels.shape[1] * self.binning, self.levels.shape[0] * self.binning


@dataclass(frozen=True, slots=True, kw_only=True)
class _Decoded:
    levels: NDArray
    full_scale: int
    encoding: str
    orientation: int
    focal_35mm: float
    binning: int = 1


def load_photo(data: bytes, *, name: str) -> Photo:
    """The photograph in `data`, upright; `name` is the file's name as the person knows it.

    Raises PhotoUnreadable if the bytes are no whole still photograph of 0.2 to 60 megapixels in one of the formats read.
    """
    if not data:
        raise _unreadable(name, "is empty (0 bytes)", remedy="copy it from the telephone again")
    with quiet_decoders():
        decoded = _decode(data, name)
    levels = _upright(decoded.levels, decoded.orientation)
    levels.setflags(write=False)
    megapixels = levels.shape[0] * levels.shape[1] * decoded.binning**2 / 1e6
    return Photo(
        levels=levels,
        full_scale=decoded.full_scale,
        encoding=decoded.encoding,
        binning=decoded.binning,
        name=name,
        sha256=source_of(name, data).sha256,
        focal_35mm=decoded.focal_35mm,
        orientation=decoded.orientation,
        flags=("small-photograph",) if megapixels < SMALL_MEGAPIXELS else (),
    )


def _unreadable(name: str, found: str, *, remedy: str) -> PhotoUnreadable:
    return PhotoUnreadable(
        found=f"{name} {found}", needed="a whole photograph is needed (JPEG, PNG, HEIC, TIFF or camera RAW)", remedy=remedy
    )


def _decode(data: bytes, name: str) -> _Decoded:
    try:
        if is_raw(data, name=name):
            return _decode_raw(data, name)
        if data[4:8] == b"ftyp" and data[8:12] in HEIF_BRANDS:
            return _decode_heif(data, name)
        # Pillow warns of large pictures, odd metadata and palettes; what matters of that is checked here and said as a sentence.
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return _decode_coded(data, name)
    except UnidentifiedImageError:
        raise _unreadable(
            name, f"is no picture of a kind that is read ({_first_bytes(data)})", remedy="send the photograph as the camera stored it"
        ) from None
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise _unreadable(
            name, f"claims more than {MOST_MEGAPIXELS:.0f} megapixels", remedy="send the photograph as the camera stored it"
        ) from None
    except DECODER_ERRORS:
        raise _unreadable(name, "is damaged or cut short", remedy="copy it from the telephone again") from None


def _first_bytes(data: bytes) -> str:
    shown = "".join(chr(b) if 32 <= b < 127 else "?" for b in data[:8])
    return f'it starts with "{shown}"'


def _check_size(name: str, *, width: int, height: int) -> None:
    megapixels = width * height / 1e6
    if FEWEST_MEGAPIXELS <= megapixels <= MOST_MEGAPIXELS and min(width, height) >= 64:
        return
    remedy = "send the photograph at its original size" if megapixels < 1.0 else "send it at a smaller size, 12 megapixels are plenty"
    raise PhotoUnreadable(
        found=f"{name} is {width} x {height} pixels ({megapixels:.3g} megapixels)", needed="1 to 50 megapixels are needed", remedy=remedy
    )


def _decode_coded(data: bytes, name: str) -> _Decoded:
    """JPEG, PNG and TIFF."""
    # Warnings of the readers' own loggers would reach the terminal as noise.
    logging.getLogger("PIL").setLevel(logging.CRITICAL)
    # Asked for by name, a reader that no earlier file has loaded is otherwise not found.
    Image.init()
    with Image.open(io.BytesIO(data), formats=FORMATS) as picture:
        _check_size(name, width=picture.width, height=picture.height)
        if picture.format in ("PNG", "TIFF") and getattr(picture, "n_frames", 1) > 1:
            raise PhotoUnreadable(
                found=f"{name} holds {getattr(picture, 'n_frames', 1)} pictures",
                needed="one still photograph per file is needed",
                remedy="save the one to be read by itself",
            )
        if picture.mode in ("I", "F"):
            raise _unreadable(name, "holds 32-bit numbers", remedy="save it with 8 or 16 bits per channel")
        exif = picture.getexif()
        orientation = exif.get(EXIF_ORIENTATION, 1)
        focal = exif.get_ifd(EXIF_FOLDER).get(EXIF_FOCAL_35MM, 0)
        encoding = "linear" if abs(picture.info.get("gamma", 0.0) - 1.0) < 0.01 else "srgb"
        deep, turned = _is_deep_colour(picture, data), picture.format == "TIFF"
        levels = _pillow_levels(picture)
    if deep:
        levels = _deep_colour_levels(data)
    return _Decoded(
        levels=levels,
        full_scale=np.iinfo(levels.dtype).max,
        encoding=encoding,
        # Both readers of TIFF stand it upright by themselves.
        orientation=orientation if orientation in range(1, 9) and not turned else 1,
        focal_35mm=float(focal) or float("nan"),
    )


def _pillow_levels(picture: Image.Image) -> NDArray:
    if picture.mode.startswith("I;16"):
        return np.asarray(picture).astype(np.uint16)[:, :, None]
    if picture.mode in ("1", "L"):
        return np.asarray(picture.convert("L"))[:, :, None]
    if picture.mode in ("LA", "La"):
        return np.asarray(picture.getchannel(0))[:, :, None]
    return np.asarray(picture if picture.mode == "RGB" else picture.convert("RGB"))


def _is_deep_colour(picture: Image.Image, data: bytes) -> bool:
    """True for 16-bit colour, which Pillow reads as 8 bit."""
    if picture.format == "PNG":
        return data[24] == 16 and not picture.mode.startswith("I")
    if picture.format == "TIFF":
        bits = getattr(picture, "tag_v2", {}).get(258, (8,))
        return len(bits) > 1 and bits[0] == 16
    return False


def _deep_colour_levels(data: bytes) -> NDArray:
    """16-bit colour, once Pillow has found the file whole and of sane size: this decoder checks neither."""
    decoded = cv2.imdecode(np.frombuffer(data, dtype=np.uint8), cv2.IMREAD_UNCHANGED)
    if decoded is None or decoded.dtype != np.uint16:
        raise ValueError("no 16-bit colour")
    if decoded.ndim == 2:
        return decoded[:, :, None]
    return cv2.cvtColor(decoded, cv2.COLOR_BGRA2RGB if decoded.shape[2] == 4 else cv2.COLOR_BGR2RGB)


def _decode_heif(data: bytes, name: str) -> _Decoded:
    import pi_heif  # loaded only when such a photograph comes: 30 ms at every start otherwise

    try:
        stored = pi_heif.open_heif(io.BytesIO(data), convert_hdr_to_8bit=False)
        _check_size(name, width=stored.size[0], height=stored.size[1])
        levels = _own_levels(stored)
    except RuntimeError:
        raise ValueError("undecodable") from None
    exif = Image.Exif()
    if stored.info.get("exif"):
        exif.load(stored.info["exif"])
    focal = exif.get_ifd(EXIF_FOLDER).get(EXIF_FOCAL_35MM, 0)
    # The reader has turned the picture upright by itself.
    return _Decoded(
        levels=levels,
        full_scale=np.iinfo(levels.dtype).max,
        encoding="srgb",
        orientation=1,
        focal_35mm=float(focal) or float("nan"),
    )


def _own_levels(stored: Any) -> NDArray:
    """The levels in memory of their own: the reader lends its own, and frees it together with `stored`."""
    lent = np.asarray(stored)[:, : stored.size[0]]
    if lent.ndim == 2:
        return lent[:, :, None].copy()
    return lent[:, :, : 3 if lent.shape[2] >= 3 else 1].copy()


def _decode_raw(data: bytes, name: str) -> _Decoded:
    raw = raw_levels(data, name=name, check_size=_check_size)
    return _Decoded(
        levels=raw.levels,
        full_scale=raw.full_scale,
        encoding="linear",
        orientation=raw.orientation,
        focal_35mm=float("nan"),
        binning=raw.binning,
    )


def _upright(levels: NDArray, orientation: int) -> NDArray:
    steps = UPRIGHT.get(orientation, "")
    if steps.startswith("m"):
        levels = cv2.flip(levels, 1)
    if steps.lstrip("m"):
        levels = cv2.rotate(levels, TURNS[steps.lstrip("m")])
    return levels[:, :, None] if levels.ndim == 2 else levels
