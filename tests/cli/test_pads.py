"""`straightband pads` from the shell's side."""

import json

import pytest
import shapely

from straightband.cli import main

PLATE = ("pads", "--plate", "200mm", "--pad-diameter", "50mm", "--shape", "ellipse", "--minor", "90mm")


def test_json_holds_the_contract_and_the_template_is_written(capsys, tmp_path):
    """Pads, coverage, polygons, rates and lag in JSON; the template and the drawing are written."""
    assert main([*PLATE, "--out", str(tmp_path / "t.pdf"), "--drawing", str(tmp_path / "p.png"), "--json"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    found = json.loads(out)
    outlines = [shapely.Polygon(polygon) for polygon in found["pieces"]]
    plate = shapely.Point(0.0, 0.0).buffer(100.0, quad_segs=256)
    assert all(outline.is_valid and plate.contains(outline) for outline in outlines)
    assert sum(outline.area for outline in outlines) == pytest.approx(shapely.union_all(outlines).area, rel=1e-12)
    assert found["coverage"] == pytest.approx(sum(outline.area for outline in outlines) / (3.141592653589793 * 100.0**2))
    assert found["pads_used"] >= 1
    assert set(found["rate_by_radius"][0]) == {"radius_mm", "rate", "uncertainty"}
    assert found["centre_lag"] >= 0.0
    assert (tmp_path / "t.pdf").read_bytes().startswith(b"%PDF")
    assert (tmp_path / "p.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ((*PLATE, "--out", "t.txt"), "The template was to go to 't.txt'; a name ending in .pdf is needed; change the ending.\n"),
        (("pads", "--plate", "200", "--pad-diameter", "50mm", "--minor", "90mm"), "The plate was given as '200' without a unit"),
        (("pads", "--plate", "60mm", "--pad-diameter", "70mm", "--minor", "30mm"), "A pad 70 mm across was given for a plate of 60 mm"),
        ((*PLATE, "--stroke", "250mm"), "In part of a stroke of 250 mm the middle of the mirror has no pads all round it"),
    ],
)
def test_what_cannot_be_used_is_one_sentence(capsys, words, sentence):
    """Bad input ends with code 2, one sentence on standard error, and nothing written."""
    assert main(list(words)) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith(sentence)
    assert err.count("\n") == 1
