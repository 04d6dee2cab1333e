"""`straightband threeflat` from the shell's side."""

import json

import numpy as np
import pytest

from straightband.cli import main
from straightband.face.shapes import round_face
from straightband.heightmap.formats import map_bytes
from straightband.heightmap.map import HeightMap

POWERS = {"A": 28.0, "B": 12.0, "C": -18.0}


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """A folder with the maps of three pairs of spherical flats."""
    axis = np.linspace(-50.0, 50.0, 61)
    u, v = np.meshgrid(axis, axis)
    face = round_face(diameter_mm=100.0)
    inside = face.clear_aperture().contains(u, v)
    for names in ("AB", "BC", "CA"):
        heights = -sum(POWERS[name] for name in names) * (u * u + v * v) / 48.5**2
        made = HeightMap(
            heights_nm=np.where(inside, heights, np.nan), u_mm=axis, v_mm=axis, uncertainty_nm=np.where(inside, 2.0, np.nan), face=face
        )
        (tmp_path / f"{names}.npz").write_bytes(map_bytes(made, name="m.npz"))
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.usefixtures("bench")
def test_json_holds_the_contract(capsys):
    """Three spheres (TF-1): 28, 12 and -18 nm, with PV, RMS, uncertainty and what can't be seen, for each flat."""
    assert main(["threeflat", "AB.npz", "BC.npz", "CA.npz", "--json"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    found = json.loads(out)
    assert {flat["name"]: flat["power_nm"] for flat in found["flats"]} == pytest.approx(POWERS, abs=0.02)  # piston over points, not area
    for flat in found["flats"]:
        assert flat["pv_nm"] == pytest.approx(abs(POWERS[flat["name"]]), rel=0.02)  # the outermost point, not the rim
        assert flat["uncertainty_nm"] > 1.0
        assert flat["undetermined"][0]["term"] == "astigmatism along the diagonals"


def test_maps_are_written_and_notes_put_on_them(bench, capsys):
    """With --out each flat's map lies in the folder; a note goes onto one of them; the pairs are never written over."""
    (bench / "flats").mkdir()
    assert main(["threeflat", "AB.npz", "BC.npz", "CA.npz", "--out", "flats", "--measured", "2026-11-25"]) == 0
    assert sorted(path.name for path in (bench / "flats").iterdir()) == ["A.npz", "B.npz", "C.npz"]
    capsys.readouterr()
    before = (bench / "AB.npz").read_bytes()
    (bench / "flats" / "C.npz").unlink()
    (bench / "flats" / "C.npz").hardlink_to(bench / "AB.npz")
    assert main(["threeflat", "AB.npz", "BC.npz", "CA.npz", "--out", "flats", "--recheck", "6months"]) == 2
    assert "'flats/C.npz' was to be written over 'AB.npz', which is read" in capsys.readouterr().err
    assert (bench / "AB.npz").read_bytes() == before
    assert main(["threeflat", "flats/A.npz", "--handled", "rim knocked", "--measured", "2026-12-01", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["reference"]["handled"] == [{"day": "2026-12-01", "what": "rim knocked"}]


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("AB.npz", "BC.npz", "CA.npz", "--out", "nowhere"), "There is no folder 'nowhere'; one for the maps is needed; make it and call again.\n"),
        (("AB.npz", "--handled", "x"), "A note was given without its day; one flat's map and the day are needed; write it like A.npz --handled 'rim knocked' --measured 2026-11-25.\n"),
        (("AB.npz", "none.npz"), "The map 'none.npz' can't be opened (No such file or directory); a file that can be read is needed; check the name and call again.\n"),
    ],
    ids=["folder", "note", "file"],
)  # fmt: skip
def test_what_cannot_be_used_is_one_sentence(bench, capsys, words, sentence):
    """Bad input ends with code 2 and one sentence, and nothing is written."""
    before = sorted(bench.iterdir())
    assert main(["threeflat", *words]) == 2
    assert capsys.readouterr() == ("", sentence)
    assert sorted(bench.iterdir()) == before
