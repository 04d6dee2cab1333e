"""A photograph of a block wrung on a platen, both under one flat: the bands jump at the block's edges by a step that is known."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from straightband.synthetic.scene import Sensor
from straightband.synthetic.sensor import encode_pixels, tone_curve

WIDTH_PX, HEIGHT_PX = 560, 780
CENTRE_PX = (285.0, 386.0)
HALF_SIDES_PX = ((97.0, -4.0), (15.0, 350.0))  # from its middle to its right side and to its lower one
BANDS_DOWN, BANDS_ACROSS = 3.0, 0.1  # over half the block
CONTRAST = 0.7


def block_photograph(*, fraction: float, noise: float, rng: np.random.Generator) -> bytes:
    """A JPEG in which the bands on the block stand `fraction` of a band from those beside it; `noise` is a share of the mean light."""
    across, down = _in_half_sides()
    on_block = (np.abs(across) < 1.0) & (np.abs(down) < 1.0)
    bands = 0.2 + BANDS_DOWN * down + BANDS_ACROSS * across + np.where(on_block, fraction, 0.0)
    uneven = 1.0 - 0.3 * ((across / 3.0 - 0.1) ** 2 + (down + 0.2) ** 2)
    light = 0.45 * uneven * (1.0 + CONTRAST * np.cos(2.0 * np.pi * bands)) + noise * rng.normal(size=across.shape)
    grey = np.round(255.0 * tone_curve(np.clip(light, 0.0, 1.0))).astype(np.uint8)
    return encode_pixels(np.repeat(grey[:, :, None], 3, axis=2), kind="jpeg", sensor=Sensor())


def _in_half_sides() -> NDArray:
    """[(across, down), row, column] of every pixel, in half sides of the block from its middle."""
    x, y = np.meshgrid(np.arange(WIDTH_PX) - CENTRE_PX[0], np.arange(HEIGHT_PX) - CENTRE_PX[1])
    return np.tensordot(np.linalg.inv(np.transpose(HALF_SIDES_PX)), np.stack([x, y]), axes=1)
