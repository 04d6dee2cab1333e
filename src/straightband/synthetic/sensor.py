"""From light to a file: channels, noise, clipping, the tone curve, turning for EXIF, encoding.

Sources
-------
The tone curve: IEC 61966-2-1:1999 (sRGB). Orientation: CIPA DC-008 (Exif 2.32), tag 0112h. Both from memory.
Response of the channels to a line: common practice of camera filters, no source; only which channel the line fills matters.
"""

from __future__ import annotations

import io

import cv2
import numpy as np
import tifffile
from numpy.typing import NDArray
from PIL import Image

from straightband.errors import BadInput
from straightband.synthetic.scene import Sensor, Subsampling

# wavelength, nm -> response of red, green, blue, strongest 1
_RESPONSE = np.array([
    [400.0, 0.15, 0.05, 1.00],
    [436.0, 0.06, 0.08, 1.00],
    [470.0, 0.03, 0.35, 1.00],
    [500.0, 0.03, 1.00, 0.75],
    [525.0, 0.06, 1.00, 0.25],
    [546.0, 0.14, 1.00, 0.10],
    [575.0, 0.65, 1.00, 0.04],
    [589.0, 1.00, 0.70, 0.03],
    [605.0, 1.00, 0.30, 0.02],
    [633.0, 1.00, 0.07, 0.02],
    [660.0, 1.00, 0.04, 0.02],
])  # fmt: skip

_TURNS_TO_STORED = {
    2: lambda a: a[:, ::-1],
    3: lambda a: a[::-1, ::-1],
    4: lambda a: a[::-1],
    5: lambda a: a.swapaxes(0, 1),
    6: lambda a: np.rot90(a, 1),
    7: lambda a: a[::-1, ::-1].swapaxes(0, 1),
    8: lambda a: np.rot90(a, -1),
}
_SUBSAMPLING = {Subsampling.FULL: 0, Subsampling.ACROSS: 1, Subsampling.BOTH: 2}
_ORIENTATION_TAG = 0x0112


def channel_response(wavelength_nm: float) -> tuple[float, float, float]:
    """Response of the red, green and blue channel to a line, the strongest being 1."""
    table = _RESPONSE
    response = np.array([np.interp(wavelength_nm, table[:, 0], table[:, k]) for k in (1, 2, 3)])
    red, green, blue = (response / response.max()).tolist()
    return red, green, blue


def expose(light: NDArray, *, sensor: Sensor, response: float, rng: np.random.Generator) -> NDArray:
    """Signal of one channel as a share of full scale, noise added and clipped to 0..1; float32."""
    signal = light * np.float32(sensor.exposure * response)
    signal += np.float32(sensor.ambient)
    if sensor.read_noise or np.isfinite(sensor.full_well):
        noise: NDArray = rng.standard_normal(light.shape, dtype=np.float32)
        if sensor.grain_px:
            noise = cv2.GaussianBlur(noise, (0, 0), sensor.grain_px)
        spread = np.maximum(signal, 0.0)
        spread *= np.float32(1.0 / sensor.full_well)
        spread += np.float32(sensor.read_noise**2)
        noise *= np.sqrt(spread, out=spread)
        signal += noise
    return np.clip(signal, 0.0, 1.0, out=signal)


def tone_curve(linear: NDArray, *, exponent: float = 1.0) -> NDArray:
    """Coded value 0..1 of linear light 0..1 by the sRGB curve, after raising it to `exponent`."""
    raised = linear**exponent if exponent != 1.0 else linear
    return np.where(raised <= 0.0031308, 12.92 * raised, 1.055 * np.maximum(raised, 1e-9) ** (1.0 / 2.4) - 0.055)


def to_levels(linear: NDArray, *, sensor: Sensor, bits: int) -> NDArray:
    """Coded whole numbers of `bits` bits; by a table of 65536 steps, a hundredth of an 8-bit step or less except in the deepest dark."""
    curve = np.round(tone_curve(np.arange(65536) / 65535.0, exponent=sensor.tone_exponent) * (2**bits - 1))
    table = curve.astype(np.uint8 if bits == 8 else np.uint16)
    return table[(linear * np.float32(65535.0) + np.float32(0.5)).astype(np.uint16)]


def turn_for_orientation(upright: NDArray, *, orientation: int) -> NDArray:
    """Pixels as a camera held some other way stores them, so that the EXIF orientation brings them upright again."""
    if orientation == 1:
        return upright
    return np.ascontiguousarray(_TURNS_TO_STORED[orientation](upright))


def encode_pixels(pixels: NDArray, *, kind: str, sensor: Sensor) -> bytes:
    """File bytes of stored pixels [row, col, 3], 8 or 16 bit; `kind` is jpeg, png or tiff. Raises BadInput for another kind."""
    if kind not in ("jpeg", "png", "tiff") or (kind == "jpeg" and pixels.dtype != np.uint8):
        raise BadInput(
            found=f"a photograph of kind '{kind}' was asked for",
            needed="jpeg, png or tiff (jpeg with 8 bits) is needed",
            remedy="name one of these",
        )
    stream = io.BytesIO()
    if kind == "tiff":
        tifffile.imwrite(stream, pixels, photometric="rgb", extratags=[(_ORIENTATION_TAG, "H", 1, sensor.orientation, True)])
    elif pixels.dtype == np.uint16:
        return bytes(cv2.imencode(".png", pixels[:, :, ::-1])[1])
    else:
        exif = Image.Exif()
        exif[_ORIENTATION_TAG] = sensor.orientation
        picture = Image.fromarray(pixels)
        if kind == "jpeg":
            picture.save(stream, "JPEG", quality=sensor.jpeg_quality, subsampling=_SUBSAMPLING[sensor.subsampling], exif=exif)
        else:
            picture.save(stream, "PNG", compress_level=3, exif=exif)
    return stream.getvalue()
