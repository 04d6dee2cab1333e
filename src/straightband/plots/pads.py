"""A plate of pads as a picture: the pads, the mirror at the ends of its stroke, and the rates beside."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle, Polygon
from numpy.typing import NDArray

from straightband.plots.style import ACCENT, INK, PALE, SMALL_PT, drawing, new_figure, png_bytes, wrapped

PAD_FILL = "#e4ded3"


@dataclass(frozen=True, slots=True, kw_only=True)
class PadPicture:
    """What is drawn.

    Attributes
    ----------
    plate_radius_mm
        Of the plate.
    pieces
        (n, 2) corners of each, in mm from the middle of the plate.
    labels, middles
        Text on each piece, and where.
    mirrors
        (n, 2) outlines of the mirror at the ends of its stroke.
    radius_mm, rate, uncertainty, rate_naive
        (m,) each: relative rate by distance from the centre of the mirror, and that with pads in rows.
    note
        Below the picture.
    """

    plate_radius_mm: float
    pieces: Sequence[NDArray]
    labels: Sequence[str]
    middles: Sequence[tuple[float, float]]
    mirrors: Sequence[NDArray]
    radius_mm: NDArray
    rate: NDArray
    uncertainty: NDArray
    rate_naive: NDArray
    note: str


def pads_png(picture: PadPicture) -> bytes:
    """The plate at the left, the rates at the right, as PNG."""
    with drawing():
        figure = new_figure(width_in=9.6, height_in=4.9)
        plate = figure.add_axes((0.02, 0.14, 0.44, 0.82))
        _draw_plate(plate, picture)
        rates = figure.add_axes((0.57, 0.22, 0.4, 0.7))
        _draw_rates(rates, picture)
        figure.text(0.02, 0.02, wrapped(picture.note, columns=118), fontsize=SMALL_PT, va="bottom")
        return png_bytes(figure)


def _draw_plate(axes: Axes, picture: PadPicture) -> None:
    axes.add_patch(Circle((0.0, 0.0), picture.plate_radius_mm, fill=False, edgecolor=INK, linewidth=1.8))
    for corners, label, middle in zip(picture.pieces, picture.labels, picture.middles, strict=True):
        axes.add_patch(Polygon(corners, closed=True, facecolor=PAD_FILL, edgecolor=INK, linewidth=0.9))
        axes.text(*middle, label, ha="center", va="center", fontsize=8.5)
    for outline in picture.mirrors:
        axes.add_patch(Polygon(outline, closed=True, fill=False, edgecolor=ACCENT, linestyle="dashed", linewidth=1.4))
    reach = 1.03 * max(picture.plate_radius_mm, *(float(np.abs(outline).max()) for outline in picture.mirrors))
    axes.set_xlim(-reach, reach)
    axes.set_ylim(-reach, reach)
    axes.set_aspect("equal")
    axes.set_axis_off()


def _draw_rates(axes: Axes, picture: PadPicture) -> None:
    axes.plot(picture.radius_mm, picture.rate_naive, color=PALE, linestyle="dashed", linewidth=1.6, label="pads in rows")
    low, high = picture.rate - picture.uncertainty, picture.rate + picture.uncertainty
    axes.fill_between(picture.radius_mm, low, high, color=ACCENT, alpha=0.18, linewidth=0.0)
    axes.plot(picture.radius_mm, picture.rate, color=ACCENT, linewidth=2.2, label="this lay-out, 95 %")
    axes.set_xlabel("mm from the centre of the mirror")
    axes.set_ylabel("relative rate")
    axes.set_ylim(bottom=0.0)
    axes.set_xlim(left=0.0)
    axes.legend(loc="lower left", frameon=False)
