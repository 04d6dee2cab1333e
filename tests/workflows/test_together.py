"""Stacks and films go all the way: read for the record, certified by the same piece file in the shop and on the command line.

Truth: rendered frames of the golden face whose gap drifts by a few nm from one to the next.
"""

import hashlib
import io
import json
from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from straightband import provenance
from straightband.cli import main
from straightband.errors import BadInput
from straightband.shop.entries import CertificateEntry, ReadingEntry
from straightband.synthetic.golden import golden_scene
from straightband.synthetic.render import render
from straightband.workflows.certify import MOST_LISTED, _sources_listed
from straightband.workflows.piece import piece_from_toml
from straightband.workflows.shop_certificates import certify_for_the_record, piece_file_of
from straightband.workflows.shop_folder import open_shop
from straightband.workflows.shop_orders import enter_order, enter_piece
from straightband.workflows.shop_readings import enter_photograph, read_for_the_record, task_from_texts
from straightband.workflows.together import first_shown

NOW = "2026-03-03T09:41:07Z"
ORDER = {"name": "G-1", "aperture": "300mm", "focal_length": "1500mm", "intercept": "300mm", "full_field": "10mm"}
SETTINGS = {"light": "mercury-green", "mark": "3", "thicker": "2.5"}
PIECE = b'name = "G-1"\nminor = "90mm"\nlight = "sodium"\nphotographs = ["a.jpg"]\n[telescope]\naperture = "300mm"\nfocal_ratio = 5\nintercept = "300mm"\n'


@pytest.fixture(scope="module")
def frames():
    """Three frames as JPEG."""
    scene = golden_scene(width_px=800, height_px=600)
    return [render(replace(scene, gap_nm=scene.gap_nm + 20.0 * k), rng=np.random.default_rng(k)).encode("jpeg") for k in range(3)]


@pytest.fixture
def shop(tmp_path):
    """A shop with an order and its piece."""
    shop = open_shop(tmp_path / "shop", make=True)
    enter_piece(shop, {"name": "G-1", "minor": "90mm"}, now=NOW, order_id=enter_order(shop, ORDER, now=NOW))
    return shop


def film_of(frames, path):
    """A film of frames, each compressed by itself."""
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter_fourcc(*"MJPG"), 10, (800, 600))
    for data in frames:
        writer.write(cv2.cvtColor(np.asarray(Image.open(io.BytesIO(data)).convert("RGB")), cv2.COLOR_RGB2BGR))
    writer.release()
    return path.read_bytes()


def words(pdf):
    (page,) = PdfReader(io.BytesIO(pdf)).pages
    return " ".join(page.extract_text().replace("\u200b", "").replace("\u00a0", " ").split())


def read_in(shop, files, **texts):
    """Files of the piece entered and read; the reading."""
    numbers = tuple(enter_photograph(shop, 1, name=name, data=data, now=NOW) for name, data in files)
    number = read_for_the_record(shop, task_from_texts(shop, numbers, texts=SETTINGS | texts), now=NOW)
    with shop.record() as record:
        return record.get(ReadingEntry, number)


def test_a_stack_is_certified(shop, frames):
    """Three frames that a telephone all called the same: the paper says how many were averaged, shows the first, and names each by its hash."""
    reading = read_in(shop, [("image.jpg", data) for data in frames], together="stack")
    number = certify_for_the_record(shop, reading.id, now=NOW)  # which reads them all anew, and refuses where a number came out otherwise
    with shop.record() as record:
        paper = record.get(CertificateEntry, number)
    text = words(shop.papers.read(paper.pdf_sha256))
    assert "mean of 3 of 3 frames." in text
    assert "The first of 3 frames, with the outline and the dark bands as read" in text
    assert [each["sha256"] for each in paper.found["sha256"]] == [hashlib.sha256(data).hexdigest() for data in frames]
    assert len({each["name"] for each in paper.found["sha256"]}) == 3
    assert all(each["sha256"] in text for each in paper.found["sha256"])
    assert 'together = "stack"' in paper.told["piece_file"]


def test_a_film_is_certified_on_the_command_line(shop, frames, tmp_path, capsys):
    """`certify` of the piece file that the record gives reads the film to the record's numbers; the paper rests on it and shows its first frame."""
    film = film_of(frames, tmp_path / "bands.avi")
    reading = read_in(shop, [("bands.avi", film)])
    assert reading.found["frames"] == {"read": 3, "averaged": 3}
    (tmp_path / "piece.toml").write_text(piece_file_of(shop, reading.id, day="3 March 2026"), encoding="utf-8")
    assert main(["certify", str(tmp_path / "piece.toml"), "--out", str(tmp_path / "cert.pdf"), "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["sha256"] == [{"name": "bands.avi", "sha256": hashlib.sha256(film).hexdigest()}]
    assert answer["surface"] == reading.found["surface"]
    assert answer["uncertainty"] == reading.found["uncertainty"]
    assert "mean of 3 of 3 frames of a film" in words((tmp_path / "cert.pdf").read_bytes())
    assert first_shown("bands.avi", film)[0] == "bands-0001.tiff"


def test_many_photographs_stand_on_the_page_by_one_hash():
    """Up to eight are listed; of more the page holds the hash of the list of their hashes, a line for each."""
    sources = tuple(provenance.source_of(f"{k}.jpg", bytes([k])) for k in range(MOST_LISTED + 1))
    assert _sources_listed(sources[:-1]) == sources[:-1]
    (one,) = _sources_listed(sources)
    listed = "".join(hashlib.sha256(bytes([k])).hexdigest() + "\n" for k in range(MOST_LISTED + 1))
    assert one.sha256 == hashlib.sha256(listed.encode()).hexdigest()
    assert one.name == "9 files, 0.jpg to 8.jpg: hash of the list of their hashes, a line for each"


def test_the_piece_file_says_whether_it_is_a_stack():
    """`together` is "stack" or left out; a stack may name more photographs than a solution."""
    assert not piece_from_toml(PIECE, name="p.toml").stacked
    many = b"photographs = [" + b", ".join(b'"%d.jpg"' % k for k in range(30)) + b"]"
    stacked = PIECE.replace(b'photographs = ["a.jpg"]', many + b'\ntogether = "stack"')
    assert piece_from_toml(stacked, name="p.toml").stacked
    with pytest.raises(BadInput) as refused:
        piece_from_toml(stacked.replace(b'"stack"', b'"film"'), name="p.toml")
    assert str(refused.value) == (
        "'together' in the piece file 'p.toml' is 'film'; only 'stack' is known, for frames with nothing touched between them; "
        "correct it, or take it out for photographs with the wedge turned between them."
    )
    with pytest.raises(BadInput) as refused:
        piece_from_toml(stacked.replace(b'\ntogether = "stack"', b""), name="p.toml")
    assert str(refused.value).startswith("'photographs' in the piece file 'p.toml' names 30 files; 1 to 20 are needed")
