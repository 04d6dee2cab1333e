"""The command line and what stands around it: a full disk, a narrow terminal, a closed pipe, signals, devices, odd names of files."""

import io
import json
import math
import os
import subprocess
import sys
from argparse import Namespace
from pathlib import Path

import pytest

from straightband.cli import main
from straightband.cli.answer import read_file, run_command
from straightband.cli.printing import as_json, printed, refused
from straightband.errors import BadInput

BOX = ["box", "--largest", "200mm"]
GAUGE = ["gauge", "--minor", "90mm", "--leg-circle", "60mm", "--reading", "12.4um", "--zero", "12um"]
STOPPED = b"Stopped at your request; nothing was written; call again to go on.\n"
FULL = "The answer could not be printed (No space left on device); room for it is needed; let it go elsewhere and call again.\n"


def called(words, *, beforehand="", env=None, **more):
    """A process of its own that does what the installed command does."""
    code = f"import os, signal, sys\n{beforehand}\nfrom straightband.cli import main\nsys.exit(main())"
    return subprocess.run([sys.executable, "-c", code, *words], env={**os.environ, **(env or {})}, check=False, **more)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
@pytest.mark.parametrize("unbuffered", ["", "1"])
@pytest.mark.parametrize("words", [BOX, ["--version"]])
def test_an_answer_that_finds_no_room_is_one_sentence(words, unbuffered):
    """/dev/full is a full disk: exit code 2 and one sentence, whether what is printed goes at once or at the end."""
    with Path("/dev/full").open("w") as full:
        done = called(words, stdout=full, stderr=subprocess.PIPE, text=True, env={"PYTHONUNBUFFERED": unbuffered})
    assert (done.returncode, done.stderr) == (2, FULL)


def test_a_narrow_terminal_gets_other_signs():
    """In ASCII the sign for plus or minus is replaced, and JSON escapes it, so that nothing of it is lost."""
    narrow = {"PYTHONIOENCODING": "ascii"}
    done = called(GAUGE, capture_output=True, env=narrow)
    assert (done.returncode, done.stderr) == (0, b"")
    assert b" ? " in done.stdout
    assert done.stdout.isascii()
    done = called([*GAUGE, "--json"], capture_output=True, env=narrow)
    assert (done.returncode, done.stderr) == (0, b"")
    assert json.loads(done.stdout) == json.loads(called([*GAUGE, "--json"], capture_output=True).stdout)


def test_nobody_who_reads_on_is_no_fault():
    """As with `| head -1`: nothing is said, and the exit code is 0."""
    reading, writing = os.pipe()
    os.close(reading)
    with os.fdopen(writing, "wb") as closed:
        done = called(BOX, stdout=closed, stderr=subprocess.PIPE)
    assert (done.returncode, done.stderr) == (0, b"")


@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM"])
@pytest.mark.parametrize(
    ("when", "cleared"),
    [
        (
            "class Met:\n    def find_spec(self, name, path=None, target=None):\n        if name == 'straightband.workflows.box': sent()\nsys.meta_path.insert(0, Met())",
            b"",
        ),
        (
            "import straightband.cli.box\ndef run(options):\n    try: sent()\n    finally: os.write(1, b'cleared')\nstraightband.cli.box.run = run",
            b"cleared",
        ),
    ],
    ids=["libraries", "work"],
)
def test_a_signal_is_answered_in_a_sentence(name, when, cleared):
    """Whether libraries are being loaded or work is being done, which clears up: exit code 2, the sentence, and no traceback."""
    # the shell that runs the tests may have told them to ignore Ctrl-C
    sent = f"signal.signal(signal.SIGINT, signal.default_int_handler)\ndef sent(): os.kill(os.getpid(), signal.{name})\n"
    done = called(BOX, beforehand=sent + when, capture_output=True)
    assert (done.returncode, done.stdout, done.stderr) == (2, cleared, STOPPED)


def test_who_asked_that_a_signal_be_ignored_is_heard():
    """A shell starts what stands before `&` with Ctrl-C ignored."""
    ignored = "signal.signal(signal.SIGINT, signal.SIG_IGN)\nimport straightband.cli.box as box\nrun = box.run\n"
    sending = "def kept(options):\n    os.kill(os.getpid(), signal.SIGINT)\n    return run(options)\nbox.run = kept"
    done = called(BOX, beforehand=ignored + sending, capture_output=True)
    assert (done.returncode, done.stderr) == (0, b"")


def test_within_another_program_an_interruption_is_answered_too(monkeypatch, capsys):
    """Called as a function it sets no handlers, and gives the same code and sentence."""
    monkeypatch.setattr("straightband.cli.parser.parser_for", lambda _: (_ for _ in ()).throw(KeyboardInterrupt))
    assert main(BOX) == 2
    assert capsys.readouterr().err == STOPPED.decode()


def test_a_name_that_is_no_utf8_gives_json_that_is(monkeypatch, capsys):
    """PEP 383: its stray bytes live on as halves of signs, which no UTF-8 may hold; they become the sign for what is not known."""
    name = os.fsdecode(b"b\xff.jpg")
    facts = {"photographs": [{"name": name, "sha256": "0"}], "nm": math.inf}
    assert json.loads(as_json(facts).encode()) == {"photographs": [{"name": "b\ufffd.jpg", "sha256": "0"}], "nm": None}
    monkeypatch.setattr("sys.stdout", io.TextIOWrapper(out := io.BytesIO(), encoding="utf-8", errors="surrogateescape"))
    assert printed(f"Map written to {name}") == 0
    assert out.getvalue().decode() == "Map written to b\ufffd.jpg\n"
    refused(f"{name} is empty")
    assert capsys.readouterr().err == "b\ufffd.jpg is empty\n"


def test_a_file_keeps_its_name_at_the_head_of_a_sentence(monkeypatch, capsys):
    """A name without a dot is no word that a sentence may begin with in capitals."""

    def refuse(_):
        raise BadInput(found="bands is empty", needed="more is needed", remedy="try again")

    monkeypatch.setattr("straightband.cli.read.run", refuse)
    for typed, word in ((["x/bands"], "bands"), (["other"], "Bands")):
        assert run_command("read", Namespace(photographs=typed, camera=None)) == 2
        assert capsys.readouterr().err == f"{word} is empty; more is needed; try again.\n"


@pytest.mark.parametrize("device", ["/dev/zero", "/dev/null"])
def test_a_device_is_no_photograph(device):
    """One never ends and one never begins: both are refused before a byte is read."""
    if not Path(device).exists():
        pytest.skip("no such device")
    with pytest.raises(BadInput) as refusal:
        read_file(device, what="the photograph")
    assert str(refusal.value) == f"the photograph '{device}' is a device; a file is needed; check the name and call again."


def test_a_pipe_is_read_as_far_as_can_be_taken(monkeypatch):
    """`<(cat bands.jpg)` is a pipe: its bytes are read, up to the limit, behind which it may never end."""
    monkeypatch.setattr("straightband.cli.answer.BYTES_READ_AT_MOST", 1000)
    for sent in (b"x" * 1000, b"x" * 1001):
        reading, writing = os.pipe()
        os.write(writing, sent)
        path = f"/dev/fd/{reading}"
        if len(sent) <= 1000:
            os.close(writing)
            assert read_file(path, what="the map") == sent
        else:
            with pytest.raises(BadInput, match="is more than 0 MB; at most 0 MB can be taken"):
                read_file(path, what="the map")
            os.close(writing)
        os.close(reading)


def test_a_file_that_is_too_large_is_refused_unread(tmp_path, monkeypatch):
    """400 MB that take no room on the disk are told by their size, and not read."""
    (tmp_path / "large.jpg").touch()
    os.truncate(tmp_path / "large.jpg", 500_000_000)
    monkeypatch.setattr("pathlib.Path.open", lambda *_, **__: pytest.fail("it was opened"))
    with pytest.raises(BadInput, match="is 500 MB; at most 400 MB can be taken"):
        read_file(str(tmp_path / "large.jpg"), what="the photograph")


@pytest.mark.parametrize("words", [["read", "a.jpg", "--light", "sodium", "--minor", "-90mm"], ["box", "--largest", "-90mm"]])
def test_a_length_below_zero_is_told_so(capsys, words):
    """The parser takes it for a length, and the length is refused as one."""
    assert main(words) == 2
    assert "was given as '-90mm'; a length above zero is needed; write it like 90mm" in capsys.readouterr().err
