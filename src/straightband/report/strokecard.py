"""The job card of one run of strokes: zones to copy, strokes to tick, what is to come of it; the same bytes for the same content."""

from __future__ import annotations

from dataclasses import asdict, dataclass

from straightband.report.paper import boxed, printed


@dataclass(frozen=True, slots=True, kw_only=True)
class CardStroke:
    """One stroke: its number and what to do."""

    number: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StrokeCard:
    """What stands on the card.

    Attributes
    ----------
    shop, piece
        Heading.
    advice
        In large type.
    facts
        Name and value.
    strokes
        In their order; empty where the advice is to stop.
    stop
        What to do afterwards.
    notes, cautions
        Sentences.
    described
        What the picture shows, for people who have it read out.
    program
        Name and version.
    """

    shop: str
    piece: str
    advice: str
    facts: tuple[tuple[str, str], ...]
    strokes: tuple[CardStroke, ...]
    stop: str
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    described: str
    program: str


def stroke_card_pdf(card: StrokeCard, *, picture: bytes) -> bytes:
    """The card as PDF, with a picture as PNG; raises BadInput when it does not fit on one page, or has letters without a glyph."""
    return printed("strokecard.typ", words=asdict(card) | boxed(card.piece, word="piece"), pictures={"zones.png": picture}, what="job card")
