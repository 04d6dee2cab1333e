"""The one plane of linear light that the bands are read from.

A lamp of one colour fills one channel of the sensor; the others hold noise and what the camera's colour conversion leaked into them.
Which channel it is follows from the data, with the wavelength as the tie-breaker.

Sources
-------
IEC 61966-2-1:1999, the sRGB transfer function. Sensitivity of the channels against wavelength: common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from straightband.photo.load import Photo

LONGER_SIDE = 2000  # plane pixels; 40 bands on a face a sixth of this wide still have 8 pixels each
CHANNEL_NAMES = ("red", "green", "blue")
CHANNEL_PEAKS_NM = (605.0, 535.0, 455.0)  # peak sensitivity of common sensors: common practice, no source
CHANNEL_WIDTH_NM = 45.0
EQUAL_SIGNALS = 0.05  # channels closer than this hold the same picture three times
MOST_CLIPPED = 0.1  # share of the lit part of the frame at which a channel counts for next to nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class Plane:
    """Linear light of the channel the lamp fills, block-averaged.

    Attributes
    ----------
    light
        [row, column], float32, 1 = full scale.
    clipped
        [row, column], True where any photo pixel of the block is at full scale.
    scale
        Photo pixels per plane pixel along each side; x_photo = (x_plane + 0.5) * scale - 0.5.
    size_px
        Width and height of the upright photograph.
    channel
        "red", "green", "blue", "gray" or "mean".
    focal_35mm
        Focal length in 35 mm equivalent, NaN if not recorded.
    flags
        Short names of doubts.
    """

    light: NDArray[np.float32]
    clipped: NDArray[np.bool_]
    scale: float
    size_px: tuple[int, int]
    channel: str
    focal_35mm: float
    flags: tuple[str, ...]


def light_plane(photo: Photo, *, wavelength_nm: float) -> Plane:
    """The linear light of `photo` in the channel that a lamp of `wavelength_nm` fills."""
    channel, flags = _choose_channel(photo, wavelength_nm)
    block = max(1, round(max(photo.levels.shape[:2]) / LONGER_SIDE))
    indices = (0, 1, 2) if channel == "mean" else (0 if channel == "gray" else CHANNEL_NAMES.index(channel),)
    light, clipped = _linear_blocks(photo, index=indices[0], block=block)
    for index in indices[1:]:
        more, more_clipped = _linear_blocks(photo, index=index, block=block)
        light += more
        clipped |= more_clipped
    light /= len(indices)
    light.setflags(write=False)
    clipped.setflags(write=False)
    return Plane(
        light=light,
        clipped=clipped,
        scale=float(block * photo.binning),
        size_px=photo.size_px,
        channel=channel,
        focal_35mm=photo.focal_35mm,
        flags=photo.flags + flags,
    )


def linear_from_levels(encoding: str, full_scale: int) -> NDArray[np.float32]:
    """Table of linear light, 0 to 1, for every level 0 .. `full_scale` of an encoding ("srgb" or "linear")."""
    return _table(encoding, full_scale)


@lru_cache(maxsize=8)
def _table(encoding: str, full_scale: int) -> NDArray[np.float32]:
    level = np.arange(full_scale + 1) / full_scale
    if encoding == "srgb":
        level = np.where(level <= 0.04045, level / 12.92, ((level + 0.055) / 1.055) ** 2.4)  # IEC 61966-2-1
    table = level.astype(np.float32)
    table.setflags(write=False)
    return table


def _linear_blocks(photo: Photo, *, index: int, block: int) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    levels = photo.levels
    levels = levels[:, :, 0] if levels.shape[2] == 1 else cv2.extractChannel(levels, index)
    rows, cols = levels.shape[0] // block * block, levels.shape[1] // block * block
    levels = levels[:rows, :cols]
    size = (cols // block, rows // block)
    over = cv2.compare(levels, float(_clip_level(levels, photo.full_scale)), cv2.CMP_GE)
    if block > 1:
        over = cv2.resize(over, size, interpolation=cv2.INTER_AREA)
    # The mean of a block of one pixel in 36 at 255 rounds to 7: no lone clipped pixel is lost.
    return _mean_light(levels, photo, size), over > 0


def _mean_light(levels: NDArray, photo: Photo, size: tuple[int, int]) -> NDArray[np.float32]:
    """Light averaged over blocks in strips, so that the full-size floating-point plane never exists."""
    table = linear_from_levels(photo.encoding, photo.full_scale)
    block = levels.shape[1] // size[0]
    out = np.empty((size[1], size[0]), dtype=np.float32)
    step = max(1, (1 << 20) // levels.shape[1] // block)
    for top in range(0, size[1], step):
        strip = levels[top * block : (top + step) * block]
        light = cv2.LUT(strip, table) if strip.dtype == np.uint8 else table[np.minimum(strip, photo.full_scale)]
        out[top : top + step] = light if block == 1 else cv2.resize(light, (size[0], light.shape[0] // block), interpolation=cv2.INTER_AREA)
    return out


def _clip_level(levels: NDArray, full_scale: int) -> int:
    """The lowest level that counts as clipped.

    JPEG smears a clipped plateau over the levels just below full scale; such a plateau shows as a heap at the very top of the histogram.
    """
    sample = levels[::4, ::4]
    near, far = full_scale - max(3, full_scale // 100), full_scale - full_scale // 20
    top, below = np.count_nonzero(sample >= near), np.count_nonzero((sample >= far) & (sample < near))
    heap = top > max(8, 0.5 * below)
    return far + (near - far) // 2 if heap else full_scale


def _choose_channel(photo: Photo, wavelength_nm: float) -> tuple[str, tuple[str, ...]]:
    if photo.levels.shape[2] == 1:
        return "gray", ()
    longer = max(photo.levels.shape[:2])
    small = photo.levels[:: max(1, longer // 400), :: max(1, longer // 400)]
    table = linear_from_levels(photo.encoding, photo.full_scale)
    light = table[np.minimum(small, photo.full_scale)].reshape(-1, 3)
    signal = light.std(axis=0)
    if signal.min() > (1.0 - EQUAL_SIGNALS) * signal.max() and np.corrcoef(light.T).min() > 0.9:
        return "mean", ()
    lit = light.max(axis=1) > 0.3 * np.percentile(light, 99.0)
    clipped = (small.reshape(-1, 3)[lit] >= photo.full_scale - photo.full_scale // 50).mean(axis=0)
    sensitivity = [math.exp(-0.5 * ((wavelength_nm - peak) / CHANNEL_WIDTH_NM) ** 2) for peak in CHANNEL_PEAKS_NM]
    worth = signal * (0.3 + np.array(sensitivity))
    best = int(np.argmax(worth * np.clip(1.0 - clipped / MOST_CLIPPED, 0.05, 1.0)))
    return CHANNEL_NAMES[best], ("lamp-channel-clipped",) if best != int(np.argmax(worth)) else ()
