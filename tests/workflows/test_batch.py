"""The batch file: what is read from it, and every way in which it is refused."""

import pytest

from straightband.errors import BadInput
from straightband.face.shapes import Shape
from straightband.workflows.batch import batch_from_toml

ELLIPSE = 'name = "A"\nshape = "ellipse"\nminor_mm = 90\nthickness_mm = 15\nglass = "borosilicate"\n'
ROUND = 'name = "B"\nshape = "round"\ndiameter_mm = 110\nthickness_mm = 20\nglass = "soda-lime"\nsag_um = -4.5\n'
RECTANGLE = 'name = "C"\nshape = "rectangle"\nwidth_mm = 80\nlength_mm = 110\nthickness_mm = 12\nglass = "fused silica"\n'
GRINDING = "[grinding]\nabrasives_um = [40, 20, 10, 5]\n"


def batch(*pieces, grinding=GRINDING):
    text = "".join(f"[[piece]]\n{piece}\n" for piece in pieces) + grinding
    return batch_from_toml(text.encode(), name="b.toml")


def test_a_batch_is_read_whole():
    """Shapes, sizes, sags and the bench come out as written; a diagonal's major axis is 1.414 times its minor."""
    read = batch(ELLIPSE, ROUND, RECTANGLE, grinding=GRINDING + "minutes = 6\nspindle_rpm = 25\nload_n = 15.5\n")
    assert [blank.name for blank in read.blanks] == ["A", "B", "C"]
    assert [blank.face.shape for blank in read.blanks] == [Shape.ELLIPSE, Shape.ROUND, Shape.RECTANGLE]
    assert read.blanks[0].face.semi_v_mm == pytest.approx(45.0 * 2.0**0.5)
    assert [blank.sag_um for blank in read.blanks] == [None, -4.5, None]
    assert (read.abrasives_um, read.minutes, read.spindle_rpm, read.load_n) == ((40.0, 20.0, 10.0, 5.0), 6.0, 25.0, 15.5)
    assert not read.reordered


def test_weight_is_density_times_volume():
    """A borosilicate disc 300 mm across and 50 mm thick is 7.8815 kg (density 2230, closed form)."""
    disc = 'name = "X"\nshape = "round"\ndiameter_mm = 300\nthickness_mm = 50\nglass = "borosilicate"\n'
    assert batch(disc, ELLIPSE).blanks[0].weight_n / 9.80665 == pytest.approx(7.88147057, rel=1e-8)


def test_abrasives_are_put_in_order():
    """An unordered list is sorted coarse to fine, and that is told."""
    read = batch(ELLIPSE, ROUND, grinding="[grinding]\nabrasives_um = [10, 40, 5, 20]\n")
    assert read.abrasives_um == (40.0, 20.0, 10.0, 5.0)
    assert read.reordered


@pytest.mark.parametrize(
    ("pieces", "grinding", "sentence"),
    [
        ((), GRINDING, ("the batch file 'b.toml' holds no piece; 2 to 12 are needed, since a face is ground on another; add a [[piece]], for "
         "instance a round plate of about the same size.")),
        ((ELLIPSE,), GRINDING, ("the batch file 'b.toml' holds one piece; 2 to 12 are needed, since a face is ground on another; add a "
         "[[piece]], for instance a round plate of about the same size.")),
        ((ELLIPSE,) * 13, GRINDING, ("the batch file 'b.toml' holds 13 pieces; 2 to 12 are needed, since a face is ground on another; plan them "
         "in smaller batches.")),
        ((ELLIPSE, ROUND.replace('"B"', '"a"')), GRINDING,
         "the batch file 'b.toml' has two pieces called 'a'; names that differ are needed; rename one."),
        ((ELLIPSE, ROUND), "", ("the batch file 'b.toml' has no [grinding]; the abrasives are needed; add [grinding] with abrasives_um = [40, 20, "
         "10, 5].")),
        ((ELLIPSE, ROUND), GRINDING + "minutes = 0\n",
         "'minutes' in [grinding] in the batch file 'b.toml' is 0; 0.5 to 240 minutes is needed; check the number and its unit."),
        ((ELLIPSE, ROUND), GRINDING + "spindle_rpm = 0\n", ("'spindle_rpm' in [grinding] in the batch file 'b.toml' is 0; 1 to 300 turns a minute "
         "is needed; check the number and its unit.")),
        ((ELLIPSE, ROUND), GRINDING + "load_n = -3\n", ("'load_n' in [grinding] in the batch file 'b.toml' is -3; 0 to 500 N is needed; check the "
         "number and its unit.")),
        ((ELLIPSE, ROUND), GRINDING + "speed = 3\n", ("[grinding] in the batch file 'b.toml' has 'speed', which is not known; the keys are "
         "abrasives_um, minutes, spindle_rpm, load_n; correct its name or take it out.")),
        ((ELLIPSE, ROUND), "[grinding]\nabrasives_um = []\n", ("'abrasives_um' in [grinding] in the batch file 'b.toml' is no list of numbers; the "
         "mean grain of each abrasive in um is needed; write it like abrasives_um = [40, 20, 10, 5].")),
        ((ELLIPSE, ROUND), "[grinding]\nabrasives_um = [80, 120, 220, 320]\n", ("the abrasives in [grinding] in the batch file 'b.toml' grow from "
         "80 to 320, as mesh numbers do; mean grains in um are needed, coarse to fine; look the um up on the packet, since mesh numbers of "
         "different makers differ.")),
        ((ELLIPSE, ROUND), "[grinding]\nabrasives_um = [0.04, 0.02]\n", ("'abrasives_um' in [grinding] in the batch file 'b.toml' is 0.04; 1 to "
         "400 um is needed; check the number and its unit.")),
        ((ELLIPSE, ROUND), "[grinding]\nabrasives_um = [20, 20]\n", ("'abrasives_um' in [grinding] in the batch file 'b.toml' names a size twice; "
         "each grade is worked once; take the second out.")),
        ((ELLIPSE.replace("minor_mm = 90", "minor_mm = 3.5"), ROUND), GRINDING, ("'minor_mm' in 'A' in the batch file 'b.toml' is 3.5; 10 to 1000 "
         "mm is needed; check the number and its unit.")),
        ((ELLIPSE.replace("minor_mm = 90", 'minor_mm = "90mm"'), ROUND), GRINDING, ("'minor_mm' in 'A' in the batch file 'b.toml' is no number; a "
         "plain number of mm is needed; write it like minor_mm = 1000.")),
        ((ELLIPSE.replace("minor_mm = 90", "minor_mm = nan"), ROUND), GRINDING, ("'minor_mm' in 'A' in the batch file 'b.toml' is nan; 10 to 1000 "
         "mm is needed; check the number and its unit.")),
        ((ELLIPSE.replace("minor_mm = 90", "minor_mm = 1" + "0" * 400), ROUND), GRINDING, ("'minor_mm' in 'A' in the batch file 'b.toml' is a "
         "number beyond all; 10 to 1000 mm is needed; check the number and its unit.")),
        ((ELLIPSE.replace("ellipse", "hexagon"), ROUND), GRINDING, ("the shape of 'A' in the batch file 'b.toml' was given as 'hexagon'; ellipse, "
         "round or rectangle is needed; write one of the three.")),
        ((ELLIPSE.replace("minor_mm", "diameter_mm"), ROUND), GRINDING, ("'A' in the batch file 'b.toml' is ellipse and has 'diameter_mm'; "
         "minor_mm and major_mm are its sizes; take it out.")),
        ((RECTANGLE.replace("length_mm = 110\n", ""), ROUND), GRINDING, ("'C' in the batch file 'b.toml' has no 'length_mm'; it is needed for "
         "shape rectangle; add it like length_mm = 90.")),
        ((ELLIPSE.replace("thickness_mm = 15", "thickness_mm = 120"), ROUND), GRINDING, ("'A' in the batch file 'b.toml' is 120 mm thick and 90 mm "
         "across; a plate thinner than it is wide is needed, or it topples; check both, with their units.")),
        ((RECTANGLE.replace("width_mm = 80", "width_mm = 20"), ROUND), GRINDING, ("'C' in the batch file 'b.toml' is 110 mm long and 20 mm wide; a "
         "face at most four times as long as wide is needed, or it rocks; check both sizes, with their units.")),
        ((ELLIPSE.replace("borosilicate", "treacle"), ROUND), GRINDING, ("the glass was given as 'treacle'; one of borosilicate, soda-lime, "
         "fused-silica, borosilicate-crown, glass-ceramic is needed; choose the one nearest to it.")),
        ((ELLIPSE + "sag_um = 2000\n", ROUND), GRINDING, ("'sag_um' in 'A' in the batch file 'b.toml' is 2000; -500 to 500 um is needed; check the "
         "number and its unit.")),
        ((ELLIPSE + "colour = 1\n", ROUND), GRINDING, ("piece 1 in the batch file 'b.toml' has 'colour', which is not known; the keys are name, "
         "shape, minor_mm, major_mm, diameter_mm, width_mm, length_mm, thickness_mm, glass, sag_um; correct its name or take it out.")),
        ((ELLIPSE.replace('glass = "borosilicate"\n', ""), ROUND), GRINDING, ("piece 1 in the batch file 'b.toml' has no 'glass'; it is needed for "
         'every piece; write it like name = "A", shape = "ellipse", minor_mm = 90, thickness_mm = 15, glass = "borosilicate".')),
        ((ELLIPSE.replace('"A"', '"  "'), ROUND), GRINDING, ("'name' in piece 1 in the batch file 'b.toml' is empty; 1 to 30 letters in quotes are "
         'needed; write it like name = "...".')),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_one_sentence(pieces, grinding, sentence):
    """Each impossible batch is refused with what was found, what is needed and what to do."""
    with pytest.raises(BadInput) as refusal:
        batch(*pieces, grinding=grinding)
    assert str(refusal.value) == sentence


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"[[piece]\n", r"^the batch file 'b.toml' is not TOML \("),
        (
            b"\xff\xfe\x00",
            r"^the batch file 'b.toml' is not TOML \(it is not plain text in UTF-8\); tables like \[\[piece\]\] are needed; ",
        ),
        (
            b"piece = 3\n",
            r"^'piece' in the batch file 'b.toml' is no list of tables; a table for each is needed; head each with \[\[piece\]\]\.$",
        ),
        (b"x = " + b"[" * 5000, r"^the batch file 'b.toml' is not TOML \("),
        (b"#" * 100_001, r"^the batch file 'b.toml' has 100001 bytes; at most 100000 are needed; check that it is the right file\.$"),
        (b"", r"^the batch file 'b.toml' holds no piece; "),
    ],
    ids=["broken", "not text", "no table", "nested too deep", "too large", "empty"],
)
def test_what_is_no_batch_file_is_one_sentence(data, words):
    """Broken, foreign and oversized files are refused without a traceback."""
    with pytest.raises(BadInput, match=words):
        batch_from_toml(data, name="b.toml")
