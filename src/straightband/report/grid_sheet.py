"""The printed grid that a back is looked through at."""

from __future__ import annotations

from dataclasses import dataclass

from straightband.errors import BadInput
from straightband.report.true_size import paper_size_mm, true_size_pdf

LINE_SHARE = 0.3  # of the pitch that is ink: near half the paper dark, lines still parted where the camera is not sharp
MARGIN_MM = 8.0  # that printers leave white
STRIP_MM = 118.0  # below the grid, for words and check bars
PITCH_RANGE_MM = (1.0, 10.0)
DEFAULT_PITCH_MM = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class GridSheetContent:
    """What stands on the sheet.

    Attributes
    ----------
    paper
        Name of the paper.
    pitch_mm
        From line to line.
    title, lines, bar, cautions
        Words: heading, how to use it, what the bar is for, what to look out for.
    """

    paper: str
    pitch_mm: float
    title: str
    lines: tuple[str, ...]
    bar: str
    cautions: tuple[str, ...]


def grid_sheet_pdf(content: GridSheetContent) -> bytes:
    """Two pages at 1:1: the grid with words and check bars below it, and the grid to all margins; raises BadInput."""
    width, height = paper_size_mm(content.paper)
    lowest, highest = PITCH_RANGE_MM
    if not lowest <= content.pitch_mm <= highest:
        raise BadInput(
            found=f"a pitch of {content.pitch_mm:g} mm was asked for",
            needed=f"{lowest:g} mm to {highest:g} mm is needed",
            remedy="3mm suits mirrors from 40 mm on",
        )
    wide, tall = width - 2.0 * MARGIN_MM, height - 2.0 * MARGIN_MM - STRIP_MM
    pitch = content.pitch_mm
    return true_size_pdf(
        "grid_sheet.typ",
        {
            "width_mm": width,
            "height_mm": height,
            "left_mm": MARGIN_MM,
            "top_mm": MARGIN_MM,
            "wide_mm": wide,
            "tall_mm": tall,
            "whole_tall_mm": height - 2.0 * MARGIN_MM,
            "line_mm": LINE_SHARE * pitch,
            "pitch_mm": pitch,
            "columns_mm": [MARGIN_MM + pitch * k for k in range(int((wide - LINE_SHARE * pitch) / pitch) + 1)],
            "rows_mm": [MARGIN_MM + pitch * k for k in range(int((tall - LINE_SHARE * pitch) / pitch) + 1)],
            "whole_rows_mm": [MARGIN_MM + pitch * k for k in range(int((height - 2.0 * MARGIN_MM - LINE_SHARE * pitch) / pitch) + 1)],
            "words_mm": MARGIN_MM + tall + 5.0,
            "title": content.title,
            "lines": content.lines,
            "bar": content.bar,
            "cautions": content.cautions,
        },
    )
