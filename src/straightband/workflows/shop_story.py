"""What happened to a piece: its history, and its sag and heights over time."""

from __future__ import annotations

from dataclasses import dataclass

from straightband.plots.trend_sketch import Mark, trend_sketch
from straightband.shop.entries import (
    Abrasive,
    CertificateEntry,
    Clearing,
    Cost,
    FaceEntry,
    GaugingEntry,
    GridPhotograph,
    Photograph,
    PieceEntry,
    PlateEntry,
    ReadingEntry,
    Run,
    StrokePlanEntry,
)
from straightband.shop.folder import Shop
from straightband.shop.queries import BACK, faces_of, newest_verdict, readings_of
from straightband.shop.record import Record
from straightband.uncertainty import round_with_uncertainty
from straightband.workflows.back_rows import clear_headline
from straightband.workflows.shop_clock import time_shown

MOST_EVENTS = 200
MOST_MARKS = 24
_CORRECTED = " Corrected."


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One line of a history.

    Attributes
    ----------
    at, when
        The moment as stored, and as shown.
    words
        What happened.
    link
        Where it is told in full, or nothing.
    """

    at: str
    when: str
    words: str
    link: str


def history(shop: Shop, piece_root: int) -> tuple[Event, ...]:
    """Everything that was entered on a piece, the newest first."""
    with shop.record() as record:
        correct = f"/pieces/{piece_root}/correct"
        events = [_event(piece.at, _piece_words(piece), correct) for piece in record.versions(PieceEntry, piece_root)]
        events += [_event(cost.at, _cost_words(cost), f"/costs/{cost.root}/correct") for cost in record.listing(Cost, piece_id=piece_root)]
        events += [
            _event(plate.at, "Pads laid out for the back.", f"/pads/{plate.id}")
            for plate in record.listing(PlateEntry, piece_id=piece_root)
        ]
        for face in faces_of(record, piece_root):
            events += _of_back(record, face) if face.name == BACK else _of_face(record, face.root)
    return tuple(sorted(events, key=lambda event: event.at, reverse=True)[:MOST_EVENTS])


def _event(at: str, words: str, link: str = "") -> Event:
    return Event(at=at, when=time_shown(at), words=words, link=link)


def _piece_words(piece: PieceEntry) -> str:
    return f"Corrected: {piece.name}." if piece.corrects else "Entered."


def _cost_words(cost: Cost) -> str:
    hours = f", {cost.hours:g} h" if cost.hours else ""
    return f"{cost.what}: {cost.amount:.2f} {cost.currency}{hours}.{_CORRECTED if cost.corrects else ''}"


def _of_face(record: Record, face_root: int) -> list[Event]:
    readings = readings_of(record, face_root, limit=MOST_EVENTS)
    events = _runs(record, face_root)
    events += [_event(each.at, _gauging_words(each), f"/gaugings/{each.id}") for each in record.listing(GaugingEntry, face_id=face_root)]
    events += [_event(each.at, "Strokes advised.", f"/strokes/{each.id}") for each in record.listing(StrokePlanEntry, face_id=face_root)]
    for reading in readings:
        papers = record.listing(CertificateEntry, reading_id=reading.id)
        events += [_event(paper.at, "Certificate written.", f"/certificates/{paper.id}") for paper in papers]
        events.append(_event(reading.at, _reading_words(record, reading), f"/readings/{reading.id}"))
    events += [
        _event(each.at, f"Photograph {each.name}.", f"/photographs/{each.id}") for each in record.listing(Photograph, face_id=face_root)
    ]
    return events


def _of_back(record: Record, back: FaceEntry) -> list[Event]:
    here = f"/pieces/{back.piece_id}/back"
    looks = [_event(each.at, f"Back looked at: {clear_headline(each.found)}", here) for each in record.listing(Clearing, face_id=back.root)]
    taken = [
        _event(each.at, f"Grid photographed through it, {each.name}.", here) for each in record.listing(GridPhotograph, face_id=back.root)
    ]
    return [*_runs(record, back.root, of="Back: "), *looks, *taken]


def _runs(record: Record, face_root: int, *, of: str = "") -> list[Event]:
    runs = record.listing(Run, face_id=face_root)
    return [_event(run.at, f"{of}{_run_words(record, run)}", f"/runs/{run.root}/correct") for run in runs]


def run_versions(record: Record, root: int) -> tuple[tuple[str, str], ...]:
    """When, and what was entered of a run, the first one first."""
    return tuple((time_shown(each.at), _run_words(record, each)) for each in record.versions(Run, root))


def cost_versions(record: Record, root: int) -> tuple[tuple[str, str], ...]:
    """The same of a cost."""
    return tuple((time_shown(each.at), _cost_words(each)) for each in record.versions(Cost, root))


def piece_versions(record: Record, root: int) -> tuple[tuple[str, str], ...]:
    """The same of a piece."""
    return tuple((time_shown(each.at), ", ".join([each.name, *each.told.values()])) for each in record.versions(PieceEntry, root))


def _run_words(record: Record, run: Run) -> str:
    if run.minutes == 0.0:
        return f"{run.work.capitalize()}: no run after all."
    abrasive = f" with {record.current(Abrasive, run.abrasive_id).name}" if run.abrasive_id else ""
    place = f", {run.position}" if run.position else ""
    note = f" {run.note}" if run.note else ""
    corrected = _CORRECTED if run.corrects else ""
    return f"{run.work.capitalize()}{abrasive}, {run.minutes:g} min{place}.{note}{corrected}"


def _gauging_words(gauging: GaugingEntry) -> str:
    found = gauging.found
    return f"Gauged: {found['form']}, sag {round_with_uncertainty(found['sag_um'], found['sag_uncertainty_um'], unit='um')}."


def _reading_words(record: Record, reading: ReadingEntry) -> str:
    surface, doubt = reading.found["surface"], reading.found["uncertainty"]
    verdict = newest_verdict(record, reading.id)
    judged = "" if verdict is None else f", {verdict.found['decision']}"
    return f"Read: PV {round_with_uncertainty(surface['pv_nm'], doubt['pv_nm'], unit='nm')}{judged}."


def sag_over_time(shop: Shop, face_root: int) -> str:
    """Sag by gauging, one after the other, as a drawing; nothing with fewer than two."""
    with shop.record() as record:
        gaugings = record.listing(GaugingEntry, face_id=face_root)[-MOST_MARKS:]
    marks = tuple(
        Mark(label=each.told.get("after_abrasive", str(number)), value=each.found["sag_um"], uncertainty=each.found["sag_uncertainty_um"])
        for number, each in enumerate(gaugings, start=1)
    )
    words = "Sag by gauging: " + "; ".join(f"{mark.label}: {mark.value:.3g} um" for mark in marks)
    return trend_sketch(marks, unit="um", words=words) if len(marks) > 1 else ""


def heights_over_time(shop: Shop, face_root: int) -> str:
    """PV by reading, one after the other, as a drawing; nothing with fewer than two."""
    with shop.record() as record:
        readings = readings_of(record, face_root, limit=MOST_MARKS)[::-1]
    marks = tuple(
        Mark(label=str(number), value=each.found["surface"]["pv_nm"], uncertainty=each.found["uncertainty"]["pv_nm"])
        for number, each in enumerate(readings, start=1)
    )
    words = "Peak to valley by reading: " + "; ".join(f"{mark.label}: {mark.value:.3g} nm" for mark in marks)
    return trend_sketch(marks, unit="nm", words=words, from_zero=True) if len(marks) > 1 else ""
