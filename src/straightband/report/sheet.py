"""A drawing with measures on one A4 page: lines and words where the workflow puts them, a list of measures, cautions.

The page does no arithmetic: places come in millimetres on paper, from the lower left corner of the drawing, words ready.
"""

from __future__ import annotations

import json
import tempfile
from dataclasses import asdict, dataclass
from importlib import resources
from pathlib import Path
from typing import Final

import typst

from straightband.report.certificate import to_print_unscaled

WIDTH_MM, HEIGHT_MM = 178.0, 158.0  # of the drawing on the page
_STANDARD: Final = "ua-1"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """A line on paper.

    Attributes
    ----------
    points_mm
        (x, y) of its corners, y upward.
    kind
        `edge`, `glass`, `light`, `measure` or `axis`.
    closed
        Whether it comes back to its beginning.
    """

    points_mm: tuple[tuple[float, float], ...]
    kind: str
    closed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """Words on paper, with their middle at a place."""

    x_mm: float
    y_mm: float
    words: str
    upright: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """The page.

    Attributes
    ----------
    title, subtitle
        Heading.
    described
        What the drawing shows, for people who have it read out.
    strokes, labels
        The drawing.
    rows
        Name and measure.
    notes, cautions
        Sentences.
    program
        Name and version.
    """

    title: str
    subtitle: str
    described: str
    strokes: tuple[Stroke, ...]
    labels: tuple[Label, ...]
    rows: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    program: str


def sheet_pdf(sheet: Sheet) -> bytes:
    """The page as PDF; the same sheet gives the same bytes."""
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        words = asdict(sheet) | {"width_mm": WIDTH_MM, "height_mm": HEIGHT_MM}
        (root / "content.json").write_text(json.dumps(words, ensure_ascii=False), encoding="utf-8", errors="replace")
        template = root / "sheet.typ"
        template.write_bytes((resources.files(__package__) / template.name).read_bytes())
        pdf = typst.compile(str(template), root=str(root), ignore_system_fonts=True, pdf_standards=_STANDARD)
    return to_print_unscaled(pdf)
