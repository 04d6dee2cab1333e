"""Levels of a camera RAW file, binned 2 x 2 into one value per colour, black level taken off."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from straightband.errors import PhotoUnreadable

SUFFIXES = (".dng", ".cr2", ".cr3", ".nef", ".nrw", ".arw", ".raf", ".orf", ".rw2", ".pef", ".srw", ".3fr", ".iiq")
TIFF_STARTS = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
DNG_VERSION = 50706
# How LibRaw counts the turn still owed, as EXIF orientation.
FLIP_TO_EXIF = {0: 1, 3: 3, 5: 8, 6: 6}


@dataclass(frozen=True, slots=True, kw_only=True)
class RawLevels:
    """Linear levels of a RAW file.

    Attributes
    ----------
    levels
        [row, column, (red, green, blue)], uint16, black level taken off, as stored (not upright).
    full_scale
        White level less black level.
    orientation
        EXIF orientation.
    binning
        Sensor pixels per element along each side.
    """

    levels: NDArray
    full_scale: int
    orientation: int
    binning: int


def is_raw(data: bytes, *, name: str) -> bool:
    """True if the bytes are a camera RAW file, told by the name or by the DNG version tag."""
    if name.lower().endswith(SUFFIXES):
        return (
            data[:4] in TIFF_STARTS
            or data[4:8] == b"ftyp"
            or data[:8] in (b"FUJIFILM", b"IIRS\x18\0\0\0", b"IIRO\x08\0\0\0")
            or data[:4] == b"IIU\0"
        )
    if data[:4] not in TIFF_STARTS[:2]:
        return False
    order: Literal["little", "big"] = "little" if data[:2] == b"II" else "big"
    first = int.from_bytes(data[4:8], order)
    count = int.from_bytes(data[first : first + 2], order)
    tags = (int.from_bytes(data[first + 2 + 12 * k : first + 4 + 12 * k], order) for k in range(min(count, 200)))
    return DNG_VERSION in tags


def raw_levels(data: bytes, *, name: str, check_size: Callable[..., None]) -> RawLevels:
    """The levels of the RAW file in `data`; `check_size` is called with the size before anything is unpacked."""
    import rawpy  # loaded only when such a photograph comes: 0.2 s

    try:
        with rawpy.RawPy() as raw:
            raw.open_buffer(io.BytesIO(data))
            check_size(name, width=raw.sizes.width, height=raw.sizes.height)
            raw.unpack()
            return _binned(raw, name)
    except rawpy.LibRawError:
        raise ValueError("no readable RAW") from None


def _binned(raw: Any, name: str) -> RawLevels:
    visible = raw.raw_image_visible
    orientation = FLIP_TO_EXIF.get(raw.sizes.flip, 1)
    black = [int(b) for b in raw.black_level_per_channel]
    full_scale = int(raw.white_level) - min(black)
    if visible.ndim == 3:
        levels = np.subtract(
            visible[:, :, :3], np.uint16(min(black)), where=visible[:, :, :3] > min(black), out=np.zeros_like(visible[:, :, :3])
        )
        return RawLevels(levels=levels, full_scale=full_scale, orientation=orientation, binning=1)
    colours = raw.raw_colors_visible[:2, :2]
    if (
        raw.raw_pattern is None
        or raw.raw_pattern.shape != (2, 2)
        or sorted(raw.color_desc.decode()[c] for c in colours.flat) != ["B", "G", "G", "R"]
    ):
        raise PhotoUnreadable(
            found=f"{name} comes from a sensor whose colours don't repeat every 2 x 2 pixels",
            needed="a common colour sensor is needed for RAW",
            remedy="save it as TIFF or JPEG",
        )
    rows, cols = visible.shape[0] // 2 * 2, visible.shape[1] // 2 * 2
    sums = np.zeros((rows // 2, cols // 2, 3), dtype=np.uint32)
    for row, col in np.ndindex(2, 2):
        colour = int(colours[row, col])
        cell = visible[row:rows:2, col:cols:2].astype(np.int32) - black[colour]
        sums[:, :, "RGB".index(raw.color_desc.decode()[colour])] += np.maximum(cell, 0).astype(np.uint32)
    sums[:, :, 1] = (sums[:, :, 1] + 1) // 2
    return RawLevels(levels=sums.astype(np.uint16), full_scale=full_scale, orientation=orientation, binning=2)
