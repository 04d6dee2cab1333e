"""The template for pads: an overview, the plate at 1:1 over as many sheets as it takes, and how to cut the pads."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from straightband.report.true_size import paper_size_mm, true_size_pdf

LEFT_MM, RIGHT_MM, TOP_MM, BOTTOM_MM = 16.0, 8.0, 16.0, 18.0  # round the drawing: printers leave 5 mm white, the check bars stand there too
OVERLAP_MM = 12.0  # that neighbouring sheets share
MARK_EVERY_MM = 60.0  # along a joint
OVERVIEW_MM = 105.0  # height and width of the small drawing

Points = Sequence[tuple[float, float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class TemplatePiece:
    """A piece on the plate: its number, what it is in words, its corners, and where its number stands; in mm, x right and y up."""

    label: str
    corners_mm: Points
    middle_mm: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class CutPad:
    """A pad to be cut, at 1:1 about its own middle.

    Attributes
    ----------
    label
        Which pad.
    corners_mm
        Of the whole pad.
    parts
        Label, corners and middle of each part.
    """

    label: str
    corners_mm: Points
    parts: tuple[TemplatePiece, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PadTemplateContent:
    """What stands on the sheets; every string ready.

    Attributes
    ----------
    paper, title
        Name of the paper; heading of the overview.
    plate_radius_mm
        Of the plate.
    pieces, cut_pads
        On the plate; and the pads to be cut.
    mirrors_mm
        Outlines of the mirror at the ends of the stroke.
    told, steps, cautions
        Name and value; what to do; what to look out for.
    bar
        What the check bars are for.
    """

    paper: str
    title: str
    plate_radius_mm: float
    pieces: tuple[TemplatePiece, ...]
    cut_pads: tuple[CutPad, ...]
    mirrors_mm: tuple[Points, ...]
    told: tuple[tuple[str, str], ...]
    steps: tuple[str, ...]
    cautions: tuple[str, ...]
    bar: str


def pad_template_pdf(content: PadTemplateContent) -> bytes:
    """The sheets as PDF that asks to be printed unscaled; raises BadInput for an unknown paper."""
    width, height = paper_size_mm(content.paper)
    wide, tall = width - LEFT_MM - RIGHT_MM, height - TOP_MM - BOTTOM_MM
    columns, rows = (_tiles(content.plate_radius_mm, extent_mm=extent) for extent in (wide, tall))
    reach = max([content.plate_radius_mm, *(math.hypot(*point) for mirror in content.mirrors_mm for point in mirror)])
    return true_size_pdf(
        "pad_template.typ",
        {
            "width_mm": width,
            "height_mm": height,
            "left_mm": LEFT_MM,
            "top_mm": TOP_MM,
            "wide_mm": wide,
            "tall_mm": tall,
            "title": content.title,
            "radius_mm": content.plate_radius_mm,
            "overview_scale": OVERVIEW_MM / (2.0 * reach),
            "overview_mm": OVERVIEW_MM,
            "pieces": [_piece(piece) for piece in content.pieces],
            "mirrors": [[list(point) for point in mirror] for mirror in content.mirrors_mm],
            "sheets": [
                {"name": f"{_letter(row)}{column + 1}", "x_mm": x, "y_mm": y}
                for row, y in enumerate(reversed(rows))
                for column, x in enumerate(columns)
            ],
            "marks": _marks(columns, rows, wide_mm=wide, tall_mm=tall, radius_mm=content.plate_radius_mm),
            "cuts": [_cut(pad) for pad in content.cut_pads],
            "told": content.told,
            "steps": content.steps,
            "cautions": content.cautions,
            "bar": content.bar,
        },
    )


def _tiles(radius_mm: float, *, extent_mm: float) -> list[float]:
    """Lower edges of the sheets along one direction, ascending, so that together they hold the plate and share OVERLAP_MM."""
    count = max(1, math.ceil((2.0 * radius_mm - OVERLAP_MM) / (extent_mm - OVERLAP_MM)))
    step = extent_mm - OVERLAP_MM
    first = -0.5 * (count * step + OVERLAP_MM)
    return [first + step * number for number in range(count)]


def _marks(columns: list[float], rows: list[float], *, wide_mm: float, tall_mm: float, radius_mm: float) -> list[list[float]]:
    """Crosses that two neighbouring sheets both show, in the middle of what they share."""
    found = []
    along = [MARK_EVERY_MM * k for k in range(-math.ceil(radius_mm / MARK_EVERY_MM), math.ceil(radius_mm / MARK_EVERY_MM) + 1)]
    for left in columns[1:]:
        found += [[left + OVERLAP_MM / 2.0, y] for y in along if rows[0] <= y <= rows[-1] + tall_mm]
    for low in rows[1:]:
        found += [[x, low + OVERLAP_MM / 2.0] for x in along if columns[0] <= x <= columns[-1] + wide_mm]
    return found


def _letter(number: int) -> str:
    return chr(ord("A") + number)


def _piece(piece: TemplatePiece) -> dict[str, object]:
    return {"label": piece.label, "corners": [list(point) for point in piece.corners_mm], "middle": list(piece.middle_mm)}


def _cut(pad: CutPad) -> dict[str, object]:
    xs, ys = zip(*pad.corners_mm, strict=True)
    return {
        "label": pad.label,
        "corners": [list(point) for point in pad.corners_mm],
        "parts": [_piece(part) for part in pad.parts],
        "left_mm": min(xs),
        "top_mm": max(ys),
        "wide_mm": max(xs) - min(xs),
        "tall_mm": max(ys) - min(ys),
    }
