"""The same photographs read by Straightband and by the general-purpose way to take a phase out of bands, side by side.

The general way: isolate the carrier's side peak in the Fourier plane, take the phase of what it turns back into, unwrap, take off the plane,
fit circle polynomials. It is given for nothing: linear light of the right channel, the true outline, the better of both signs, and of several
widths of its window the one that comes nearest to the truth.

Sources
-------
M. Takeda, H. Ina, S. Kobayashi, Fourier-transform method of fringe-pattern analysis, J. Opt. Soc. Am. 72, 156-160 (1982).
M. A. Herraez, D. R. Burton, M. J. Lalor, M. A. Gdeisat, Fast two-dimensional phase-unwrapping algorithm based on sorting by reliability following
a noncontinuous path, Appl. Opt. 41, 7437-7444 (2002), as scikit-image has it.
"""

from __future__ import annotations

import io
import math
import statistics
import time
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy import fft, ndimage

from benchmarks.photographs import Photograph, miss_of, miss_of_reading, photograph, setup_of, true_outline
from benchmarks.run import Options
from benchmarks.tables import Row, write_table
from straightband.errors import StraightbandError
from straightband.face.polynomials import circle_polynomials, legendre_products
from straightband.face.shapes import CLEAR_MARGIN, Face, Shape
from straightband.heightmap.map import HeightMap
from straightband.photo.outline import Outline
from straightband.photo.rectify import face_to_pixels
from straightband.synthetic.campaign import Difficulty
from straightband.synthetic.sensor import channel_response
from straightband.workflows.read import read_photo

SAMPLES = 512  # of the general way over the longer extent of the face
WIDTHS = (0.3, 0.5, 0.7)  # radius of the window in the Fourier plane, share of the carrier
ORDER = 8
APODISED = 0.06  # of the shorter half extent: raised cosine inside the rim
LEAST_CARRIER = 2.0  # cycles over the picture: nearer the middle lies the background

Demodulate = Callable[[NDArray, NDArray], list[NDArray]]


@dataclass(frozen=True, slots=True, kw_only=True)
class SquareLight:
    """Linear light over the bounding box of the face, the general way's own resampling.

    Attributes
    ----------
    light
        [v, u].
    u_mm, v_mm
        Axes.
    face
        The face.
    """

    light: NDArray
    u_mm: NDArray
    v_mm: NDArray
    face: Face


def run(options: Options) -> None:
    """Read the photographs in all ways, print and write the table and the picture."""
    difficulties = [d for d in Difficulty if not options.only or d.value in options.only]
    rows = []
    for k in range(options.count or 12):
        for difficulty in difficulties:
            rows.append(compared(photograph(options.seed + k, difficulty=difficulty)))
            print(" ".join(f"{value:.3g}" if isinstance(value, float) else str(value) for value in rows[-1].values()), flush=True)
    write_table(rows, stem=options.out / "general-way-photographs")
    print(write_table(_summary(rows), stem=options.out / "general-way"))
    _draw(rows, path=options.out / "general-way.png")


WAYS = ("straightband", "fourier", "qpretrieve")


def compared(shot: Photograph) -> Row:
    """Errors and times of all ways for one photograph; NaN where a way gave nothing."""
    data = shot.rendered.encode()
    row: Row = {"seed": shot.seed, "difficulty": shot.difficulty.value, "pattern": shot.pattern.value, "shape": shot.scene.face.shape.value}
    row["bands"] = math.hypot(shot.scene.bands_u, shot.scene.bands_v)
    began = time.perf_counter()
    try:
        reading = read_photo(data, name="g.jpg", setup=setup_of(shot, outline=true_outline(shot.rendered.truth)))
        row["straightband rms, nm"], taken = miss_of_reading(reading, scene=shot.scene).rms_nm, time.perf_counter() - began
    except StraightbandError:
        row["straightband rms, nm"], taken = math.nan, time.perf_counter() - began
    row["straightband, s"] = taken
    for way, demodulate in (("fourier", fourier_phases), ("qpretrieve", qpretrieve_phases)):
        began = time.perf_counter()
        maps = general_maps(data, shot=shot, demodulate=demodulate)
        taken = time.perf_counter() - began
        errors = [miss_of(found, scene=shot.scene, sign_known=False).rms_nm for found in maps]
        row[f"{way} rms, nm"], row[f"{way}, s"] = min(errors), taken / len(maps)
    return row


def general_maps(data: bytes, *, shot: Photograph, demodulate: Demodulate) -> list[HeightMap]:
    """Maps by the general way, one for each width of its window."""
    picture = square_light(data, shot=shot, outline=true_outline(shot.rendered.truth))
    clear = shot.scene.face.clear_aperture(CLEAR_MARGIN)
    uu, vv = np.meshgrid(picture.u_mm, picture.v_mm)
    inside = clear.contains(uu, vv)
    light = flattened(picture.light, inside)
    x, y = uu[inside] / clear.semi_u_mm, vv[inside] / clear.semi_v_mm
    basis = legendre_products(x, y, order=ORDER) if clear.shape is Shape.RECTANGLE else circle_polynomials(x, y, order=ORDER)
    nm_per_rad = shot.scene.light.wavelength_nm / (4.0 * np.pi)
    maps = []
    for phase in demodulate(light, inside):
        fitted = np.linalg.lstsq(basis.T, unwrapped(phase, inside)[inside], rcond=None)[0] @ basis
        heights = np.full(inside.shape, np.nan)
        heights[inside] = fitted * nm_per_rad
        maps.append(
            HeightMap(heights_nm=heights, u_mm=picture.u_mm, v_mm=picture.v_mm, uncertainty_nm=np.zeros_like(heights), face=picture.face)
        )
    return maps


def square_light(data: bytes, *, shot: Photograph, outline: Outline) -> SquareLight:
    """The face square-on in linear light, in the frame of the truth."""
    with Image.open(io.BytesIO(data)) as stored:
        from PIL import ImageOps

        pixels = np.asarray(ImageOps.exif_transpose(stored).convert("RGB"))
    level = pixels[:, :, int(np.argmax(channel_response(shot.scene.light.wavelength_nm)))].astype(np.float32) / 255.0
    linear = np.where(level <= 0.04045, level / 12.92, ((level + 0.055) / 1.055) ** 2.4).astype(np.float32)
    face = shot.scene.face
    setup = setup_of(shot, outline=outline)
    pitch = 2.0 * face.semi_major_mm / SAMPLES
    u_mm, v_mm = (np.arange(-half + pitch / 2, half, pitch) for half in (face.semi_u_mm, face.semi_v_mm))
    to_pixels = face_to_pixels(outline, face, mark_hour=setup.mark_hour)
    hand = -1.0 if setup.reversals % 2 else 1.0
    to_face = np.diag([hand / face.semi_u_mm, 1.0 / face.semi_v_mm, 1.0])
    grid = np.array([[pitch, 0.0, u_mm[0]], [0.0, pitch, v_mm[0]], [0.0, 0.0, 1.0]])
    light = cv2.warpPerspective(linear, to_pixels @ to_face @ grid, (u_mm.size, v_mm.size), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
    return SquareLight(light=light, u_mm=u_mm, v_mm=v_mm, face=face)


def flattened(light: NDArray, inside: NDArray) -> NDArray:
    """Light less its smooth background (normalised Gaussian mean), zero at and beyond the rim, softly."""
    depth = ndimage.distance_transform_edt(inside)
    reach = APODISED * min(light.shape)
    taper = 0.5 - 0.5 * np.cos(np.pi * np.clip(depth / reach, 0.0, 1.0))
    width = min(light.shape) / 4.0
    weight = ndimage.gaussian_filter(inside.astype(float), width)
    mean = ndimage.gaussian_filter(np.where(inside, light, 0.0), width) / np.maximum(weight, 1e-6)
    return np.where(inside, light - mean, 0.0) * taper


def fourier_phases(light: NDArray, inside: NDArray) -> list[NDArray]:
    """Wrapped phases by Takeda's method, one for each width of a Gaussian-edged window about the strongest side peak."""
    del inside
    size = [2 * fft.next_fast_len(n) for n in light.shape]
    spectrum = fft.fft2(light, s=size)
    fy, fx = np.meshgrid(fft.fftfreq(size[0]) * light.shape[0], fft.fftfreq(size[1]) * light.shape[1], indexing="ij")
    power = np.where(np.hypot(fx, fy) >= LEAST_CARRIER, np.abs(spectrum), 0.0)
    power[(fy < 0) | ((fy == 0) & (fx < 0))] = 0.0
    peak = np.unravel_index(int(np.argmax(power)), power.shape)
    qx, qy = fx / light.shape[1], fy / light.shape[0]
    carrier = math.hypot(qx[peak], qy[peak])
    away = np.hypot(qx - qx[peak], qy - qy[peak]) / carrier
    phases = []
    for width in WIDTHS:
        window = 0.5 + 0.5 * np.cos(np.pi * np.clip((away - 0.7 * width) / (0.6 * width), 0.0, 1.0))
        phases.append(np.angle(fft.ifft2(spectrum * window))[: light.shape[0], : light.shape[1]])
    return phases


def qpretrieve_phases(light: NDArray, inside: NDArray) -> list[NDArray]:
    """Wrapped phases by qpretrieve's off-axis hologram, which finds the side peak by itself."""
    del inside
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it says on import which transforms it has not
        import qpretrieve
    side = max(light.shape)
    square = np.zeros((side, side))
    square[: light.shape[0], : light.shape[1]] = light
    phases = []
    for width in WIDTHS:
        hologram = qpretrieve.OffAxisHologram(square, subtract_mean=True, padding=1)
        hologram.run_pipeline(filter_name="smooth disk", filter_size=width)
        phases.append(np.squeeze(hologram.phase)[: light.shape[0], : light.shape[1]])
    return phases


def unwrapped(phase: NDArray, inside: NDArray) -> NDArray:
    """The phase made continuous inside the mask."""
    from skimage.restoration import unwrap_phase

    return np.ma.filled(unwrap_phase(np.ma.masked_array(phase, ~inside)), 0.0)


def _summary(rows: list[Row]) -> list[Row]:
    groups = [("all", rows)] + [
        (f"{p} bands", [row for row in rows if row["pattern"] == p]) for p in dict.fromkeys(row["pattern"] for row in rows)
    ]
    found = []
    for name, part in groups:
        both = [row for row in part if math.isfinite(row["straightband rms, nm"])]
        line: Row = {"photographs": name, "count": len(both), "refused by straightband": len(part) - len(both)}
        for way in WAYS:
            errors = [row[f"{way} rms, nm"] for row in both] or [math.nan]
            line[f"{way} median, nm"], line[f"{way} 90 % below, nm"] = statistics.median(errors), float(np.quantile(errors, 0.9))
        for way in WAYS:
            line[f"{way}, s"] = statistics.median([row[f"{way}, s"] for row in part])
        found.append(line)
    return found


def _draw(rows: list[Row], *, path: Path) -> None:
    import matplotlib as mpl

    mpl.use("Agg")
    import matplotlib.pyplot as plt

    figure, axes = plt.subplots(figsize=(6, 5.5), constrained_layout=True)
    for way, mark in (("fourier", "o"), ("qpretrieve", "x")):
        axes.plot([row["straightband rms, nm"] for row in rows], [row[f"{way} rms, nm"] for row in rows], mark, alpha=0.7, label=way)
    axes.plot([0.1, 1000.0], [0.1, 1000.0], color="0.5")
    axes.set(xscale="log", yscale="log", xlabel="rms error of straightband, nm", ylabel="rms error of the general way, nm")
    axes.legend()
    figure.savefig(path, dpi=120)
    plt.close(figure)
