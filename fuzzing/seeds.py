"""Small whole files of every kind that is read, which the fuzzing begins with."""

from __future__ import annotations

import io
import tempfile
from pathlib import Path

import cv2
import numpy as np
import tifffile
from numpy.typing import NDArray
from PIL import Image

from straightband.face.shapes import ellipse
from straightband.heightmap.formats import to_csv, to_npz, to_x3p
from straightband.heightmap.map import HeightMap

SIDE_PX = 64  # the least that is taken
ROOT = Path(__file__).resolve().parent.parent


def _levels(kind: type = np.uint8) -> NDArray:
    rows, cols = np.mgrid[0:SIDE_PX, 0:SIDE_PX]
    bands = 0.5 + 0.4 * np.cos(cols / 3.0) * (np.hypot(rows - 32, cols - 32) < 24)
    return np.repeat((np.iinfo(kind).max * bands).astype(kind)[:, :, None], 3, axis=2)


def _exif() -> Image.Exif:
    exif = Image.Exif()
    exif[0x0112] = 6
    exif.get_ifd(0x8769)[0xA405] = 26
    exif.get_ifd(0x8825).update({1: "N", 2: (51.0, 30.0, 0.0), 3: "E", 4: (0.0, 7.0, 30.0)})
    return exif


def _saved(kind: str, levels: NDArray | None = None, **more: object) -> bytes:
    kept = io.BytesIO()
    Image.fromarray(_levels() if levels is None else levels).save(kept, kind, **more)
    return kept.getvalue()


def jpegs() -> tuple[bytes, ...]:
    """JPEG: colour with EXIF, gray, progressive."""
    return (_saved("jpeg", exif=_exif()), _saved("jpeg", _levels()[:, :, 0]), _saved("jpeg", progressive=True))


def pngs() -> tuple[bytes, ...]:
    """PNG: colour with EXIF, gray, 16 bit gray and colour, palette, with transparency."""
    palette = io.BytesIO()
    Image.fromarray(_levels()).convert("P").save(palette, "png")
    clear = np.dstack([_levels(), _levels()[:, :, 0]])
    deep = bytes(cv2.imencode(".png", _levels(np.uint16))[1])
    return (_saved("png", exif=_exif()), _saved("png", _levels(np.uint16)[:, :, 0]), deep, palette.getvalue(), _saved("png", clear))


def tiffs() -> tuple[bytes, ...]:
    """TIFF: plain, packed, 16 bit colour, in strips and tiles."""
    deep, tiled = io.BytesIO(), io.BytesIO()
    tifffile.imwrite(deep, _levels(np.uint16), photometric="rgb")
    tifffile.imwrite(tiled, _levels(), photometric="rgb", tile=(16, 16))
    return (_saved("tiff"), _saved("tiff", compression="tiff_lzw", exif=_exif()), deep.getvalue(), tiled.getvalue())


def raws() -> tuple[bytes, ...]:
    """A DNG (Adobe DNG specification 1.4) with one plane of a red-green-green-blue mosaic."""
    kept = io.BytesIO()
    matrix = [value for n in (1, 0, 0, 0, 1, 0, 0, 0, 1) for value in (n, 1)]
    tags = [
        (50706, "B", 4, (1, 4, 0, 0), True), (50708, "s", 0, "Invented Camera", True), (33421, "H", 2, (2, 2), True), (33422, "B", 4, (0, 1, 1, 2), True),
        (50714, "H", 1, 256, True), (50717, "H", 1, 4095, True), (50721, "2i", 9, matrix, True), (274, "H", 1, 1, True),
    ]  # fmt: skip
    tifffile.imwrite(kept, (_levels(np.uint16)[:, :, 0] // 20 + 300).astype(np.uint16), photometric=32803, extratags=tags)
    return (kept.getvalue(),)


def heics() -> tuple[bytes, ...]:
    """The one HEIC of the tests, since nothing here writes that format."""
    return tuple(path.read_bytes() for path in sorted((ROOT / "tests" / "truth" / "heic").glob("*.heic")))


def films() -> tuple[bytes, ...]:
    """Three frames in two containers."""
    found = []
    with tempfile.TemporaryDirectory() as folder:
        for ending, code in ((".avi", "MJPG"), (".mp4", "mp4v")):
            path = Path(folder) / f"film{ending}"
            writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*code), 10.0, (SIDE_PX, SIDE_PX))
            for _ in range(3):
                writer.write(_levels())
            writer.release()
            found.append(path.read_bytes())
    return tuple(found)


def height_map() -> HeightMap:
    """A map of nine by nine points."""
    u, v = np.linspace(-20.0, 20.0, 9), np.linspace(-28.0, 28.0, 9)
    heights = 10.0 * np.cos(u / 10.0)[None, :] * np.sin(v / 10.0)[:, None]
    heights[(u[None, :] / 20.5) ** 2 + (v[:, None] / 28.5) ** 2 > 1.0] = np.nan
    face = ellipse(minor_mm=40.0)
    return HeightMap(
        heights_nm=heights,
        u_mm=u,
        v_mm=v,
        uncertainty_nm=np.full((9, 9), 2.0),
        face=face,
        clear_margin=0.03,
        meta={"sign": "known", "light_nm": 546.07},
    )


def npzs() -> tuple[bytes, ...]:
    """A map as arrays."""
    return (to_npz(height_map()),)


def x3ps() -> tuple[bytes, ...]:
    """A map as ISO 25178-72 lays down."""
    return (to_x3p(height_map()),)


def csvs() -> tuple[bytes, ...]:
    """A map as lines."""
    return (to_csv(height_map()),)


BATCH = b"""[[piece]]
name = "A"
shape = "ellipse"
minor_mm = 90
thickness_mm = 15
glass = "borosilicate"
sag_um = 4

[[piece]]
name = "B"
shape = "round"
diameter_mm = 120.5
thickness_mm = 20
glass = "soda-lime"

[[piece]]
name = "C"
shape = "rectangle"
width_mm = 60
length_mm = 90
thickness_mm = 12
glass = "fused-silica"

[grinding]
abrasives_um = [40, 20, 10, 5]
minutes = 12
spindle_rpm = 20
load_n = 5
"""
PIECE = b"""name = "D-118"
shape = "ellipse"
minor = "53.5mm"
light = "sodium"
photographs = ["a.jpg", "b.jpg"]
photographed = "3 March 2026"
reference = "flat.npz"
mark = 12.5
thicker = 1
mirrored = 1
camera = "1m"
lens_distortion = "1%"
margin = "3%"
outline = "2000,1500,900,640,12.5"
customer = "order 31"
glass = "borosilicate"
thickness = "11mm"

[telescope]
aperture = "250mm"
focal_ratio = 5
intercept = "205mm"
full_field = "12mm"
offset = "2.4mm"
wide_end = "+v"
strehl = 0.95
iso = "3/0.5(0.2)"
light = "550nm"

[shop]
name = "Hollow Lane Glass (invented)"
signed_by = "A. Maker"
date = "3 March 2026"
"""
PRICES = b"""currency = "EUR"
per_hour = 30
glass_per_kg = 45.5
margin_percent = 20
glass_allowance_mm = 6

[[done]]
area_cm2 = 31.5
hours = 7.5
"""
