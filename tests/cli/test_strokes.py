"""`straightband strokes` from the shell's side."""

import json

import numpy as np
import pytest

from straightband.cli import main
from straightband.face.shapes import round_face
from straightband.heightmap.formats import map_bytes
from straightband.heightmap.map import HeightMap
from straightband.synthetic.surfaces import sphere

FACE = round_face(diameter_mm=80.0)
LAPS = """\
[[lap]]
name = "full"
diameter_mm = 90
ways = ["turning", "mirror-turned"]
[[lap]]
name = "half"
diameter_mm = 40
ways = ["turning"]
"""


@pytest.fixture
def maps(tmp_path):
    """A hill of 250 nm and what is left of it after a run; and the same without the sign."""
    at = np.linspace(-40.0, 40.0, 41)
    uu, vv = np.meshgrid(at, at)
    inside = FACE.clear_aperture().contains(uu, vv)
    for name, sag_nm, sign in (("first", 250.0, "known"), ("second", 150.0, "known"), ("unknown", 250.0, "unknown")):
        heights = np.where(inside, sphere(FACE, sag_nm=sag_nm).heights_nm(uu, vv), np.nan)
        doubt = np.where(inside, 6.0, np.nan)
        meta = {"sign": sign, "mark": 12}
        found = HeightMap(heights_nm=heights, u_mm=at.copy(), v_mm=at.copy(), uncertainty_nm=doubt, face=FACE, meta=meta)
        (tmp_path / f"{name}.npz").write_bytes(map_bytes(found, name="map.npz"))
    (tmp_path / "laps.toml").write_text(LAPS, encoding="utf-8")
    return tmp_path


def test_json_holds_the_contract(maps, capsys):
    """Runs with stroke and minutes, the foretold rms and what is removed; nothing on standard error."""
    assert main(["strokes", str(maps / "first.npz"), "--laps", str(maps / "laps.toml"), "--json"]) == 0
    out, err = capsys.readouterr()
    found = json.loads(out)
    assert err == ""
    assert all({"stroke", "minutes"} <= set(run) for run in found["runs"])
    assert 0.0 < found["predicted_rms_nm"] < found["rms_nm"]
    assert found["removed_nm"] > 0.0


def test_a_run_is_kept_and_learnt_from(maps, capsys, monkeypatch):
    """Kept beside the map, the run is found again from another folder; the advice after it says how right it was and learns the rate."""
    monkeypatch.chdir(maps)
    assert (
        main(
            [
                "strokes",
                "first.npz",
                "--laps",
                "laps.toml",
                "--keep",
                "run.toml",
                "--picture",
                "z.png",
                "--wear",
                "w.png",
                "--card",
                "c.pdf",
            ]
        )
        == 0
    )
    assert {"z.png", "w.png", "c.pdf", "run.toml"} <= {path.name for path in maps.iterdir()}
    capsys.readouterr()
    monkeypatch.chdir(maps.parent)
    assert main(["strokes", str(maps / "second.npz"), "--laps", str(maps / "laps.toml"), "--past", str(maps / "run.toml"), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["last_run"]["factor"] > 0.0
    assert sum(rate["runs"] for rate in found["rates"]) >= 1


def test_without_the_sign_the_advice_is_withheld(maps, capsys):
    """It still answers, with sizes and the reason, and advises nothing."""
    assert main(["strokes", str(maps / "unknown.npz"), "--laps", str(maps / "laps.toml"), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["advice"], found["runs"], found["removed_nm"]) == ("withheld", [], 0.0)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "No laps were given"),
        (("--lap", "90"), "without a unit"),
        (("--lap", "2mm"), "'diameter_mm'"),
        (("--lap", "90mm", "--table", "fast"), "The table was given as 'fast'"),
        (("--lap", "90mm", "--tolerance", "1nm"), "The tolerance was given as '1nm'"),
        (("--lap", "90mm", "--most-strokes", "0"), "The most strokes of a run were given as '0'"),
        (("--lap", "90mm", "--seen", "side"), "The side seen was given as 'side'"),
        (("--lap", "90mm", "--mark", "13"), "The mark was given as '13'"),
        (("--lap", "90mm", "--card", "card.png"), "The card was to go to 'card.png'"),
        (("--lap", "90mm", "--past", "none.toml"), "can't be opened"),
    ],
)
def test_bad_input_is_one_sentence(maps, capsys, words, said):
    """Exit 2, one sentence, nothing written."""
    before = sorted(maps.iterdir())
    assert main(["strokes", str(maps / "first.npz"), *words]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert said in err
    assert err.count("\n") == 1
    assert sorted(maps.iterdir()) == before
