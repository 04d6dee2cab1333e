"""The documents say what the program does: help, doubts and links are compared with the real ones."""

import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from straightband.cli import COMMANDS
from straightband.verdict.flags import MEANINGS
from straightband.workflows.flags import SENTENCES
from straightband.workflows.piece import piece_from_toml

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
PAGES = sorted([ROOT / "README.md", *DOCS.rglob("*.md")])


def evened(text):
    return " ".join(text.split())


@pytest.mark.parametrize("name", COMMANDS)
def test_help_in_the_documents_is_the_real_help(name):
    """Each command's chapter holds its help word for word; `scripts/write_docs.py` writes it anew."""
    real = subprocess.run(
        [sys.executable, "-m", "straightband", name, "--help"],
        env={**os.environ, "COLUMNS": "100"},
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    chapter = re.search(
        rf"^## straightband {name}\n(.*?)(?=^## |\Z)", (DOCS / "commands.md").read_text(encoding="utf-8"), re.DOTALL | re.MULTILINE
    )
    assert chapter, f"docs/commands.md has no chapter on {name}"
    assert evened(real) in evened(chapter[1])


def test_every_doubt_is_in_the_documents():
    """docs/doubts.md holds each short name with its sentence."""
    page = (DOCS / "doubts.md").read_text(encoding="utf-8")
    for name, sentence in [*SENTENCES.items(), *MEANINGS.items()]:
        assert f"| `{name}` | {sentence} |" in page


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.relative_to(ROOT).as_posix())
def test_links_lead_somewhere(page):
    """Every relative link and picture in the documents is there."""
    links = re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8"))
    lost = [link for link in links if not link.startswith("https://") and not (page.parent / link).exists()]
    assert lost == []


def test_the_readme_opens_with_the_job_and_the_two_commands():
    """First the job in one paragraph, then `make demo` and `make test`, before anything else."""
    parts = [part for part in (ROOT / "README.md").read_text(encoding="utf-8").split("\n\n") if part.strip()]
    assert parts[0] == "# Straightband"
    assert parts[1].startswith("You make flat mirrors by hand")
    assert re.fullmatch(r"```sh\nmake demo .*\nmake test .*\n```", parts[2])


def test_the_piece_file_in_the_documents_is_read():
    """The example in docs/conventions.md is a piece file that the program takes whole."""
    example = re.search(r"```toml\n(.*?)```", (DOCS / "conventions.md").read_text(encoding="utf-8"), re.DOTALL)[1]
    assert tomllib.loads(example)["telescope"]["full_field"] == "12mm"
    piece = piece_from_toml(example.encode(), name="example")
    assert (piece.name, piece.date, piece.told) == ("2026-31", "3 March 2026", {"customer": "order 31"})


def test_decisions_are_listed():
    """Every decision is in the list, under its number."""
    listed = (DOCS / "decisions" / "README.md").read_text(encoding="utf-8")
    assert [path.name for path in sorted((DOCS / "decisions").glob("0*.md")) if f"]({path.name})" not in listed] == []
