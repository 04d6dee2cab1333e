"""Pictures of a reading: what was read drawn over the photograph, the map, profiles, and where the uncertainty comes from."""

from __future__ import annotations

import math
from typing import Any

import contourpy
import cv2
import numpy as np
from numpy.typing import NDArray

from straightband.face.shapes import Face, Shape
from straightband.fringes.budget import CauseEffect
from straightband.heightmap.figures import profile, sample, without_tilt
from straightband.heightmap.map import HeightMap
from straightband.photo.load import Photo, load_photo
from straightband.photo.rectify import SquarePicture
from straightband.plots.budget import budget_png
from straightband.plots.lines import Profile, profile_png, strehl_field_png
from straightband.plots.maps import map_png
from straightband.plots.overlay import bands_overlay_png
from straightband.uncertainty import Budget, Term, budget_of
from straightband.workflows.judge import Verdict
from straightband.workflows.maps import band_of
from straightband.workflows.read import Reading

SIDE_PX = 1000  # of the overlay: 85 mm on the certificate at 300 dots per inch
ROOM = 0.3  # photograph left around the face, in half extents, so that an eye sees what the outline was told from
RIM_POINTS = 361
STEPS_PER_LINE = 400
LINE_STEPS = 200  # of a line across the whole photograph on a screen: 7 pixels of 1400
# Origins of the causes that are named although nothing is known of their size.
UNKNOWN_SIZE = {"not told: heights are those of the pair": "not told", "one photograph: not known": "not known"}


def overlay_picture(reading: Reading, data: bytes, *, name: str = "", note: str = "") -> bytes:
    """The (first) photograph around the face, with outline and dark bands as read, as PNG; `data` are its bytes, `name` its name where it is a film's frame."""
    photo = load_photo(data, name=name or reading.sources[0].name)
    rim = _pixels(reading.picture, *_rim(reading.picture.face))
    left, top, right, bottom = _window(rim, size_px=photo.size_px)
    step = max(1.0, max(right - left, bottom - top) / SIDE_PX)
    shown = _shown(photo, window=(left, top, right, bottom), step=step)
    scale = np.array([shown.shape[1] / (right - left), shown.shape[0] / (bottom - top)])

    def placed(points: NDArray) -> NDArray:
        return (points - [left, top] + 0.5) * scale - 0.5

    return bands_overlay_png(shown, dark_lines=[placed(line) for line in dark_lines(reading)], outline=placed(rim), note=note)


def preview_picture(data: bytes, *, name: str, side_px: int) -> tuple[bytes, tuple[int, int]]:
    """A photograph upright and small, as a screen shows it, as JPEG, and its own width and height; raises PhotoUnreadable."""
    photo = load_photo(data, name=name)
    step = max(1.0, max(photo.size_px) / side_px)
    shown = _shown(photo, window=(0, 0, *photo.size_px), step=step)
    coded = cv2.imencode(".jpg", cv2.cvtColor(shown, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, 80])[1]
    return bytes(coded), (int(photo.size_px[0]), int(photo.size_px[1]))


def drawing_of(reading: Reading, *, size_px: tuple[int, int]) -> dict[str, Any]:
    """Outline and dark bands as read, in pixels of the upright photograph, thinned to what a screen shows; plain JSON values."""
    rim = _pixels(reading.picture, *_rim(reading.picture.face))
    step = max(1, round(max(size_px) / LINE_STEPS))
    return {
        "size_px": list(size_px),
        "outline": _thinned(rim, step_px=step),
        "dark": [_thinned(line, step_px=step) for line in dark_lines(reading) if len(line) > 1],
    }


def _thinned(line: NDArray, *, step_px: float) -> list[list[float]]:
    """Points of a line at least a step apart, its ends kept."""
    walked = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    kept = np.unique(np.searchsorted(walked, np.arange(0.0, walked[-1], step_px)))
    return [[round(float(x), 1), round(float(y), 1)] for x, y in line[np.append(kept, len(line) - 1)]]


def dark_lines(reading: Reading) -> list[NDArray]:
    """The dark bands as read, each (n, 2) columns and rows of the full-size upright photograph."""
    phase = reading.phase
    low, high = float(np.nanmin(phase.phase_rad)), float(np.nanmax(phase.phase_rad))
    # The light is fitted as mean + swing x cos(phase), so it is darkest at odd multiples of pi.
    orders = range(math.ceil((low / math.pi - 1.0) / 2.0), math.floor((high / math.pi - 1.0) / 2.0) + 1)
    lines = contourpy.contour_generator(phase.u_mm, phase.v_mm, np.ma.masked_invalid(phase.phase_rad))
    found = [line for order in orders for line in lines.lines((2 * order + 1) * math.pi)]
    return [_pixels(reading.picture, np.asarray(line)[:, 0], np.asarray(line)[:, 1]) for line in found]


def _rim(face: Face) -> tuple[NDArray, NDArray]:
    """Points (u, v) of the whole outline."""
    if face.shape is Shape.RECTANGLE:
        x, y = np.array([-1.0, 1.0, 1.0, -1.0, -1.0]), np.array([-1.0, -1.0, 1.0, 1.0, -1.0])
    else:
        turn = np.linspace(0.0, 2.0 * np.pi, RIM_POINTS)
        x, y = np.cos(turn), np.sin(turn)
    return face.semi_u_mm * x, face.semi_v_mm * y


def _pixels(picture: SquarePicture, u_mm: NDArray, v_mm: NDArray) -> NDArray:
    return np.column_stack(picture.pixel_positions(u_mm, v_mm))


def _window(rim: NDArray, *, size_px: tuple[int, int]) -> tuple[int, int, int, int]:
    """Left, top, right and bottom of what is shown, in pixels of the photograph."""
    low, high = rim.min(axis=0), rim.max(axis=0)
    room = ROOM * (high - low).max() / 2.0
    left, top = np.maximum(np.floor(low - room), 0).astype(int)
    right, bottom = np.minimum(np.ceil(high + room) + 1, size_px).astype(int)
    return int(left), int(top), int(right), int(bottom)


def _shown(photo: Photo, *, window: tuple[int, int, int, int], step: float) -> NDArray[np.uint8]:
    """Part of the photograph as a screen shows it, each side `step` times shorter."""
    left, top, right, bottom = (round(edge / photo.binning) for edge in window)
    part = photo.levels[top:bottom, left:right].astype(np.float32) / photo.full_scale
    if photo.encoding == "linear":
        # IEC 61966-2-1, "sRGB"; exposed up, since linear files of a camera are dark.
        light = part / max(float(np.percentile(part, 99.5)), 1e-6)
        part = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.power(np.maximum(light, 0.0), 1.0 / 2.4) - 0.055)
    size = (max(1, round((window[2] - window[0]) / step)), max(1, round((window[3] - window[1]) / step)))
    small = cv2.resize(part, size, interpolation=cv2.INTER_AREA if step >= photo.binning else cv2.INTER_LINEAR)
    small = small[:, :, None] if small.ndim == 2 else small
    colours = np.repeat(small, 3 // small.shape[2], axis=2)
    return np.round(255.0 * colours.clip(0.0, 1.0)).astype(np.uint8)


def map_picture(height_map: HeightMap, *, title: str = "") -> bytes:
    """The map with its scale, saying which end the mark names and whether hills are known from holes, as PNG."""
    v_end = "+v" if height_map.meta.get("mark") is None else "+v, toward the mark"
    note = "Hills are positive." if height_map.meta.get("sign") == "known" else "Hill or hole: not known."
    return map_png(height_map, band_nm=band_of(height_map), title=title, note=note, v_end=v_end)


def strehl_picture(verdict: Verdict, *, title: str = "") -> bytes:
    """What stars get across the field, with 95 % bars, against what is required, as PNG."""
    radius, strehl, doubt = (
        np.array([getattr(at, name) for at in verdict.strehl]) for name in ("field_radius_mm", "strehl", "uncertainty")
    )
    return strehl_field_png(radius, strehl, uncertainty=doubt, required=verdict.strehl_wanted, title=title)


def profile_picture(height_map: HeightMap, *, title: str = "") -> bytes:
    """Heights along the two axes of the face with their 95 % interval, as PNG."""
    flat, clear = without_tilt(height_map), height_map.clear
    lines = (
        _along(flat, label="along v, the major axis", end_mm=(0.0, clear.semi_v_mm)),
        _along(flat, label="along u", end_mm=(clear.semi_u_mm, 0.0)),
    )
    return profile_png(lines, band_nm=band_of(height_map), title=title)


def _along(flat: HeightMap, *, label: str, end_mm: tuple[float, float]) -> Profile:
    start = (-end_mm[0], -end_mm[1])
    distance, heights = profile(flat, start_mm=start, end_mm=end_mm, count=STEPS_PER_LINE)
    share = np.linspace(-1.0, 1.0, STEPS_PER_LINE)
    doubt = sample(flat.uncertainty_nm, flat, u_mm=share * end_mm[0], v_mm=share * end_mm[1])
    return Profile(label=label, distance_mm=distance - distance[-1] / 2.0, heights_nm=heights, uncertainty_nm=doubt)


def budget_of_figure(reading: Reading, figure: str = "pv_nm") -> Budget:
    """The budget behind one figure of a reading, by the figure's name; a cause of unknown size says so in its own name."""
    return budget_of(Term(name=_named(effect), nm=effect.expanded_nm[figure], origin=effect.origin) for effect in reading.budget.effects)


def _named(effect: CauseEffect) -> str:
    # A bare zero would say that the cause does no harm.
    return f"{effect.name}: {UNKNOWN_SIZE[effect.origin]}" if effect.origin in UNKNOWN_SIZE else effect.name


def budget_picture(reading: Reading, *, figure: str = "pv_nm", title: str = "") -> bytes:
    """Where the uncertainty of one figure comes from, as PNG."""
    return budget_png(budget_of_figure(reading, figure), title=title)
