"""`straightband certify` from the shell's side: the file, the JSON, and refusals that leave nothing behind."""

import hashlib
import json

from straightband.cli import main


def refusal(capsys, bench, *words):
    """The sentence of a call that must be refused without writing anything."""
    before = sorted(path.name for path in bench.iterdir())
    assert main(["certify", *words]) == 2
    assert sorted(path.name for path in bench.iterdir()) == before
    out, err = capsys.readouterr()
    assert out == ""
    return err


def change(bench, old, new):
    path = bench / "piece.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def test_it_writes_the_paper_and_says_what_it_rests_on(capsys, bench, photograph, monkeypatch):
    """Called from anywhere, the photographs are found beside the piece file, the PDF is there whole, and the JSON says what it rests on."""
    (bench / "elsewhere").mkdir()
    monkeypatch.chdir(bench / "elsewhere")
    assert main(["certify", "../piece.toml", "--out", "cert.pdf", "--json"]) == 0
    facts = json.loads(capsys.readouterr().out)
    assert facts["path"] == "cert.pdf"
    assert facts["sha256"] == [{"name": "bands.jpg", "sha256": hashlib.sha256(photograph).hexdigest()}]
    assert facts["decision"] in {"meets", "fails", "cannot tell yet"}
    assert {"surface", "uncertainty", "strehl", "margin", "wavefront_rms_nm", "iso10110", "sign", "flags", "budget"} < set(facts)
    assert "reference-not-told" in facts["flags"]
    assert [path.name for path in (bench / "elsewhere").iterdir()] == ["cert.pdf"]
    assert (bench / "elsewhere" / "cert.pdf").read_bytes().startswith(b"%PDF-")


def test_words_begin_with_the_decision_and_end_with_the_file(capsys, bench):
    """For people: the decision first, each note once, the name of the file last."""
    assert main(["certify", str(bench / "piece.toml"), "--out", str(bench / "cert.pdf")]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].split(".")[0] in {"MEETS", "FAILS", "CANNOT TELL YET"}
    notes = [line for line in lines if line.startswith("Note:")]
    assert notes
    assert len(notes) == len(set(notes))
    assert lines[-1] == f"Certificate written to {bench / 'cert.pdf'}"


def test_a_missing_photograph_is_named(capsys, bench):
    """A photograph that is not there is one sentence."""
    change(bench, "bands.jpg", "gone.jpg")
    assert refusal(capsys, bench, str(bench / "piece.toml"), "--out", str(bench / "cert.pdf")) == (
        f"The photograph '{bench / 'gone.jpg'}' can't be opened (No such file or directory); a file that can be read is needed; "
        "check the name and call again.\n"
    )


def test_a_missing_reference_is_named(capsys, bench):
    """A reference map that is not there is one sentence."""
    change(bench, 'name = "G-1"', 'name = "G-1"\nreference = "flat.npz"')
    assert refusal(capsys, bench, str(bench / "piece.toml"), "--out", str(bench / "cert.pdf")) == (
        f"The reference '{bench / 'flat.npz'}' can't be opened (No such file or directory); a file that can be read is needed; "
        "check the name and call again.\n"
    )


def test_an_unknown_key_is_named(capsys, bench):
    """A misspelt key is not passed over."""
    change(bench, "thicker", "thiker")
    sentence = refusal(capsys, bench, str(bench / "piece.toml"), "--out", str(bench / "cert.pdf"))
    assert sentence.startswith("The piece file 'piece.toml' has 'thiker', which is not known; the keys are name, shape, ")


def test_the_paper_must_be_called_pdf(capsys, bench):
    """A name that does not end in .pdf is refused before anything is read."""
    assert refusal(capsys, bench, str(bench / "piece.toml"), "--out", str(bench / "cert.txt")) == (
        f"The certificate was to go to '{bench / 'cert.txt'}'; a name ending in .pdf is needed; change the ending.\n"
    )


def test_a_photograph_without_bands_leaves_no_paper(capsys, bench):
    """Where the photograph can't be read there is no certificate, not even an old one's ruins."""
    (bench / "bands.jpg").write_bytes(b"text, renamed")
    sentence = refusal(capsys, bench, str(bench / "piece.toml"), "--out", str(bench / "cert.pdf"))
    assert sentence.startswith("bands.jpg is no picture of a kind that is read")


def test_letters_the_paper_cannot_print_leave_no_paper(capsys, bench):
    """A name in letters that the typeface lacks is refused in words."""
    change(bench, "G-1", "鏡")
    sentence = refusal(capsys, bench, str(bench / "piece.toml"), "--out", str(bench / "cert.pdf"))
    assert sentence.endswith("Latin, Greek or Cyrillic letters are needed; write the name in those.\n")


def test_out_is_required(capsys, bench):
    """A call without --out is one sentence."""
    expected = "straightband certify: the following arguments are required: --out; see 'straightband certify --help' for what it takes.\n"
    assert refusal(capsys, bench, str(bench / "piece.toml")) == expected
