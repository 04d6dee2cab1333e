"""The sag of every face after every run of a grinding plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from straightband.plots.style import ACCENT, INK, PALE, SMALL_PT, drawing, new_figure, png_bytes, wrapped

_WIDTH_IN, _TOP_IN, _PANEL_IN, _BOTTOM_IN = 8.0, 0.85, 1.35, 0.6
_LEFT, _RIGHT = 0.10, 0.97
_LEAST_RANGE_UM = 1.0  # of the scale that is even about zero: below it a plate is as flat as its spherometer can see


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """The runs with one abrasive.

    Attributes
    ----------
    label
        What it is, such as `40 um`.
    runs
        How many.
    """

    label: str
    runs: int


def sags_png(sags_um: NDArray, *, uncertainty_um: NDArray, names: Sequence[str], parts: Sequence[Part], title: str = "") -> bytes:
    """Sags of all faces, (runs + 1, faces) beginning before the first run, with their 95 % intervals shaded, as PNG.

    Small sags are drawn to an even scale and large ones ever closer, so that both the blanks and the last grade can be read.
    """
    with drawing():
        return png_bytes(_figure(sags_um, uncertainty_um=uncertainty_um, names=names, parts=parts, title=title))


def _figure(sags_um: NDArray, *, uncertainty_um: NDArray, names: Sequence[str], parts: Sequence[Part], title: str) -> Figure:
    count = len(names)
    height = _TOP_IN + count * _PANEL_IN + _BOTTOM_IN
    figure = new_figure(width_in=_WIDTH_IN, height_in=height)
    at = np.arange(len(sags_um))
    most = float(np.max(np.abs(sags_um) + uncertainty_um, initial=_LEAST_RANGE_UM)) * 1.3
    for number, name in enumerate(names):
        floor = (_BOTTOM_IN + (count - 1 - number) * _PANEL_IN) / height
        axes = figure.add_axes((_LEFT, floor, _RIGHT - _LEFT, (_PANEL_IN - 0.15) / height))
        axes.set_yscale("symlog", linthresh=_LEAST_RANGE_UM, linscale=1.0)
        axes.axhline(0.0, color=INK, linewidth=0.9)
        low, high = sags_um[:, number] - uncertainty_um[:, number], sags_um[:, number] + uncertainty_um[:, number]
        axes.fill_between(at, low, high, color=ACCENT, alpha=0.15, linewidth=0.0)
        axes.plot(at, sags_um[:, number], color=ACCENT, linewidth=1.6)
        axes.text(0.99, 0.95, wrapped(name, columns=30, most_lines=1), transform=axes.transAxes, ha="right", va="top", fontweight="bold")
        _mark_parts(axes, parts, with_names=number == 0)
        axes.set_xlim(0.0, max(1.0, float(at[-1])))
        axes.set_ylim(-most, most)
        _label_scale(axes, most)
        if number < count - 1:
            axes.tick_params(labelbottom=False)
        else:
            axes.set_xlabel("runs done")
    figure.text(0.02, 1.0 - 0.12 / height, wrapped(title, columns=64, most_lines=1), va="top", fontsize=13.0, fontweight="bold")
    figure.text(0.02, 1.0 - 0.42 / height, "sag / um: hill above 0, hollow below; 95 % shaded", va="top", fontsize=SMALL_PT)
    return figure


def _mark_parts(axes: Axes, parts: Sequence[Part], *, with_names: bool) -> None:
    """A line where the abrasive changes, and above the first panel its name."""
    done = 0
    for part in parts:
        if done:
            axes.axvline(done, color=PALE, linewidth=0.9, linestyle=(0, (2, 2)))
        if with_names:
            middle = done + part.runs / 2.0
            axes.text(middle, 1.02, part.label, transform=axes.get_xaxis_transform(), ha="center", va="bottom", fontsize=SMALL_PT)
        done += part.runs


def _label_scale(axes: Axes, most_um: float) -> None:
    steps = [step for step in (1.0, 10.0, 100.0) if step <= most_um]
    ticks = [-step for step in reversed(steps)] + [0.0, *steps]
    axes.set_yticks(ticks, labels=[f"{tick:g}" for tick in ticks], fontsize=SMALL_PT)
    axes.minorticks_off()
    axes.grid(visible=True, axis="y", color=PALE, alpha=0.35, linewidth=0.6)
