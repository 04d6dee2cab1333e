"""A second, small renderer of photographs of bands, written apart from `straightband.synthetic`.

A search tuned on one renderer learns its habits. This one shares no code with the first and makes other choices: a pinhole turned in
space, outlines softened by their distance in pixels, grained and striped tables, a shadow thrown to one side, plates that are round or
square and show a dark line in their rim, hairs, bands from a plain cosine to the sharper ones of coated plates.

What is drawn, and how strongly, is our estimate of photographs from a bench: common practice, no source.
"""

from __future__ import annotations

import io
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from straightband.face.shapes import Face, Shape, ellipse, rectangle, round_face

ORIENTATION_TAG = 0x0112
# Turns and flips (Pillow's names) that bring upright pixels into the order in which a camera held some other way stores them.
STORED = {2: "FLIP_LEFT_RIGHT", 3: "ROTATE_180", 4: "FLIP_TOP_BOTTOM", 5: "TRANSPOSE", 6: "ROTATE_90", 7: "TRANSVERSE", 8: "ROTATE_270"}
COLOURS = {632.8: (1.0, 0.1, 0.03), 589.3: (0.9, 0.75, 0.02), 546.1: (0.12, 1.0, 0.1), 435.8: (0.05, 0.1, 1.0)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """A photograph and what is true of it.

    Attributes
    ----------
    data
        JPEG bytes.
    face, wavelength_nm
        What a person would say of it.
    to_pixels
        (3, 3), from (u / semi_u, v / semi_v, 1) to upright pixels.
    bands
        Between the lowest and the highest phase on the face.
    kinds
        What was drawn, in words.
    """

    data: bytes
    face: Face
    wavelength_nm: float
    to_pixels: NDArray
    bands: float
    kinds: tuple[str, ...]

    def rim(self, count: int) -> NDArray:
        """(count, 2) pixels along the true outline; of a rectangle its corners."""
        if self.face.shape is Shape.RECTANGLE:
            points = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
        else:
            t = 2.0 * np.pi * np.arange(count) / count
            points = np.column_stack([np.cos(t), np.sin(t)])
        seen = np.column_stack([points, np.ones(len(points))]) @ self.to_pixels.T
        return seen[:, :2] / seen[:, 2:]


def shot(seed: int, *, megapixels: float | None = None, shape: Shape | None = None, easy: bool = False) -> Shot:
    """The photograph of a seed; `easy` leaves out glare, frost, hairs and strong unevenness."""
    rng = np.random.default_rng([seed, 771])
    face = _face(rng, shape)
    width, height = _frame(rng, megapixels or rng.uniform(1.2, 3.0))
    to_pixels = _pinhole(rng, face=face, width=width, height=height)
    x, y = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
    p, q = _through(np.linalg.inv(to_pixels), x, y)
    aspect = face.semi_v_mm / face.semi_u_mm
    kinds: list[str] = []
    light = _table(rng, x, y, kinds)
    unit_px = math.sqrt(abs(np.linalg.det(to_pixels[:2, :2])) / aspect)  # pixels per semi_u
    away = _distance(face, p, q, aspect)  # in semi_u, positive outside
    if rng.random() < 0.45:
        light = _plate(rng, light, p, q * aspect, face=face, unit_px=unit_px, kinds=kinds)
    if rng.random() < 0.5:
        light = _shadow(rng, light, p, q, face=face, aspect=aspect, kinds=kinds)
    bands, turns = _bands(rng, p, q, face=face, across_px=2.0 * unit_px, kinds=kinds)
    bands = _blemished(rng, bands, p, q, easy=easy, kinds=kinds)
    beside = light[(away > 0.0) & (away < 0.03)]
    light = _laid(
        light, _bevelled(rng, bands, away, beside=float(np.median(beside)), unit_px=unit_px, kinds=kinds), away=away, unit_px=unit_px
    )
    light *= _lamp(rng, x / width - 0.5, y / width - 0.5 * height / width, easy=easy)
    if not easy:
        light = _glared(rng, light, p, q, kinds=kinds)
        light = _hairs(rng, light, kinds=kinds)
    wavelength = float(rng.choice(list(COLOURS)))
    blur = float(rng.uniform(0.4, 1.6) * math.sqrt(max(width * height / 2e6, 1.0)))
    data = _developed(rng, light, colour=COLOURS[wavelength], blur_px=blur)
    return Shot(data=data, face=face, wavelength_nm=wavelength, to_pixels=to_pixels, bands=turns, kinds=tuple(kinds))


def _face(rng: np.random.Generator, shape: Shape | None) -> Face:
    kind = shape or rng.choice([Shape.ELLIPSE, Shape.ROUND, Shape.RECTANGLE], p=[0.55, 0.22, 0.23])
    if kind == Shape.ROUND:
        return round_face(diameter_mm=100.0)
    if kind == Shape.RECTANGLE:
        return rectangle(width_mm=60.0, length_mm=60.0 * float(rng.choice([1.0, 1.3, 1.5, 2.0, 3.0])))
    return ellipse(minor_mm=70.0, major_mm=70.0 * float(rng.choice([math.sqrt(2.0), math.sqrt(2.0), math.sqrt(2.0), 1.2, 1.6, 2.0])))


def _frame(rng: np.random.Generator, megapixels: float) -> tuple[int, int]:
    longer, shorter = round(math.sqrt(megapixels * 1e6 * 1.5)), round(math.sqrt(megapixels * 1e6 / 1.5))
    return (longer, shorter) if rng.random() < 0.7 else (shorter, longer)


def _pinhole(rng: np.random.Generator, *, face: Face, width: int, height: int) -> NDArray:
    """The homography of a pinhole camera: turned by angles about two axes in space, then about its own; the face fills 30 to 90 %."""
    tilt, toward, roll = math.radians(15.0 * rng.random()), rng.uniform(0.0, 2.0 * math.pi), rng.uniform(0.0, 2.0 * math.pi)
    axis = np.array([math.cos(toward), math.sin(toward), 0.0])
    cross = np.array([[0.0, 0.0, axis[1]], [0.0, 0.0, -axis[0]], [-axis[1], axis[0], 0.0]])
    turn = np.eye(3) + math.sin(tilt) * cross + (1.0 - math.cos(tilt)) * cross @ cross
    c, s = math.cos(roll), math.sin(roll)
    turn = turn @ np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    if rng.random() < 0.5:
        turn = turn @ np.diag([-1.0, 1.0, 1.0])  # seen in a beam splitter or through the back
    distance = rng.uniform(5.0, 16.0) * 2.0 * face.semi_major_mm
    flat = np.column_stack([turn[:, 0] * face.semi_u_mm, turn[:, 1] * face.semi_v_mm, [0.0, 0.0, distance]])
    side = np.linspace(-1.0, 1.0, 21)
    ring = np.column_stack([np.cos(np.pi * side), np.sin(np.pi * side)])
    if face.shape is Shape.RECTANGLE:
        ring = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    seen = np.column_stack([ring, np.ones(len(ring))]) @ flat.T
    seen = seen[:, :2] / seen[:, 2:]
    low, high = seen.min(axis=0), seen.max(axis=0)
    focal = rng.uniform(0.3, 0.9) * float(np.min(np.array([width, height]) / (high - low)))
    free = np.maximum(np.array([width, height]) - focal * (high - low) - 8.0, 0.0)
    corner = 4.0 + free * np.clip(rng.normal(0.5, 0.25, 2), 0.0, 1.0)
    shift = corner - focal * low
    return np.array([[focal, 0.0, shift[0]], [0.0, focal, shift[1]], [0.0, 0.0, 1.0]]) @ flat


def _through(h: NDArray, x: NDArray, y: NDArray) -> tuple[NDArray, NDArray]:
    h = (h / h[2, 2]).astype(np.float32)
    w = h[2, 0] * x + h[2, 1] * y + h[2, 2]
    return (h[0, 0] * x + h[0, 1] * y + h[0, 2]) / w, (h[1, 0] * x + h[1, 1] * y + h[1, 2]) / w


def _distance(face: Face, p: NDArray, q: NDArray, aspect: float) -> NDArray:
    """Signed distance to the outline in units of semi_u, right near the outline."""
    if face.shape is Shape.RECTANGLE:
        return np.maximum(np.abs(p) - 1.0, (np.abs(q) - 1.0) * aspect)
    r2 = p * p + q * q
    return (r2 - 1.0) / (2.0 * np.sqrt(p * p + (q / aspect) ** 2) + 1e-6)


def _noise_field(rng: np.random.Generator, shape: tuple[int, ...], *, cells: int) -> NDArray:
    small = Image.fromarray(rng.standard_normal((cells, cells)).astype(np.float32))
    return np.asarray(small.resize(shape[::-1], Image.Resampling.BICUBIC))


def _table(rng: np.random.Generator, x: NDArray, y: NDArray, kinds: list[str]) -> NDArray:
    level = rng.uniform(0.01, 0.1) if rng.random() < 0.5 else rng.uniform(0.25, 0.85)
    kinds.append("dark table" if level < 0.15 else "grey table")
    light = np.full(x.shape, level, dtype=np.float32)
    drawn = rng.choice(["even", "grained", "striped", "felt"])
    kinds.append(f"{drawn} table")
    if drawn == "grained":
        light *= 1.0 + 0.08 * _noise_field(rng, x.shape, cells=60)
    if drawn == "striped":
        a = rng.uniform(0.0, math.pi)
        along = x * math.cos(a) + y * math.sin(a)
        light *= 1.0 + 0.06 * np.sin(along / rng.uniform(6.0, 30.0) + 2.0 * _noise_field(rng, x.shape, cells=8))
    if drawn == "felt":
        light *= 1.0 + 0.1 * _noise_field(rng, x.shape, cells=min(x.shape) // 4)
    return light


def _plate(rng: np.random.Generator, light: NDArray, p: NDArray, q: NDArray, *, face: Face, unit_px: float, kinds: list[str]) -> NDArray:
    aspect = face.semi_v_mm / face.semi_u_mm
    needed = math.hypot(1.0, aspect) if face.shape is Shape.RECTANGLE else max(1.0, aspect)
    radius = needed * rng.uniform(1.06, 1.6)
    cp, cq = rng.uniform(-0.04, 0.04, 2) * needed
    round_plate = rng.random() < 0.75
    kinds.append("round plate" if round_plate else "square plate")
    away = np.hypot(p - cp, q - cq) - radius if round_plate else np.maximum(np.abs(p - cp), np.abs(q - cq)) - radius
    level, rim, line = rng.uniform(0.1, 0.7), rng.uniform(0.05, 1.8), rng.uniform(0.0, 0.3)
    width = rng.uniform(0.01, 0.05)
    light = _laid(light, np.float32(rim), away=away, unit_px=unit_px)
    light = _laid(light, np.float32(line), away=away + 0.4 * width, unit_px=unit_px)
    return _laid(light, np.float32(level), away=away + width, unit_px=unit_px)


def _shadow(rng: np.random.Generator, light: NDArray, p: NDArray, q: NDArray, *, face: Face, aspect: float, kinds: list[str]) -> NDArray:
    """The piece's shadow on what lies below it, thrown to one side, its border soft."""
    kinds.append("shadow")
    dp, dq = rng.uniform(-0.05, 0.05, 2)
    away = _distance(face, p - dp, q - dq / aspect, aspect)
    return light * (1.0 - rng.uniform(0.2, 0.7) / (1.0 + np.exp(np.clip(away / rng.uniform(0.006, 0.03), -30.0, 30.0))))


def _bands(rng: np.random.Generator, p: NDArray, q: NDArray, *, face: Face, across_px: float, kinds: list[str]) -> tuple[NDArray, float]:
    """Light of the bands and their number."""
    most = min(40.0, across_px / 9.0)
    count = math.exp(rng.uniform(math.log(2.0), math.log(most)))
    drawn = str(rng.choice(["straight", "bowed", "rings", "concentric", "saddle"]))
    kinds.append(drawn)
    a = rng.uniform(0.0, 2.0 * math.pi)
    tilt = p * math.cos(a) + q * math.sin(a)
    figure = {
        "straight": tilt + 0.01 * (p * p - q * q),
        "bowed": tilt + 0.12 * (q * math.cos(a) - p * math.sin(a)) ** 2,
        "rings": p * p + q * q + rng.uniform(0.0, 0.8) * tilt,
        "concentric": p * p + q * q,
        "saddle": p * p - q * q + rng.uniform(0.0, 0.5) * tilt,
    }[drawn]
    figure = figure + rng.uniform(0.0, 0.03) * (p**3 - 2.0 * p * q * q)
    if rng.random() < 0.4:
        kinds.append("turned edge")
        figure = figure - rng.uniform(0.1, 0.6) / count * np.exp(-np.maximum(1.0 - np.hypot(p, q), 0.0) / rng.uniform(0.02, 0.08))
    inside = np.maximum(np.abs(p), np.abs(q)) < 1.0 if face.shape is Shape.RECTANGLE else p * p + q * q < 1.0
    phase = figure * (2.0 * math.pi * count / float(np.ptp(figure[inside]))) + rng.uniform(0.0, 2.0 * math.pi)
    contrast = rng.uniform(0.25, 0.95)
    kinds.append("low contrast" if contrast < 0.4 else "contrast")
    swing = np.cos(phase)
    if rng.random() < 0.3:
        kinds.append("sharp bands")
        coating = 0.5
        swing = 2.0 * (1.0 + coating) / (1.0 + coating * (1.0 + swing)) * (1.0 + swing) / 2.0 - 1.0
    return (1.0 + contrast * swing).astype(np.float32), count


def _blemished(rng: np.random.Generator, bands: NDArray, p: NDArray, q: NDArray, *, easy: bool, kinds: list[str]) -> NDArray:
    if easy or rng.random() > 0.25:
        return bands
    kinds.append("half frosted")
    a, border = rng.uniform(0.0, 2.0 * math.pi), rng.uniform(-0.2, 0.5)
    frosted = 1.0 / (1.0 + np.exp(-np.clip((p * math.cos(a) + q * math.sin(a) - border) / rng.uniform(0.005, 0.2), -30.0, 30.0)))
    return bands + frosted * (rng.uniform(0.3, 0.7) * (1.0 - bands) + rng.uniform(0.0, 0.4))


def _bevelled(rng: np.random.Generator, bands: NDArray, away: NDArray, *, beside: float, unit_px: float, kinds: list[str]) -> NDArray:
    drawn = rng.choice(["sharp", "bright", "dim", "dark line"])
    kinds.append(f"{drawn} rim")
    if drawn == "sharp":
        return bands
    width = rng.uniform(0.006, 0.035) if drawn != "dark line" else 0.006
    level = {"bright": rng.uniform(1.2, 2.5), "dim": rng.uniform(0.3, 1.0), "dark line": 0.05}[str(drawn)]
    # A bevel exactly as bright as what lies beside it is seen by nobody.
    level += 0.3 if abs(level - beside) < 0.15 else 0.0
    return _laid(np.full_like(bands, level), bands, away=away + width, unit_px=unit_px)


def _laid(below: NDArray, above: NDArray | np.float32, *, away: NDArray, unit_px: float) -> NDArray:
    share = np.clip(0.5 - away * unit_px, 0.0, 1.0)
    return below + share * (above - below)


def _lamp(rng: np.random.Generator, x: NDArray, y: NDArray, *, easy: bool) -> NDArray:
    strength = 0.3 if easy else 1.0
    fall, slope, a = strength * rng.uniform(0.0, 1.4), strength * rng.uniform(0.0, 0.9), rng.uniform(0.0, 2.0 * math.pi)
    return np.maximum((1.0 + slope * (x * math.cos(a) + y * math.sin(a))) / (1.0 + fall * (x * x + y * y)) ** 2, 0.05)


def _glared(rng: np.random.Generator, light: NDArray, p: NDArray, q: NDArray, *, kinds: list[str]) -> NDArray:
    for _ in range(int(rng.choice([0, 0, 1, 2]))):
        kinds.append("glare")
        (cp, cq), a = rng.uniform(-1.1, 1.1, 2), rng.uniform(0.0, math.pi)
        long, short = rng.uniform(0.1, 0.5), rng.uniform(0.02, 0.12)
        along, across = (p - cp) * math.cos(a) + (q - cq) * math.sin(a), (q - cq) * math.cos(a) - (p - cp) * math.sin(a)
        light = light + rng.uniform(0.3, 5.0) * np.exp(-np.minimum((along / long) ** 2 + (across / short) ** 2, 60.0))
    return light


def _hairs(rng: np.random.Generator, light: NDArray, *, kinds: list[str]) -> NDArray:
    """Hairs (arcs a pixel or two wide) and dust."""
    light = light.copy()
    for _ in range(int(rng.integers(0, 4))):
        kinds.append("hair")
        centre = rng.uniform(0.0, 1.0, 2) * [light.shape[1], light.shape[0]]
        radius = rng.uniform(0.05, 0.3) * light.shape[1]
        start, span = rng.uniform(0.0, 2.0 * math.pi), rng.uniform(0.4, 2.0)
        t = start + np.linspace(0.0, span, int(radius * span * 2) + 2)
        for thick in range(int(rng.integers(1, 3))):
            columns = np.rint(centre[0] + (radius + thick) * np.cos(t)).astype(int)
            rows = np.rint(centre[1] + (radius + thick) * np.sin(t)).astype(int)
            kept = (columns >= 0) & (rows >= 0) & (columns < light.shape[1]) & (rows < light.shape[0])
            light[rows[kept], columns[kept]] *= 0.3
    for _ in range(int(rng.integers(0, 120))):
        row, column, size = int(rng.integers(2, light.shape[0] - 6)), int(rng.integers(2, light.shape[1] - 6)), int(rng.integers(1, 5))
        light[row : row + size, column : column + size] *= float(rng.choice([0.3, 1.8]))
    return light


def _developed(rng: np.random.Generator, light: NDArray, *, colour: tuple[float, float, float], blur_px: float) -> bytes:
    """Blur, noise, sRGB coding (IEC 61966-2-1), orientation and JPEG."""
    full = rng.uniform(0.25, 0.5)
    electrons = rng.uniform(3000.0, 15000.0)
    soft = _soft(light, blur_px)
    channels = []
    for share in colour:
        signal = soft * (full * share) + 0.004
        signal = signal + rng.standard_normal(light.shape, dtype=np.float32) * np.sqrt(np.maximum(signal, 0.0) / electrons + 0.002**2)
        signal = np.clip(signal, 0.0, 1.0)
        coded = np.where(signal <= 0.0031308, 12.92 * signal, 1.055 * np.maximum(signal, 1e-6) ** (1.0 / 2.4) - 0.055)
        channels.append(np.rint(255.0 * coded).astype(np.uint8))
    picture, orientation = Image.fromarray(np.stack(channels, axis=-1)), int(rng.integers(1, 9))
    if orientation in STORED:
        picture = picture.transpose(getattr(Image.Transpose, STORED[orientation]))
    exif = Image.Exif()
    exif[ORIENTATION_TAG] = orientation
    kept = io.BytesIO()
    picture.save(kept, "JPEG", quality=int(rng.integers(60, 96)), exif=exif)
    return kept.getvalue()


def _soft(light: NDArray, sigma_px: float) -> NDArray:
    """Gaussian blur by two passes of one-dimensional sums."""
    reach = math.ceil(3.5 * sigma_px)
    weights = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma_px) ** 2)
    weights = (weights / weights.sum()).astype(np.float32)
    for axis in (0, 1):
        pad = [(reach, reach) if k == axis else (0, 0) for k in range(2)]
        padded = np.pad(light.astype(np.float32), pad, mode="edge")
        n = light.shape[axis]
        light = sum(w * np.take(padded, range(k, k + n), axis=axis) for k, w in enumerate(weights))
    return light
