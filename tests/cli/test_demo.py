"""`straightband demo`: every file it names is there, its numbers hold the truth they were made from, and it can be done again by hand."""

import hashlib
import json
import re
import shlex
import shutil
import sys
from pathlib import Path

import pytest

from straightband.cli import COMMANDS, main
from straightband.cli.demo import _bench_lines
from straightband.cli.parser import parser_for
from straightband.workflows.demo_rings import NAMES, shipped
from straightband.workflows.shop_folder import open_shop, vouch

# Of the files as they were published, so that nobody re-encodes them unseen.
RINGS_b48f48b1449a7dbc19de89ca2d6cd71b4738647c59f47a2e22c8c5300e5b51ce56 = {
    "newton_rings_raw_01.jpg": "19151014123c1be165be360d85a0b865fe01b8a27bb50fdf460b9343ab09f620",
    "newton_rings_raw_02.jpg": "b48f48b1449a7dbc19de89ca2d6cd71b4738647c59f47a2e22c8c5300e5b51ce",
}


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    """The demonstration, run once: its folder and its facts."""
    folder = tmp_path_factory.mktemp("demo") / "out"
    with pytest.MonkeyPatch.context() as patch:
        words = []
        patch.setattr("builtins.print", words.append)
        assert main(["demo", "--out", str(folder), "--json"]) == 0
    return folder, json.loads(words[0])


def test_every_file_it_names_is_there_and_no_other(shown):
    """The folder holds the files that were listed, each with a word on what it shows."""
    folder, facts = shown
    assert sorted(file["path"] for file in facts["files"]) == sorted(str(path) for path in folder.iterdir() if path.is_file())
    assert all(file["shows"] for file in facts["files"])
    for name in ("after-bands.png", "after-map.png", "after-profile.png", "before-bands.png", "rings-1-bands.png"):
        assert (folder / name).read_bytes().startswith(b"\x89PNG")
    assert (folder / "certificate.pdf").read_bytes().startswith(b"%PDF-")


def test_the_shop_it_fills_is_whole(shown):
    """The record of the invented shop is whole; that all it holds comes out the same when computed anew is told by `vouch` in the documents, see below."""
    folder, facts = shown
    assert facts["shop"] == str(folder / "shop")
    found = vouch(open_shop(folder / "shop"))
    assert found.whole, found.checked.faults


@pytest.mark.parametrize("stem", ["before", "after"])
@pytest.mark.parametrize("name", ["pv_nm", "rms_nm", "power_nm", "astigmatism_nm"])
def test_readings_hold_the_truth(shown, stem, name):
    """The surface the photograph was rendered from has its figures inside the stated intervals."""
    chapter = shown[1][stem]
    assert chapter["surface"][name] == pytest.approx(chapter["truth"][name], abs=chapter["uncertainty"][name])  # expanded, 95 %


def test_the_mirror_fails_before_figuring_and_meets_after(shown):
    """The order is carried to the end: what failed is figured until it meets."""
    _, facts = shown
    assert (facts["before"]["decision"], facts["after"]["decision"]) == ("fails", "meets")


def test_the_mirror_is_large_enough_for_the_order(shown):
    """Closed form: the cone from 250 mm to a 12 mm field over 1250 mm has slope k = 119 / 1250 and radius 6 + 205 k at the diagonal."""
    k = (250.0 - 12.0) / (2.0 * 1250.0)
    needed = 2.0 * (6.0 + 205.0 * k) / (1.0 - k * k)  # minor axis of the 1 : sqrt 2 ellipse that covers the cut
    clear = 0.97 * shown[1]["minor_axis_mm"]
    assert needed <= clear < needed + 0.5  # half millimetres


def test_the_certificate_can_be_made_again(shown, tmp_path):
    """`certify` on the piece file that lies there gives the same bytes, the way the demonstration says."""
    folder, _ = shown
    again = tmp_path / "again.pdf"
    assert main(["certify", str(folder / "after.toml"), "--out", str(again)]) == 0
    assert again.read_bytes() == (folder / "certificate.pdf").read_bytes()


def test_real_rings_agree(shown):
    """Two photographs of the same lens in the same microscope: the bands from the middle to the rim of the field agree within 2 %."""
    first, second = (one["bands_centre_to_rim"] for one in shown[1]["rings"])
    assert first == pytest.approx(second, rel=0.02)
    assert 7.0 < first < 9.0  # rings counted by eye in the photographs: eight dark ones inside the clear aperture


def test_real_photographs_are_as_published():
    """The shipped photographs have the bytes they were published with, and their licence lies beside them."""
    assert {
        name: hashlib.sha256(shipped(name)).hexdigest() for name in NAMES
    } == RINGS_b48f48b1449a7dbc19de89ca2d6cd71b4738647c59f47a2e22c8c5300e5b51ce56
    assert b"Permission is hereby granted, free of charge" in shipped("LICENSE.MIT.txt")


def test_the_story_is_told_for_people(shown):
    """The text file tells the order, both readings, both verdicts and the real photographs."""
    story = (shown[0] / "story.txt").read_text(encoding="utf-8")
    assert re.search(r"FAILS\. .*MEETS\. ", story, flags=re.DOTALL)
    assert "It is the same lens twice" in story


def test_a_folder_that_cannot_be_made_is_refused(capsys, tmp_path):
    """A file in the place of the folder is one sentence."""
    (tmp_path / "taken").write_text("")
    assert main(["demo", "--out", str(tmp_path / "taken")]) == 2
    assert capsys.readouterr().err == (
        f"The folder '{tmp_path / 'taken'}' can't be made (File exists); a folder that you may write to is needed; name another with --out.\n"
    )


ROOT = Path(__file__).resolve().parents[2]
PAGES = sorted([ROOT / "README.md", *(ROOT / "docs").rglob("*.md")])
EXACT = (
    "order",
    "plan",
    "gauge",
    "pads",
    "clear",
    "box",
    "keep",
    "vouch",  # computes all of the shop anew, and names what differs
)  # what is computed from what is typed; the others rest on readings, which get better
STARTED_ONLY = ("bench", "demo")  # one waits for people, the other is what made the folder
# Names of the examples, and the files of the demonstration that a person would have in their place.
STAND_INS = {
    "bands.jpg": "before.jpg",
    "piece.toml": "after.toml",
    "first.npz": "before.npz",
    "second.npz": "before.npz",
    "third.npz": "before.npz",
}


def blocks():
    """Every block of commands in the documents: page, and the lines of each command with what is printed below it where that is shown."""
    for page in PAGES:
        for kind, block in re.findall(r"^```(sh|console)\n(.*?)^```", page.read_text(encoding="utf-8"), re.DOTALL | re.MULTILINE):
            joined = block.replace("\\\n", " ")
            if "straightband" not in joined:
                continue  # make demo, make test
            commands = [line.removeprefix("$ ") for line in joined.splitlines() if line.startswith("$ ") or kind == "sh"]
            printed = "\n".join(line for line in joined.splitlines() if not line.startswith("$ ")) if kind == "console" else None
            yield pytest.param(commands, printed, id=f"{page.name}: {commands[0][:40]}")


@pytest.fixture
def workshop(shown, tmp_path, monkeypatch):
    """A copy of the demonstration to call commands in, as the documents say."""
    folder = tmp_path / "demo-out"
    shutil.copytree(shown[0], folder)
    for name, source in STAND_INS.items():
        shutil.copy(folder / source, folder / name)
    laps = re.search(r"```toml\n(polish.*?)```", (ROOT / "docs" / "how-figuring-works.md").read_text(encoding="utf-8"), re.DOTALL)
    (folder / "laps.toml").write_text(laps[1], encoding="utf-8")
    monkeypatch.chdir(folder)
    return folder


@pytest.mark.usefixtures("workshop")
@pytest.mark.parametrize(("commands", "printed"), list(blocks()))
def test_every_command_in_the_documents_does_what_they_say(commands, printed, capsys):
    """Each is called in the folder of the demonstration and answers; what is printed is what stands there, for those that compute from what is typed."""
    for command in commands:
        words = shlex.split(command, comments=True)[1:]
        if words[0] in STARTED_ONLY:
            assert parser_for(words[0]).parse_args(words).command == words[0]
            continue
        assert main(words) == 0, capsys.readouterr().err
        told = capsys.readouterr().out
        if printed is not None and words[0] in EXACT:
            assert " ".join(told.split()) == " ".join(printed.split())


def test_every_command_has_an_example_in_the_documents():
    """No command goes without one, but `demo`, whose whole story is told at the end of the page."""
    text = "\n".join(page.read_text(encoding="utf-8") for page in PAGES)
    assert [name for name in COMMANDS if not re.search(rf"^(\$ )?(\S+/)?straightband {name}\b", text, re.MULTILINE)] == ["demo"]


@pytest.mark.parametrize(
    ("called", "on_path", "told"),
    [
        (".venv/bin/straightband", None, ".venv/bin/straightband"),
        (".venv/bin/straightband", "/bin/x", "straightband"),
        ("__main__.py", None, "straightband"),
    ],
)
def test_the_bench_is_named_as_this_person_can_call_it(monkeypatch, called, on_path, told):
    """Where the shell does not find the program by its bare name, the last line of the demonstration names it as it was called."""
    monkeypatch.setattr(sys, "argv", [called])
    monkeypatch.setattr(shutil, "which", lambda _: on_path)
    assert _bench_lines(Path("shop"), is_new=True)[1] == f"Open it in the browser: {told} bench --shop shop"
