"""`straightband gauge` from the shell's side."""

import json

import pytest

from straightband.cli import main

PLATE = ("--leg-circle", "100mm", "--shape", "round", "--diameter", "200mm")


def facts(capsys, *words):
    assert main(["gauge", *words, "--json"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return json.loads(out)


def test_json_holds_the_contract(capsys):
    """One object with sag, uncertainty, form, radius, edge sag, bands and which plate goes on top; the leg circle is a diameter (SPH-3)."""
    found = facts(capsys, *PLATE, "--reading", "11.00um,11.00um", "--zero", "10.00um,10.00um")
    assert found["sag_um"] == pytest.approx(1.0)
    assert found["edge_sag_um"] == pytest.approx(4.0)
    assert found["bands"] == pytest.approx(14.65002912, rel=1e-8)
    assert found["radius_m"] == pytest.approx(1250.0, rel=1e-6)
    assert (found["form"], found["next_on"]) == ("convex", "top")
    assert found["sag_uncertainty_um"] > 0


def test_negative_readings_are_readings(capsys):
    """A reading that begins with a minus is no option, alone, in a row or with commas."""
    for words in (("-3.00um,-3.01um",), ("-3.00um", "-3.01um"), ("-3.00um", "--reading", "-3.01um")):
        found = facts(capsys, *PLATE, "--zero", "-1.00um", "--reading", *words)
        assert found["sag_um"] == pytest.approx(-2.005)
        assert found["next_on"] == "bottom"


def test_no_sag_has_a_null_radius(capsys):
    """JSON knows no infinity: a face without sag has no radius, only a least one."""
    found = facts(capsys, *PLATE, "--reading", "10um", "--zero", "10um")
    assert found["radius_m"] is None
    assert found["radius_at_least_m"] > 0
    assert "gauge-ends-here" in found["flags"]


def test_the_text_says_what_to_do_next(capsys):
    """The first line is the form and its sag, and the next run is named."""
    assert main(["gauge", *PLATE, "--reading", "7.00um,7.01um", "--zero", "10.00um", "--earlier", "40um:-9um"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("Concave: sag -3.00 ± 0.11 um")
    assert "Next run: this face at the bottom, since the plate below goes convex and the one on top concave." in lines
    assert any("toward flat" in line for line in lines)


def test_the_help_says_that_the_circle_is_a_diameter(capsys):
    """Whoever reads the help learns that the leg circle is given by its diameter."""
    assert main(["gauge", "--help"]) == 0
    assert "DIAMETER of the circle through the three feet" in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (
            (*PLATE, "--reading", "", "--zero", "1um"),
            "The reading holds no number; 1 to 100 are needed, each with its unit; write them like --reading 12.4um,12.6um.\n",
        ),
        (
            (*PLATE, "--reading", "12", "--zero", "1um"),
            ("The reading was given as '12' without a unit; one of \", cm, in, m, mm, nm, um, µm, μm, ″ is needed; write it like 90mm or "
            "2 5/8 in.\n"),
        ),
        (
            (*PLATE, "--reading", "12mm", "--zero", "1um"),
            ("Reading and zero are 12 mm apart within feet 100 mm across; less than 5 mm is what a face on its way to flat has; check the units of "
            "reading and zero.\n"),
        ),
        (
            ("--leg-circle", "100mm", "--minor", "90mm", "--reading", "1um", "--zero", "1um", "--shape", "square"),
            "The shape was given as 'square'; ellipse, round or rectangle is needed; write one of the three.\n",
        ),
        (
            ("--leg-circle", "120mm", "--minor", "90mm", "--reading", "1um", "--zero", "1um"),
            ("The feet stand on a circle 120 mm across; it must find room on a face of 90 mm x 127.3 mm; check both sizes with their units, or take "
            "a smaller gauge.\n"),
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_one_sentence(capsys, words, sentence):
    """Bad input ends with code 2 and one sentence on standard error."""
    assert main(["gauge", *words]) == 2
    assert capsys.readouterr() == ("", sentence)
