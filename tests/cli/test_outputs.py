"""No command writes over a file that it reads, by whatever name that is given."""

import os
import re
from pathlib import Path

import pytest

import straightband.cli
from straightband.cli import main
from straightband.cli.outputs import check_outputs, write_outputs
from straightband.errors import BadInput

PIECE = """\
name = "G-1"
minor = "90mm"
light = "mercury-green"
photographs = ["bands.pdf"]

[telescope]
aperture = "300mm"
focal_length = "1500mm"
intercept = "300mm"
"""
FACE = ["--minor", "90mm", "--light", "mercury-green"]
CALLS = {
    "read": (["read", "in.png", *FACE, "--map", "in.png"], "in.png"),
    "read a reference": (["read", "in.png", *FACE, "--minus", "ref.npz", "--map", "out.png", "--map", "ref.npz"], "ref.npz"),
    "read a folder": (["read", "frames", *FACE, "--map", "frames/one.png"], "frames/one.png"),
    "certify": (["certify", "piece.toml", "--out", "bands.pdf"], "bands.pdf"),
    "plan": (["plan", "batch.pdf", "--cards", "batch.pdf"], "batch.pdf"),
    "plan a plot": (["plan", "in.png", "--cards", "out.pdf", "--plot", "in.png"], "in.png"),
    "clear": (["clear", "in.png", "--minor", "90mm", "--map", "in.png"], "in.png"),
    "clear, later": (["clear", "a.png", "--minor", "90mm", "--after", "20min", "in.png", "--map", "in.png"], "in.png"),
    "clear, the sheet": (["clear", "bands.pdf", "--minor", "90mm", "--sheet", "bands.pdf"], "bands.pdf"),
    "strokes": (["strokes", "ref.npz", "--lap", "120mm", "--predicted", "ref.npz"], "ref.npz"),
    "strokes, kept": (["strokes", "ref.npz", "--lap", "120mm", "--past", "run.toml", "--keep", "run.toml"], "run.toml"),
    "order": (["order", "--aperture", "300mm", "--focal-ratio", "5", "--intercept", "240mm", "--prices", "in.png", "--drawing", "in.png"], "in.png"),
}  # fmt: skip


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A folder with one file of each kind that is read; what they hold comes to light only after the names were looked at."""
    (tmp_path / "frames").mkdir()
    for name in ("in.png", "a.png", "ref.npz", "bands.pdf", "batch.pdf", "run.toml", "frames/one.png"):
        (tmp_path / name).write_bytes(f"what stood in {name}".encode())
    (tmp_path / "piece.toml").write_text(PIECE, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def tree(folder):
    """Every file with what it holds."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize("call", CALLS)
def test_what_is_read_is_not_written_over(folder, capsys, monkeypatch, call):
    """Exit code 2, one sentence that names the file, and the folder is as it was."""
    words, name = CALLS[call]
    monkeypatch.setattr("straightband.cli.read.map_from_file", lambda *_: None)
    before = tree(folder)
    assert main(words) == 2
    out, err = capsys.readouterr()
    assert (out, err) == ("", f"'{name}' was to be written over '{name}', which is read; a name of its own is needed; name another file.\n")
    assert tree(folder) == before


@pytest.mark.parametrize("link", [os.symlink, os.link, lambda *_: Path("b").mkdir()])
def test_another_name_for_the_same_file_does_not_help(folder, link):
    """A symbolic link, a hard link, and a way round through another folder."""
    link("in.png", "other.png")
    other = "other.png" if Path("other.png").exists() else "b/../in.png"
    with pytest.raises(BadInput, match="which is read"):
        write_outputs([("new.png", b"new"), (other, b"new")], inputs=[None, "in.png"])
    assert not (folder / "new.png").exists()
    assert (folder / "in.png").read_bytes() == b"what stood in in.png"


@pytest.mark.usefixtures("folder")
def test_two_outputs_in_one_file_are_refused():
    """The second would replace the first, whether the file is there or not; what was not asked for is passed over."""
    for name in ("new.png", "a.png"):
        with pytest.raises(BadInput, match="were both to be written to one file"):
            check_outputs([name, None, f"./{name}"], inputs=["in.png"])
    check_outputs(["new.png", "a.png", None], inputs=["in.png", None])


def test_every_command_writes_through_the_one_place():
    """`write_whole` itself is called where a note goes onto the file it was read from, and by the demonstration, which reads none."""
    room = Path(straightband.cli.__file__).parent
    callers = {path.stem for path in room.glob("*.py") if re.search(r"\bwrite_whole\(", path.read_text(encoding="utf-8"))}
    assert callers == {"outputs", "threeflat", "demo"}
