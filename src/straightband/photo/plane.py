"""The one plane of linear light that the bands are read from.

A lamp of one colour fills one channel of the sensor; the others hold noise and what the camera's colour conversion leaked into them.
Which channel it is follows from the data, with the wavelength as the tie-breaker. A JPEG keeps brightness finely and colour coarsely, in stairs
of a level or two over many pixels, which lie along the bands and read as height. Under a lamp of one colour all channels rise and fall
together, so the level of the chosen one is taken mostly from the brightness.

Sources
-------
IEC 61966-2-1:1999, the sRGB transfer function. Brightness and colour of JPEG: ITU-T T.871 (2011), clause 7 (from memory).
Sensitivity of the channels against wavelength: common practice, no source.
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
TO_BRIGHTNESS_AND_COLOUR = np.array([[0.299, 0.587, 0.114], [-0.168736, -0.331264, 0.5], [0.5, -0.418688, -0.081312]])  # ITU-T T.871
COLOUR_NOISE = 3.0  # error of the colour stairs over that of the brightness; of the usual quantisation tables, common practice, no source
WORTH_MIXING = 0.6  # error left over that of the channel alone; above it the mixing is not worth its time
FINER = 64  # parts of a level kept when channels are mixed
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
    """The linear light of `photo` in the channel that a lamp of `wavelength_nm` fills, or in another where that is overexposed."""
    return light_planes(photo, wavelength_nm=wavelength_nm)[0]


def light_planes(photo: Photo, *, wavelength_nm: float) -> tuple[Plane, ...]:
    """The linear light that `light_plane` gives and, where the lamp's channel is overexposed, also what that one shows between the clipped pixels.

    Another channel sees through glare, but holds little of the lamp, mixed by the camera with what was clipped.
    """
    chosen, own = _choose_channel(photo, wavelength_nm)
    if chosen == own:
        return (_plane_of(photo, channel=own, flags=()),)
    return _plane_of(photo, channel=chosen, flags=("lamp-channel-clipped",)), _plane_of(photo, channel=own, flags=())


def _plane_of(photo: Photo, *, channel: str, flags: tuple[str, ...]) -> Plane:
    block = max(1, round(max(photo.levels.shape[:2]) / LONGER_SIDE))
    light, clipped = _mean_of_channels(photo, block=block) if channel == "mean" else _one_channel(photo, channel=channel, block=block)
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


def _mean_of_channels(photo: Photo, *, block: int) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    light, clipped = _linear_blocks(photo, index=0, block=block)
    for index in (1, 2):
        more, more_clipped = _linear_blocks(photo, index=index, block=block)
        light += more
        clipped |= more_clipped
    light /= 3.0
    return light, clipped


def _one_channel(photo: Photo, *, channel: str, block: int) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    index = 0 if channel == "gray" else CHANNEL_NAMES.index(channel)
    mixture = None if channel == "gray" else _mixture(photo, index=index)
    if mixture is None:
        return _linear_blocks(photo, index=index, block=block)
    _, clipped, size = _levels_of(photo, index=index, block=block)
    return _mixed_light(photo, mixture, size=size), clipped


@dataclass(frozen=True, slots=True, kw_only=True)
class _Mixture:
    """Weights (3,) of the channels' levels, and the light for each FINER-th part of the mixed level from `lowest` up."""

    weights: NDArray
    lowest: int
    light: NDArray[np.float32]


def _mixture(photo: Photo, *, index: int) -> _Mixture | None:
    """How to take one channel's level from brightness and colour with the least error; None where the channel itself is as good.

    Each of the three is the channel's level times its slope, plus its own error: the best weights are slope / error^2.
    """
    if photo.encoding != "srgb" or photo.full_scale != 255:
        return None
    step = max(1, max(photo.levels.shape[:2]) // 400)
    levels = photo.levels[::step, ::step].reshape(-1, 3).astype(float)
    lit = (levels[:, index] > 0.4 * np.percentile(levels[:, index], 99.0)) & (levels.max(axis=1) < photo.full_scale - 5)
    levels = levels[lit]
    spread = levels[:, index].std() if len(levels) > 100 else 0.0
    if spread < 1.0:
        return None
    parts = levels @ TO_BRIGHTNESS_AND_COLOUR.T
    own = levels[:, index] - levels[:, index].mean()
    slope = own @ (parts - parts.mean(axis=0)) / (own @ own)
    error = np.array([1.0, COLOUR_NOISE, COLOUR_NOISE])
    alone = np.linalg.norm(np.linalg.inv(TO_BRIGHTNESS_AND_COLOUR)[index] * error)
    if 1.0 / np.linalg.norm(slope / error) > WORTH_MIXING * alone:
        return None
    weights = (slope / error**2) / np.sum((slope / error) ** 2) @ TO_BRIGHTNESS_AND_COLOUR
    lowest = math.floor(FINER * photo.full_scale * np.minimum(weights, 0.0).sum())
    highest = math.ceil(FINER * photo.full_scale * np.maximum(weights, 0.0).sum())
    level = _level_of_mixed(levels @ weights, levels[:, index], asked=np.arange(lowest, highest + 1) / FINER)
    light = _decoded(np.clip(level / photo.full_scale, 0.0, 1.0)).astype(np.float32)
    return _Mixture(weights=weights, lowest=lowest, light=light)


def _level_of_mixed(mixed: NDArray, own: NDArray, *, asked: NDArray) -> NDArray:
    """The channel's own level at mixed levels `asked`, from samples of both (n,): the tone curve and the light of the room bend the line a little."""
    low, high = np.percentile(mixed, [0.5, 99.5])
    bent = np.polynomial.Polynomial.fit(mixed, own, 2, domain=[low, high])
    within = np.clip(asked, low, high)
    return bent(within) + (asked - within) * bent.deriv()(within)


def _mixed_light(photo: Photo, mixture: _Mixture, *, size: tuple[int, int]) -> NDArray[np.float32]:
    """Light of the mixed channels averaged over blocks, in strips."""
    block = photo.levels.shape[1] // size[0]
    out = np.empty((size[1], size[0]), dtype=np.float32)
    step = max(1, (1 << 19) // photo.levels.shape[1] // block)
    weights = (FINER * mixture.weights)[None, :]
    for top in range(0, size[1], step):
        strip = photo.levels[top * block : min(top + step, size[1]) * block, : size[0] * block]
        mixed = cv2.transform(strip.astype(np.int16), weights)
        light = mixture.light[np.clip(mixed - mixture.lowest, 0, mixture.light.size - 1)]
        out[top : top + step] = light if block == 1 else cv2.resize(light, (size[0], light.shape[0] // block), interpolation=cv2.INTER_AREA)
    return out


def linear_from_levels(encoding: str, full_scale: int) -> NDArray[np.float32]:
    """Table of linear light, 0 to 1, for every level 0 .. `full_scale` of an encoding ("srgb" or "linear")."""
    return _table(encoding, full_scale)


@lru_cache(maxsize=8)
def _table(encoding: str, full_scale: int) -> NDArray[np.float32]:
    level = np.arange(full_scale + 1) / full_scale
    table = (_decoded(level) if encoding == "srgb" else level).astype(np.float32)
    table.setflags(write=False)
    return table


def _decoded(level: NDArray) -> NDArray:
    """Linear light 0 to 1 of levels 0 to 1 coded for a screen: IEC 61966-2-1."""
    return np.where(level <= 0.04045, level / 12.92, ((level + 0.055) / 1.055) ** 2.4)


def _linear_blocks(photo: Photo, *, index: int, block: int) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    levels, clipped, size = _levels_of(photo, index=index, block=block)
    return _mean_light(levels, photo, size), clipped


def _levels_of(photo: Photo, *, index: int, block: int) -> tuple[NDArray, NDArray[np.bool_], tuple[int, int]]:
    """Levels of one channel cut to whole blocks, which blocks hold a clipped pixel, and how many blocks there are (columns, rows)."""
    levels = photo.levels
    levels = levels[:, :, 0] if levels.shape[2] == 1 else cv2.extractChannel(levels, index)
    rows, cols = levels.shape[0] // block * block, levels.shape[1] // block * block
    levels = levels[:rows, :cols]
    size = (cols // block, rows // block)
    over = cv2.compare(levels, float(_clip_level(levels, photo.full_scale)), cv2.CMP_GE)
    if block > 1:
        over = cv2.resize(over, size, interpolation=cv2.INTER_AREA)
    # The mean of a block of one pixel in 36 at 255 rounds to 7: no lone clipped pixel is lost.
    return levels, over > 0, size


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


def _choose_channel(photo: Photo, wavelength_nm: float) -> tuple[str, str]:
    """The channel that shows the lamp best, clipping counted, and the one that the lamp fills."""
    if photo.levels.shape[2] == 1:
        return "gray", "gray"
    longer = max(photo.levels.shape[:2])
    small = photo.levels[:: max(1, longer // 400), :: max(1, longer // 400)]
    table = linear_from_levels(photo.encoding, photo.full_scale)
    light = table[np.minimum(small, photo.full_scale)].reshape(-1, 3)
    signal = light.std(axis=0)
    if not np.ptp(small, axis=(0, 1)).any():
        return "mean", "mean"
    if signal.min() > (1.0 - EQUAL_SIGNALS) * signal.max() and np.corrcoef(light.T).min() > 0.9:
        return "mean", "mean"
    lit = light.max(axis=1) > 0.3 * np.percentile(light, 99.0)
    clipped = (small.reshape(-1, 3)[lit] >= photo.full_scale - photo.full_scale // 50).mean(axis=0)
    sensitivity = [math.exp(-0.5 * ((wavelength_nm - peak) / CHANNEL_WIDTH_NM) ** 2) for peak in CHANNEL_PEAKS_NM]
    worth = signal * (0.3 + np.array(sensitivity))
    best = int(np.argmax(worth * np.clip(1.0 - clipped / MOST_CLIPPED, 0.05, 1.0)))
    return CHANNEL_NAMES[best], CHANNEL_NAMES[int(np.argmax(worth))]
