"""Heights along lines of the face, and what stars get across the field."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from straightband.plots.style import ACCENT, INK, PALE, SMALL_PT, add_band_axis, drawing, new_figure, png_bytes, wrapped

_WIDTH_IN, _HEIGHT_IN = 7.0, 4.2
_BOX = (0.12, 0.16, 0.74, 0.68)
_DASHES = ("solid", (0, (6, 2)), (0, (1, 1.5)), (0, (6, 2, 1, 2)))
MOST_PROFILES = len(_DASHES)


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """Heights along one line.

    Attributes
    ----------
    label
        What the line is, such as `along the major axis`.
    distance_mm, heights_nm, uncertainty_nm
        (n,) each; NaN where there is no height. The uncertainty is expanded (95 %).
    """

    label: str
    distance_mm: NDArray
    heights_nm: NDArray
    uncertainty_nm: NDArray


def profile_png(profiles: Sequence[Profile], *, band_nm: float, title: str = "") -> bytes:
    """One to four profiles, each with its own dash and its 95 % interval shaded, in nm and in bands, as PNG."""
    if not 1 <= len(profiles) <= MOST_PROFILES:
        message = f"one to {MOST_PROFILES} profiles can be told apart, got {len(profiles)}"
        raise ValueError(message)
    with drawing():
        return png_bytes(_profile_figure(profiles, band_nm=band_nm, title=title))


def _profile_figure(profiles: Sequence[Profile], *, band_nm: float, title: str) -> Figure:
    figure, axes = _framed(title)
    for number, (profile, dash) in enumerate(zip(profiles, _DASHES, strict=False)):
        colour = ACCENT if number == 0 else INK
        low, high = profile.heights_nm - profile.uncertainty_nm, profile.heights_nm + profile.uncertainty_nm
        axes.fill_between(profile.distance_mm, low, high, color=colour, alpha=0.12, linewidth=0.0)
        label = wrapped(profile.label, columns=32, most_lines=1)
        axes.plot(profile.distance_mm, profile.heights_nm, color=colour, linestyle=dash, linewidth=1.8, label=label)
    axes.set_xlabel("distance / mm")
    axes.set_ylabel("height / nm")
    add_band_axis(axes, band_nm=band_nm)
    axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=2, frameon=False, fontsize=SMALL_PT, handlelength=3.5)
    return figure


def strehl_field_png(field_radius_mm: NDArray, strehl: NDArray, *, uncertainty: NDArray, required: float, title: str = "") -> bytes:
    """Strehl against the star's distance from the middle of the field, (n,) each, with 95 % bars and what is required, as PNG.

    An uncertainty that is not known (NaN) draws no bar.
    """
    with drawing():
        return png_bytes(_strehl_figure(field_radius_mm, strehl, uncertainty=uncertainty, required=required, title=title))


def _strehl_figure(field_radius_mm: NDArray, strehl: NDArray, *, uncertainty: NDArray, required: float, title: str) -> Figure:
    figure, axes = _framed(title)
    bars = np.where(np.isfinite(uncertainty), uncertainty, 0.0)
    axes.errorbar(field_radius_mm, strehl, yerr=bars, color=ACCENT, marker="o", markersize=7, linewidth=1.8, capsize=5, capthick=1.4)
    axes.axhline(required, color=INK, linestyle=(0, (6, 2)), linewidth=1.4)
    # At the left: the edge of the field, at the right, is where the Strehl comes down to what is required.
    at = ("axes fraction", "data")
    axes.annotate(f"required {required:.3g}", (0.0, required), xycoords=at, xytext=(6, -4), textcoords="offset points", va="top")
    # Room below what is required for its words, and never a scale that blows up nothing.
    lowest = float(min(np.min(strehl - bars), required))
    axes.set_ylim(lowest - 0.15 * (1.0 - lowest) - 0.005, max(1.0, float(np.max(strehl + bars))) + 0.002)
    axes.set_xlabel("distance from the middle of the field / mm")
    axes.set_ylabel("Strehl ratio")
    return figure


def _framed(title: str) -> tuple[Figure, Axes]:
    figure = new_figure(width_in=_WIDTH_IN, height_in=_HEIGHT_IN)
    axes = figure.add_axes(_BOX)
    axes.grid(visible=True, color=PALE, alpha=0.35, linewidth=0.6)
    figure.text(0.02, 0.975, wrapped(title, columns=58, most_lines=1), va="top", fontsize=13.0, fontweight="bold")
    return figure, axes
