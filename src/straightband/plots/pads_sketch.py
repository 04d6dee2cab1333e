"""A plate of pads, pads to be cut, and rates over the radius, as drawings for the screen."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from straightband.plots.sketch import Points, area, dot, line, svg, word

SIDE = 720.0
_ROOM = 10.0
CUT_SIDE = 260.0
WIDTH, HEIGHT, LEFT, RIGHT, TOP, BELOW = 420.0, 260.0, 58.0, 16.0, 40.0, 44.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SketchedPiece:
    """A piece: its number, its corners and where the number stands, in mm, x right and y up."""

    label: str
    corners_mm: Points
    middle_mm: tuple[float, float]


def plate_sketch(pieces: Sequence[SketchedPiece], *, radius_mm: float, mirrors_mm: Sequence[Points], words: str) -> str:
    """The plate with its pieces numbered; dashed, the mirror at the ends of its stroke."""
    reach = max([radius_mm, *(max(abs(x), abs(y)) for outline in mirrors_mm for x, y in outline)])
    scale = (SIDE / 2.0 - _ROOM) / reach

    def placed(points: Points) -> list[tuple[float, float]]:
        return [(SIDE / 2.0 + x * scale, SIDE / 2.0 - y * scale) for x, y in points]

    turn = [2.0 * math.pi * k / 120 for k in range(120)]
    parts = [area(placed([(radius_mm * math.cos(t), radius_mm * math.sin(t)) for t in turn]), look="ink thick")]
    parts += [area(placed(piece.corners_mm), look="glass ink") for piece in pieces]
    parts += [area(placed(outline), look="accent dashed") for outline in mirrors_mm]
    for piece in pieces:
        ((x, y),) = placed([piece.middle_mm])
        parts.append(word(piece.label, (x, y + 9.0), anchor="middle"))
    return svg(parts, box=(0.0, 0.0, SIDE, SIDE), words=words, kind="sketch plate")


def cut_sketch(corners_mm: Points, parts_mm: Sequence[SketchedPiece], *, words: str) -> str:
    """A pad and the parts it is cut into."""
    reach = max(max(abs(x), abs(y)) for x, y in corners_mm)
    scale = (CUT_SIDE / 2.0 - _ROOM) / reach

    def placed(points: Points) -> list[tuple[float, float]]:
        return [(CUT_SIDE / 2.0 + x * scale, CUT_SIDE / 2.0 - y * scale) for x, y in points]

    parts = [area(placed(corners_mm), look="ink")]
    for piece in parts_mm:
        ((x, y),) = placed([piece.middle_mm])
        parts += [area(placed(piece.corners_mm), look="glass ink thick"), word(piece.label, (x, y + 6.0), anchor="middle")]
    return svg(parts, box=(0.0, 0.0, CUT_SIDE, CUT_SIDE), words=words, kind="sketch cut")


def rate_sketch(rates: Sequence[tuple[float, float, float]], *, words: str) -> str:
    """Relative rate with its 95 % interval over the distance from the middle of the mirror: (radius in mm, rate, uncertainty) each."""
    most = max(rate + doubt for _, rate, doubt in rates)
    top, far = 0.5 * math.ceil(2.0 * most), rates[-1][0] or 1.0

    def placed(radius_mm: float, rate: float) -> tuple[float, float]:
        return LEFT + radius_mm / far * (WIDTH - LEFT - RIGHT), HEIGHT - BELOW - rate / top * (HEIGHT - BELOW - TOP)

    parts = [word("rate, 1 is the mean", (4.0, 22.0))]
    for k in range(round(2.0 * top) + 1):
        level = 0.5 * k
        (_, y) = placed(0.0, level)
        parts.append(line([(LEFT, y), (WIDTH - RIGHT, y)], look="axis" if k == 0 else "pale"))
        parts.append(word(f"{level:g}", (LEFT - 8.0, y + 5.0), anchor="end"))
    upper = [placed(radius, rate + doubt) for radius, rate, doubt in rates]
    lower = [placed(radius, rate - doubt) for radius, rate, doubt in rates]
    parts.append(area([*upper, *reversed(lower)], look="glass pale"))
    parts.append(line([placed(radius, rate) for radius, rate, _ in rates], look="accent thick"))
    parts += [dot(placed(radius, rate), radius=3.5, look="dot") for radius, rate, _ in rates]
    for radius, anchor in ((0.0, "start"), (far, "end")):
        parts.append(word(f"{radius:.0f} mm", (placed(radius, 0.0)[0], HEIGHT - BELOW + 20.0), anchor=anchor))
    parts.append(word("from the middle", (LEFT + 0.5 * (WIDTH - LEFT - RIGHT), HEIGHT - 6.0), anchor="middle"))
    return svg(parts, box=(0.0, 0.0, WIDTH, HEIGHT), words=words, kind="sketch trend")
