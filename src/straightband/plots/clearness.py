"""How clear a back is, as pictures: a map with the line of clear enough, and the clear share over time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Ellipse, Patch, Rectangle
from numpy.typing import NDArray

from straightband.face.shapes import Face, Shape
from straightband.plots.style import ACCENT, INK, PALE, SMALL_PT, drawing, new_figure, png_bytes, wrapped

COLOURS = "gray"  # a perceptual scale by itself, and what the eye sees: white is clear
FACE_IN = 3.4
BELOW_IN = 1.15


@dataclass(frozen=True, slots=True, kw_only=True)
class ClearnessMap:
    """What one panel shows.

    Attributes
    ----------
    title
        Above it.
    face, u_mm, v_mm, clearness
        [v, u], 0 to 1, NaN off the face.
    places
        (u, v, radius) in mm of the places that are not clear.
    """

    title: str
    face: Face
    u_mm: NDArray
    v_mm: NDArray
    clearness: NDArray
    places: tuple[tuple[float, float, float], ...]


def clearness_png(maps: Sequence[ClearnessMap], *, enough: float, note: str = "") -> bytes:
    """Maps side by side, in the order taken, with the line of clear enough and circles of the same area as the grey places, as PNG."""
    with drawing():
        return png_bytes(_maps_figure(maps, enough=enough, note=note))


def _maps_figure(maps: Sequence[ClearnessMap], *, enough: float, note: str) -> Figure:
    face = maps[0].face
    scale = FACE_IN / (2.0 * face.semi_v_mm)
    wide = max(2.0 * face.semi_u_mm * scale, 1.6)
    width = 0.7 + (wide + 0.45) * len(maps) + 0.9
    height = FACE_IN + BELOW_IN + 0.5
    figure = new_figure(width_in=width, height_in=height)
    image = None
    for number, each in enumerate(maps):
        left = 0.7 + number * (wide + 0.45)
        axes = figure.add_axes((left / width, BELOW_IN / height, wide / width, FACE_IN / height))
        image = axes.imshow(
            each.clearness,
            cmap=COLOURS,
            vmin=0.0,
            vmax=1.0,
            origin="lower",
            extent=(each.u_mm[0], each.u_mm[-1], each.v_mm[0], each.v_mm[-1]),
            interpolation="nearest",
            aspect="equal",
        )
        _draw_places(axes, each, enough=enough)
        axes.set_title(wrapped(each.title, columns=22), fontsize=10.0)
        axes.set_xlabel("u / mm")
        if number == 0:
            axes.set_ylabel("v / mm")
        else:
            axes.set_yticklabels([])
    bar = figure.add_axes(((width - 0.75) / width, BELOW_IN / height, 0.14 / width, FACE_IN / height))
    assert image is not None  # noqa: S101 - there is at least one map; the type checker can't know
    figure.colorbar(image, cax=bar)
    bar.set_title("clear", fontsize=SMALL_PT, fontweight="normal", loc="center")
    bar.axhline(enough, color=ACCENT, linewidth=2.0)
    figure.text(0.02, 0.1 / height, wrapped(note, columns=int(width * 13), most_lines=3), va="bottom", fontsize=SMALL_PT)
    return figure


def _draw_places(axes: Axes, each: ClearnessMap, *, enough: float) -> None:
    axes.add_patch(_outline(each.face))
    axes.set_xlim(-each.face.semi_u_mm * 1.05, each.face.semi_u_mm * 1.05)
    axes.set_ylim(-each.face.semi_v_mm * 1.03, each.face.semi_v_mm * 1.03)
    if np.nanmin(each.clearness) < enough < np.nanmax(each.clearness):
        axes.contour(each.u_mm, each.v_mm, each.clearness, levels=[enough], colors=[ACCENT], linewidths=2.0)
    for u_mm, v_mm, radius_mm in each.places:
        axes.add_patch(Circle((u_mm, v_mm), radius_mm, fill=False, edgecolor=INK, linestyle="dashed", linewidth=1.2))
        axes.plot([u_mm], [v_mm], marker="+", color=ACCENT, markersize=9)


def _outline(face: Face) -> Patch:
    if face.shape is Shape.RECTANGLE:
        return Rectangle((-face.semi_u_mm, -face.semi_v_mm), 2 * face.semi_u_mm, 2 * face.semi_v_mm, fill=False, edgecolor=INK)
    return Ellipse((0.0, 0.0), 2 * face.semi_u_mm, 2 * face.semi_v_mm, fill=False, edgecolor=INK)


def progress_png(
    minutes: Sequence[float], fraction: Sequence[float], *, uncertainty: Sequence[float], clear_at: tuple[float, float, float] | None
) -> bytes:
    """The clear share over minutes of polishing with 95 % bars; `clear_at` is when all is clear: low, middle, high. As PNG."""
    with drawing():
        figure = new_figure(width_in=6.0, height_in=3.4)
        axes = figure.add_axes((0.13, 0.19, 0.82, 0.7))
        axes.errorbar(
            minutes, 100.0 * np.asarray(fraction), yerr=100.0 * np.asarray(uncertainty), color=INK, marker="o", capsize=4.0, linewidth=1.5
        )
        if clear_at is not None:
            low, middle, high = clear_at
            axes.axvspan(low, high, facecolor=PALE, alpha=0.3, hatch="///", edgecolor=PALE)
            axes.plot([middle], [100.0], marker="D", color=ACCENT, markersize=9, clip_on=False)
            # low on the right, where no curve of a clearing back comes
            axes.text(
                0.98,
                0.05,
                f"clear after about {middle:.0f} min\n({low:.0f} to {high:.0f} min, 95 %)",
                transform=axes.transAxes,
                ha="right",
                va="bottom",
                color=ACCENT,
                bbox={"facecolor": "white", "edgecolor": "none"},
            )
        axes.set_ylim(0.0, 104.0)
        axes.set_xlim(left=0.0)
        axes.set_xlabel("minutes of polishing since the first photograph")
        axes.set_ylabel("clear / %")
        return png_bytes(figure)
