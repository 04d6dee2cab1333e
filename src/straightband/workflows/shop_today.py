"""Today: every piece in hand with the one thing to do next."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from straightband.shop.entries import (
    FaceEntry,
    GaugingEntry,
    Photograph,
    PieceEntry,
    ReadingEntry,
    Run,
    StrokePlanEntry,
    StrokeStart,
    Tick,
    VerdictEntry,
)
from straightband.shop.folder import Shop
from straightband.shop.queries import (
    BACK,
    back_of,
    count_open_pieces,
    faces_of,
    newest_batch,
    newest_certificate,
    newest_clearing,
    newest_verdict,
    open_pieces,
    readings_of,
    readings_with,
)
from straightband.shop.record import Record
from straightband.uncertainty import round_with_uncertainty
from straightband.verdict.decision import Decision
from straightband.workflows.back_rows import clear_headline, to_go
from straightband.workflows.gauge_report import NEXT
from straightband.workflows.setup import face_from_text
from straightband.workflows.shop_clock import hour_shown, later
from straightband.workflows.shop_orders import SIZES
from straightband.workflows.shop_work import going
from straightband.workflows.shown import axes_shown, length_shown

MOST_SHOWN = 9
FIGURE_IT = "Figure it on the lap, let it rest, and photograph the bands again."


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """A timer that is going.

    Attributes
    ----------
    id
        Its number.
    words
        What is being done and until when.
    until
        The moment it is up, UTC, for the page's own clock.
    then
        What to do when it is up, or nothing.
    link, link_words
        Where that is done.
    """

    id: int
    words: str
    until: str
    then: str = ""
    link: str = ""
    link_words: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """What to do next.

    Attributes
    ----------
    words
        To the person.
    link, link_words
        Where it is done, and what stands on the button.
    """

    words: str
    link: str
    link_words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class InHand:
    """A piece as today's page shows it.

    Attributes
    ----------
    number, name, size
        Which it is.
    state
        What is known of it.
    step
        What to do next.
    clock
        A timer that is going, or None.
    """

    number: int
    name: str
    size: str
    state: str
    step: Step
    clock: Clock | None


def today(shop: Shop, *, units: str) -> tuple[tuple[InHand, ...], int]:
    """Pieces in hand, the newest first, and how many there are in all."""
    with shop.record() as record:
        pieces = open_pieces(record, limit=MOST_SHOWN)
        return tuple(in_hand(record, piece, units=units) for piece in pieces), count_open_pieces(record)


def in_hand(record: Record, piece: PieceEntry, *, units: str) -> InHand:
    """One piece with its next step."""
    faces = faces_of(record, piece.root)
    state, step = _state(record, piece, face=faces[0])
    clocks = [clock for face in faces if (clock := clock_on(record, face)) is not None]
    clock = clocks[0] if clocks else None
    return InHand(number=piece.root, name=piece.name, size=size_shown(piece, units=units), state=state, step=step, clock=clock)


def next_step(record: Record, piece: PieceEntry, *, reading: ReadingEntry) -> Step:
    """What to do next on a piece, told beside one of its readings; beside an older one, where the newest is."""
    newest = readings_of(record, reading.face_id, limit=1)[0]
    if newest.id != reading.id:
        words = "This is not the newest reading of this face; that one says how it is now."
        return Step(words=words, link=f"/readings/{newest.id}", link_words="The newest reading")
    return _state(record, piece, face=faces_of(record, piece.root)[0])[1]


def clock_on(record: Record, face: FaceEntry) -> Clock | None:
    """The timer that is going for a face or a back, or None."""
    timer = going(record, face.root)
    if timer is None:
        return None
    if face.name != BACK:
        clock = clock_of(timer.id, work=timer.work, begun=timer.at, minutes=timer.minutes)
        starts = record.listing(StrokeStart, timer_id=timer.id)
        if starts:
            clock = replace(
                clock, then="the next stroke, or the photograph.", link=f"/strokes/{starts[0].plan_id}", link_words="The strokes"
            )
        return clock
    clock = clock_of(timer.id, work="polishing the back", begun=timer.at, minutes=timer.minutes)
    then = "stop it, wash the mirror, dry both faces, and photograph the grid through it."
    return replace(clock, then=then, link=f"/pieces/{face.piece_id}/back", link_words="The back")


def clock_of(number: int, *, work: str, begun: str, minutes: float) -> Clock:
    """A timer as it is shown."""
    until = later(begun, minutes=minutes)
    return Clock(id=number, words=f"{work.capitalize()} since {hour_shown(begun)}, {minutes:g} min, until {hour_shown(until)}", until=until)


def size_shown(piece: PieceEntry, *, units: str) -> str:
    """Shape and size of a piece."""
    shape = piece.told["shape"]
    face = face_from_text(shape=shape, **{size: piece.told.get(size) for size in SIZES})
    if shape == "round":
        return f"round, {length_shown(2.0 * face.semi_u_mm, units)}"
    return f"{shape}, {axes_shown(2.0 * face.semi_u_mm, 2.0 * face.semi_v_mm, units=units)}"


def _state(record: Record, piece: PieceEntry, *, face: FaceEntry) -> tuple[str, Step]:
    """What is known and what comes next: the newest of photograph, reading and gauging decides."""
    readings = readings_of(record, face.root, limit=1)
    photographs = record.listing(Photograph, newest_first=True, limit=1, face_id=face.root)
    if photographs and not readings_with(record, photographs[0].id):
        link = f"/photographs/{photographs[0].id}"
        return "Photographed, not read yet.", Step(
            words="Read the bands, or see why they could not be read.", link=link, link_words="Go on"
        )
    if readings:
        return _after_reading(record, piece, reading=readings[0])
    back = back_of(record, piece.root)
    clearing = None if back is None else newest_clearing(record, back.root)
    if clearing is not None and clearing.found["unclear_places"]:
        return clear_headline(clearing.found), Step(words=to_go(clearing.found), link=f"/pieces/{piece.root}/back", link_words="The back")
    gaugings = record.listing(GaugingEntry, newest_first=True, limit=1, face_id=face.root)
    planned = planned_step(record, piece)
    if gaugings:
        return _after_gauging(piece, gaugings[0], planned=planned)
    runs = record.listing(Run, newest_first=True, limit=1, face_id=face.root)
    done = f"Last run: {runs[0].work}, {runs[0].minutes:g} min." if runs else "Nothing done yet."
    if planned is not None:
        return done, planned
    if runs:
        return done, Step(words="Gauge the face with the spherometer.", link=f"/pieces/{piece.root}/gauge", link_words="Gauge")
    return done, Step(words="Grind it, or photograph the bands if it is polished.", link=f"/pieces/{piece.root}", link_words="Open")


def planned_step(record: Record, piece: PieceEntry) -> Step | None:
    """The next run of the batch that the piece is ground in, or None where there is none, or all of its runs are done."""
    batch = newest_batch(record, piece.root)
    if batch is None:
        return None
    done = {tick.number for tick in record.listing(Tick, batch_id=batch.root)}
    for number, run in enumerate(batch.found["runs"], start=1):
        if number not in done and piece.name in (run["top"], run["bottom"]):
            words = f"Grind {run['top']} on {run['bottom']} with {run['abrasive_um']:g} um for {run['minutes']:.1f} min, as planned."
            return Step(words=words, link=f"/batches/{batch.root}", link_words="The batch")
    return None


def _after_gauging(piece: PieceEntry, gauging: GaugingEntry, *, planned: Step | None) -> tuple[str, Step]:
    found = gauging.found
    state = f"{found['form'].capitalize()}, sag {round_with_uncertainty(found['sag_um'], found['sag_uncertainty_um'], unit='um')}."
    if "gauge-ends-here" in found["flags"]:
        link = f"/pieces/{piece.root}/photograph"
        return state, Step(words="The gauge sees no further: polish, then photograph the bands.", link=link, link_words="Photograph")
    return state, planned or Step(words=NEXT[found["next_on"]], link=f"/pieces/{piece.root}", link_words="Open")


def _after_reading(record: Record, piece: PieceEntry, *, reading: ReadingEntry) -> tuple[str, Step]:
    surface, doubt = reading.found["surface"], reading.found["uncertainty"]
    state = f"PV {round_with_uncertainty(surface['pv_nm'], doubt['pv_nm'], unit='nm')}."
    verdict = newest_verdict(record, reading.id)
    if verdict is None:
        return state, Step(
            words="No order says what it must hold to; look at the map.", link=f"/readings/{reading.id}", link_words="See the map"
        )
    paper = newest_certificate(record, reading.id)
    if paper is not None:
        return f"{state} Certified.", Step(
            words="Hand it over with its paper.", link=f"/certificates/{paper.id}", link_words="See the paper"
        )
    return f"{state} {_strehl(verdict)}", _step_by(record, verdict, piece=piece, reading=reading)


def _strehl(verdict: VerdictEntry) -> str:
    least = min(verdict.found["strehl"], key=lambda at: at["strehl"])
    doubt = math.nan if least["uncertainty"] is None else least["uncertainty"]
    return f"Least Strehl ratio {' '.join(round_with_uncertainty(least['strehl'], doubt, unit='').split())}: {verdict.found['decision']}."


def _step_by(record: Record, verdict: VerdictEntry, *, piece: PieceEntry, reading: ReadingEntry) -> Step:
    decision = Decision(verdict.found["decision"])
    if decision is Decision.MEETS:
        return Step(words="It meets what was asked: write its certificate.", link=f"/verdicts/{verdict.id}", link_words="Certificate")
    if decision is Decision.FAILS:
        return _figure_it(record, piece=piece, reading=reading)
    words = "It can't be told yet: photograph it again with the wedge turned, and read both together."
    return Step(words=words, link=f"/pieces/{piece.root}/photograph", link_words="Photograph")


def _figure_it(record: Record, *, piece: PieceEntry, reading: ReadingEntry) -> Step:
    """The strokes that were advised on this reading, or the question for them."""
    plans = record.listing(StrokePlanEntry, newest_first=True, limit=1, reading_id=reading.id)
    if plans:
        return Step(words=FIGURE_IT, link=f"/strokes/{plans[0].id}", link_words="The strokes")
    return Step(words=FIGURE_IT, link=f"/pieces/{piece.root}/figuring", link_words="Which strokes")
