"""A number over time with its 95 % interval, for the screen: readings of a face one after the other, against a limit where there is one."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from straightband.plots.sketch import dot, line, svg, word

WIDTH, HEIGHT = 420.0, 260.0
LEFT, RIGHT, TOP, BELOW = 72.0, 16.0, 46.0, 36.0
_STEPS = (1.0, 2.0, 5.0, 10.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One measurement.

    Attributes
    ----------
    label
        Under it: short.
    value, uncertainty
        Number and expanded uncertainty (95 %), in the drawing's unit.
    """

    label: str
    value: float
    uncertainty: float


def trend_sketch(marks: tuple[Mark, ...], *, unit: str, words: str, limit: float | None = None, from_zero: bool = False) -> str:
    """The drawing; `from_zero` for numbers that can't be negative."""
    low, high, step = _scale(marks, limit=limit, from_zero=from_zero)

    def up(value: float) -> float:
        return HEIGHT - BELOW - (value - low) / (high - low) * (HEIGHT - BELOW - TOP)

    parts = [word(unit, (4.0, 20.0))]
    for k in range(round((high - low) / step) + 1):
        level = low + k * step
        look = "axis" if abs(level) < step / 1e3 else "pale"
        parts.append(line([(LEFT, up(level)), (WIDTH - RIGHT, up(level))], look=look))
        parts.append(word(_number(level), (LEFT - 8.0, up(level) + 5.0), anchor="end"))
    if limit is not None:
        parts.append(line([(LEFT, up(limit)), (WIDTH - RIGHT, up(limit))], look="accent dashed"))
        parts.append(word("wanted", (WIDTH - RIGHT, up(limit) - 6.0), anchor="end", look="accent-word"))
    places = [(LEFT + (k + 0.5) / len(marks) * (WIDTH - LEFT - RIGHT)) for k in range(len(marks))]
    parts.append(line([(x, up(mark.value)) for x, mark in zip(places, marks, strict=True)], look="ink thin"))
    every = math.ceil(len(marks) / 4)
    for k, (x, mark) in enumerate(zip(places, marks, strict=True)):
        parts += _bar(x, mark, up=up)
        if (len(marks) - 1 - k) % every == 0:
            parts.append(word(mark.label, (x, HEIGHT - 8.0), anchor="middle"))
    return svg(parts, box=(0.0, 0.0, WIDTH, HEIGHT), words=words, kind="sketch trend")


def _bar(x: float, mark: Mark, *, up: Callable[[float], float]) -> list[str]:
    top, low = up(mark.value + mark.uncertainty), up(mark.value - mark.uncertainty)
    ends = [line([(x - 7.0, y), (x + 7.0, y)], look="ink") for y in (top, low)]
    return [line([(x, top), (x, low)], look="ink"), *ends, dot((x, up(mark.value)), radius=5.0, look="dot")]


def _scale(marks: tuple[Mark, ...], *, limit: float | None, from_zero: bool) -> tuple[float, float, float]:
    """Lowest and highest level, both on a line of the scale, and the step between lines."""
    values = [mark.value + side * mark.uncertainty for mark in marks for side in (-1.0, 1.0)] + ([] if limit is None else [limit])
    low, high = min(values), max(values)
    if from_zero:
        low = 0.0
    span = max(high - low, 1e-9 + 1e-3 * abs(high))
    decade = 10.0 ** math.floor(math.log10(span / 4.0))
    step = next(factor * decade for factor in _STEPS if factor * decade >= span / 4.0 * (1.0 - 1e-9))
    low, high = step * math.floor(low / step + 1e-9), step * math.ceil(high / step - 1e-9)
    return low, max(high, low + step), step


def _number(level: float) -> str:
    return f"{level + 0.0:.4g}".replace("-", "−")
