"""What a person writes of a photograph becomes a set-up, or one sentence that says what is wrong."""

import math
from functools import partial

import pytest

from straightband.errors import BadInput
from straightband.face.shapes import CLEAR_MARGIN, Shape
from straightband.workflows.clear_text import grid_setup_from_text
from straightband.workflows.read import DISTORTION_SHARE
from straightband.workflows.setup import face_from_text, setup_from_text

HOUR = "a clock hour from 1 to 12 in the upright photograph is needed; write it like 3 for the right side."
FIVE_NUMBERS = (
    "five numbers with commas are needed: centre column, centre row, two half axes in pixels, angle in degrees; "
    "write for instance 2016,1512,900,640,30."
)
ELLIPSE = {"light": "632.8nm", "minor": "90mm"}


def refusal(function, **texts):
    with pytest.raises(BadInput) as caught:
        function(**texts)
    return str(caught.value)


def test_the_shortest_set_up_is_a_diagonal_with_nothing_assumed():
    """Light and minor axis are enough: 1 to root 2, no mark, no thicker side, no reversal, the shop's own bevel and lens."""
    setup = setup_from_text(**ELLIPSE)
    assert setup.face.shape is Shape.ELLIPSE
    assert (setup.face.semi_u_mm, setup.face.semi_v_mm) == (45.0, pytest.approx(45.0 * math.sqrt(2.0)))
    assert setup.lamp.wavelength_nm == pytest.approx(632.8)
    assert (setup.outline, setup.mark_hour, setup.thicker, setup.camera_mm) == (None, None, None, None)
    assert (setup.mirrored, setup.reversals, setup.distortion_share, setup.clear_margin) == (None, 0, DISTORTION_SHARE, CLEAR_MARGIN)


def test_every_text_becomes_its_number():
    """Everything a person may say arrives in the unit its name ends with."""
    setup = setup_from_text(
        light="sodium",
        shape="ellipse",
        minor="2.6in",
        major="100mm",
        outline="2016,1512,640,422.66,30",
        mark="3",
        thicker="11.5",
        mirrored="2",
        camera="0.6m",
        lens_distortion="2 %",
        margin="5%",
    )
    assert (setup.face.semi_u_mm, setup.face.semi_v_mm) == pytest.approx((33.02, 50.0))
    assert setup.lamp.name == "sodium"
    assert (setup.outline.cx, setup.outline.cy, setup.outline.semi_major, setup.outline.told) == (2016.0, 1512.0, 640.0, True)
    assert (setup.mark_hour, setup.thicker, setup.mirrored) == (3.0, 11.5, 2)
    assert (setup.camera_mm, setup.distortion_share, setup.clear_margin) == pytest.approx((600.0, 0.02, 0.05))


@pytest.mark.parametrize(("text", "meant"), [("in", "in"), (" out ", "out"), ("12", 12.0), ("1.25", 1.25), ("3, 9", (3.0, 9.0))])
def test_the_thicker_side_is_an_hour_or_in_or_out(text, meant):
    """Clock hours for a wedge, in and out for closed rings, and one of them for each of several photographs."""
    assert setup_from_text(**ELLIPSE, thicker=text).thicker == meant


def test_round_and_rectangular_faces():
    """A round face has one length, a rectangle two: width along u, length along v."""
    assert face_from_text(shape="round", diameter="80mm").semi_v_mm == 40.0
    plate = face_from_text(shape="rectangle", width="9mm", length="35mm")
    assert (plate.semi_u_mm, plate.semi_v_mm) == (4.5, 17.5)


@pytest.mark.parametrize(
    ("texts", "sentence"),
    [
        (
            {"shape": "oval", "minor": "90mm"},
            "the shape was given as 'oval'; ellipse, round or rectangle is needed; write one of the three.",
        ),
        ({"shape": "ellipse"}, "the minor axis is missing; an ellipse's minor axis is needed; add --minor like 90mm."),
        ({"shape": "round"}, "the diameter is missing; a round face's diameter is needed; add --diameter like 90mm."),
        (
            {"shape": "rectangle", "width": "9mm"},
            "the length is missing; a rectangle's width and length are needed; add --length like 90mm.",
        ),
        (
            {"shape": "round", "diameter": "80mm", "minor": "60mm"},
            "a minor was given for a face that is round; the diameter is what such a face has; leave --minor out or change --shape.",
        ),
        (
            {"shape": "ellipse", "minor": "90"},
            "the minor was given as '90' without a unit; one of \", cm, in, m, mm, nm, um, µm, μm, ″ is needed; write it like 90mm or 2 5/8 in.",
        ),
        (
            {"shape": "ellipse", "minor": "0.5mm"},
            "the minor was given as '0.5mm'; a length between 1 mm and 2000 mm is needed; check number and unit.",
        ),
        (
            {"shape": "round", "diameter": "3m"},
            "the diameter was given as '3m'; a length between 1 mm and 2000 mm is needed; check number and unit.",
        ),
        (
            {"shape": "ellipse", "minor": "90mm", "major": "60mm"},
            "the major axis (60 mm) is shorter than the minor axis (90 mm); the longer axis is the major one; swap the two.",
        ),
    ],
    ids=["shape", "no minor", "no diameter", "no length", "too much", "no unit", "too small", "too large", "swapped"],
)
def test_a_face_that_makes_no_sense_is_refused(texts, sentence):
    """Each wrong or missing size is answered with what was found, what is needed and what to do."""
    assert refusal(face_from_text, **texts) == sentence


@pytest.mark.parametrize(
    ("texts", "sentence"),
    [
        (
            {"mark": "13"},
            f"the mark was given as '13'; {HOUR}",
        ),
        (
            {"mark": "0"},
            f"the mark was given as '0'; {HOUR}",
        ),
        (
            {"thicker": "left"},
            f"the thicker side was given as 'left'; {HOUR}",
        ),
        (
            {"thicker": "nan"},
            f"the thicker side was given as 'nan'; {HOUR}",
        ),
        (
            {"mirrored": "5"},
            "the number of reversals was given as '5'; a whole number from 0 to 4 is needed; count the back and the beam splitter.",
        ),
        (
            {"mirrored": "-1"},
            "the number of reversals was given as '-1'; a whole number from 0 to 4 is needed; count the back and the beam splitter.",
        ),
        ({"lens_distortion": "30%"}, "the lens distortion was given as '30%'; a percentage up to 20 % is needed; write it like 1%."),
        ({"lens_distortion": "0.01"}, "the lens distortion was given as '0.01'; a percentage up to 20 % is needed; write it like 1%."),
        ({"margin": "31%"}, "the margin was given as '31%'; a percentage up to 30 % is needed; write it like 1%."),
        (
            {"camera": "-3m"},
            "the camera's distance was given as '-3m'; a length above zero is needed; write it like 90mm or 2 5/8 in.",
        ),
        (
            {"outline": "1,2,3"},
            f"the outline is given as '1,2,3'; {FIVE_NUMBERS}",
        ),
        (
            {"outline": "500,400,300,290,0"},
            "the outline's axes are as 1.034 to 1; the face's are as 1.414 to 1; check the shape and size of the face, or the outline.",
        ),
    ],
)
def test_a_set_up_that_makes_no_sense_is_refused(texts, sentence):
    """Each option that can't be used is answered in one sentence of three parts."""
    assert refusal(setup_from_text, **ELLIPSE, **texts) == sentence


def test_a_light_nobody_knows_is_refused():
    """Neither a lamp that is known nor a wavelength: the lamps are listed."""
    assert refusal(setup_from_text, light="candle", minor="90mm") == (
        "the light was given as 'candle'; a wavelength or one of sodium, mercury-green, helium-neon, red-led, green-led, blue-led is needed; "
        "write it like 632.8nm."
    )


def test_how_the_piece_lies():
    """Glass, thickness, support and time since handling become the rest; a support is three points at the rim unless told."""
    assert setup_from_text(**ELLIPSE).rest is None
    rest = setup_from_text(**ELLIPSE, glass="soda-lime", thickness="12mm", handled="4min").rest
    assert (rest.glass.name, rest.thickness_mm, rest.support.value, rest.handled_s) == ("soda-lime", 12.0, "three-at-rim", 240.0)


@pytest.mark.parametrize(
    ("texts", "sentence"),
    [
        (
            {"handled": "4min"},
            (
                "the glass is missing beside the handling; glass and thickness are needed to say how the piece bends; "
                "add --glass like borosilicate and --thickness like 15mm."
            ),
        ),
        (
            {"glass": "soda-lime"},
            (
                "the thickness is missing beside the rest; glass and thickness are needed to say how the piece bends; "
                "add --glass like borosilicate and --thickness like 15mm."
            ),
        ),
        (
            {"glass": "soda-lime", "thickness": "12mm", "support": "four"},
            "the support was given as 'four'; one of rim, three-inside, three-at-rim is needed; leave it out for three points at the rim, as a shim gives.",
        ),
        (
            {"glass": "soda-lime", "thickness": "300mm"},
            "the thickness was given as '300mm'; a length between 1 mm and 127.3 mm is needed; check number and unit.",
        ),
    ],
)
def test_a_rest_that_cannot_be_used(texts, sentence):
    """What is missing or out of range for the rest is said in one sentence."""
    assert refusal(setup_from_text, **ELLIPSE, **texts) == sentence


def test_where_it_was_pressed_and_sides_that_are_not_known():
    """A clock hour of the press; a question mark where one of several photographs has no known thicker side."""
    setup = setup_from_text(**ELLIPSE, pressed="4.5", thicker="3,?")
    assert (setup.pressed_hour, setup.thicker) == (4.5, (3.0, None))
    assert refusal(setup_from_text, **ELLIPSE, pressed="left") == f"where it was pressed was given as 'left'; {HOUR}"


@pytest.mark.parametrize("of", [partial(setup_from_text, light="sodium"), grid_setup_from_text])
def test_a_camera_nearer_than_the_face_is_long_is_refused(of):
    """A lens of ordinary angle can't take the face in from there: 127.3 mm is the major axis of a diagonal of 90 mm."""
    assert of(minor="90mm", camera="5.1in").camera_mm == pytest.approx(129.54)
    assert refusal(of, minor="90mm", camera="127mm") == (
        "the camera's distance was given as '127mm', nearer than the face is long (127.3 mm); "
        "a distance from which the whole face shows is needed; measure it from the lens to the face."
    )
