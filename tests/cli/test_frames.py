"""Folders and films on the command line of `read`."""

import json

import pytest

from straightband.cli import main
from straightband.cli.frames import cores_from_text, frames_in
from straightband.errors import BadInput

FACE = ("--minor", "90mm", "--light", "mercury-green", "--mark", "3", "--thicker", "2.5")


def test_a_folder_is_read_as_a_stack(tmp_path, capsys, photograph):
    """Four files of a folder become one reading that says how many were averaged; other files in it are passed by."""
    for k in range(4):
        (tmp_path / f"f{k}.jpg").write_bytes(photograph + bytes(k))  # what stands after its end makes no other picture, but another file
    (tmp_path / "notes.txt").write_text("wedge as before", encoding="utf-8")
    assert main(["read", str(tmp_path), *FACE, "--cores", "1", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert len(found["photographs"]) == 4
    assert {line["term"]: line["origin"] for line in found["budget"]}["repeat"] == "scatter of 4 blocks of 4 frames"


def test_plain_photographs_are_no_stack():
    """Names of photographs are left to the reading of single ones."""
    assert frames_in(["a.jpg", "b.jpg"]) is None


@pytest.mark.parametrize(
    ("names", "sentence"),
    [
        (["x.mp4", "a.jpg"], "'x.mp4' was given among 2 names; one folder or one film by itself is needed; put the photographs into one folder, or name them all."),
        (["empty"], "there is no photograph in 'empty'; a folder of photographs is needed; check its name."),
        (["none.mp4"], "the film 'none.mp4' can't be opened (No such file or directory); a file that can be read is needed; check the name and call again."),
    ],
    ids=["mixed", "empty", "missing"],
)  # fmt: skip
def test_what_is_no_stack_is_refused(tmp_path, monkeypatch, names, sentence):
    """A film among photographs, a folder without one, a film that is not there."""
    (tmp_path / "empty").mkdir()
    monkeypatch.chdir(tmp_path)
    with pytest.raises(BadInput) as refused:
        frames_in(names)
    assert str(refused.value) == sentence


def test_cores_are_a_number():
    """A count from 1; anything else is refused."""
    assert cores_from_text("2") == 2
    with pytest.raises(BadInput) as refused:
        cores_from_text("all")
    assert str(refused.value) == "the number of cores was given as 'all'; a whole number from 1 to 256 is needed; leave it out for all."
