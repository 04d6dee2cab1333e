"""What a person writes of a telescope becomes numbers, or one sentence that says what is wrong."""

import pytest

from straightband.errors import BadInput
from straightband.telescope.telescope import WideEnd
from straightband.workflows.requirement import mounting_from_text, requirement_from_text

TEXTS = {"aperture": "300mm", "intercept": "240mm", "focal_length": "1500mm"}


def refusal(function, **texts):
    with pytest.raises(BadInput) as caught:
        function(**texts)
    return str(caught.value)


def test_texts_become_numbers_in_mm_and_nm():
    """Lengths, ratio and wavelength come out in the units their names end with."""
    wanted = requirement_from_text(**TEXTS, full_field="15mm", strehl="0.9", iso="3/0.5(0.2)", light_judged="0.55um")
    assert wanted.telescope.aperture_mm == 300.0
    assert wanted.telescope.focal_length_mm == 1500.0
    assert wanted.telescope.intercept_mm == 240.0
    assert wanted.telescope.full_field_mm == 15.0
    assert (wanted.strehl_wanted, wanted.iso, wanted.wavelength_nm) == (0.9, "3/0.5(0.2)", 550.0)


@pytest.mark.parametrize("text", ["5", "f/5", " F/5.0 "])
def test_a_focal_ratio_stands_for_the_focal_length(text):
    """The focal length is the ratio times the aperture, however the ratio is written."""
    assert requirement_from_text(aperture="300mm", intercept="240mm", focal_ratio=text).telescope.focal_length_mm == 1500.0


@pytest.mark.parametrize("text", ["0mm", "0.0 in", "0 mm"])
def test_field_and_offset_may_be_nothing(text):
    """A field of zero is the axis alone and an offset of zero a mirror on the axis, both with their unit."""
    assert requirement_from_text(**TEXTS, full_field=text).telescope.full_field_mm == 0.0
    assert mounting_from_text(offset=text).offset_mm == 0.0


def test_what_is_left_out_is_left_to_the_verdict():
    """Without field, offset and end the verdict decides them, and the Strehl is asked at 0.95 in 550 nm."""
    wanted = requirement_from_text(**TEXTS)
    assert wanted.telescope.full_field_mm is None
    assert (wanted.mounting.offset_mm, wanted.mounting.wide_end) == (None, None)
    assert (wanted.strehl_wanted, wanted.wavelength_nm) == (0.95, 550.0)


def test_the_end_nearer_the_primary_is_one_of_two():
    """+v and -v name the ends of the mirror."""
    assert mounting_from_text(wide_end="-v").wide_end is WideEnd.MINUS_V
    assert refusal(mounting_from_text, wide_end="left") == (
        "the end nearer the primary was given as 'left'; +v or -v is needed, +v being the end with the mark; write it like +v, or leave it out."
    )


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (
            {"aperture": None},
            (
                "the aperture is missing; aperture, focal length or focal ratio, and intercept of the telescope are needed; "
                "add --aperture like 200mm."
            ),
        ),
        (
            {"intercept": "240"},
            "the intercept was given as '240' without a unit; one of \", cm, in, m, mm, nm, um, µm, μm, ″ is needed; write it like 90mm or 2 5/8 in.",
        ),
        (
            {"focal_ratio": "5"},
            "both a focal length and a focal ratio were given; one of the two is needed; give --focal-length like 1500mm or --focal-ratio like 5.",
        ),
        (
            {"focal_length": None},
            "neither focal length nor focal ratio was given; one of the two is needed; give --focal-length like 1500mm or --focal-ratio like 5.",
        ),
        (
            {"focal_length": None, "focal_ratio": "0.5"},
            "the focal ratio was given as '0.5'; a number above 1 and up to 100 is needed; write it like 5 or f/5.",
        ),
        ({"strehl": "95%"}, "the Strehl wanted was given as '95%'; a number above 0 and up to 1 is needed; write it like 0.95."),
        ({"strehl": "0"}, "the Strehl wanted was given as '0'; a number above 0 and up to 1 is needed; write it like 0.95."),
    ],
)
def test_what_cannot_be_used_is_refused_in_one_sentence(change, sentence):
    """Each wrong text is named with what is needed and what to do."""
    assert refusal(requirement_from_text, **{**TEXTS, **change}) == sentence


def test_a_wrong_tolerance_is_refused_before_anything_is_read():
    """A tolerance that says nothing is found at once, not after the photographs."""
    assert "tolerance" in refusal(requirement_from_text, **TEXTS, iso="flat please")
