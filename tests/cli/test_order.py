"""`straightband order` from the shell's side."""

import json

import pytest

from straightband.cli import main

TELESCOPE = ("--aperture", "300mm", "--focal-length", "1500mm", "--intercept", "240mm")


def test_json_holds_the_contract(capsys):
    """One object on standard output with size, offset, obstruction and illumination, nothing on standard error."""
    assert main(["order", *TELESCOPE, "--full-field", "15mm", "--json"]) == 0
    out, err = capsys.readouterr()
    facts = json.loads(out)
    assert err == ""
    assert facts["minor_axis_mm"] == pytest.approx(61.15189586, rel=1e-9)
    assert {"cut_minor_mm", "cut_major_mm", "offset_mm", "obstruction", "illumination"} <= set(facts)
    assert {"field_radius_mm", "fraction", "loss_mag"} <= set(facts["illumination"][0])


def test_a_minor_axis_gives_its_field(capsys):
    """With a minor axis the field which that size lights is among the answers, with and without a field asked for."""
    for more in ((), ("--full-field", "15mm")):
        assert main(["order", *TELESCOPE, *more, "--minor", "65mm", "--json"]) == 0
        assert json.loads(capsys.readouterr().out)["full_field_mm"] == pytest.approx(19.5619, abs=1e-3)  # by hand: 65 (1 - k^2) = i + 2 k L


def test_text_in_inches(capsys):
    """The text follows --units, and lengths come in inches as well."""
    assert (
        main(["order", "--aperture", "12in", "--focal-ratio", "f/5", "--intercept", "9 1/2 in", "--full-field", "0.6in", "--units", "in"])
        == 0
    )
    assert "in x " in capsys.readouterr().out.splitlines()[0]


def test_sizes_at_hand_with_commas_or_spaces(capsys):
    """Sizes may stand with commas, with spaces, or be given again."""
    for words in (("50mm,63mm,75mm",), ("50mm", "63mm", "75mm"), ("50mm", "--have", "63mm,75mm")):
        assert main(["order", *TELESCOPE, "--full-field", "15mm", "--json", "--have", *words]) == 0
        assert [size["minor_mm"] for size in json.loads(capsys.readouterr().out)["sizes"]] == [50.0, 63.0, 75.0]


def test_the_drawing_is_written(capsys, tmp_path):
    """The drawing lands where it was asked for."""
    path = tmp_path / "order.png"
    assert main(["order", *TELESCOPE, "--full-field", "15mm", "--drawing", str(path)]) == 0
    assert path.read_bytes().startswith(b"\x89PNG")
    assert str(path) in capsys.readouterr().out


def test_the_shops_prices(capsys, tmp_path):
    """A price file changes the price and its origin."""
    path = tmp_path / "prices.toml"
    path.write_text('currency = "GBP"\nper_hour = 1000\n', encoding="utf-8")
    assert main(["order", *TELESCOPE, "--full-field", "15mm", "--prices", str(path), "--json"]) == 0
    quote = json.loads(capsys.readouterr().out)["quote"]
    assert quote["currency"] == "GBP"
    assert quote["price"] > 5000
    assert quote["figures"]["per_hour"]["origin"] == "the shop's own figure"


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--full-field", "15mm", "--units", "ft"), "The units were given as 'ft'; mm or in is needed; write one of the two.\n"),
        (
            ("--full-field", "15mm", "--drawing", "order.jpg"),
            "The drawing was to go to 'order.jpg'; a name ending in .png is needed; change the ending.\n",
        ),
        (
            ("--full-field", "15mm", "--prices", "none.toml"),
            ("The price file 'none.toml' can't be opened (No such file or directory); a file that can be read is needed; check the name and call "
            "again.\n"),
        ),
        (
            ("--full-field", "15in"),
            ("The fully lit field is 381 mm across; a diameter from 0 to less than the aperture (300 mm) is needed; give the diameter of the field "
            "at the focus.\n"),
        ),
        (
            ("--full-field", "15"),
            ("The full field was given as '15' without a unit; one of \", cm, in, m, mm, nm, um, µm, μm, ″ is needed; write it like 90mm or "
            "2 5/8 in.\n"),
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_one_sentence(capsys, monkeypatch, tmp_path, words, sentence):
    """Bad input ends with code 2, one sentence on standard error and no file."""
    monkeypatch.chdir(tmp_path)
    assert main(["order", *TELESCOPE, *words]) == 2
    assert capsys.readouterr() == ("", sentence)
    assert list(tmp_path.iterdir()) == []
