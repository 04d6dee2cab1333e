"""The tube with its cone of light and its diagonal, to scale, and the diagonal close up with its offset drawn.

The primary is at the left, the sky at the right, the focuser at the top; both pictures are cuts through the axis and the focuser.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Polygon
from numpy.typing import NDArray

from straightband.plots.style import ACCENT, INK, PALE, SMALL_PT, drawing, new_figure, png_bytes, round_step, wrapped
from straightband.quantities import MM_PER_UNIT
from straightband.telescope.telescope import Telescope

_WIDTH_IN, _EDGE_IN = 10.0, 0.3
_CLOSE_IN, _TITLE_IN, _TEXT_IN = 4.4, 0.5, 0.35
_TALLEST_IN = 9.0
_GLASS = "#d9d4c8"
_DASHED = (0, (5, 2))


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeScene:
    """What is drawn.

    Attributes
    ----------
    telescope
        Its dimensions.
    minor_mm, thickness_mm
        Of the diagonal, whose face is 1 : sqrt(2).
    offset_mm
        Of its centre off the axis, each of: away from the focuser, toward the primary.
    field_mm
        Diameter of the fully lit field.
    tube_mm
        Inner diameter of the tube.
    tube_assumed
        Whether that was not told.
    units
        `mm` or `in`, for what is written.
    """

    telescope: Telescope
    minor_mm: float
    thickness_mm: float
    offset_mm: float
    field_mm: float
    tube_mm: float
    tube_assumed: bool
    units: str = "mm"


def tube_png(scene: TubeScene, *, title: str = "") -> bytes:
    """The drawing as PNG."""
    with drawing():
        return png_bytes(_figure(scene, title=title))


def glass_outline(scene: TubeScene) -> NDArray:
    """Corners (4, 2) of the diagonal in the cut: distance up the tube from the stop, height toward the focuser; the face first.

    The first corner is the end nearer the primary.
    """
    crossing = scene.telescope.focal_length_mm - scene.telescope.intercept_mm
    half = scene.minor_mm / 2.0  # half the major axis, seen along the tube or across it
    centre = np.array([crossing - scene.offset_mm, -scene.offset_mm])
    face = centre + np.array([[-half, -half], [half, half]])
    behind = scene.thickness_mm / math.sqrt(2.0) * np.array([1.0, -1.0])  # away from primary and focuser
    return np.concatenate([face, face[::-1] + behind])


def light_path(scene: TubeScene, *, stop_mm: float, field_mm: float) -> NDArray:
    """Points (3, 2) of a ray from height `stop_mm` in the stop, by the diagonal, to the image that unfolded lies at height `field_mm`."""
    f, crossing = scene.telescope.focal_length_mm, scene.telescope.focal_length_mm - scene.telescope.intercept_mm
    t = (crossing + stop_mm) / (f - (field_mm - stop_mm))  # where z - crossing = y
    meets = np.array([t * f, stop_mm + t * (field_mm - stop_mm)])
    # The plane z - crossing = y swaps the two distances from the crossing.
    return np.array([[0.0, stop_mm], meets, [crossing + field_mm, f - crossing]])


def _figure(scene: TubeScene, *, title: str) -> Figure:
    low, high = _bounds(scene)
    span = high - low
    wide_in = _WIDTH_IN - 2.0 * _EDGE_IN
    tall_in = min(wide_in * span[1] / span[0], _TALLEST_IN)
    height_in = tall_in + _CLOSE_IN + _TITLE_IN + 3.0 * _EDGE_IN + _TEXT_IN
    figure = new_figure(width_in=_WIDTH_IN, height_in=height_in)
    figure.text(
        _EDGE_IN / _WIDTH_IN, 1.0 - 0.2 / height_in, wrapped(title, columns=80, most_lines=1), va="top", fontsize=13.0, fontweight="bold"
    )
    whole = figure.add_axes(
        (_EDGE_IN / _WIDTH_IN, (_CLOSE_IN + 2.0 * _EDGE_IN + _TEXT_IN) / height_in, wide_in / _WIDTH_IN, tall_in / height_in)
    )
    _frame(whole, low, high)
    _draw_tube(whole, scene)
    _draw_light(whole, scene)
    _draw_glass(whole, scene)
    _scale_bar(whole, low + 0.02 * span[0] * np.array([1.0, 0.0]), span[0], scene)
    close = figure.add_axes((_EDGE_IN / _WIDTH_IN, _EDGE_IN / height_in, _CLOSE_IN / _WIDTH_IN, _CLOSE_IN / height_in))
    _draw_close_up(close, scene)
    left = (_CLOSE_IN + 2.5 * _EDGE_IN) / _WIDTH_IN
    figure.text(left, (_CLOSE_IN + 0.8 * _EDGE_IN) / height_in, _words(scene), va="top", linespacing=1.5)
    return figure


def _bounds(scene: TubeScene) -> tuple[NDArray, NDArray]:
    telescope = scene.telescope
    crossing = telescope.focal_length_mm - telescope.intercept_mm
    top = max(scene.tube_mm / 2.0, telescope.intercept_mm)
    beyond = max(scene.minor_mm, scene.field_mm, 0.3 * scene.tube_mm)
    return (
        np.array([-0.2 * telescope.aperture_mm, -0.62 * scene.tube_mm]),
        np.array([crossing + 1.3 * beyond, top + 0.12 * scene.tube_mm]),
    )


def _frame(axes: Axes, low: NDArray, high: NDArray) -> None:
    axes.set_axis_off()
    axes.set_aspect("equal")
    axes.set_xlim(low[0], high[0])
    axes.set_ylim(low[1], high[1])


def _draw_tube(axes: Axes, scene: TubeScene) -> None:
    telescope = scene.telescope
    _, high = _bounds(scene)
    half, crossing = scene.tube_mm / 2.0, telescope.focal_length_mm - telescope.intercept_mm
    hole = max(0.75 * scene.field_mm, 0.06 * scene.tube_mm)
    back = -0.15 * telescope.aperture_mm
    for start, end, wall in ((back, high[0], -half), (back, crossing - hole, half), (crossing + hole, high[0], half)):
        axes.plot([start, end], [wall, wall], color=INK, linewidth=1.6)
    if telescope.intercept_mm > half:
        for side in (-hole, hole):
            axes.plot([crossing + side] * 2, [half, telescope.intercept_mm], color=INK, linewidth=1.2)
    y = np.linspace(-telescope.aperture_mm / 2.0, telescope.aperture_mm / 2.0, 60)
    rise = (y**2 - y[0] ** 2) / (4.0 * telescope.focal_length_mm)  # the rim is the stop, at zero
    behind = np.full(2, rise.min() - telescope.aperture_mm / 12.0)
    axes.add_patch(
        Polygon(np.column_stack([np.append(rise, behind), np.append(y, y[[-1, 0]])]), facecolor=_GLASS, edgecolor=INK, linewidth=1.0)
    )
    axes.plot([behind[0], high[0]], [0.0, 0.0], color=PALE, linewidth=0.7, linestyle=(0, (8, 2, 1, 2)))


def _draw_light(axes: Axes, scene: TubeScene) -> None:
    """The cone of a star on the axis in full lines, the envelope of the light for the lit field dashed."""
    half, field = scene.telescope.aperture_mm / 2.0, scene.field_mm / 2.0
    _, high = _bounds(scene)
    for side in (-1.0, 1.0):
        path = light_path(scene, stop_mm=side * half, field_mm=0.0)
        axes.plot(path[:, 0], path[:, 1], color=ACCENT, linewidth=1.3)
        axes.plot([0.0, high[0]], [side * half] * 2, color=ACCENT, linewidth=0.7, alpha=0.6)
        envelope = light_path(scene, stop_mm=side * half, field_mm=side * field)
        axes.plot(envelope[:, 0], envelope[:, 1], color=INK, linewidth=0.9, linestyle=_DASHED)


def _draw_glass(axes: Axes, scene: TubeScene) -> None:
    corners = glass_outline(scene)
    axes.add_patch(Polygon(corners, facecolor=_GLASS, edgecolor=INK, linewidth=0.9))
    axes.plot(corners[:2, 0], corners[:2, 1], color=INK, linewidth=2.2, solid_capstyle="butt")


def _draw_close_up(axes: Axes, scene: TubeScene) -> None:
    telescope, offset = scene.telescope, scene.offset_mm
    crossing = telescope.focal_length_mm - telescope.intercept_mm
    reach = 0.5 * scene.minor_mm + 1.5 * offset + scene.thickness_mm + 0.12 * scene.minor_mm
    middle = np.array([crossing, 0.0])
    _frame(axes, middle - reach, middle + reach)
    axes.plot([crossing - reach, crossing + reach], [0.0, 0.0], color=PALE, linewidth=0.9, linestyle=(0, (8, 2, 1, 2)))
    axes.plot([crossing, crossing], [0.0, reach], color=PALE, linewidth=0.9, linestyle=(0, (8, 2, 1, 2)))
    _draw_light(axes, scene)
    _draw_glass(axes, scene)
    centre = middle - offset
    axes.plot(*middle, marker="+", color=ACCENT, markersize=12, markeredgewidth=1.6)
    axes.plot(*centre, marker="o", color=INK, markersize=5)
    # The two legs of the offset: along the axis toward the primary, then down away from the focuser.
    axes.plot([crossing, crossing - offset, crossing - offset], [0.0, 0.0, -offset], color=INK, linewidth=1.4)
    _point(axes, "to the primary", at=(crossing - 0.97 * reach, -0.72 * reach), toward=(1.0, 0.0), reach=reach)
    _point(axes, "to the focuser", at=(crossing + 0.62 * reach, 0.95 * reach), toward=(0.0, -1.0), reach=reach)
    _scale_bar(axes, middle - reach * np.array([0.97, 0.95]), 2.0 * reach, scene)


def _point(axes: Axes, text: str, *, at: tuple[float, float], toward: tuple[float, float], reach: float) -> None:
    """An arrow ending at `at`, with its words at the tail, which lies the other way."""
    tail = (at[0] + 0.22 * reach * toward[0], at[1] + 0.22 * reach * toward[1])
    axes.annotate("", at, xytext=tail, arrowprops=dict(arrowstyle="-|>", color=INK, linewidth=1.4))
    level = toward[1] == 0.0
    place = (at[0], at[1] - 0.04 * reach) if level else (at[0] + 0.04 * reach, (at[1] + tail[1]) / 2.0)
    axes.text(*place, text, ha="left", va="top" if level else "center", fontsize=SMALL_PT)


def _scale_bar(axes: Axes, start: NDArray, span_mm: float, scene: TubeScene) -> None:
    unit = MM_PER_UNIT[scene.units]
    length = round_step(span_mm / unit, most=6)
    axes.plot([start[0], start[0] + length * unit], [start[1]] * 2, color=INK, linewidth=3.0, solid_capstyle="butt", clip_on=False)
    axes.annotate(
        f"{length:g} {scene.units}", (start[0], start[1]), xytext=(0, 5), textcoords="offset points", va="bottom", fontsize=SMALL_PT
    )


def _words(scene: TubeScene) -> str:
    def shown(length_mm: float) -> str:
        return f"{length_mm / MM_PER_UNIT[scene.units]:.{2 if scene.units == 'mm' else 3}f} {scene.units}"

    telescope = scene.telescope
    lines = (
        f"Diagonal {shown(scene.minor_mm)} x {shown(math.sqrt(2.0) * scene.minor_mm)}",
        f"  {shown(scene.thickness_mm)} thick",
        f"Offset {shown(scene.offset_mm)} away from the focuser",
        f"  and {shown(scene.offset_mm)} toward the primary,",
        f"  {shown(math.sqrt(2.0) * scene.offset_mm)} along the glass",
        f"Aperture {shown(telescope.aperture_mm)}, f/{telescope.focal_length_mm / telescope.aperture_mm:.3g}",
        f"Intercept {shown(telescope.intercept_mm)}",
        f"Fully lit field {shown(scene.field_mm)}",
        f"Tube {shown(scene.tube_mm)} inside" + (" (assumed)" if scene.tube_assumed else ""),
        "Full lines: light of a star on the axis",
        "Dashed: envelope of the fully lit field",
        "Cross: the axis   Dot: centre of the mirror",
    )
    return "\n".join(lines)
