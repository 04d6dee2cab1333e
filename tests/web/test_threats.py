"""The threat model: each line of docs/threats.md names a test that is there, and those that have no other place stand here."""

import ast
import io
import re
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from starlette.testclient import TestClient

from straightband.photo.load import load_photo
from straightband.shop.entries import Photograph
from straightband.web.app import bench_app
from straightband.web.desk import Desk
from straightband.web.pairing import Pairing
from straightband.workflows.shop_readings import enter_photograph

ROOT = Path(__file__).resolve().parents[2]
LINES = re.findall(
    r"^\| (?!what could|-)(.+?) \| (.+?) \| (\S+)::(\w+) \|$", (ROOT / "docs" / "threats.md").read_text(encoding="utf-8"), re.MULTILINE
)
LAN = "http://192.0.2.7:8462"
NOW = "2026-03-03T09:41:07Z"


def test_every_line_has_its_form():
    """No line of the table is left out by a slip of the pen."""
    table = [line for line in (ROOT / "docs" / "threats.md").read_text(encoding="utf-8").splitlines() if line.startswith("| ")]
    assert len(LINES) == len(table) - 1  # its heading


@pytest.mark.parametrize(("threat", "against", "file", "name"), LINES, ids=[line[3] for line in LINES])
def test_every_threat_names_a_test_that_is_there(threat, against, file, name):
    """The test is in the file that is named, and is a test."""
    assert threat
    assert against
    tree = ast.parse((ROOT / file).read_text(encoding="utf-8"))
    assert name in {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}


def test_every_cookie_is_kept_from_scripts_and_other_sites(shop):
    """Both cookies that there are, when they are set: that of a telephone and that of the units."""
    pairing = Pairing()
    app = bench_app(Desk(shop=shop, lan=True, now=lambda: NOW), pairing_code=pairing, addresses=(LAN,))
    telephone = TestClient(app, base_url=LAN, client=("192.0.2.50", 4711), follow_redirects=False, headers={"Origin": LAN})
    answers = [telephone.post("/pair", data={"code": pairing.offer()}), telephone.post("/units", data={"units": "in"})]
    for answer in answers:
        cookie = answer.headers["set-cookie"].lower()
        assert "httponly" in cookie
        assert "samesite=strict" in cookie


def test_what_was_typed_is_shown_and_not_run(client):
    """A name that is a script comes back as letters, on the page of the piece, in lists, and in a refused form."""
    script = "<script>alert(1)</script>"
    where = client.post("/pieces", data={"name": script, "minor": "50mm"}).headers["location"]
    refused = client.post("/pieces", data={"name": script, "minor": '"><img src=x onerror=y>'})
    assert refused.status_code == 422
    for text in (client.get(where).text, client.get("/pieces").text, client.get("/").text, refused.text):
        assert script not in text
        assert "<img src=x" not in text
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in client.get(where).text


def files_in(folder):
    return {path.relative_to(folder): path.stat().st_mtime_ns for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize(
    "name", ["../../outside.jpg", "/outside.jpg", "..\\..\\outside.jpg", "C:\\outside.jpg", "outside\0.jpg", "." * 300]
)
def test_no_name_of_a_file_reaches_the_disk(client, shop, photograph, name):
    """Whatever a photograph is called, it lies under its hash in the shop, and nothing else is written anywhere around it."""
    around = shop.folder.parent
    before = files_in(around)
    client.post("/pieces/1/photograph", data={"light": "sodium"}, files={"photograph": (name, photograph + name.encode())})
    client.post("/flats", data={"name": "a"}, files={"map": (name, b"no map")})
    new = {path for path in files_in(around) if path not in before}
    assert {path.parts[:2] for path in new if not path.name.startswith("shop.db")} <= {(shop.folder.name, "photos")}
    assert all("outside" not in str(path) for path in new)
    with shop.record() as record:
        assert all("/" not in each.name and "\\" not in each.name for each in record.listing(Photograph))


@pytest.mark.parametrize(
    "path", ["/static/../app.py", "/static/..%2f..%2fapp.py", "/static/%2e%2e/app.py", "/static//etc/passwd", "/photographs/1/../../../shop.db", "/shop.db", "/readings/1/map.db"]
)  # fmt: skip
def test_no_address_reaches_the_disk(client, path):
    """Addresses that climb lead nowhere."""
    assert client.get(path).status_code == 404


def with_position():
    exif = Image.Exif()
    exif[0x010F] = "Invented Camera"
    exif.get_ifd(0x8825).update({1: "N", 2: (51.0, 28.0, 40.12), 3: "W", 4: (0.0, 0.0, 5.31)})
    kept = io.BytesIO()
    Image.fromarray(np.random.default_rng(2).integers(0, 255, (480, 640, 3), dtype=np.uint8)).save(kept, "jpeg", exif=exif)
    return kept.getvalue()


def test_nothing_that_is_kept_or_handed_out_tells_where_it_was_taken(client, shop):
    """A photograph with a position in it: the file that is kept has none and the same picture, what is served has no EXIF at all, nor has the certificate."""
    data = with_position()
    number = enter_photograph(shop, 1, name="a.jpg", data=data, now=NOW)
    with shop.record() as record:
        kept = shop.photos.read(record.get(Photograph, number).sha256)
    found = Image.open(io.BytesIO(kept)).getexif().get_ifd(0x8825)
    assert not any(isinstance(each, tuple) and any(float(value) > 0.0 for value in each) for each in found.values())
    assert np.array_equal(load_photo(kept, name="a").levels, load_photo(data, name="a").levels)
    served = client.get("/photographs/1/picture.jpg").content
    assert dict(Image.open(io.BytesIO(served)).getexif()) == {}
    for path in ("/certificates/1/certificate.pdf", "/readings/1/map.png", "/readings/1/map.npz", "/certificates/1/piece.toml"):
        handed_out = client.get(path).content
        for mark in (b"Exif\0", b"Invented Camera", b"exif:GPS"):  # the header, the camera's name in it, and a position in XMP
            assert mark not in handed_out


def test_the_page_of_the_code_says_that_others_can_listen_in(shop):
    """Where a telephone is paired it is said that nothing is encrypted."""
    app = bench_app(Desk(shop=shop, lan=True, now=lambda: NOW), pairing_code=Pairing(), addresses=(LAN,))
    computer = TestClient(app, base_url="http://127.0.0.1:8462", client=("127.0.0.1", 4711))
    assert "Anyone who can listen in on this network sees what is sent." in computer.get("/telephones/code").text
