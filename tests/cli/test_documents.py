"""The documents say what the program does: help, doubts and links are compared with the real ones."""

import os
import re
import subprocess
import sys
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from straightband.cli import COMMANDS
from straightband.heightmap.figures import without_tilt
from straightband.verdict.flags import MEANINGS
from straightband.workflows.batch import batch_from_toml
from straightband.workflows.clear_text import past_backs_from_toml
from straightband.workflows.demo_flats import pair_maps
from straightband.workflows.demo_scene import flat_looking_at_it
from straightband.workflows.flags import SENTENCES
from straightband.workflows.maps import map_from_file
from straightband.workflows.order_prices import prices_from_toml
from straightband.workflows.piece import piece_from_toml
from straightband.workflows.strokes_shelf import shelf_from_toml

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


def test_the_worked_example_of_three_flats_is_what_the_program_says(tmp_path):
    """The call in the chapter on threeflat, run on the demonstration's pairs, prints what stands below it, and the flat it finds is the one that was invented."""
    page = (DOCS / "commands.md").read_text(encoding="utf-8")
    chapter = re.search(r"^## straightband threeflat\n(.*?)(?=^## )", page, re.DOTALL | re.MULTILINE)[1]
    called, printed = re.search(r"```console\n\$ (.*?[^\\])\n(.*?)```", chapter, re.DOTALL).groups()
    for name, data in pair_maps():
        (tmp_path / name).write_bytes(data)
    words = called.replace("\\\n", " ").split()
    made = subprocess.run(
        [sys.executable, "-m", "straightband", *words[1:]], cwd=tmp_path, capture_output=True, text=True, check=True
    ).stdout
    assert evened(made) == evened(printed)
    flat = map_from_file((tmp_path / "A.npz").read_bytes(), "A.npz")
    u, v = np.meshgrid(flat.u_mm, flat.v_mm)
    off = without_tilt(replace(flat, heights_nm=flat.heights_nm - flat_looking_at_it().heights_nm(u, v))).points()[2]
    stated = flat.uncertainty_nm[flat.valid]
    assert np.mean(np.abs(off) <= stated) > 0.95


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


# By a key that only this kind of file has.
LOADERS = {
    "piece": batch_from_toml,
    "telescope": piece_from_toml,
    "lap": shelf_from_toml,
    "back": past_backs_from_toml,
    "per_hour": prices_from_toml,
}


def files_shown():
    """Every block of TOML in the documents."""
    for page in PAGES:
        for number, block in enumerate(re.findall(r"^```toml\n(.*?)^```", page.read_text(encoding="utf-8"), re.DOTALL | re.MULTILINE), 1):
            yield pytest.param(block, id=f"{page.name} {number}")


@pytest.mark.parametrize("block", list(files_shown()))
def test_every_file_in_the_documents_is_read(block):
    """Each is taken whole by the one loader to which it belongs: a key that the program does not know would be refused."""
    (load,) = {LOADERS[key] for key in tomllib.loads(block) if key in LOADERS}
    load(block.encode(), name="example")


def test_the_piece_file_in_the_documents_says_what_it_shows():
    """The example in docs/conventions.md gives name, day and remarks as they stand there."""
    example = re.search(r"```toml\n(.*?)```", (DOCS / "conventions.md").read_text(encoding="utf-8"), re.DOTALL)[1]
    assert tomllib.loads(example)["telescope"]["full_field"] == "12mm"
    piece = piece_from_toml(example.encode(), name="example")
    assert (piece.name, piece.date, piece.told) == ("2026-31", "3 March 2026", {"customer": "order 31"})


def test_decisions_are_listed():
    """Every decision is in the list, under its number."""
    listed = (DOCS / "decisions" / "README.md").read_text(encoding="utf-8")
    assert [path.name for path in sorted((DOCS / "decisions").glob("0*.md")) if f"]({path.name})" not in listed] == []
