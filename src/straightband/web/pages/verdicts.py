"""Verdicts and certificates."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from starlette.responses import Response

from straightband.shop.entries import CertificateEntry, PieceEntry, ReadingEntry, VerdictEntry
from straightband.shop.queries import newest_certificate
from straightband.web.desk import Ask
from straightband.web.forms import FormView, form
from straightband.web.frame import Page
from straightband.workflows.cautions import DEFER, HAND_OVER
from straightband.workflows.shop_clock import day_shown, time_shown
from straightband.workflows.shop_jobs import ask_certificate
from straightband.workflows.shop_readings import piece_of_reading
from straightband.workflows.shop_today import Step, next_step
from straightband.workflows.shown import margin_shown, strehl_shown, verdict_doubts, verdict_shown
from straightband.workflows.star_picture import star_picture_of
from straightband.workflows.strehl_sketch import strehl_sketch


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictPage(Page):
    """One verdict.

    Attributes
    ----------
    piece, piece_name, reading
        Whose it is, and what it rests on.
    decision, mark, in_words, sentence
        `meets`, `fails` or `cannot tell yet`, its sign, its sentence, and the sentence with the guard band.
    margin
        Least Strehl ratio less the one wanted.
    stars
        Where the picture of stars lies.
    sketch
        Strehl ratio against field, as SVG.
    strehl
        Distance from the middle and Strehl ratio.
    iso10110
        The measured form in one line.
    doubts
        Sentences.
    when
        When it was judged.
    step, here
        What to do next on the piece; the address of this page.
    certificate
        Link to the paper that was written, or nothing.
    form
        The form that writes it, or None where none can be written.
    """

    template: ClassVar[str] = "verdict.html"
    tab: ClassVar[str] = "pieces"
    piece: str
    piece_name: str
    reading: str
    decision: str
    mark: str
    in_words: str
    sentence: str
    margin: str
    stars: str
    sketch: str
    strehl: tuple[tuple[str, str], ...]
    iso10110: str
    doubts: tuple[str, ...]
    when: str
    step: Step
    here: str
    certificate: str
    form: FormView | None


@dataclass(frozen=True, slots=True, kw_only=True)
class CertificatePage(Page):
    """One paper.

    Attributes
    ----------
    piece, piece_name, reading
        Whose it is, and what it rests on.
    decision
        What it says.
    pdf, piece_file
        Links to the paper and to the piece file that it was written from.
    when, sha256
        When it was written, and the hash of its bytes.
    photographs
        Name and hash of each photograph.
    step, here
        What to do next on the piece; the address of this page.
    cautions, defer
        What it does not say.
    """

    template: ClassVar[str] = "certificate.html"
    tab: ClassVar[str] = "pieces"
    piece: str
    piece_name: str
    reading: str
    decision: str
    pdf: str
    piece_file: str
    when: str
    sha256: str
    photographs: tuple[tuple[str, str], ...]
    step: Step
    here: str
    cautions: tuple[str, ...]
    defer: str


MARKS = {"meets": "✓", "fails": "✗", "cannot tell yet": "?"}


def verdict_page(ask: Ask) -> VerdictPage:
    """One verdict, and the button that writes its certificate."""
    number = ask.numbers["verdict"]
    with ask.shop.record() as record:
        entry = record.get(VerdictEntry, number)
        reading = record.get(ReadingEntry, entry.reading_id)
        piece = piece_of_reading(record, reading)
        paper, step = newest_certificate(record, reading.id), next_step(record, piece, reading=reading)
    in_words, sentence = verdict_shown(entry.found, ask.units)
    write = form(ask, f"/verdicts/{number}/certificate", submit="Write the certificate", name="certificate", quiet=paper is not None)
    return VerdictPage(
        title=f"Verdict on {piece.name}",
        piece=f"/pieces/{piece.root}",
        piece_name=piece.name,
        reading=f"/readings/{reading.id}",
        decision=entry.found["decision"],
        mark=MARKS[entry.found["decision"]],
        in_words=in_words,
        sentence=sentence,
        margin=margin_shown(entry.found),
        stars=f"/verdicts/{number}/stars.png",
        sketch=strehl_sketch(entry.found, units=ask.units),
        strehl=strehl_shown(entry.found, ask.units),
        iso10110=entry.found["iso10110"],
        doubts=verdict_doubts(entry.found),
        when=time_shown(entry.at),
        step=step,
        here=f"/verdicts/{number}",
        certificate=f"/certificates/{paper.id}" if paper else "",
        form=write,
    )


def give_stars(ask: Ask) -> Response:
    """What stars look like behind the mirror."""
    with ask.shop.record() as record:
        entry = record.get(VerdictEntry, ask.numbers["verdict"])
    return Response(star_picture_of(ask.shop, entry), media_type="image/png", headers={"Cache-Control": "private, max-age=86400"})


def take_certificate(ask: Ask) -> str:
    """Ask for the certificate."""
    with ask.shop.record() as record:
        reading = record.get(VerdictEntry, ask.numbers["verdict"]).reading_id
    return f"/work/{ask_certificate(ask.shop, reading, now=ask.desk.now(), form=ask.job_form)}"


def _paper(ask: Ask) -> tuple[CertificateEntry, PieceEntry]:
    with ask.shop.record() as record:
        entry = record.get(CertificateEntry, ask.numbers["certificate"])
        return entry, piece_of_reading(record, record.get(ReadingEntry, entry.reading_id))


def certificate_page(ask: Ask) -> CertificatePage:
    """One paper."""
    entry, piece = _paper(ask)
    with ask.shop.record() as record:
        step = next_step(record, piece, reading=record.get(ReadingEntry, entry.reading_id))
    return CertificatePage(
        title=f"Certificate of {piece.name}",
        piece=f"/pieces/{piece.root}",
        piece_name=piece.name,
        reading=f"/readings/{entry.reading_id}",
        decision=entry.found["decision"],
        pdf=f"/certificates/{entry.id}/certificate.pdf",
        piece_file=f"/certificates/{entry.id}/piece.toml",
        when=day_shown(entry.at),
        sha256=entry.pdf_sha256,
        photographs=tuple((each["name"], each["sha256"]) for each in entry.found["sha256"]),
        step=step,
        here=f"/certificates/{entry.id}",
        cautions=HAND_OVER,
        defer=DEFER,
    )


def give_pdf(ask: Ask) -> Response:
    """The paper itself."""
    entry, piece = _paper(ask)
    name = "".join(letter if letter.isascii() and letter.isalnum() else "-" for letter in piece.name)
    headers = {"Content-Disposition": f'inline; filename="certificate-{name}.pdf"'}
    return Response(ask.shop.papers.read(entry.pdf_sha256), media_type="application/pdf", headers=headers)


def give_piece_file(ask: Ask) -> Response:
    """The piece file that it was written from, for `straightband certify`."""
    entry, _ = _paper(ask)
    return Response(entry.told["piece_file"], media_type="text/plain; charset=utf-8")
