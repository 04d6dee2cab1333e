"""The paper that goes with the mirror: one A4 page, the same bytes for the same content.

Everything on it comes as ready text and pictures; the page does no arithmetic and looks at no clock.
"""

from __future__ import annotations

import io
import json
import tempfile
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any, Final

import typst
from pypdf import PdfReader, PdfWriter
from pypdf.generic import NameObject

from straightband.errors import BadInput
from straightband.provenance import Source

CAUTIONS = (
    "Glass edges cut, and a large blank is heavy: bevel first, lift with both hands or with help.",
    "This paper speaks of the shape of the polished face. It says nothing of a coating, nor of whether a glue or a cell holds the mirror safely.",
    "Measured in the shop that made the mirror, not by an accredited laboratory.",
)
_MAGIC = {b"\x89PNG": "png", b"\xff\xd8\xff": "jpg"}
_TOO_LONG = "more than a page"  # what the template says
_NO_LETTER = ("could not be displayed", "disallowed codepoint")  # what typst says
# Tagged, for people who have it read out, and refused by typst when a letter has no glyph.
_STANDARD: Final = "ua-1"


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
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        words = _words(content)
        (root / words["photo_file"]).write_bytes(content.photo)
        (root / words["map_file"]).write_bytes(content.map_picture)
        # Half a letter, as names of files may hold, becomes a question mark.
        (root / "content.json").write_text(json.dumps(words, ensure_ascii=False), encoding="utf-8", errors="replace")
        template = root / "certificate.typ"
        template.write_bytes((resources.files(__package__) / template.name).read_bytes())
        try:
            pdf = typst.compile(str(template), root=str(root), ignore_system_fonts=True, pdf_standards=_STANDARD)
        except typst.TypstError as fault:
            raise _refusal(fault) from fault
    return to_print_unscaled(pdf)


def _words(content: CertificateContent) -> dict[str, Any]:
    words = {name: getattr(content, name) for name in content.__slots__ if name not in {"photo", "map_picture"}}
    return words | {
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


def _refusal(fault: typst.TypstError) -> Exception:
    message = str(fault)
    if _TOO_LONG in message:
        return BadInput(
            found="the certificate has more words than fit on one page in type that can be read",
            needed="one page is needed",
            remedy="shorten the names, the remarks or the cautions",
        )
    if any(words in message for words in _NO_LETTER):
        return BadInput(
            found=f"the certificate was to show {message.split('`')[1]}, which its typeface lacks",
            needed="Latin, Greek or Cyrillic letters are needed",
            remedy="write the name in those",
        )
    return fault


def to_print_unscaled(pdf: bytes) -> bytes:
    """Ask the viewer not to shrink the page when printing, which typst has no way to say."""
    writer = PdfWriter(clone_from=PdfReader(io.BytesIO(pdf)))
    wishes = writer.viewer_preferences or writer.create_viewer_preferences()  # typst has put one there already
    wishes[NameObject("/PrintScaling")] = NameObject("/None")
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()
