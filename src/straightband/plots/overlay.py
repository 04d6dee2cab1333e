"""The photograph with what was read in it drawn over it, so that an eye can check the reading."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib import patheffects
from matplotlib.figure import Figure
from numpy.typing import NDArray

from straightband.plots.style import ACCENT, DPI, SMALL_PT, drawing, new_figure, png_bytes, wrapped

MOST_PX = 4000  # per side: a picture for people, not for reading again
_LEGEND = "Dashed: dark bands as read.  Solid: outline of the face."
_LEGEND_PX = 70
_LEAST_WIDE_PX = 820  # what the legend takes


def bands_overlay_png(photo_rgb: NDArray[np.uint8], *, dark_lines: Sequence[NDArray], outline: NDArray, note: str = "") -> bytes:
    """The photograph with the dark bands and the outline over it, as PNG; each pixel of the photograph stays one pixel.

    Parameters
    ----------
    photo_rgb
        [row, col, 3], upright, shrunk by the caller to what a screen shows.
    dark_lines
        One (n, 2) array of column and row for each dark band, in pixels of `photo_rgb` (centres at whole numbers).
    outline
        (n, 2), the same; closed here.
    note
        Free text below, after the legend.
    """
    if photo_rgb.ndim != 3 or max(photo_rgb.shape[:2]) > MOST_PX:
        message = f"photo_rgb must be [row, col, 3] of at most {MOST_PX} a side, got {photo_rgb.shape}"
        raise ValueError(message)
    with drawing():
        return png_bytes(_overlay_figure(photo_rgb, dark_lines=dark_lines, outline=outline, note=note))


def _overlay_figure(photo_rgb: NDArray[np.uint8], *, dark_lines: Sequence[NDArray], outline: NDArray, note: str) -> Figure:
    rows, cols = photo_rgb.shape[:2]
    wide, tall = max(cols, _LEAST_WIDE_PX), rows + _LEGEND_PX
    figure = new_figure(width_in=wide / DPI, height_in=tall / DPI)
    figure.figimage(photo_rgb, xo=0, yo=_LEGEND_PX, origin="upper", zorder=-1)
    axes = figure.add_axes((0.0, _LEGEND_PX / tall, cols / wide, rows / tall))
    axes.set_axis_off()
    axes.set_xlim(-0.5, cols - 0.5)
    axes.set_ylim(rows - 0.5, -0.5)
    # A white edge on each line keeps it visible on dark bands and bright ones alike.
    edge = [patheffects.withStroke(linewidth=2.6, foreground="white")]
    for line in dark_lines:
        axes.plot(line[:, 0], line[:, 1], color=ACCENT, linewidth=1.3, linestyle=(0, (4, 2)), path_effects=edge)
    closed = np.vstack([outline, outline[:1]])
    axes.plot(closed[:, 0], closed[:, 1], color=ACCENT, linewidth=1.6, path_effects=edge)
    text = wrapped(f"{_LEGEND}  {note}", columns=round(wide / 14), most_lines=2)
    figure.text(8 / wide, (_LEGEND_PX / 2) / tall, text, va="center", fontsize=SMALL_PT)
    return figure
