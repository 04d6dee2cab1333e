"""A reading: the bands drawn over the photograph, the map under the finger, figures with their uncertainty, and where that comes from."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

from starlette.responses import Response

from straightband.quantities import MM_PER_UNIT
from straightband.shop.entries import Flat, ReadingEntry
from straightband.shop.queries import newest_certificate, newest_verdict, photographs_of
from straightband.web.desk import Ask
from straightband.web.forms import FormView, form
from straightband.web.frame import Page
from straightband.workflows.map_stream import MapStream, kept_stream
from straightband.workflows.maps import map_file, map_from_file
from straightband.workflows.overlay_paths import Overlay, overlay_of
from straightband.workflows.shop_clock import time_shown
from straightband.workflows.shop_jobs import ask_recompute
from straightband.workflows.shop_readings import piece_of_reading, reading_map, settings_shown
from straightband.workflows.shop_today import Step, next_step
from straightband.workflows.shown import bands_shown, budget_shown, doubts, figure_rows, sign_sentence


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingPage(Page):
    """One reading.

    Attributes
    ----------
    piece, piece_name
        Whose it is.
    headline
        Bands and contrast.
    photographs
        Link and words of each it rests on.
    picture, overlay
        The first of them, and what is drawn over it.
    sign
        Whether hills are known from holes.
    map_src, map_picture
        Where the numbers of the map lie, and a picture of it.
    stream
        How those numbers are laid out.
    unit, unit_mm
        In which lengths on the map are told, and how many mm that is.
    figures
        Name, value with uncertainty, remark.
    budget
        Cause, size, origin, length of its bar.
    doubts
        Sentences.
    settings
        What it was read with.
    when, program
        When, and with what.
    verdict, verdict_words
        Link to the verdict and its decision, or nothing.
    certificate, figuring
        Link to its paper, or nothing; and to the question which strokes come next.
    step, here
        What to do next on the piece; the address of this page.
    again
        The form that computes it anew.
    downloads
        Link and words of each file of the map.
    """

    template: ClassVar[str] = "reading.html"
    tab: ClassVar[str] = "pieces"
    piece: str
    piece_name: str
    headline: str
    photographs: tuple[tuple[str, str], ...]
    picture: str
    overlay: Overlay | None
    sign: str
    map_src: str
    map_picture: str
    stream: MapStream
    unit: str
    unit_mm: float
    figures: tuple[tuple[str, str, str], ...]
    budget: tuple[tuple[str, str, str, str], ...]
    doubts: tuple[str, ...]
    settings: tuple[tuple[str, str], ...]
    when: str
    program: str
    verdict: str
    verdict_words: str
    certificate: str
    figuring: str
    step: Step
    here: str
    again: FormView
    downloads: tuple[tuple[str, str], ...]


def reading_page(ask: Ask) -> ReadingPage:
    """Everything a reading says."""
    number = ask.numbers["reading"]
    with ask.shop.record() as record:
        entry = record.get(ReadingEntry, number)
        piece = piece_of_reading(record, entry)
        photographs = photographs_of(record, number)
        verdict, paper = newest_verdict(record, number), newest_certificate(record, number)
        step = next_step(record, piece, reading=entry)
        flat = "" if entry.flat_id is None else record.get(Flat, entry.flat_id).name
    here = f"/readings/{number}"
    return ReadingPage(
        title=f"Reading of {piece.name}",
        piece=f"/pieces/{piece.root}",
        piece_name=piece.name,
        headline=bands_shown(entry.found),
        photographs=tuple((f"/photographs/{each.id}", each.name) for each in photographs),
        picture=f"/photographs/{photographs[0].id}/picture.jpg",
        overlay=overlay_of(entry.drawing),
        sign=sign_sentence(entry.found),
        map_src=f"{here}/heights",
        map_picture=f"{here}/map.png",
        stream=kept_stream(ask.shop, entry.map_sha256),
        unit=ask.units,
        unit_mm=MM_PER_UNIT[ask.units],
        figures=figure_rows(entry.found),
        budget=budget_shown(entry.found),
        doubts=doubts(entry.found),
        settings=settings_shown(entry, flat=flat),
        when=time_shown(entry.at),
        program=entry.program,
        verdict=f"/verdicts/{verdict.id}" if verdict else "",
        verdict_words=str(verdict.found["decision"]) if verdict else "",
        certificate=f"/certificates/{paper.id}" if paper else "",
        figuring=f"/pieces/{piece.root}/figuring",
        step=step,
        here=here,
        again=form(ask, f"{here}/again", submit="Compute it anew", name="again", quiet=True),
        downloads=tuple((f"{here}/map.{kind}", words) for kind, words in FILES),
    )


FILES = (("npz", "arrays"), ("x3p", "ISO 25178-72"), ("csv", "lines of text"), ("png", "picture"))


def take_again(ask: Ask) -> str:
    """Ask for a reading to be computed anew."""
    return f"/work/{ask_recompute(ask.shop, ask.numbers['reading'], now=ask.desk.now(), form=ask.job_form)}"


def _entry(ask: Ask) -> ReadingEntry:
    with ask.shop.record() as record:
        return record.get(ReadingEntry, ask.numbers["reading"])


def give_heights(ask: Ask) -> Response:
    """The numbers of the map."""
    data = kept_stream(ask.shop, _entry(ask).map_sha256).data
    return Response(data, media_type="application/octet-stream", headers={"Cache-Control": "private, max-age=31536000, immutable"})


def give_map_png(ask: Ask) -> Response:
    """The map as a picture."""
    entry = _entry(ask)

    def drawn() -> bytes:
        from straightband.workflows.pictures import map_picture  # loaded only when none was kept

        return map_picture(reading_map(ask.shop, entry))

    return Response(ask.shop.view(f"map-{entry.map_sha256}.png", make=drawn), media_type="image/png")


def give_map_file(kind: str) -> Callable[[Ask], Response]:
    """What gives the map as a file of one kind."""

    def give(ask: Ask) -> Response:
        entry = _entry(ask)
        data = map_file(map_from_file(ask.shop.maps.read(entry.map_sha256), "map.npz"), name=f"map.{kind}")
        headers = {"Content-Disposition": f'attachment; filename="reading-{entry.id}.{kind}"'}
        return Response(data, media_type="application/octet-stream", headers=headers)

    return give
