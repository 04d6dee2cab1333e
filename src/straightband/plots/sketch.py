"""Drawings for the screen as SVG text: lines and words only, coloured by the page that holds them (classes `ink`, `accent`, `pale`, `glass`).

Nothing is drawn that is told by colour alone, and every drawing has words for those who can't see it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

Points = Iterable[Sequence[float]]


def svg(parts: Iterable[str], *, box: tuple[float, float, float, float], words: str, kind: str = "sketch") -> str:
    """A whole drawing; `box` is left, top, width and height, `words` say what it shows."""
    left, top, width, height = (f"{value:.6g}" for value in box)
    return (
        f'<svg class="{kind}" role="img" aria-label="{escape(words)}" viewBox="{left} {top} {width} {height}" '
        f'preserveAspectRatio="xMidYMid meet">{"".join(parts)}</svg>'
    )


def line(points: Points, *, look: str) -> str:
    """A line through points."""
    return f'<path class="{look}" d="{path_of(points)}"/>'


def area(points: Points, *, look: str) -> str:
    """A closed area."""
    return f'<path class="{look}" d="{path_of(points)}Z"/>'


def path_of(points: Points) -> str:
    """The path through points, in tenths."""
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)


def word(text: str, at: tuple[float, float], *, look: str = "", anchor: str = "start", upright: bool = False) -> str:
    """Text at a place; `upright` reads from below to above."""
    turn = f' transform="rotate(-90 {at[0]:.1f} {at[1]:.1f})"' if upright else ""
    return f'<text class="{look}" x="{at[0]:.1f}" y="{at[1]:.1f}" text-anchor="{anchor}"{turn}>{escape(text)}</text>'


def dot(at: tuple[float, float], *, radius: float, look: str) -> str:
    """A dot at a place."""
    return f'<circle class="{look}" cx="{at[0]:.1f}" cy="{at[1]:.1f}" r="{radius:.1f}"/>'
