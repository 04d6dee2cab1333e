"""Where an uncertainty comes from, as bars."""

from __future__ import annotations

from matplotlib.figure import Figure

from straightband.plots.style import ACCENT, INK, TEXT_PT, drawing, new_figure, png_bytes, wrapped
from straightband.uncertainty import Budget

_WIDTH_IN, _ROW_IN = 7.0, 0.34


def budget_png(budget: Budget, *, title: str = "") -> bytes:
    """The terms, largest first, and their total, each with its value in nm (expanded, 95 %), as PNG."""
    with drawing():
        return png_bytes(_budget_figure(budget, title=title))


def _budget_figure(budget: Budget, *, title: str) -> Figure:
    terms = sorted(budget.terms, key=lambda term: term.nm, reverse=True)
    names = [wrapped(term.name, columns=34, most_lines=1) for term in terms] + ["together"]
    values = [term.nm for term in terms] + [budget.total_nm]
    height = _ROW_IN * len(values) + 1.2
    figure = new_figure(width_in=_WIDTH_IN, height_in=height)
    axes = figure.add_axes((0.42, 0.65 / height, 0.46, _ROW_IN * len(values) / height))
    places = range(len(values), 0, -1)
    bars = axes.barh(list(places), values, height=0.66, color=INK)
    bars[-1].set(facecolor="white", edgecolor=ACCENT, hatch="////", linewidth=1.2)
    # A cause whose size nobody knows is named and has no bar; "0 nm" beside it would say that it is nothing.
    axes.bar_label(bars, labels=[f"{value:.2g} nm" if value > 0.0 else "" for value in values], padding=4, fontsize=TEXT_PT)
    axes.set_yticks(list(places), names)
    axes.get_yticklabels()[-1].set_fontweight("bold")
    axes.tick_params(axis="y", length=0)
    axes.set_ylim(0.4, len(values) + 0.6)
    axes.set_xlim(0.0, 1.18 * max(*values, 1e-9))
    axes.set_xlabel("expanded uncertainty (95 %) / nm")
    figure.text(0.02, 1.0 - 0.1 / height, wrapped(title, columns=58, most_lines=1), va="top", fontsize=13.0, fontweight="bold")
    return figure
