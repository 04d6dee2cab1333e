"""`straightband plan` from the shell's side."""

import json

import pytest

from straightband.cli import main

THREE = """\
[[piece]]
name = "one"
shape = "ellipse"
minor_mm = 90
thickness_mm = 15
glass = "borosilicate"
sag_um = 12

[[piece]]
name = "two"
shape = "ellipse"
minor_mm = 86
thickness_mm = 15
glass = "borosilicate"
sag_um = -8

[[piece]]
name = "base"
shape = "round"
diameter_mm = 110
thickness_mm = 20
glass = "soda-lime"

[grinding]
abrasives_um = [30, 12]
"""


@pytest.fixture
def three(tmp_path):
    path = tmp_path / "three.toml"
    path.write_text(THREE, encoding="utf-8")
    return path


@pytest.fixture
def two(tmp_path):
    path = tmp_path / "two.toml"
    head, _, rest = THREE.rpartition("[[piece]]")
    path.write_text(head + rest[rest.index("[grinding]") :], encoding="utf-8")
    return path


def facts(capsys, *words):
    assert main(["plan", *map(str, words), "--json"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return json.loads(out)


def test_json_holds_the_contract(capsys, three):
    """One object with what is forced, the runs, the predicted sags by piece after each abrasive, and the warnings."""
    found = facts(capsys, three)
    assert found["forces_flat"] is True
    assert found["free_curvatures"] == 0
    assert {run["abrasive_um"] for run in found["runs"]} == {30, 12}
    names = {"one", "two", "base"}
    for run in found["runs"]:
        assert {run["top"], run["bottom"]} < names
        assert run["minutes"] > 0
        assert 0 <= run["turn_deg"] < 360
        assert run["minutes_range"][0] < run["minutes"] < run["minutes_range"][1]
    assert [run["abrasive_um"] for run in found["runs"]] == sorted((run["abrasive_um"] for run in found["runs"]), reverse=True)
    assert set(found["predicted_sag_um"]) == names
    for name in names:
        assert len(found["predicted_sag_um"][name]) == len(found["predicted_sag_uncertainty_um"][name]) == 2
        assert abs(found["predicted_sag_um"][name][-1]) < 2.4  # twice what a layer of 12 um grains gives
        assert found["predicted_sag_uncertainty_um"][name][-1] > 0
        assert len(found["predicted_sag_after_run_um"][name]) == len(found["runs"])
    assert all(isinstance(warning, str) for warning in found["warnings"])


def test_two_pieces_are_told_what_is_missing(capsys, two):
    """Two pieces are not forced flat; a companion is proposed, and with it they are."""
    found = facts(capsys, two)
    assert (found["forces_flat"], found["free_curvatures"]) == (False, 1)
    assert found["companion"]["forces_flat"] is True
    assert found["companion"]["shape"] == "round"
    signs = [found["predicted_sag_um"][name][-1] for name in ("one", "two")]
    assert signs[0] > 1 > -1 > signs[1]
    with_it = facts(capsys, two, "--with-companion")
    assert (with_it["forces_flat"], with_it["companion"]) == (True, None)
    assert "companion" in with_it["predicted_sag_um"]


def test_the_text_says_who_runs_on_whom(capsys, three):
    """The first line is the verdict; pairs, first rounds, sags and notes follow."""
    assert main(["plan", str(three)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("Every face is forced flat: 3 pieces, 2 abrasives, about ")
    assert "meet each other in an odd ring, which only flat faces fit all round." in lines[1]
    assert any(line.startswith("30 um: ") and "takes" in line for line in lines)
    assert any("on base" in line and "min   stroke" in line and "o'clock" in line for line in lines)
    assert any(line.startswith("Note: A sag was not given") for line in lines)


def test_cards_and_plot_are_written(capsys, three, tmp_path):
    """A PDF page for each abrasive and a picture of the sags are written where they were wanted, and said so."""
    from pypdf import PdfReader

    cards, plot = tmp_path / "cards.pdf", tmp_path / "sags.png"
    assert main(["plan", str(three), "--cards", str(cards), "--plot", str(plot), "--shop", "Invented"]) == 0
    assert capsys.readouterr().out.splitlines()[-2:] == [f"Job cards written to {cards}", f"Plot written to {plot}"]
    pages = [" ".join(page.extract_text().split()) for page in PdfReader(cards).pages]
    assert len(pages) == 2
    assert "Grind with 30 um" in pages[0]
    assert "Round 1 " in pages[1]
    assert "Plates that run dry lock together: never pry them" in pages[1]
    assert plot.read_bytes().startswith(b"\x89PNG")


def test_the_same_batch_gets_the_same_plan(capsys, three):
    """Nothing but the file decides: two calls give the same numbers, uncertainties and all."""
    assert facts(capsys, three) == facts(capsys, three)


def test_what_cannot_be_used_is_one_sentence(capsys, three, tmp_path):
    """Bad input ends with code 2, one sentence, and no file."""
    lone = tmp_path / "lone.toml"
    lone.write_text(THREE.split("\n\n", maxsplit=1)[0] + "\n\n" + THREE.rsplit("\n\n", maxsplit=1)[-1], encoding="utf-8")
    cards = tmp_path / "cards.pdf"
    assert main(["plan", str(lone), "--cards", str(cards)]) == 2
    sentence = "The batch file 'lone.toml' holds one piece; 2 to 12 are needed, since a face is ground on another; add a [[piece]], for instance a "
    assert capsys.readouterr() == ("", f"{sentence}round plate of about the same size.\n")
    assert not cards.exists()
    assert main(["plan", str(three), "--cards", "cards.txt"]) == 2
    assert capsys.readouterr().err == "The cards were to go to 'cards.txt'; a name ending in .pdf is needed; change the ending.\n"
    assert main(["plan", str(tmp_path / "none.toml")]) == 2
    assert "can't be opened" in capsys.readouterr().err


def test_pieces_that_fit_nothing_are_told_so(capsys, tmp_path):
    """Two pieces far apart in size get no runs, their own sags back, a sentence why, and no cards."""
    path, cards = tmp_path / "apart.toml", tmp_path / "cards.pdf"
    path.write_text(THREE.replace("minor_mm = 86", "minor_mm = 30").replace("diameter_mm = 110", "diameter_mm = 210"), encoding="utf-8")
    found = facts(capsys, path)
    assert (found["runs"], found["forces_flat"], found["free_curvatures"]) == ([], False, 3)
    assert found["predicted_sag_um"] == {"one": [12, 12], "two": [-8, -8], "base": [0, 0]}
    assert found["predicted_sag_uncertainty_um"]["base"] == [30, 30]
    assert len(found["cannot_run_together"]) == 3
    assert main(["plan", str(path)]) == 0
    assert "  two finds no partner of its size." in capsys.readouterr().out.splitlines()
    assert main(["plan", str(path), "--cards", str(cards)]) == 2
    assert capsys.readouterr().err.startswith(
        "No two pieces of this batch can run together; a run is needed before there is a card to print; "
    )
    assert not cards.exists()


def test_a_piece_may_be_called_companion(capsys, two):
    """The plate that is proposed takes another name then."""
    two.write_text(two.read_text(encoding="utf-8").replace('"two"', '"companion"'), encoding="utf-8")
    assert set(facts(capsys, two, "--with-companion")["predicted_sag_um"]) == {"one", "companion", "companion 2"}


def test_a_card_with_many_runs_has_more_sheets(capsys, tmp_path):
    """Eight pieces need more runs than a sheet holds: the card goes on, its rounds numbered through, the faces on the last sheet."""
    from pypdf import PdfReader

    pieces = "".join(
        f'[[piece]]\nname = "p{k}"\nshape = "round"\ndiameter_mm = {100 + k}\nthickness_mm = 15\nglass = "borosilicate"\nsag_um = 5\n'
        for k in range(8)
    )
    path, cards = tmp_path / "eight.toml", tmp_path / "cards.pdf"
    path.write_text(f"{pieces}[grinding]\nabrasives_um = [10]\n", encoding="utf-8")
    assert main(["plan", str(path), "--cards", str(cards)]) == 0
    capsys.readouterr()
    pages = [" ".join(page.extract_text().split()) for page in PdfReader(cards).pages]
    assert len(pages) > 1
    assert f"1 of 1, sheet 1 of {len(pages)}" in pages[0]
    assert ["No pit left" in page for page in pages] == [False] * (len(pages) - 1) + [True]
    assert "Round 1 " in pages[0]
    assert "Round 1 " not in pages[-1]


def test_runs_that_are_too_long_are_told(capsys, tmp_path):
    """With unlike blanks forty minutes a run end less flat than runs of the plan's own length, and that is said."""
    path = tmp_path / "unlike.toml"
    unlike = THREE.replace("minor_mm = 86", "minor_mm = 75").replace("diameter_mm = 110", "diameter_mm = 125").replace("[30, 12]", "[12]")
    path.write_text(unlike, encoding="utf-8")
    own = facts(capsys, path)
    path.write_text(unlike + "minutes = 40\n", encoding="utf-8")
    told = facts(capsys, path)
    assert {run["minutes"] for run in told["runs"]} == {40}
    worst = [max(abs(sags[-1]) for sags in found["predicted_sag_um"].values()) for found in (own, told)]
    assert worst[0] < worst[1]
    assert "runs-too-long" in told["flags"]
    assert "runs-too-long" not in own["flags"]
