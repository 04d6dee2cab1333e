"""Zones to be copied onto a face, the face after a run as a map and as bands, and what each stroke takes off."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import QuadMesh
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.patches import Polygon
from numpy.typing import NDArray

from straightband.plots.style import ACCENT, HEIGHT_COLOURS, INK, PALE, SMALL_PT, drawing, new_figure, png_bytes, round_step, wrapped

BANDS_SHOWN = 6.0  # across the face, in the picture of bands: as a wedge in practice shows them
_ROOM = 1.22  # of the half extent, for the clock around the face
_DARK_TO_LIGHT = LinearSegmentedColormap.from_list("bands", ["#2b2b2b", "#f4f0e6"])
_ACROSS = 4  # small pictures in a row


@dataclass(frozen=True, slots=True, kw_only=True)
class FacePicture:
    """A face as it lies before the worker.

    Attributes
    ----------
    x_mm, y_mm
        [row, column] right and up of each height.
    rim
        (n, 2) outline of the whole face.
    hours
        (12, 2) where the hours of the face's own clock stand, 1 first.
    mark
        (2,) where the pencil mark is.
    """

    x_mm: NDArray
    y_mm: NDArray
    rim: NDArray
    hours: NDArray
    mark: NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class ZonePicture:
    """What is drawn for a run.

    Attributes
    ----------
    face
        Where everything lies.
    now_nm, after_nm
        [row, column] less tilt, NaN off the clear aperture.
    zones
        Number and (n, 2) outline of each stroke over one place.
    band_nm
        Height of a band.
    note
        Below.
    """

    face: FacePicture
    now_nm: NDArray
    after_nm: NDArray
    zones: Sequence[tuple[str, NDArray]]
    band_nm: float
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Wear:
    """What one stroke takes off.

    Attributes
    ----------
    title
        Above.
    depth_nm
        [row, column], NaN off the face.
    """

    title: str
    depth_nm: NDArray


def zones_png(picture: ZonePicture) -> bytes:
    """Zones on the map of now, the map after, and the bands after, side by side, as PNG."""
    with drawing():
        figure = new_figure(width_in=12.0, height_in=4.9)
        low = min(float(np.nanmin(picture.now_nm)), float(np.nanmin(picture.after_nm)))
        high = max(float(np.nanmax(picture.now_nm)), float(np.nanmax(picture.after_nm)), low + 1e-3)
        first, second, third = (figure.add_axes((left, 0.12, 0.285, 0.76)) for left in (0.01, 0.335, 0.70))
        mesh = _paint(first, picture.now_nm, face=picture.face, low=low, high=high)
        _zones(first, picture.zones)
        _paint(second, picture.after_nm, face=picture.face, low=low, high=high)
        _bands(third, picture)
        for axes, title in ((first, "Now, with the zones"), (second, "As it is to be afterwards"), (third, "Its bands afterwards")):
            _frame(axes, picture.face, title=title)
        _scale(figure, mesh, band_nm=picture.band_nm)
        figure.text(0.01, 0.02, wrapped(picture.note, columns=150), fontsize=SMALL_PT, va="bottom")
        return png_bytes(figure)


def wear_png(face: FacePicture, wears: Sequence[Wear], *, note: str) -> bytes:
    """What each stroke takes off, each with its own scale of contours, as PNG."""
    with drawing():
        rows = math.ceil(len(wears) / _ACROSS)
        figure = new_figure(width_in=12.0, height_in=3.6 * rows + 0.5)
        for number, wear in enumerate(wears):
            row, column = divmod(number, _ACROSS)
            tall = 3.6 / (3.6 * rows + 0.5)
            axes = figure.add_axes((0.01 + column * 0.245, 1.0 - (row + 1) * tall + 0.01, 0.235, tall * 0.78))
            _paint(axes, wear.depth_nm, face=face, low=0.0, high=max(float(np.nanmax(wear.depth_nm)), 1e-3))
            _frame(axes, face, title=wrapped(wear.title, columns=30, most_lines=3), clock=False)
        figure.text(0.01, 0.01, wrapped(note, columns=150), fontsize=SMALL_PT, va="bottom")
        return png_bytes(figure)


def _paint(axes: Axes, heights: NDArray, *, face: FacePicture, low: float, high: float) -> QuadMesh:
    mesh = axes.pcolormesh(
        face.x_mm, face.y_mm, np.ma.masked_invalid(heights), cmap=HEIGHT_COLOURS, vmin=low, vmax=high, shading="nearest", rasterized=True
    )
    span = float(np.nanmax(heights) - np.nanmin(heights))
    if span > 1e-3:
        step = round_step(span, most=6)
        levels = step * np.arange(math.ceil(float(np.nanmin(heights)) / step), math.floor(float(np.nanmax(heights)) / step) + 1)
        colours = [INK if level > (low + high) / 2.0 else "white" for level in levels]
        dashes = ["dashed" if level < -step / 2.0 else "solid" for level in levels]
        lines = axes.contour(face.x_mm, face.y_mm, heights, levels=levels, colors=colours, linewidths=0.8, linestyles=dashes)
        axes.clabel(lines, fmt=lambda nm: f"{nm:.0f}", fontsize=8.0, inline_spacing=2)
    return mesh


def _zones(axes: Axes, zones: Sequence[tuple[str, NDArray]]) -> None:
    for _, outline in zones:
        axes.add_patch(Polygon(outline, closed=True, fill=False, edgecolor="white", linewidth=3.4))
        axes.add_patch(Polygon(outline, closed=True, fill=False, edgecolor=ACCENT, linewidth=1.8))
    for number, outline in zones:
        box = dict(boxstyle="circle,pad=0.25", facecolor="white", edgecolor=ACCENT)
        axes.text(
            float(outline[:, 0].mean()),
            float(outline[:, 1].mean()),
            number,
            ha="center",
            va="center",
            fontsize=SMALL_PT,
            color=ACCENT,
            fontweight="bold",
            bbox=box,
        )


def _bands(axes: Axes, picture: ZonePicture) -> None:
    face = picture.face
    reach = float(np.abs(face.rim).max())
    order = picture.after_nm / picture.band_nm + BANDS_SHOWN / 2.0 * face.y_mm / reach
    light = 0.5 + 0.5 * np.cos(2.0 * np.pi * order)
    axes.pcolormesh(
        face.x_mm, face.y_mm, np.ma.masked_invalid(light), cmap=_DARK_TO_LIGHT, vmin=0.0, vmax=1.0, shading="nearest", rasterized=True
    )


def _frame(axes: Axes, face: FacePicture, *, title: str, clock: bool = True) -> None:
    axes.add_patch(Polygon(face.rim, closed=True, fill=False, edgecolor=INK, linewidth=1.6))
    if clock:
        for hour, (x, y) in enumerate(face.hours, start=1):
            axes.text(x, y, str(hour), ha="center", va="center", fontsize=8.0, color=PALE)
    axes.plot([face.mark[0]], [face.mark[1]], marker="o", markersize=7, color=ACCENT, clip_on=False)
    reach = _ROOM * float(np.abs(face.rim).max())
    axes.set_xlim(-reach, reach)
    axes.set_ylim(-reach, reach)
    axes.set_aspect("equal")
    axes.set_axis_off()
    axes.set_title(title, fontsize=11.0)


def _scale(figure: Figure, mesh: QuadMesh, *, band_nm: float) -> None:
    bar = figure.add_axes((0.645, 0.2, 0.012, 0.6))
    figure.colorbar(mesh, cax=bar)
    bar.set_title("nm", fontsize=SMALL_PT, fontweight="normal")
    bar.set_xlabel(f"a band: {band_nm:.0f}", fontsize=8.0)
