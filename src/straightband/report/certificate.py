"""The paper that goes with the mirror: one A4 page, the same bytes for the same content.

Everything on it comes as ready text and pictures; the page does no arithmetic and looks at no clock.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from straightband.provenance import Source
from straightband.report.paper import boxed, printed

CAUTIONS = (
    "Glass edges cut, and a large blank is heavy: bevel first, lift with both hands or with help.",
    "This paper speaks of the shape of the polished face. It says nothing of a coating, nor of whether a glue or a cell holds the mirror safely.",
    "Measured in the shop that made the mirror, not by an accredited laboratory.",
)
_MAGIC = {b"\x89PNG": "png", b"\xff\xd8\xff": "jpg"}


@dataclass(frozen=True, slots=True, kw_only=True)
class CertificateContent:
    """What stands on the paper; every string ready, every picture PNG or JPEG.

    Attributes
    ----------
    shop, piece, title
        Heading, with the piece in its box.
    fields
        Name and value of what the order said: customer, size, glass, telescope.
    decision, verdict
        The decision in its own words, and the sentence with the limit and the guard band.
    photo, photo_caption, map_picture, map_caption
        Pictures and what they show.
    numbers
        Figure, value with its uncertainty, remark.
    strehl
        Place in the field, Strehl with its uncertainty.
    budget_title, budget
        Which number the budget is of; cause and value, the total last.
    method
        Name and value: light, reference flat, number of photographs, sign, orientation.
    photographs
        Names and hashes.
    program
        Name and version.
    cautions
        Sentences.
    signed_by, date
        Left blank for the pen unless given.
    """

    shop: str
    piece: str
    title: str = "Certificate of flatness"
    fields: tuple[tuple[str, str], ...]
    decision: str
    verdict: str
    photo: bytes
    photo_caption: str
    map_picture: bytes
    map_caption: str
    numbers: tuple[tuple[str, str, str], ...]
    strehl: tuple[tuple[str, str], ...]
    budget_title: str
    budget: tuple[tuple[str, str], ...]
    method: tuple[tuple[str, str], ...]
    photographs: tuple[Source, ...]
    program: str
    cautions: tuple[str, ...] = CAUTIONS
    signed_by: str = ""
    date: str = ""


def certificate_pdf(content: CertificateContent) -> bytes:
    """The certificate as PDF; raises BadInput when its words do not fit on a page in legible type, or use letters without a glyph."""
    words = _words(content)
    pictures = {words["photo_file"]: content.photo, words["map_file"]: content.map_picture}
    return printed("certificate.typ", words=words, pictures=pictures, what="certificate")


def _words(content: CertificateContent) -> dict[str, Any]:
    words = {name: getattr(content, name) for name in content.__slots__ if name not in {"photo", "map_picture"}}
    return words | {
        **boxed(content.piece, word="piece"),
        "photographs": [(source.name, source.sha256) for source in content.photographs],
        "cautions": " ".join(content.cautions),
        "photo_file": f"photo.{_kind(content.photo)}",
        "map_file": f"map.{_kind(content.map_picture)}",
    }


def _kind(picture: bytes) -> str:
    for magic, kind in _MAGIC.items():
        if picture.startswith(magic):
            return kind
    message = f"a picture on the certificate must be PNG or JPEG, got bytes that begin with {picture[:4]!r}"
    raise ValueError(message)
