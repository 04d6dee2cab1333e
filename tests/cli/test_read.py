"""`straightband read` from the shell's side: JSON keys, words, maps, exit codes, refusals that leave nothing behind."""

import json
import math

import numpy as np
import pytest
from PIL import Image, ImageFilter

from straightband.cli import main
from straightband.fringes.reading import read_phase
from straightband.heightmap.figures import figures
from straightband.synthetic.golden import golden_scene
from straightband.synthetic.truth import truth_map
from straightband.workflows.maps import map_from_file

# The golden face lies level in the middle of the photograph: 400 pixels of semi-major axis, as conftest renders it.
OUTLINE = f"499.5,374.5,400,{400 / math.sqrt(2):.4f},0"
TOLD = ["--minor", "90mm", "--light", "mercury-green", "--outline", OUTLINE]
KEYS = {
    "surface", "uncertainty", "bands_across", "outline_px", "sign", "flags", "budget", "contrast", "explained", "clear_margin",
    "light_nm", "mirrored", "photographs", "program",
}  # fmt: skip
FIGURES = {"pv_nm", "rms_nm", "power_nm", "astigmatism_nm", "irregularity_pv_nm", "irregularity_rms_nm", "edge_nm"}


@pytest.fixture(scope="module", autouse=True)
def _read_once():
    """The same square-on picture has the same phase (tests/fringes/test_reading.py), so that of a picture seen before is remembered."""
    seen = {}

    def remembered(picture, *, clear, coherent_bands):
        key = (picture.light.tobytes(), picture.missing.tobytes(), clear, coherent_bands)
        if key not in seen:
            seen[key] = read_phase(picture, clear=clear, coherent_bands=coherent_bands)
        return seen[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("straightband.workflows.read.read_phase", remembered)
        yield


@pytest.fixture
def bands(tmp_path, photograph):
    """The photograph on disk, in a folder of its own."""
    path = tmp_path / "bands.jpg"
    path.write_bytes(photograph)
    return path


def answered(capsys, *words):
    assert main(["read", *map(str, words)]) == 0
    said = capsys.readouterr()
    assert said.err == ""
    return said.out


def refused(capsys, *words):
    assert main(["read", *map(str, words)]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    return said.err.rstrip("\n")


def no_constant(name):
    pytest.fail(f"{name} is no JSON")


def numbers(value):
    """Every number in a JSON value, None for what is not known."""
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list):
        return [each for item in value for each in numbers(item)]
    return [value] if value is None or (isinstance(value, int | float) and not isinstance(value, bool)) else []


def test_json_holds_the_keys_of_the_contract_and_nothing_that_is_not_finite(capsys, bands):
    """One JSON object: figures, their uncertainty under the same names, outline, sign, flags and budget, all present, all finite."""
    facts = json.loads(answered(capsys, bands, *TOLD, "--thicker", "2.5", "--mark", "3", "--json"), parse_constant=no_constant)
    assert set(facts) == KEYS
    assert set(facts["uncertainty"]) == FIGURES < set(facts["surface"])
    assert set(facts["outline_px"]) >= {"cx", "cy", "semi_major", "semi_minor", "angle_deg"}
    assert all({"term", "nm"} <= set(line) for line in facts["budget"])
    found = numbers(facts)
    assert None not in [*facts["surface"].values(), *facts["uncertainty"].values(), *facts["outline_px"].values()]
    assert all(number is None or math.isfinite(number) for number in found)
    assert (facts["sign"], facts["light_nm"], facts["clear_margin"]) == ("known", 546.074, 0.03)


def test_the_numbers_are_those_of_the_golden_face(capsys, bands):
    """END-1 less 3 % of the axes: power a hollow of 92 nm, RMS 25.7, irregularity RMS 12.9 nm, worked out on a fine grid of the closed form."""
    surface = json.loads(answered(capsys, bands, *TOLD, "--thicker", "2.5", "--mark", "3", "--json"))["surface"]
    wanted = golden_clear_figures()
    assert surface["power_nm"] == pytest.approx(wanted.power_nm, abs=1.0)  # the outline told to a tenth of a pixel; noise 0.1
    assert surface["rms_nm"] == pytest.approx(wanted.rms_nm, abs=0.3)  # the same
    assert surface["irregularity_rms_nm"] == pytest.approx(wanted.irregularity_rms_nm, abs=0.3)  # the same
    assert surface["power_nm"] < 0.0


def golden_clear_figures():
    """Figures of the closed form over the clear aperture."""
    axis = np.linspace(-64.0, 64.0, 257)
    return figures(truth_map(golden_scene(), u_mm=axis, v_mm=axis.copy()))


def test_the_budget_adds_up_to_the_uncertainty(capsys, bands):
    """The lines of the budget, as squares, make the uncertainty of PV; `by_figure` does the same for every other figure."""
    facts = json.loads(answered(capsys, bands, *TOLD, "--json"))
    assert math.hypot(*(line["nm"] for line in facts["budget"])) == pytest.approx(facts["uncertainty"]["pv_nm"], rel=1e-9)  # one formula
    for name in FIGURES:
        total = math.hypot(*(line["by_figure"][name] for line in facts["budget"]))
        assert total == pytest.approx(facts["uncertainty"][name], rel=1e-9)  # one formula


def test_the_outline_that_was_told_is_the_one_that_is_used(capsys, bands):
    """The five numbers come back as they were given."""
    found = json.loads(answered(capsys, bands, *TOLD, "--json"))["outline_px"]
    assert [found[name] for name in ("cx", "cy", "semi_major", "angle_deg")] == [499.5, 374.5, 400.0, 0.0]


def test_people_read_it_in_words(capsys, bands):
    """Without --json: bands, figures with their uncertainty in nm and bands, hill or hollow, doubts as sentences."""
    lines = answered(capsys, bands, *TOLD, "--thicker", "2.5").splitlines()
    assert lines[0] == "6.6 bands across, contrast 70 %"
    assert lines[1] == "Surface over the clear aperture (face less 3 % of each semi-axis), tilt removed, 95 %:"
    assert any(line.startswith("  power ") and " ± " in line and line.endswith(" bands)") for line in lines)
    assert "The face is concave, a hollow." in lines
    assert any(line.startswith("Note: without a mark the map may be turned by half a turn") for line in lines)


def test_an_unknown_sign_is_said_and_no_number_leaks_it(capsys, bands):
    """Without a thicker side: hill or hole not known, and power carries no sign."""
    out = answered(capsys, bands, *TOLD)
    assert "Hill or hole: not known (say where the gap is thicker with --thicker)." in out
    power = next(line for line in out.splitlines() if line.startswith("  power "))
    assert "-" not in power
    told = next(line for line in answered(capsys, bands, *TOLD, "--thicker", "2.5", "--mark", "3").splitlines() if "stands highest" in line)
    axis = int(told.split(" deg")[0].rsplit(" ", 1)[1])
    either = f"{axis} or {(axis + 90) % 180}", f"{(axis + 90) % 180} or {axis}"  # the other sign has its hollows where this has its hills
    assert any(f"  astigmatism stands highest along {both} deg from +u toward +v: not known which" in out for both in either)
    facts = json.loads(answered(capsys, bands, *TOLD, "--json"))
    assert facts["sign"] == "unknown"
    assert "sign-unknown" in facts["flags"]


def test_a_thicker_side_along_the_bands_leaves_the_sign_unknown(capsys, bands):
    """The gap opens at half past two: half past five decides nothing, and is said not to fit."""
    facts = json.loads(answered(capsys, bands, *TOLD, "--thicker", "5.5", "--json"))
    assert facts["sign"] == "unknown"
    assert "thicker-side-does-not-fit-the-bands" in facts["flags"]


def test_maps_are_written_in_every_format(capsys, bands):
    """The npz holds the arrays of the contract, X3P and CSV give the same heights back, and the picture is a picture."""
    folder = bands.parent
    paths = [folder / f"map{ending}" for ending in (".npz", ".x3p", ".csv", ".png")]
    out = answered(capsys, bands, *TOLD, "--thicker", "2.5", *(word for path in paths for word in ("--map", path)))
    assert [line for line in out.splitlines() if line.startswith("Map written")] == [f"Map written to {path}" for path in paths]
    with np.load(paths[0]) as held:
        assert {"heights_nm", "u_mm", "v_mm", "uncertainty_nm", "meta"} <= set(held.files)
        heights, meta = held["heights_nm"], json.loads(str(held["meta"]))
        assert heights.shape == held["uncertainty_nm"].shape == (held["v_mm"].size, held["u_mm"].size)
    assert meta["sign"] == "known"
    for path in paths[1:3]:
        again = map_from_file(path.read_bytes(), path.name)
        assert np.allclose(again.heights_nm, heights, atol=1e-3, equal_nan=True)  # nm; the figures a CSV is written with
    with Image.open(paths[3]) as picture:
        assert min(picture.size) > 300


UNITS = 'one of ", cm, in, m, mm, nm, um, µm, μm, ″ is needed; write it like 90mm or 2 5/8 in.'
LIGHTS = "a wavelength or one of sodium, mercury-green, helium-neon, red-led, green-led, blue-led is needed; write it like 632.8nm."
HOUR = "a clock hour from 1 to 12 in the upright photograph is needed; write it like 3 for the right side."
ENDING = "a name ending in .npz, .x3p, .csv or .png is needed; change the ending."
MARK = (
    "it must lie nearer one end of the major axis; "
    "put the pencil mark on the rim at one end of the long axis and take the photograph again."
)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--minor", "90", "--light", "sodium"], f"The minor was given as '90' without a unit; {UNITS}"),
        (["--light", "sodium"], "The minor axis is missing; an ellipse's minor axis is needed; add --minor like 90mm."),
        (["--minor", "90mm", "--light", "candle"], f"The light was given as 'candle'; {LIGHTS}"),
        ([*TOLD, "--thicker", "left"], f"The thicker side was given as 'left'; {HOUR}"),
        ([*TOLD, "--map", "map.pdf"], f"The map was to go to 'map.pdf'; {ENDING}"),
        ([*TOLD, "--mark", "6"], f"The mark at 6 o'clock lies near the minor axis of the face; {MARK}"),
    ],
    ids=["no unit", "no minor axis", "unknown light", "unknown side", "wrong ending", "mark at the minor axis"],
)
def test_wrong_words_are_answered_in_one_sentence(capsys, bands, words, sentence):
    """Exit code 2, one sentence on standard error, nothing on standard output, nothing written."""
    assert refused(capsys, bands, *words) == sentence
    assert [path.name for path in bands.parent.iterdir()] == ["bands.jpg"]


def test_a_light_must_be_named(capsys, bands):
    """Without --light the call is answered in one sentence that points to the help."""
    assert refused(capsys, bands, "--minor", "90mm") == (
        "straightband read: the following arguments are required: --light; see 'straightband read --help' for what it takes."
    )


def test_a_missing_photograph_is_named(capsys, tmp_path):
    """A file that is not there, and a folder without any, are refused by name with the reason."""
    missing = tmp_path / "none.jpg"
    assert refused(capsys, missing, *TOLD) == (
        f"The photograph '{missing}' can't be opened (No such file or directory); a file that can be read is needed; "
        "check the name and call again."
    )
    assert refused(capsys, tmp_path, *TOLD) == (
        f"There is no photograph in '{str(tmp_path)[:60]}'; a folder of photographs is needed; check its name."
    )


def test_a_file_that_is_no_photograph_is_refused(capsys, tmp_path):
    """Text under the name of a photograph gives one sentence and no traceback."""
    text = tmp_path / "notes.jpg"
    text.write_text("bands: 7\n" * 100, encoding="utf-8")
    assert refused(capsys, text, *TOLD).startswith("notes.jpg is no picture of a kind that is read ")


def test_a_refused_photograph_leaves_no_map(capsys, tmp_path):
    """A photograph without bands is refused, and the map that was asked for is not there."""
    grey = 90.0 + 4.0 * np.random.default_rng(0).standard_normal((750, 1000, 3))
    path = tmp_path / "grey.jpg"
    Image.fromarray(grey.astype(np.uint8)).save(path, quality=95)
    out = tmp_path / "map.npz"
    assert refused(capsys, path, *TOLD, "--map", out).startswith("No bands were made out on the face (the best try explains ")
    assert not out.exists()


ROWS, COLUMNS = np.mgrid[:900, :1200].astype(float)
NO_SUCH_FACE = ("No outline of a face with bands in it was found; ", "The outline in the photograph is ")  # none, or one of another shape
WITHOUT_A_FACE = {
    "black": (np.zeros(ROWS.shape), "The photograph is black nearly all over; "),
    "white": (np.full(ROWS.shape, 255.0), "100% of the photograph is overexposed "),
    "an even ramp": (40.0 + 100.0 * COLUMNS / 1200.0 + 40.0 * ROWS / 900.0, NO_SUCH_FACE),
    "wood grain": (120.0 + 50.0 * np.sin(COLUMNS / 9.0 + 3.0 * np.sin(ROWS / 160.0)), NO_SUCH_FACE),
    "stripes": (128.0 + 80.0 * np.sign(np.sin(COLUMNS / 20.0)), NO_SUCH_FACE),
    "bands that the frame cuts off": (
        40.0 + (np.hypot((COLUMNS - 150.0) / 400.0, (ROWS - 450.0) / 283.0) < 1.0) * (90.0 + 60.0 * np.cos(COLUMNS / 8.0)),
        "The outline touches the photograph's left edge ",
    ),
}


@pytest.mark.parametrize("blur_px", [0.0, 5.0])
@pytest.mark.parametrize("name", WITHOUT_A_FACE)
def test_a_photograph_without_a_whole_face_is_refused_for_what_it_shows(capsys, tmp_path, name, blur_px):
    """Sharp or blurred: one sentence that names what is wrong, and no map; what fills the frame is not said to be a face cut off."""
    light, sentence = WITHOUT_A_FACE[name]
    path, out = tmp_path / "other.jpg", tmp_path / "map.npz"
    picture = Image.fromarray(light.astype(np.uint8)).convert("RGB")
    picture.filter(ImageFilter.GaussianBlur(blur_px)).save(path, quality=92)
    assert refused(capsys, path, "--minor", "90mm", "--light", "sodium", "--map", out).startswith(sentence)
    assert not out.exists()


def test_a_map_that_cannot_be_written_is_refused(capsys, bands):
    """A folder that does not exist is named; what was asked for beside it is not half there."""
    nowhere = bands.parent / "none" / "map.npz"
    sentence = refused(capsys, bands, *TOLD, "--map", bands.parent / "map.csv", "--map", nowhere)
    assert str(nowhere) in sentence or str(nowhere.parent) in sentence
    assert [path.name for path in bands.parent.iterdir()] == ["bands.jpg"]


def test_two_photographs_need_one_thicker_side_or_one_each(capsys, bands):
    """Three sides for two photographs are refused before anything is read."""
    assert refused(capsys, bands, bands, *TOLD, "--thicker", "3,9,3") == (
        "3 thicker sides were given for 2 photographs; one for all or one for each is needed; "
        "write them in the order of the photographs, like 3,9."
    )
