"""Sheets that must come out of the printer at 1:1: they ask the viewer not to scale them and carry a bar to check it with."""

from __future__ import annotations

import json
import tempfile
from importlib import resources
from pathlib import Path
from typing import Any

import typst

from straightband.errors import BadInput
from straightband.report.paper import to_print_unscaled

PAPERS_MM = {"a4": (210.0, 297.0), "a3": (297.0, 420.0), "letter": (215.9, 279.4), "legal": (215.9, 355.6)}


def paper_size_mm(name: str) -> tuple[float, float]:
    """Width and height of a paper by its name; raises BadInput."""
    if name.lower() not in PAPERS_MM:
        raise BadInput(
            found=f"the paper was given as '{name[:40]}'", needed=f"one of {', '.join(PAPERS_MM)} is needed", remedy="write one of these"
        )
    return PAPERS_MM[name.lower()]


def true_size_pdf(template: str, words: dict[str, Any]) -> bytes:
    """A PDF of a template of this room (`name.typ`) filled with `words`, marked to be printed unscaled; same words, same bytes."""
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        (root / "content.json").write_text(json.dumps(words, ensure_ascii=False), encoding="utf-8", errors="replace")
        for name in (template, "true_size.typ"):
            (root / name).write_bytes((resources.files(__package__) / name).read_bytes())
        pdf = typst.compile(str(root / template), root=str(root), ignore_system_fonts=True)
    return to_print_unscaled(pdf)
