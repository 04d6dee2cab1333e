"""How words and pictures become a PDF: a template beside this module, its content as JSON, nothing from the system or the clock."""

from __future__ import annotations

import io
import json
import re
import tempfile
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from typing import Any, Final

import typst
from pypdf import PdfReader, PdfWriter
from pypdf.generic import NameObject

from straightband.errors import BadInput

ONE_LINE, LONGEST_BOXED = 18, 60  # letters of a name in its box
_TOO_LONG = "more than a page"  # what the templates say
_NO_LETTER = ("could not be displayed", "disallowed codepoint")  # what typst says
# Tagged, for people who have it read out, and refused by typst when a letter has no glyph.
_STANDARD: Final = "ua-1"


def printed(template: str, *, words: Mapping[str, Any], pictures: Mapping[str, bytes], what: str) -> bytes:
    """A template filled in, as PDF; the same bytes for the same content.

    Raises BadInput when the words of `what` do not fit on a page in legible type, or use letters without a glyph.
    """
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        for name, data in pictures.items():
            (root / name).write_bytes(data)
        # Half a letter, as names of files may hold, becomes a question mark.
        (root / "content.json").write_text(json.dumps(words, ensure_ascii=False), encoding="utf-8", errors="replace")
        path = root / template
        path.write_bytes((resources.files(__package__) / template).read_bytes())
        try:
            pdf = typst.compile(str(path), root=str(root), ignore_system_fonts=True, pdf_standards=_STANDARD)
        except typst.TypstError as fault:
            raise _refusal(fault, what=what) from fault
    return to_print_unscaled(pdf)


def boxed(name: str, *, word: str) -> dict[str, Any]:
    """The template's words for a name in the box at the head of a page: a long one may break within its words, and is cut short where it is longer than the box."""
    if len(name) <= ONE_LINE:
        return {word: name, "long_name": False}
    cut = name if len(name) <= LONGEST_BOXED else f"{name[: LONGEST_BOXED - 3]}..."
    return {word: re.sub(r"\S{8}", lambda found: f"{found[0]}\u200b", cut), "long_name": True}


def _refusal(fault: typst.TypstError, *, what: str) -> Exception:
    message = str(fault)
    if _TOO_LONG in message:
        return BadInput(
            found=f"the {what} has more words than fit on one page in type that can be read",
            needed="one page is needed",
            remedy="shorten the names, the remarks or the cautions",
        )
    if any(words in message for words in _NO_LETTER):
        return BadInput(
            found=f"the {what} was to show {message.split('`')[1]}, which its typeface lacks",
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
