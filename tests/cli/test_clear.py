"""`straightband clear` from the shell's side, on rendered photographs of a grid."""

import json
from dataclasses import replace

import numpy as np
import pytest

from straightband.cli import main
from straightband.gauges.printed_grid.zones import CLEAR_ENOUGH
from straightband.synthetic.grid_campaign import grid_truth, random_grid_scene
from straightband.synthetic.printed_grid import GreyZone, render_grid
from straightband.workflows.clear_report import SENTENCES


@pytest.fixture(scope="module")
def scene():
    drawn = random_grid_scene(np.random.default_rng(0), width_px=1200, height_px=900)
    return replace(drawn, view=replace(drawn.view, rotation_deg=5.0))


def zone_after(scene, radius):
    """The same back later: a smaller grey place, softer and clearer in its middle."""
    semi = scene.face.semi_u_mm
    return replace(scene, zones=(GreyZone(u_mm=0.0, v_mm=0.0, radius_mm=radius * semi, soft_mm=0.2 * semi, specular=0.4 - 0.5 * radius),))


@pytest.fixture(scope="module")
def folder(tmp_path_factory, scene):
    path = tmp_path_factory.mktemp("backs")
    for name, radius in (("a.jpg", 0.7), ("b.jpg", 0.45)):
        (path / name).write_bytes(render_grid(zone_after(scene, radius), rng=np.random.default_rng(1)))
    return path


def minor(scene):
    return f"{2.0 * scene.face.semi_u_mm:.6f}mm"


def test_json_holds_the_contract(capsys, scene, folder):
    """Clear share, the grey place and, with two photographs, minutes to clear with their interval."""
    words = ["clear", str(folder / "a.jpg"), "--minor", minor(scene), "--mark", "12", "--after", "12min", str(folder / "b.jpg"), "--json"]
    assert main(words) == 0
    out, err = capsys.readouterr()
    assert err == ""
    found = json.loads(out)
    truth = grid_truth(zone_after(scene, 0.45), enough=CLEAR_ENOUGH)
    assert found["clear_fraction"] == pytest.approx(truth.clear_fraction, abs=0.03)
    assert found["unclear"]["radius_mm"] == pytest.approx(truth.radius_mm, abs=0.05 * scene.face.semi_u_mm)
    for key in ("u_mm", "v_mm"):
        assert found["unclear"][key] == pytest.approx(0.0, abs=0.03 * scene.face.semi_u_mm)
    assert 0.0 < found["minutes_to_clear_low"] < found["minutes_to_clear"] < found["minutes_to_clear_high"]
    assert [each["minutes"] for each in found["photographs"]] == [0.0, 12.0]
    assert found["photographs"][0]["clear_fraction"] < found["clear_fraction"]
    assert found["roughness_nm"] > 0.0
    assert set(found["flags"]) <= set(SENTENCES)


def test_one_photograph_forecasts_nothing(capsys, scene, folder):
    """Minutes to clear need two photographs."""
    assert main(["clear", str(folder / "b.jpg"), "--minor", minor(scene), "--json"]) == 0
    assert "minutes_to_clear" not in json.loads(capsys.readouterr().out)


def test_the_text_says_what_to_do_next(capsys, scene, folder):
    """Where it is grey, how many minutes more, and that the glass must be dry; the map is written."""
    picture = folder / "back.png"
    words = ["clear", str(folder / "a.jpg"), "--minor", minor(scene), "--after", "12min", str(folder / "b.jpg"), "--map", str(picture)]
    assert main(words) == 0
    text = capsys.readouterr().out
    assert text.startswith("Not clear yet: ")
    assert "Grey in the middle: radius" in text
    assert "Polish about " in text
    assert "a wet back looks clear" in text
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_the_outline_may_be_told(capsys, scene, folder):
    """An outline told is taken as it is, and said."""
    assert main(["clear", str(folder / "b.jpg"), "--minor", minor(scene), "--json"]) == 0
    place = json.loads(capsys.readouterr().out)["outline_px"]
    told = ",".join(str(place[key]) for key in ("cx", "cy", "semi_major", "semi_minor", "angle_deg"))
    assert main(["clear", str(folder / "b.jpg"), "--minor", minor(scene), "--outline", told, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert "outline-told" in found["flags"]
    assert found["outline_px"] == pytest.approx(place)


def test_the_sheet_needs_no_photograph(capsys, tmp_path):
    """The grid to print is written by itself."""
    assert main(["clear", "--sheet", str(tmp_path / "grid.pdf")]) == 0
    assert (tmp_path / "grid.pdf").read_bytes().startswith(b"%PDF")
    assert "Written" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (
            ["clear", "--minor", "90mm"],
            ("No photograph was named; a photograph of the printed grid through the mirror is needed; print the grid with --sheet grid.pdf, lay it "
            "under the dry mirror and photograph it.\n"),
        ),
        (["clear", "--sheet", "grid.txt"], "The sheet was to go to 'grid.txt'; a name ending in .pdf is needed; change the ending.\n"),
        (["clear", "x.jpg", "--minor", "90mm", "--map", "m.gif"], "The map was to go to 'm.gif'; a name ending in .png is needed; change the ending.\n"),
        (
            ["clear", "nowhere.jpg", "--minor", "90mm"],
            ("The photograph 'nowhere.jpg' can't be opened (No such file or directory); a file that can be read is needed; check the name and call "
            "again.\n"),
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_one_sentence(capsys, words, sentence):
    """Bad input ends with code 2 and one sentence on standard error."""
    assert main(words) == 2
    assert capsys.readouterr() == ("", sentence)


def test_as_many_outlines_as_photographs(capsys, folder):
    """Two outlines for one photograph are refused."""
    words = ["clear", str(folder / "b.jpg"), "--minor", "90mm", "--outline", "600,450,300,212,0", "--outline", "600,450,300,212,0"]
    assert main(words) == 2
    assert "2 outlines were given for 1 photographs; one for all or one for each is needed" in capsys.readouterr().err
