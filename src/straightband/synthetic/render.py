"""A photograph from a scene: START READING HERE."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from straightband.synthetic.layers import paint
from straightband.synthetic.projection import projection_of
from straightband.synthetic.scene import Scene, View
from straightband.synthetic.sensor import channel_response, encode_pixels, expose, to_levels, turn_for_orientation
from straightband.synthetic.specks import add_blemishes
from straightband.synthetic.truth import Truth, truth_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Rendered:
    """A photograph that can be encoded any number of times, with the same noise each time.

    Attributes
    ----------
    scene
        What was photographed.
    light
        Light on the sensor without noise, float32 [row, col] upright, in units of the mean light of the face.
    noise_seeds
        One for each channel.
    truth
        What is true of it.
    """

    scene: Scene
    light: NDArray
    noise_seeds: tuple[int, int, int]
    truth: Truth

    @property
    def linear(self) -> NDArray:
        """Linear light with noise, clipped to 0..1, float32 [row, col, 3] upright; for small photographs only."""
        return np.stack([self._channel(k) for k in range(3)], axis=-1)

    def pixels(self, *, bits: int = 8) -> NDArray:
        """Coded upright pixels [row, col, 3] of 8 or 16 bits."""
        levels = [to_levels(self._channel(k), sensor=self.scene.sensor, bits=bits) for k in range(3)]
        return np.stack(levels, axis=-1)

    def encode(self, kind: str = "jpeg", *, quality: int | None = None, bits: int = 8) -> bytes:
        """File bytes, `kind` jpeg, png or tiff; `quality` of a JPEG if not the scene's own, 16 `bits` for png and tiff."""
        sensor = self.scene.sensor if quality is None else replace(self.scene.sensor, jpeg_quality=quality)
        # PNG written with 16 bits carries no EXIF, so it is stored upright.
        orientation = 1 if kind == "png" and bits == 16 else sensor.orientation
        return encode_pixels(turn_for_orientation(self.pixels(bits=bits), orientation=orientation), kind=kind, sensor=sensor)

    def _channel(self, k: int) -> NDArray:
        response = channel_response(self.scene.light.wavelength_nm)[k]
        return expose(self.light, sensor=self.scene.sensor, response=response, rng=np.random.default_rng(self.noise_seeds[k]))


def render(scene: Scene, *, rng: np.random.Generator) -> Rendered:
    """The photograph of a scene; `rng` places dust and scratches and makes the noise, so that a seed gives the same bytes again."""
    projection = projection_of(scene.view, face=scene.face)
    light = paint(scene, rng=rng, projection=projection)
    add_blemishes(light, scene.blemishes, projection=projection, rng=rng)
    light = _through_lens(light, view=scene.view)
    light.setflags(write=False)
    red, green, blue = (int(seed) for seed in rng.integers(0, 2**63, 3))
    return Rendered(scene=scene, light=light, noise_seeds=(red, green, blue), truth=truth_of(scene))


def _through_lens(light: NDArray, *, view: View) -> NDArray:
    """The picture blurred, a share of its light spread far."""
    if view.blur_px:
        light = cv2.GaussianBlur(light, (0, 0), view.blur_px, borderType=cv2.BORDER_REPLICATE)
    if view.halo:
        # So wide a blur needs few points: the picture is made small first, which costs nothing in accuracy.
        step = max(1, round(view.halo_px / 4.0))
        small = cv2.resize(light, (max(2, view.width_px // step), max(2, view.height_px // step)), interpolation=cv2.INTER_AREA)
        small = cv2.GaussianBlur(small, (0, 0), view.halo_px / step, borderType=cv2.BORDER_REFLECT)
        spread = cv2.resize(small, (view.width_px, view.height_px), interpolation=cv2.INTER_CUBIC)
        light = cv2.addWeighted(light, 1.0 - view.halo, spread, view.halo, 0.0)
    return light
