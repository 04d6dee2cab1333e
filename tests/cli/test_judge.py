"""`straightband judge` from the shell's side: JSON keys, words, exit codes, refusals."""

import json

import numpy as np
import pytest

from straightband.cli import main
from straightband.face.shapes import ellipse
from straightband.heightmap.map import HeightMap
from straightband.telescope.lit import lit_by_counting
from straightband.telescope.telescope import Telescope
from straightband.workflows.maps import map_file
from straightband.workflows.report_verdict import explain

TELESCOPE = ["--aperture", "300mm", "--focal-length", "1500mm", "--intercept", "300mm"]
KEYS = {
    "decision", "strehl_wanted", "light_judged_nm", "strehl", "margin", "margin_uncertainty", "guard_band", "wavefront_rms_nm", "wavefront_rms_uncertainty_nm",
    "iso10110", "iso10110_checks", "form", "telescope", "flags", "budget",
}  # fmt: skip


@pytest.fixture
def saved(tmp_path):
    """Save a map of a 90 mm diagonal with saddle-shaped heights, and return its path."""

    def save(name="map.npz", *, saddle_nm=0.0, uncertainty_nm=1.0, meta=None):
        face = ellipse(minor_mm=90.0)
        u, v = np.linspace(-45, 45, 91), np.linspace(-64, 64, 129)
        uu, vv = np.meshgrid(u, v)
        heights = np.where(face.contains(uu, vv), saddle_nm * uu * vv / (45.0 * 64.0), np.nan)
        doubt = np.full_like(heights, uncertainty_nm)
        height_map = HeightMap(
            heights_nm=heights, u_mm=u, v_mm=v, uncertainty_nm=doubt, face=face, meta=meta or {"mark": 3.0, "sign": "known"}
        )
        (tmp_path / name).write_bytes(map_file(height_map, name=name))
        return str(tmp_path / name)

    return save


def answered(capsys, *words):
    assert main(["judge", *words]) == 0
    return capsys.readouterr().out


def test_json_holds_the_keys_of_the_contract(capsys, saved):
    """One JSON object with the decision, the Strehl by field radius, and everything behind them."""
    facts = json.loads(answered(capsys, saved(), *TELESCOPE, "--full-field", "10mm", "--json"))
    assert set(facts) == KEYS
    assert [at["field_radius_mm"] for at in facts["strehl"]] == [0.0, 2.5, 5.0]
    assert {"strehl", "uncertainty"} < set(facts["strehl"][0])
    assert facts["telescope"]["focal_length_mm"] == 1500.0


def test_a_perfect_flat_meets_with_all_there_is_to_gain(capsys, saved):
    """Closed form: heights of zero give a Strehl of 1, so the margin over 0.95 is 0.05."""
    facts = json.loads(answered(capsys, saved(), *TELESCOPE, "--json"))
    assert facts["decision"] == "meets"
    assert facts["margin"] == pytest.approx(0.05, abs=1e-9)  # rounding


@pytest.mark.parametrize(
    ("saddle_nm", "uncertainty_nm", "decision", "first"),
    [
        (0.0, 1.0, "meets", "MEETS. The mirror meets what was asked of it."),
        (400.0, 1.0, "fails", "FAILS. The mirror fails what was asked of it."),
        (0.0, 60.0, "cannot tell yet", "CANNOT TELL YET. It cannot be told yet whether the mirror is good enough."),
    ],
)
def test_the_decision_comes_first_and_in_words(capsys, saved, saddle_nm, uncertainty_nm, decision, first):
    """A good mirror meets, a bent one fails, and of one that is not known well nothing is claimed; all exit with 0."""
    path = saved(saddle_nm=saddle_nm, uncertainty_nm=uncertainty_nm)
    assert answered(capsys, path, *TELESCOPE).splitlines()[0] == first
    assert json.loads(answered(capsys, path, *TELESCOPE, "--json"))["decision"] == decision


def test_doubts_of_map_and_verdict_are_told_as_sentences(capsys, saved):
    """What the map carries from its reading, and what judging adds, is each a note; a flag no one knows is shown as it stands."""
    path = saved(meta={"sign": "unknown", "flags": ["sign-unknown", "half-turn-unknown", "never heard of", 7]})
    lines = answered(capsys, path, *TELESCOPE).splitlines()
    assert [line for line in lines if line.startswith("Note:")] == [
        "Note: hill or hole is not known; the Strehl is the same for both",
        "Note: without a mark it is not known which end goes toward the primary; the worse way round is stated",
        f"Note: {explain('uncertainty-smooth')}",
        "Note: without a mark the map may be turned by half a turn",
        "Note: never heard of",
    ]


def test_a_map_without_uncertainty_decides_nothing(capsys, saved):
    """Another program's map that does not say how uncertain it is, flat as it may be, is no ground for a decision, and no number is made up."""
    path = saved("map.x3p", uncertainty_nm=float("nan"))
    facts = json.loads(answered(capsys, path, *TELESCOPE, "--iso", "3/0.5(0.2)", "--json"))
    assert facts["decision"] == "cannot tell yet"
    assert facts["margin_uncertainty"] is None
    text = answered(capsys, path, *TELESCOPE, "--iso", "3/0.5(0.2)")
    assert "nan" not in text
    assert "doubt from the height map: not known" in text


def test_a_mirror_that_lets_light_pass_by_does_not_meet(capsys, saved):
    """A 90 mm mirror, 87.3 mm clear, in a beam of 135 mm catches two fifths of a star's light, as counted exactly: flat as it is, it fails, in words and by a flag."""
    large = ["--aperture", "900mm", "--focal-ratio", "5", "--intercept", "675mm"]
    facts = json.loads(answered(capsys, saved(), *large, "--json"))
    assert facts["strehl"][0]["strehl"] == pytest.approx(1.0, abs=1e-9)  # rounding
    telescope = Telescope(aperture_mm=900.0, focal_length_mm=4500.0, intercept_mm=675.0)
    exact = lit_by_counting(telescope, minor_axis_mm=87.3, offset_mm=facts["telescope"]["offset_mm"], field_radius_mm=0.0).fraction
    assert facts["strehl"][0]["lit_fraction"] == pytest.approx(exact, abs=0.003)  # 7680 rays
    assert facts["decision"] == "fails"
    assert "beam-misses-the-face" in facts["flags"]
    lines = answered(capsys, saved(), *large).splitlines()
    assert lines[0] == "FAILS. The mirror fails what was asked of it."
    assert (
        "of the light of a star on the axis, and part of it misses the mirror: it is too small for this telescope, or stands wrong."
        in lines[2]
    )
    assert "judged on the axis only" in lines[3]


def test_a_beam_that_reaches_into_the_margin_decides_nothing(capsys, saved):
    """A beam of 88.6 mm on 90 mm of glass, 87.3 mm of it clear: nobody knows the rest, so neither meets nor fails."""
    tight = ["--aperture", "300mm", "--focal-length", "1500mm", "--intercept", "437mm", "--full-field", "0mm"]
    facts = json.loads(answered(capsys, saved(), *tight, "--json"))
    assert (facts["decision"], "beam-on-the-margin" in facts["flags"]) == ("cannot tell yet", True)
    assert 0.9 < facts["strehl"][0]["lit_fraction"] < 0.999
    assert "the rest falls on the margin left to the bevel" in answered(capsys, saved(), *tight)


def test_a_field_that_is_not_lit_is_not_said_to_be(capsys, saved):
    """Off the axis a little light is usually lost: that fails nothing, and the field is no longer called fully lit."""
    wide = json.loads(answered(capsys, saved(), *TELESCOPE, "--full-field", "60mm", "--json"))
    assert (wide["decision"], wide["strehl"][0]["lit_fraction"]) == ("meets", pytest.approx(1.0))
    text = answered(capsys, saved(), *TELESCOPE, "--full-field", "60mm")
    share = 100.0 * wide["strehl"][-1]["lit_fraction"]
    assert f"field 60 mm across, not fully lit: {share:.3g} % of the light of a star at its edge is caught;" in text
    assert "fully lit field 20 mm across;" in answered(capsys, saved(), *TELESCOPE, "--full-field", "20mm")


def test_heights_along_a_line_are_told(capsys, saved):
    """The saddle s u v / (a b) along u = 20 t, v = 40 t: as JSON lists under `profile`, and as lines for people; a line that can't be used is refused."""
    words = [saved(saddle_nm=100.0), *TELESCOPE, "--profile", "-20mm,-40mm,20mm,40mm"]
    found = json.loads(answered(capsys, *words, "--json"))["profile"]
    assert set(found) == {"from_mm", "to_mm", "distance_mm", "height_nm", "uncertainty_nm"}
    t = np.linspace(-1.0, 1.0, len(found["height_nm"]))
    assert found["height_nm"] == pytest.approx(100.0 * 20.0 * 40.0 / (45.0 * 64.0) * t**2, abs=0.2)  # a bilinear reading of a grid of 1 mm
    assert found["uncertainty_nm"] == pytest.approx(np.ones(t.size))
    assert "Heights from u -20 mm, v -40 mm to u 20 mm, v 40 mm, tilt of the face removed, 95 %:" in answered(capsys, *words).splitlines()
    assert main(["judge", words[0], *TELESCOPE, "--profile", "20mm"]) == 2
    assert capsys.readouterr().err.startswith("The profile was given as '20mm'; u and v of both ends of the line are needed")


@pytest.mark.parametrize("ending", ["npz", "x3p", "csv"])
def test_maps_of_every_format_are_judged_alike(capsys, saved, ending):
    """The same map gives the same Strehl from each of its formats."""
    facts = json.loads(answered(capsys, saved(f"map.{ending}", saddle_nm=100.0), *TELESCOPE, "--json"))
    other = json.loads(answered(capsys, saved("other.npz", saddle_nm=100.0), *TELESCOPE, "--json"))
    assert facts["strehl"][0]["strehl"] == pytest.approx(other["strehl"][0]["strehl"], abs=1e-6)  # csv keeps 0.0001 nm


@pytest.mark.parametrize(
    ("words", "told"),
    [(["--wide-end", "-v"], "-v"), (["--wide-end=-v"], "-v"), (["--wide-end", "+v"], "+v"), (["-v"], "-v"), ([], "+v")],
    ids=["apart", "joined", "plus", "alone", "by the mark"],
)
def test_the_end_nearer_the_primary_can_be_minus_v(capsys, saved, words, told):
    """-v is understood although it looks like an option; a map with a mark has +v there by itself."""
    facts = json.loads(answered(capsys, saved(), *TELESCOPE, *words, "--json"))
    assert facts["telescope"]["wide_end"] == told


def test_a_tolerance_is_checked_by_quantity(capsys, saved):
    """Closed form: the saddle s u v / (a b) has PV s on the ellipse and no power; B alone fails a tolerance below that."""
    path = saved(saddle_nm=100.0)
    facts = json.loads(answered(capsys, path, *TELESCOPE, "--strehl", "0.1", "--iso", "3/100 nm(50 nm)", "--json"))
    by_name = {check["name"]: check for check in facts["iso10110_checks"]}
    assert by_name["A"]["decision"] == "meets"
    assert by_name["B"]["decision"] == facts["decision"] == "fails"
    assert by_name["B"]["value_nm"] == pytest.approx(100.0 * 0.97**2, rel=0.02)  # of the clear aperture; a grid of 1 mm


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (
            ["none.npz", *TELESCOPE],
            "The map 'none.npz' can't be opened (No such file or directory); a file that can be read is needed; check the name and call again.\n",
        ),
        (
            ["none.npz", *TELESCOPE, "--focal-ratio", "5"],
            "Both a focal length and a focal ratio were given; one of the two is needed; give --focal-length like 1500mm or --focal-ratio like 5.\n",
        ),
        (
            ["none.npz", "--aperture", "300", "--focal-ratio", "5", "--intercept", "300mm"],
            "The aperture was given as '300' without a unit; one of \", cm, in, m, mm, nm, um, µm, μm, ″ is needed; write it like 90mm or 2 5/8 in.\n",
        ),
        (
            ["none.npz", *TELESCOPE, "--wide-end"],
            "The end nearer the primary was given as ''; +v or -v is needed, +v being the end with the mark; write it like +v, or leave it out.\n",
        ),
        (
            ["none.npz", "--aperture", "300mm"],
            "straightband judge: the following arguments are required: --intercept; see 'straightband judge --help' for what it takes.\n",
        ),
    ],
)
def test_what_cannot_be_used_is_one_sentence_and_exit_2(capsys, words, sentence):
    """A wrong call says what was found, what is needed and what to do, on standard error, with nothing on standard output."""
    assert main(["judge", *words]) == 2
    assert capsys.readouterr() == ("", sentence)


def test_a_file_that_is_no_map_is_refused(capsys, tmp_path):
    """Text with the ending of a map is one sentence, not a traceback."""
    (tmp_path / "map.npz").write_text("not a map")
    assert main(["judge", str(tmp_path / "map.npz"), *TELESCOPE]) == 2
    assert capsys.readouterr().err == (
        "'map.npz' is no height map, or is damaged; a height map in .npz, .x3p or .csv is needed; save the map again, or read the photograph again.\n"
    )
