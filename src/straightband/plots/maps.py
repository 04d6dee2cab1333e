"""The height map as a picture: colours, contour lines, and scales in nm and in bands."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.image import AxesImage
from matplotlib.patches import Ellipse, Patch, Rectangle
from numpy.typing import NDArray

from straightband.face.shapes import Face, Shape
from straightband.heightmap.figures import without_tilt
from straightband.heightmap.map import HeightMap
from straightband.plots.style import (
    ACCENT,
    HEIGHT_COLOURS,
    INK,
    PALE,
    SMALL_PT,
    TEXT_PT,
    add_band_axis,
    drawing,
    new_figure,
    png_bytes,
    round_step,
    wrapped,
)

MOST_CONTOURS = 8
LEAST_SPAN_NM = 1e-3  # a flatter map than this has no contour to draw
RIM_ROOM = 0.05  # paper left around the face, in semi-major axes
_WIDTH_IN = 6.0
_FACE_WIDE_IN, _FACE_TALL_IN = 3.3, 5.4  # the most that the face may take
_BAR_LEAST_IN = 2.0


def map_png(height_map: HeightMap, *, band_nm: float, title: str = "", note: str = "", v_end: str = "+v") -> bytes:
    """The map less its tilt, as seen looking at the face with v up, as PNG.

    Parameters
    ----------
    band_nm
        Height of one band, for the scale in bands.
    title, note
        Free text above and below; the note is the place to say that hill or hole is not known.
    v_end
        What stands at the +v end, where the pencil mark's meaning belongs.
    """
    with drawing():
        return png_bytes(_map_figure(height_map, band_nm=band_nm, title=title, note=note, v_end=v_end))


def _map_figure(height_map: HeightMap, *, band_nm: float, title: str, note: str, v_end: str) -> Figure:
    title, note = wrapped(title, columns=44), wrapped(f"As seen looking at the face. {note}", columns=72)
    figure, axes, bar = _laid_out(height_map.face, title=title, note=note)
    level = without_tilt(height_map)
    heights = np.where(level.valid, level.heights_nm, np.nan)
    image = _paint(axes, heights, height_map=height_map)
    _contours(axes, heights, height_map=height_map)
    _draw_face(axes, height_map=height_map, v_end=v_end)
    _scale(figure, image, bar=bar, band_nm=band_nm)
    return figure


def _laid_out(face: Face, *, title: str, note: str) -> tuple[Figure, Axes, Axes]:
    """The picture, the axes for the face at one scale both ways, and the axes for the scale of heights; all placed in inches."""
    reach = RIM_ROOM * face.semi_major_mm
    wide_mm, tall_mm = 2.0 * (face.semi_u_mm + reach), 2.0 * face.semi_v_mm + 4.2 * reach
    scale = min(_FACE_WIDE_IN / wide_mm, _FACE_TALL_IN / tall_mm)
    wide, tall, bar_tall = wide_mm * scale, tall_mm * scale, max(tall_mm * scale, _BAR_LEAST_IN)
    below = 0.68 + 0.2 * (note.count("\n") + 1)
    height = below + bar_tall + (0.5 + 0.26 * (title.count("\n") + 1) if title else 0.4)
    figure = new_figure(width_in=_WIDTH_IN, height_in=height)

    def placed(left: float, up: float, *, size: tuple[float, float]) -> Axes:
        return figure.add_axes((left / _WIDTH_IN, up / height, size[0] / _WIDTH_IN, size[1] / height))

    left = 0.85 + (_FACE_WIDE_IN - wide) / 2.0
    axes, bar = placed(left, below + (bar_tall - tall) / 2.0, size=(wide, tall)), placed(5.0, below, size=(0.18, bar_tall))
    axes.set_xlim(-wide_mm / 2.0, wide_mm / 2.0)
    axes.set_ylim(-face.semi_v_mm - reach, face.semi_v_mm + 3.2 * reach)
    axes.set_xlabel("u / mm")
    axes.set_ylabel("v / mm")
    figure.text(0.02, 1.0 - 0.12 / height, title, va="top", fontsize=13.0, fontweight="bold")
    figure.text(0.02, 0.1 / height, note, va="bottom", fontsize=SMALL_PT)
    return figure, axes, bar


def _half_step(axis_mm: NDArray) -> float:
    return float(axis_mm[1] - axis_mm[0]) / 2.0


def _paint(axes: Axes, heights: NDArray, *, height_map: HeightMap) -> AxesImage:
    u, v, du, dv = height_map.u_mm, height_map.v_mm, _half_step(height_map.u_mm), _half_step(height_map.v_mm)
    lowest, highest = float(np.nanmin(heights)), float(np.nanmax(heights))
    if highest - lowest < LEAST_SPAN_NM:
        lowest, highest = lowest - 0.5, highest + 0.5
    return axes.imshow(
        heights,
        cmap=HEIGHT_COLOURS,
        vmin=lowest,
        vmax=highest,
        origin="lower",
        extent=(u[0] - du, u[-1] + du, v[0] - dv, v[-1] + dv),
        interpolation="nearest",
        aspect="auto",  # the axes already have the face's proportions
    )


def _contours(axes: Axes, heights: NDArray, *, height_map: HeightMap) -> None:
    lowest, highest = float(np.nanmin(heights)), float(np.nanmax(heights))
    if highest - lowest < LEAST_SPAN_NM:
        return
    step = round_step(highest - lowest, most=MOST_CONTOURS)
    levels = step * np.arange(math.ceil(lowest / step), math.floor(highest / step) + 1)
    if levels.size == 0:
        return
    # Dark lines above the middle, light ones below, so that each stands out from what it lies on; dashes are depths.
    lines = axes.contour(
        height_map.u_mm,
        height_map.v_mm,
        heights,
        levels=levels,
        colors=[INK if level > (lowest + highest) / 2.0 else "white" for level in levels],
        linewidths=[1.8 if abs(level) < step / 2.0 else 0.9 for level in levels],
        linestyles=["dashed" if level < -step / 2.0 else "solid" for level in levels],
    )
    axes.clabel(
        lines,
        fmt=lambda nm: (f"{nm:+.0f}" if abs(nm) >= 100.0 else f"{nm:+.3g}").replace("-", "−") if abs(nm) > step / 2.0 else "0",
        fontsize=SMALL_PT,
        inline_spacing=3,
    )


def _outline(face: Face, *, line: str) -> Patch:
    if face.shape is Shape.RECTANGLE:
        return Rectangle(
            (-face.semi_u_mm, -face.semi_v_mm), 2 * face.semi_u_mm, 2 * face.semi_v_mm, fill=False, linestyle=line, edgecolor=INK
        )
    return Ellipse((0.0, 0.0), 2 * face.semi_u_mm, 2 * face.semi_v_mm, fill=False, linestyle=line, edgecolor=INK)


def _draw_face(axes: Axes, *, height_map: HeightMap, v_end: str) -> None:
    face = height_map.face
    axes.add_patch(_outline(face, line="solid"))
    if height_map.clear_margin > 0.0:
        axes.add_patch(_outline(height_map.clear, line="dotted"))
    top = (0.0, face.semi_v_mm + 1.4 * RIM_ROOM * face.semi_major_mm)
    axes.plot([top[0]], [top[1]], marker="^", markersize=9, color=ACCENT, clip_on=False)
    axes.annotate(
        wrapped(v_end, columns=26, most_lines=1),
        top,
        xytext=(9, 0),
        textcoords="offset points",
        va="center",
        color=ACCENT,
        fontweight="bold",
    )
    axes.tick_params(color=PALE)


def _scale(figure: Figure, image: AxesImage, *, bar: Axes, band_nm: float) -> None:
    figure.colorbar(image, cax=bar)
    bar.yaxis.set_ticks_position("left")
    bar.set_title("nm", fontsize=TEXT_PT, fontweight="normal", loc="right", x=-0.6, pad=8.0)
    add_band_axis(bar, band_nm=band_nm)
