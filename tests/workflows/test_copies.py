"""A file that is given twice is no repeat."""

from concurrent.futures import ThreadPoolExecutor
from types import SimpleNamespace

import pytest

from straightband.errors import BadInput
from straightband.face.shapes import ellipse
from straightband.workflows import stack
from straightband.workflows.clear import GridSetup, look_at_back
from straightband.workflows.copies import without_copies
from straightband.workflows.setup import setup_from_text
from straightband.workflows.several import read_photos
from straightband.workflows.threeflat_text import request_from_text

SETUP = setup_from_text(minor="90mm", light="632.8nm")
ONE = b"nothing has looked at this yet"
COPIES = [("a.jpg", ONE), ("b.jpg", ONE)]


def test_what_differs_passes_in_its_order():
    """Two files of one name that differ by a byte are two."""
    files = [("a.jpg", ONE), ("a.jpg", ONE + b"."), ("c.jpg", b"")]
    assert list(without_copies(files)) == files


def test_a_file_named_twice_is_said_to_be():
    """Without a second name there is one to tell."""
    with pytest.raises(BadInput) as refused:
        list(without_copies([("a.jpg", ONE), ("a.jpg", ONE)]))
    assert str(refused.value) == "the photograph 'a.jpg' is given twice; each must add something new; take the second out."


@pytest.mark.parametrize(
    "take",
    [
        lambda files: read_photos(files, setup=SETUP),
        lambda files: look_at_back(files, minutes=(0.0, 20.0), setup=GridSetup(face=ellipse(minor_mm=90.0))),
        lambda files: request_from_text(files, told=[]),
    ],
)
def test_a_copy_is_refused_before_anything_is_read(take):
    """Photographs of bands, of a grid, and maps of pairs: both names are told."""
    with pytest.raises(BadInput, match=r"^'a\.jpg' and 'b\.jpg' are the same (photograph|map); each must add something new; "):
        take(COPIES)


@pytest.mark.parametrize(("film", "refused"), [(None, True), (SimpleNamespace(name="a.mp4", sha256="0"), False)])
def test_a_folder_with_a_copy_is_refused_and_a_film_may_stand_still(monkeypatch, film, refused):
    """Files of a folder must differ; where nothing moves, a film gives the same frame again."""
    monkeypatch.setattr(stack, "read_photo", lambda *_, **__: SimpleNamespace(flat=SimpleNamespace(clear_margin=0.03), flags=()))
    monkeypatch.setattr(stack, "_kept", lambda *_, **__: SimpleNamespace(refused=""))
    monkeypatch.setattr(stack, "read_frame", lambda _: SimpleNamespace(refused=""))
    monkeypatch.setattr(stack, "mean_of_frames", lambda *_, **__: "read")
    frames = [*COPIES, ("c.jpg", ONE + b".")]

    def read():
        with ThreadPoolExecutor(1) as executor:
            return stack.read_stack(frames, setup=SETUP, reference=None, executor=executor, workers=1, tell=lambda _: None, film=film)

    if refused:
        with pytest.raises(BadInput, match="are the same photograph"):
            read()
    else:
        assert read() == "read"
