"""What the record holds: one frozen record per kind of entry, its fields named as the columns of its table (schema/*.sql).

`told` is what a person said, as typed; `found` is what the program made of it, under the names that `--json` uses.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, ClassVar


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """What every entry has.

    Attributes
    ----------
    id
        Its number; 0 before it is entered.
    at
        When it was entered, UTC.
    corrects
        The first entry of those it stands for, or None.
    """

    table: ClassVar[str] = ""
    id: int = 0
    at: str
    corrects: int | None = None

    @property
    def root(self) -> int:
        """The number by which other entries name it."""
        return self.corrects or self.id


@dataclass(frozen=True, slots=True, kw_only=True)
class Lamp(Entry):
    """A lamp: its name, and its light as a person would type it."""

    table: ClassVar[str] = "lamp"
    name: str
    light: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Abrasive(Entry):
    """An abrasive and the size of its grain."""

    table: ClassVar[str] = "abrasive"
    name: str
    grain_um: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Pad(Entry):
    """A polishing pad or a lap."""

    table: ClassVar[str] = "pad"
    name: str
    diameter_mm: float
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Flat(Entry):
    """A reference flat and its map, which lies among the maps."""

    table: ClassVar[str] = "flat"
    name: str
    map_name: str
    map_sha256: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shopkeeper(Entry):
    """Name of the shop, and who signs."""

    table: ClassVar[str] = "shopkeeper"
    name: str
    signed_by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ordered(Entry):
    """An order."""

    table: ClassVar[str] = "orders"
    name: str
    customer: str = ""
    told: dict[str, Any]
    found: dict[str, Any]
    program: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch(Entry):
    """Pieces ground together, and the plan for them."""

    table: ClassVar[str] = "batch"
    name: str
    told: dict[str, Any]
    found: dict[str, Any]
    program: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick(Entry):
    """A run of a batch's plan, by its number in the plan, that was done."""

    table: ClassVar[str] = "tick"
    batch_id: int
    number: int
    minutes: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceEntry(Entry):
    """A piece of glass; `told` holds shape, sizes, glass and thickness."""

    table: ClassVar[str] = "piece"
    order_id: int | None = None
    batch_id: int | None = None
    name: str
    told: dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceEntry(Entry):
    """A face of a piece that is worked."""

    table: ClassVar[str] = "face"
    piece_id: int
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Timer(Entry):
    """A run that was begun and is to take so many minutes."""

    table: ClassVar[str] = "timer"
    face_id: int
    work: str
    minutes: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Run(Entry):
    """A run that was done; zero minutes where a timer was stopped for nothing."""

    table: ClassVar[str] = "run"
    face_id: int
    timer_id: int | None = None
    work: str
    position: str = ""
    abrasive_id: int | None = None
    pad_id: int | None = None
    minutes: float
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugingEntry(Entry):
    """Spherometer readings and the sag they give."""

    table: ClassVar[str] = "gauging"
    face_id: int
    told: dict[str, Any]
    found: dict[str, Any]
    program: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Photograph(Entry):
    """A photograph, kept under its hash."""

    table: ClassVar[str] = "photograph"
    face_id: int
    sha256: str
    name: str
    bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingEntry(Entry):
    """What was read: settings, facts, what to draw over the first photograph, map."""

    table: ClassVar[str] = "reading"
    face_id: int
    flat_id: int | None = None
    told: dict[str, Any]
    found: dict[str, Any]
    drawing: dict[str, Any] = field(default_factory=dict)
    map_sha256: str
    program: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Exposure(Entry):
    """One photograph of a reading, in its place."""

    table: ClassVar[str] = "exposure"
    reading_id: int
    photograph_id: int
    place: int


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictEntry(Entry):
    """Whether the face that was read is good enough."""

    table: ClassVar[str] = "verdict"
    reading_id: int
    told: dict[str, Any]
    found: dict[str, Any]
    program: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CertificateEntry(Entry):
    """A paper that was made."""

    table: ClassVar[str] = "certificate"
    reading_id: int
    verdict_id: int
    told: dict[str, Any]
    found: dict[str, Any]
    pdf_sha256: str
    program: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost(Entry):
    """Money or hours spent on a piece, or on the shop."""

    table: ClassVar[str] = "cost"
    piece_id: int | None = None
    what: str
    amount: float
    currency: str
    hours: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class GridPhotograph(Entry):
    """A photograph of the printed grid through the dry mirror; `minutes` were polished since the one before, or before the first.

    With `begins` the back was ground anew before it.
    """

    table: ClassVar[str] = "grid_photograph"
    face_id: int
    sha256: str
    name: str
    bytes: int
    minutes: float
    begins: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Clearing(Entry):
    """How far a back has cleared."""

    table: ClassVar[str] = "clearing"
    face_id: int
    told: dict[str, Any]
    found: dict[str, Any]
    picture_sha256: str
    program: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateEntry(Entry):
    """A plate of pads for a piece's back."""

    table: ClassVar[str] = "plate"
    piece_id: int
    told: dict[str, Any]
    found: dict[str, Any]
    template_sha256: str
    program: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatTest(Entry):
    """Flats by themselves, from readings of their pairs."""

    table: ClassVar[str] = "flat_test"
    told: dict[str, Any]
    found: dict[str, Any]
    program: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PricesEntry(Entry):
    """What things cost the shop and how long they take."""

    table: ClassVar[str] = "prices"
    told: dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class LapEntry(Entry):
    """A lap for figuring, as it stands in a file of laps."""

    table: ClassVar[str] = "lap"
    name: str
    told: dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Turntable(Entry):
    """What all laps share: turns of the table, and the polish on them."""

    table: ClassVar[str] = "turntable"
    told: dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class StrokePlanEntry(Entry):
    """What to do next on the lap."""

    table: ClassVar[str] = "stroke_plan"
    face_id: int
    reading_id: int
    told: dict[str, Any]
    found: dict[str, Any]
    program: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StrokeStart(Entry):
    """A stroke of a plan, by its number in the plan, and the timer it was begun with."""

    table: ClassVar[str] = "stroke_start"
    plan_id: int
    number: int
    timer_id: int


KINDS: tuple[type[Entry], ...] = (
    Lamp, Abrasive, Pad, Flat, Shopkeeper, Ordered, Batch, Tick, PieceEntry, FaceEntry, Timer, Run, GaugingEntry, Photograph, ReadingEntry,
    Exposure, VerdictEntry, CertificateEntry, Cost, GridPhotograph, Clearing, PlateEntry, FlatTest, PricesEntry, LapEntry, Turntable,
    StrokePlanEntry, StrokeStart,
)  # fmt: skip
