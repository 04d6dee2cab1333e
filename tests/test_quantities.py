"""What people type for lengths, wavelengths and times. An inch is 25.4 mm exactly (international yard and pound agreement, 1959)."""

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from straightband.errors import BadInput
from straightband.quantities import (
    MM_PER_UNIT,
    SECONDS_PER_UNIT,
    half_last_figure_nm,
    parse_duration_s,
    parse_length_mm,
    parse_wavelength_nm,
)

LENGTH = "write it like 90mm or 2 5/8 in"
UNITS = ", ".join(sorted(MM_PER_UNIT))


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("90mm", 90.0),
        (" 90 mm ", 90.0),
        ("2.6in", 66.04),
        ("2,6 in", 66.04),
        ("2 5/8 in", 66.675),
        ("2-5/8in", 66.675),
        ('5/8"', 15.875),
        (".5in", 12.7),
        ("1.5m", 1500.0),
        ("12cm", 120.0),
        ("25µm", 0.025),
        ("25μm", 0.025),
        ("0,125mm", 0.125),
        ("1,25mm", 1.25),
        ("127.27922061357856mm", 127.27922061357856),  # as a program writes a float
        ("0.012345678901234568in", 0.31358024409135804),
        ("5e-05mm", 5e-5),
    ],
)
def test_lengths_as_people_write_them(text, mm):
    """Each way of writing a length gives the millimetres it stands for; both signs for micro are understood."""
    assert parse_length_mm(text, what="the minor axis") == pytest.approx(mm, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("90", f"the minor axis was given as '90' without a unit; one of {UNITS} is needed; {LENGTH}."),
        ("90 furlongs", f"the minor axis was given as '90 furlongs' with the unit 'furlongs'; one of {UNITS} is needed; {LENGTH}."),
        ("ninety mm", f"the minor axis was given as 'ninety mm'; a number with its unit is needed; {LENGTH}."),
        ("", f"the minor axis was given as ''; a number with its unit is needed; {LENGTH}."),
        ("-90mm", f"the minor axis was given as '-90mm'; a length above zero is needed; {LENGTH}."),
        ("0mm", f"the minor axis was given as '0mm'; a length above zero is needed; {LENGTH}."),
        ("2 5/0 in", f"the minor axis divides by zero; a fraction with a whole number below the line is needed; {LENGTH}."),
        ("2 90mm", f"the minor axis was given as '2 90mm'; a number with its unit is needed; {LENGTH}."),
        (
            "1,500mm",
            ("the minor axis was given as '1,500', where the comma could stand for thousands or for decimals; one meaning is needed; "
            "write the decimals after a point and thousands without a sign."),
        ),
        ("9" * 60 + "mm", f"the minor axis was given as '{'9' * 40}...'; a number with its unit is needed; {LENGTH}."),
        ("1e3mm", f"the minor axis was given as '1e3mm'; a number with its unit is needed; {LENGTH}."),
        ("__import__('os')", f"the minor axis was given as '__import__('os')'; a number with its unit is needed; {LENGTH}."),
    ],
)  # fmt: skip
def test_what_can_not_be_a_length_is_refused_in_one_sentence(text, message):
    """The whole message says what was typed, what is needed and how to write it."""
    with pytest.raises(BadInput) as refused:
        parse_length_mm(text, what="the minor axis")
    assert str(refused.value) == message


@given(value=st.floats(0.001, 9999.0), unit=st.sampled_from(sorted(MM_PER_UNIT)), space=st.sampled_from(["", " "]))
def test_any_number_with_any_unit_is_read_to_its_last_figure(value, unit, space):
    """A decimal number with a unit reads as that number times the unit."""
    text = f"{value:.6f}"
    assert parse_length_mm(text + space + unit, what="x") == pytest.approx(float(text) * MM_PER_UNIT[unit], rel=1e-12)


@given(whole=st.integers(0, 200), top=st.integers(1, 63), bottom=st.integers(1, 64))
def test_fractions_of_an_inch(whole, top, bottom):
    """Whole inches and a fraction add up."""
    assert parse_length_mm(f"{whole} {top}/{bottom} in", what="x") == pytest.approx(25.4 * (whole + top / bottom), rel=1e-12)


@given(text=st.text(max_size=60))
def test_no_text_whatever_breaks_the_reader(text):
    """Any text either gives a positive finite length or is refused as bad input, with no other error."""
    value = None
    with contextlib.suppress(BadInput):
        value = parse_length_mm(text, what="x")
    assert value is None or 0 < value < float("inf")


@pytest.mark.parametrize(("text", "nm"), [("632.8nm", 632.8), ("0.6328um", 632.8), ("0.000546074 mm", 546.074)])
def test_wavelengths(text, nm):
    """A wavelength may come in any length unit."""
    assert parse_wavelength_nm(text) == pytest.approx(nm, rel=1e-12)


@pytest.mark.parametrize("text", ["632.8", "632.8mm", "349nm", "1101nm", "green"])
def test_what_can_not_be_light_is_refused(text):
    """A bare number, a length no camera sees or a word is no wavelength."""
    with pytest.raises(BadInput):
        parse_wavelength_nm(text)


def test_light_outside_what_cameras_see_is_refused_in_one_sentence():
    """The message names the range."""
    with pytest.raises(BadInput) as refused:
        parse_wavelength_nm("10.6um", what="the light")
    assert str(refused.value) == "the light was given as '10.6um'; light between 350 nm and 1100 nm is needed; write it like 632.8nm."


@pytest.mark.parametrize(
    ("text", "nm"), [("632.8nm", 0.05), ("632.80 nm", 0.005), ("633nm", 0.5), ("0.6328um", 0.05), ("632,8nm", 0.05), ("6.328e+02nm", 0.05)]
)
def test_half_of_the_last_figure(text, nm):
    """A number as typed is known to half a unit of its last figure."""
    assert half_last_figure_nm(text) == pytest.approx(nm, rel=1e-9)


@pytest.mark.parametrize(("text", "seconds"), [("4min", 240.0), ("90s", 90.0), ("1.5h", 5400.0), ("0s", 0.0)])
def test_durations(text, seconds):
    """Minutes, seconds and hours; none at all is a duration."""
    assert parse_duration_s(text, what="the time") == pytest.approx(seconds, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "4",
            f"the time was given as '4' without a unit; one of {', '.join(sorted(SECONDS_PER_UNIT))} is needed; write it like 4min or 90s.",
        ),
        ("-4min", "the time was given as '-4min'; a time of zero or more is needed; write it like 4min or 90s."),
    ],
)
def test_what_can_not_be_a_duration_is_refused(text, message):
    """The whole message says what was typed and how to write it."""
    with pytest.raises(BadInput) as refused:
        parse_duration_s(text, what="the time")
    assert str(refused.value) == message
