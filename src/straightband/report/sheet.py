"""A drawing with measures on one A4 page: lines and words where the workflow puts them, a list of measures, cautions.

The page does no arithmetic: places come in millimetres on paper, from the lower left corner of the drawing, words ready.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass

from straightband.report.paper import printed

WIDTH_MM, HEIGHT_MM = 178.0, 158.0  # of the drawing on the page


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
    words = asdict(sheet) | {"width_mm": WIDTH_MM, "height_mm": HEIGHT_MM}
    return printed("sheet.typ", words=words, pictures={}, what="drawing")
