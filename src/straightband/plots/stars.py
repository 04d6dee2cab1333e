"""Images of stars by their place in the field, dark on light, beside the ring that a perfect mirror would leave dark."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.patches import Circle
from numpy.typing import NDArray

from straightband.plots.style import ACCENT, INK, drawing, new_figure, png_bytes

_SIDE_IN, _ROOM_IN = 2.1, 0.15
_FAINTEST = 1e-3  # of the perfect peak: seven and a half magnitudes below it
_FIRST_DARK = 1.22  # of a filled pupil, in wavelength x focal ratio


@dataclass(frozen=True, slots=True, kw_only=True)
class Star:
    """One image.

    Attributes
    ----------
    intensity
        [y, x] over the perfect peak.
    reach
        To either side, in wavelength x focal ratio.
    label
        Where in the field, and what it reaches.
    """

    intensity: NDArray
    reach: float
    label: str


def stars_png(stars: tuple[Star, ...], *, bar: float, bar_label: str) -> bytes:
    """The images side by side, each on a logarithmic scale down to a thousandth; `bar` is the length of the scale bar in the images' unit."""
    with drawing():
        width = len(stars) * (_SIDE_IN + _ROOM_IN) + _ROOM_IN
        height = _SIDE_IN + 0.75
        figure = new_figure(width_in=width, height_in=height)
        for number, star in enumerate(stars):
            left = (_ROOM_IN + number * (_SIDE_IN + _ROOM_IN)) / width
            axes = figure.add_axes((left, 0.35 / height, _SIDE_IN / width, _SIDE_IN / height))
            shown = np.log10(np.clip(star.intensity, _FAINTEST, 1.0)) / np.log10(_FAINTEST)
            axes.imshow(shown, cmap="gray", vmin=0.0, vmax=1.0, origin="lower", extent=(-star.reach, star.reach) * 2)
            axes.add_patch(Circle((0.0, 0.0), _FIRST_DARK, fill=False, edgecolor=ACCENT, linewidth=1.2, linestyle=(0, (3, 2))))
            axes.set_xticks([])
            axes.spines[:].set_visible(False)
            axes.set_yticks([])
            axes.set_title(star.label, fontsize=11.0, fontweight="normal", loc="center")
            if number == 0:
                start = -0.9 * star.reach
                axes.plot([start, start + bar], [start] * 2, color=INK, linewidth=3.0, solid_capstyle="butt")
                axes.text(start + bar / 2.0, start * 0.93, bar_label, ha="center", va="bottom", fontsize=10.0)
        figure.text(
            _ROOM_IN / width,
            0.08 / height,
            "Light is drawn dark, faint light raised. Dashed: first dark ring of a perfect mirror.",
            fontsize=10.0,
        )
        return png_bytes(figure)
