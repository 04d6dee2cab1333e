"""Write the certificate of a reading of the record, from a piece file that the record itself writes."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass

from straightband import provenance
from straightband.errors import BadInput
from straightband.heightmap.map import HeightMap
from straightband.shop.entries import CertificateEntry, Flat, Ordered, PieceEntry, ReadingEntry, Shopkeeper
from straightband.shop.folder import Shop
from straightband.shop.queries import newest_certificate, newest_verdict, photographs_of
from straightband.shop.record import Form, Record
from straightband.workflows.certify import certificate_facts, certify
from straightband.workflows.maps import map_from_file
from straightband.workflows.piece import piece_from_toml
from straightband.workflows.read import tell_nobody
from straightband.workflows.report_reading import reading_facts
from straightband.workflows.shop_clock import day_shown
from straightband.workflows.shop_orders import SIZES, given
from straightband.workflows.shop_readings import SETTINGS, day_of, differences, own_names, piece_of_reading, told_requirement
from straightband.workflows.shop_setup import shopkeeper


@dataclass(frozen=True, slots=True, kw_only=True)
class _Papers:
    """What a certificate is written from."""

    reading: ReadingEntry
    piece: PieceEntry
    order: Ordered
    flat: Flat | None
    keeper: Shopkeeper
    names: tuple[tuple[str, str], ...]
    taken: str
    verdict_id: int


def certify_for_the_record(
    shop: Shop, reading_id: int, *, now: str, stage: Callable[[str], None] = tell_nobody, form: Form | None = None
) -> int:
    """Write the certificate of a reading and keep it; returns its number. Raises a StraightbandError.

    The photographs are read again for it; where a number came out otherwise than in the record, no paper is written.
    """
    with shop.record() as record:
        papers = _papers(record, reading_id)
    toml = piece_file(papers, day=day_shown(now))
    photographs = [(name, shop.photos.read(sha256)) for name, sha256 in papers.names]
    stage("reading the photographs again and setting the paper")
    made = certify(
        piece_from_toml(toml.encode(), name="piece.toml"), photographs=photographs, reference=_reference(shop, papers.flat), stage=stage
    )
    differing = differences(reading_facts(made.reading), papers.reading.found)
    if differing:
        raise BadInput(
            found=f"the photographs no longer read as in the record ({differing[0]})",
            needed="a reading of this version of the program is needed",
            remedy="read the photographs again and certify that reading",
        )
    entry = CertificateEntry(
        at=now,
        reading_id=reading_id,
        verdict_id=papers.verdict_id,
        told={"piece_file": toml},
        found=certificate_facts(made),
        pdf_sha256=shop.papers.keep(made.pdf),
        program=provenance.program(),
    )
    with shop.record() as record:
        return record.once(form, lambda: _entered(record, entry))[1]


def _entered(record: Record, entry: CertificateEntry) -> CertificateEntry:
    there = newest_certificate(record, entry.reading_id)
    return there if there is not None and there.pdf_sha256 == entry.pdf_sha256 else record.add(entry)


def _papers(record: Record, reading_id: int) -> _Papers:
    reading = record.get(ReadingEntry, reading_id)
    piece = piece_of_reading(record, reading)
    verdict = newest_verdict(record, reading_id)
    if piece.order_id is None or verdict is None:
        raise BadInput(
            found=f"the piece '{piece.name}' has no order",
            needed="a certificate says what the mirror is good enough for, and a telescope is needed for that",
            remedy="enter its order first",
        )
    _check(reading, piece)
    return _Papers(
        reading=reading,
        piece=piece,
        order=record.current(Ordered, piece.order_id),
        flat=None if reading.flat_id is None else record.get(Flat, reading.flat_id),
        keeper=shopkeeper(record),
        names=own_names(photographs_of(record, reading_id)),
        taken=day_of(photographs_of(record, reading_id)[0]),
        verdict_id=verdict.id,
    )


def _check(reading: ReadingEntry, piece: PieceEntry) -> None:
    """Refuse what no certificate can be written on."""
    if "shape" in reading.told and given(reading.told, "shape", *SIZES) != given(piece.told, "shape", *SIZES):
        raise BadInput(
            found=f"the size of the piece '{piece.name}' was corrected after this reading",
            needed="a reading of the size that holds is needed",
            remedy="read the photographs again and certify that reading",
        )


def piece_file_of(shop: Shop, reading_id: int, *, day: str = "") -> str:
    """The piece file of a reading, as `straightband certify` takes it."""
    with shop.record() as record:
        return piece_file(_papers(record, reading_id), day=day)


def piece_file(papers: _Papers, *, day: str) -> str:
    """The TOML of a piece with its photographs, its telescope and its shop."""
    told = papers.piece.told
    top = {
        "name": papers.piece.name,
        **given({"customer": papers.order.customer}, "customer"),
        **given(told, "glass", "thickness", "shape", *SIZES),
    }
    top |= (
        {"photographed": papers.taken}
        | given(papers.reading.told, *SETTINGS, "glass", "thickness")
        | ({"reference": papers.flat.map_name} if papers.flat else {})
    )
    telescope = told_requirement(papers.order)
    if "light_judged" in telescope:
        telescope["light"] = telescope.pop("light_judged")
    shop = {"date": day, **given({"name": papers.keeper.name, "signed_by": papers.keeper.signed_by}, "name", "signed_by")}
    parts = ["\n".join(_line(key, value) for key, value in top.items())]
    parts[0] += "\nphotographs = [" + ", ".join(json.dumps(name, ensure_ascii=False) for name, _ in papers.names) + "]"
    parts.append("[telescope]\n" + "\n".join(_line(key, value) for key, value in telescope.items()))
    parts.append("[shop]\n" + "\n".join(_line(key, value) for key, value in shop.items() if value))
    return "\n\n".join(parts) + "\n"


def _line(key: str, value: str) -> str:
    # A JSON string without escapes beyond the basic ones is a TOML basic string as well.
    return f"{key} = {json.dumps(value, ensure_ascii=False)}"


def _reference(shop: Shop, flat: Flat | None) -> tuple[str, bytes, HeightMap] | None:
    if flat is None:
        return None
    data = shop.maps.read(flat.map_sha256)
    return flat.map_name, data, map_from_file(data, flat.map_name)
