"""Bad input: what the fuzzing once broke stays mended, and a small part of it runs every time, the same each time."""

import io
import sys
from pathlib import Path

import numpy as np
import pytest
from numpy.lib import format as npy

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from fuzzing import films, one, read, run, seeds
from fuzzing.seeds import npzs
from fuzzing.targets import TARGETS
from straightband.cli.frames import cores_from_text
from straightband.errors import BadInput, PhotoUnreadable, RecordUnreadable
from straightband.heightmap.archive import member, member_names, zipped
from straightband.heightmap.figures import without_tilt
from straightband.heightmap.formats import read_map
from straightband.photo import load
from straightband.workflows.films import frames_of
from straightband.workflows.order_prices import prices_from_toml

ROOT = Path(__file__).resolve().parents[2]
INPUTS = 60  # of each target; a campaign has a hundred times as many


@pytest.mark.parametrize("name", [name for name in TARGETS if name != "film"])  # a process for each input
def test_a_small_part_of_the_fuzzing(name, capfd):
    """Whole files and sixty changed ones of every kind are answered or refused in a sentence, and no decoder says anything beside it."""
    assert one.by_chance(name, count=INPUTS, seed=7).startswith(f"done {INPUTS}")
    assert capfd.readouterr() == ("", "")


def test_memory_of_the_tests_is_none_of_the_films(monkeypatch):
    """What the process held before it forked is not counted against a film, and what the film took is."""
    film, held = seeds.films()[0], np.ones(60 << 17)  # 60 MiB
    monkeypatch.setattr(films, "MOST_MEMORY_KB", 40 << 10)
    films.feed(film)
    monkeypatch.setattr(films, "MOST_MEMORY_KB", 1)
    with pytest.raises(AssertionError, match="memory"):
        films.feed(film)
    assert held.all()


def test_every_target_has_its_share_of_a_campaign():
    """A full campaign has 100,000 inputs and more."""
    assert set(run.NAMES) == {*TARGETS, "routes", "read"}
    assert sum(run.SHARES.values()) >= 100.0


def test_what_writes_a_file_is_caught(tmp_path):
    """The watch of a campaign sees a file left in the folder it ran in, and a fault in a target: it can fail."""
    with pytest.raises(AssertionError, match="open of "):
        one.check_event("open", (str(tmp_path / "x"), "w", 0o101), allowed=lambda _: False)
    one.check_event("open", (str(tmp_path / "x"), "r", 0), allowed=lambda _: False)


def test_a_film_that_ends_its_reader_is_refused():
    """A damaged film over which the library that opens films falls is a sentence, and this process goes on."""
    data = (ROOT / "tests" / "truth" / "found" / "film-that-ended-its-reader.avi").read_bytes()
    with pytest.raises(PhotoUnreadable) as refusal:
        list(frames_of(data, name="film.avi"))
    assert str(refusal.value) == (
        "film.avi is damaged, or larger than can be decoded; a whole film as the telephone stored it is needed; copy it again, or give single photographs."
    )


def test_a_try_that_trusts_nothing_is_no_explanation(monkeypatch):
    """A damaged photograph for which one of the tries sets the whole face aside is read by the others, or refused in a sentence."""
    monkeypatch.setattr(load, "FEWEST_MEGAPIXELS", 0.0)
    data = (ROOT / "tests" / "truth" / "found" / "bands-of-which-one-try-trusts-nothing.jpg").read_bytes()
    read.feed(data)


def test_a_whole_film_gives_its_frames(tmp_path):
    """Three frames in, three out in their order, with names that count; one that is no film is refused by the reader's own sentence."""
    import cv2

    writer = cv2.VideoWriter(str(tmp_path / "f.avi"), cv2.VideoWriter_fourcc(*"MJPG"), 10.0, (64, 64))
    for level in (40, 120, 200):
        writer.write(np.full((64, 64, 3), level, dtype=np.uint8))
    writer.release()
    frames = list(frames_of((tmp_path / "f.avi").read_bytes(), name="f.avi"))
    assert [name for name, _ in frames] == ["f-0001.tiff", "f-0002.tiff", "f-0003.tiff"]
    levels = [cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_GRAYSCALE).mean() for _, data in frames]
    assert levels == pytest.approx([40.0, 120.0, 200.0], abs=3.0)  # JPEG
    with pytest.raises(PhotoUnreadable, match=r"^x\.mp4 is no film that can be read; "):
        list(frames_of(b"no film", name="x.mp4"))


def test_an_array_whose_head_is_not_closed_is_refused():
    """A header that opens a bracket and never closes it made numpy's tokenizer raise what nobody caught."""
    whole = npzs()[0]
    parts = {name: member(whole, name, most_bytes=10**6, name="") for name in member_names(whole, name="")}
    head = io.BytesIO()
    head.write(npy.magic(1, 0) + (64).to_bytes(2, "little") + b"{'descr': '<f8', 'fortran_order': False, 'shape': (9, 9".ljust(63) + b"\n")
    with pytest.raises(RecordUnreadable, match=r"'heights_nm' in 'a\.npz' is not an array"):
        read_map(zipped(parts | {"heights_nm.npy": head.getvalue()}), "a.npz")


def test_a_price_of_five_thousand_digits_is_refused():
    """A whole number that Python declines to convert is no TOML, in a sentence."""
    with pytest.raises(BadInput, match=r"the price file 'p.toml' is not TOML \(Exceeds the limit"):
        prices_from_toml(b"per_hour = " + b"9" * 5000, name="p.toml")


@pytest.mark.parametrize("text", ["²", "9" * 5000, "٣x", ""])
def test_digits_that_are_no_number_are_refused(text):
    """Superscripts count as digits to Python and can't be converted."""
    with pytest.raises(BadInput, match="the number of cores was given as"):
        cores_from_text(text)


def test_a_sentence_is_one_line_that_can_be_read():
    """What was typed stands in a refusal without signs that a terminal obeys, and cut where it is endless."""
    refusal = BadInput(found="the name was 'a\x1b[2J\nb" + "x" * 5000, needed="n", remedy="r")
    assert str(refusal).isprintable()
    assert str(refusal).startswith("the name was 'a [2J bxxx")
    assert len(str(refusal)) < 520


def test_heights_on_one_line_have_no_tilt():
    """Three heights in one row have no tilt to take off: refused in a sentence, where the equations have no solution."""
    lines = [b'# about {"face":{"shape":"round","semi_u_mm":3,"semi_v_mm":3}}', b"u_mm,v_mm,height_nm,uncertainty_nm"]
    lines += [f"{u},{v},{1.0 if v == 0 else 'nan'},1".encode() for u in (-1, 0, 1) for v in (-1, 0, 1)]
    with pytest.raises(
        RecordUnreadable, match=r"^the map has too few heights, or all of them on one line; heights that span its face are needed; "
    ):
        without_tilt(read_map(b"\n".join(lines), "a.csv"))
