"""From what is typed about a back to what looking at it needs."""

import pytest

from straightband.errors import BadInput
from straightband.workflows.clear_text import grid_setup_from_text, past_backs_from_toml, polished_from_text, spells_from_text


def test_minutes_add_up():
    """Each spell counts from the photograph before it."""
    assert spells_from_text("a", ["20min", "b", "300s", "c"]) == (("a", "b", "c"), (0.0, 20.0, 25.0))
    assert spells_from_text("a", []) == (("a",), (0.0,))


def test_glass_tells_its_index():
    """A named glass brings its index with little doubt; unnamed glass is taken as 1.5 with more."""
    named, unnamed = grid_setup_from_text(minor="90mm", glass="borosilicate"), grid_setup_from_text(minor="90mm")
    assert (named.index, unnamed.index) == (1.473, 1.5)
    assert named.index_doubt < unnamed.index_doubt


def test_past_backs_are_read():
    """Each [[back]] is a size and the minutes it took."""
    (back,) = past_backs_from_toml(b'[[back]]\nminor = "60mm"\nminutes = 32\n', name="past.toml")
    assert (back.semi_mm, back.minutes) == (30.0, 32.0)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: spells_from_text("a", ["20min"]),
            "--after was followed by 1 words; minutes of polishing and then the photograph taken after them",
        ),
        (
            lambda: spells_from_text("a", ["0min", "b"]),
            "the time between two photographs was given as '0min'; more than none and up to a day",
        ),
        (lambda: spells_from_text("a", ["b", "20min"]), "the time between two photographs was given as 'b'"),
        (lambda: spells_from_text("a", ["1min", "b"] * 20), "21 photographs were given; at most 20 can be taken; leave the earliest out."),
        (
            lambda: polished_from_text("25h"),
            "the time polished before the first photograph was given as '25h'; more than none and up to a day",
        ),
        (lambda: past_backs_from_toml(b"back = 3", name="p"), "the file of past backs 'p' holds something else than"),
        (lambda: past_backs_from_toml(b"[[back]]\nminor='60mm'\n", name="p"), "a [[back]] in the file of past backs 'p' has other entries"),
        (lambda: past_backs_from_toml(b"[[back]]\nminor='60mm'\nminutes=-2", name="p"), "took -2 minutes"),
        (lambda: past_backs_from_toml(b"\xff", name="p"), "the file of past backs 'p' is not TOML (it is not plain text in UTF-8)"),
        (lambda: past_backs_from_toml(b"#" * 100_001, name="p"), "has 100001 bytes"),
        (lambda: grid_setup_from_text(minor="90mm", mark="14"), "the mark was given as '14'"),
    ],
)
def test_what_cannot_be_used_is_one_sentence(call, message):
    """Each refusal says what was found."""
    with pytest.raises(BadInput) as refusal:
        call()
    assert message in str(refusal.value)
