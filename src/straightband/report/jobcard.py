"""Job cards for the bench: a page or more for each abrasive, with a box to tick for every run; the same bytes for the same content.

Everything on them comes as ready text; the page does no arithmetic and looks at no clock.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass

from straightband.report.paper import boxed, printed

CAUTIONS = (
    (
        "Keep it wet. Plates that run dry lock together: never pry them with a blade or knock them. Lay both in water of their own warmth, wait, and "
        "slide them apart."
    ),
    "Bevel every edge before the first run and again when it has become narrow: sharp edges chip, scratch and cut.",
    "Sleeves, hair and cloths away from the turning table; stop it before you lift a plate. Large plates are heavy: two hands, or help.",
    (
        "Wipe slurry up wet and let no dust dry out or fly: dust of glass and abrasive harms the lungs. Local rules on dust and machines come first; "
        "this card does not replace them."
    ),
)
BEFORE = (
    "Bowl, brushes, cloths, bench and hands washed: no grain of the abrasive before",
    "Edges bevelled",
    "Pencil mark on the rim of every piece",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CardRun:
    """One run: every string ready."""

    top: str
    bottom: str
    minutes: str
    mark: str
    stroke: str


@dataclass(frozen=True, slots=True, kw_only=True)
class JobCard:
    """What stands on one card.

    Attributes
    ----------
    shop, batch
        Heading.
    abrasive
        In large type.
    facts
        Name and value: time, depth, spindle, push.
    first_round, rounds
        Number of the first round on this sheet, and the runs of each.
    faces
        Piece and the sag to be expected; what is gauged is filled in by pen. Empty on a sheet that another follows.
    stop
        When to stop; empty on a sheet that another follows.
    before, cautions
        Sentences to tick and to mind.
    program
        Name and version.
    """

    shop: str
    batch: str
    abrasive: str
    facts: tuple[tuple[str, str], ...]
    first_round: int
    rounds: tuple[tuple[CardRun, ...], ...]
    faces: tuple[tuple[str, str], ...]
    stop: str
    before: tuple[str, ...] = BEFORE
    cautions: tuple[str, ...] = CAUTIONS
    program: str


def job_cards_pdf(cards: Sequence[JobCard]) -> bytes:
    """The cards as PDF, a page each; raises BadInput when one has more runs than fit in legible type, or letters without a glyph."""
    return printed(
        "jobcard.typ", words={"cards": [asdict(card) | boxed(card.batch, word="batch") for card in cards]}, pictures={}, what="job card"
    )
