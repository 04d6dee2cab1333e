"""How every picture looks: ink on paper, large type, one accent; and how it becomes bytes that depend on nothing but what is drawn.

No meaning rests on colour alone: lines differ by dash, bars by hatching, and each says its number.
"""

from __future__ import annotations

import io
import math
import textwrap
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache

import numpy as np
from matplotlib import font_manager, style
from matplotlib.axes import Axes
from matplotlib.figure import Figure

INK = "#1a1a1a"
PALE = "#8a857c"
PAPER = "#ffffff"
ACCENT = "#a3350f"
HEIGHT_COLOURS = "cividis"  # perceptually uniform, and the same to colour-blind eyes
DPI = 200
TEXT_PT = 11.0
SMALL_PT = 9.5

_SETTINGS = {
    "font.family": ["DejaVu Sans"],  # comes with matplotlib, hence the same everywhere
    "font.size": TEXT_PT,
    "axes.titlesize": 13.0,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.9,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.formatter.useoffset": False,
    "text.color": INK,
    "text.parse_math": False,  # a dollar sign in a name is a dollar sign
    "xtick.color": INK,
    "ytick.color": INK,
    "figure.facecolor": PAPER,
    "savefig.facecolor": PAPER,
    "hatch.linewidth": 1.2,
}
# matplotlib's settings are one for the whole process, and its fonts are not safe to use from two threads.
_ONE_AT_A_TIME = threading.Lock()


@contextmanager
def drawing() -> Iterator[None]:
    """Within it, pictures get our look whatever the person's own matplotlib settings say; one drawing at a time."""
    with _ONE_AT_A_TIME, style.context(["default", _SETTINGS]):
        yield


def new_figure(*, width_in: float, height_in: float) -> Figure:
    """An empty picture."""
    return Figure(figsize=(width_in, height_in), dpi=DPI)


def png_bytes(figure: Figure) -> bytes:
    """The picture as PNG without date or program name: same drawing, same bytes."""
    out = io.BytesIO()
    figure.savefig(out, format="png", metadata={"Software": None})
    return out.getvalue()


def add_band_axis(axes: Axes, *, band_nm: float) -> None:
    """A second scale at the right that reads the axes' nm in bands."""
    bands = axes.secondary_yaxis("right", functions=(lambda nm: np.asarray(nm) / band_nm, lambda count: np.asarray(count) * band_nm))
    bands.set_ylabel(f"bands of {band_nm:.1f} nm")


def wrapped(text: str, *, columns: int, most_lines: int = 2) -> str:
    """Free text broken into a few lines, cut with an ellipsis, letters that the font lacks shown as a question mark."""
    known = _letters()
    shown = "".join(letter if ord(letter) in known or letter.isspace() else "?" for letter in text)
    return "\n".join(textwrap.wrap(shown, columns, max_lines=most_lines, placeholder=" …"))


@lru_cache(maxsize=1)
def _letters() -> frozenset[int]:
    return frozenset(font_manager.get_font(font_manager.findfont("DejaVu Sans")).get_charmap())


def round_step(span: float, *, most: int) -> float:
    """The smallest of 1, 2, 5 x 10^k that divides `span` into at most `most` parts.

    Example
    -------
    >>> round_step(93.0, most=8)
    20.0
    """
    rough = span / most
    decade = 10.0 ** math.floor(math.log10(rough))
    return next(factor * decade for factor in (1.0, 2.0, 5.0, 10.0) if factor * decade >= rough * (1.0 - 1e-9))
