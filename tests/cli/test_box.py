"""`straightband box` from the shell's side."""

import io
import json

import pytest
from pypdf import PdfReader

from straightband.cli import main


def test_json_holds_the_contract(capsys):
    """Plate slot, heights, eye distance, lamp gap limit and cautions in one object."""
    assert main(["box", "--largest", "200mm", "--error", "24.81404895nm", "--json"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    found = json.loads(out)
    assert found["eye_distance_mm"] == pytest.approx(1000.0)  # NEWTON-3
    assert found["lamp_gap_limit_um"] == pytest.approx(4.378513485, rel=2e-3)  # LIGHT-6
    assert found["lamp_gap_limit_bands"] == pytest.approx(13.90004281, rel=3e-3)
    assert found["plate_slot"]["ghost_mm"] == pytest.approx(2.2335, rel=1e-3)  # COH-2 at the index of window glass
    assert set(found["heights_mm"]) == {"faces", "top_of_flats", "plate_crossing", "lamp_middle", "lid", "eye"}
    assert len(found["cautions"]) == 7


def test_the_drawing_is_one_page_with_its_measures(tmp_path, capsys):
    """The PDF is one page, not to be scaled in print, with the measures that the text has."""
    path = tmp_path / "box.pdf"
    assert main(["box", "--largest", "200mm", "--drawing", str(path)]) == 0
    assert f"Drawing written to {path}" in capsys.readouterr().out
    pages = PdfReader(io.BytesIO(path.read_bytes()))
    assert len(pages.pages) == 1
    text = " ".join(pages.pages[0].extract_text().split())
    for words in ("Test box for pieces up to 200 mm", "Slot width", "local codes"):
        assert words in text


def test_a_drawing_that_is_no_pdf_is_refused(capsys):
    """Any ending but .pdf ends with code 2 and one sentence."""
    assert main(["box", "--largest", "200mm", "--drawing", "box.png"]) == 2
    assert capsys.readouterr() == ("", "The drawing was to go to 'box.png'; a name ending in .pdf is needed; change the ending.\n")
