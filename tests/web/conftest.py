"""A shop with one order, one piece, one photograph of the golden face read and certified; and the bench that serves it."""

import os
import shutil
import threading
import time
from contextlib import contextmanager
from datetime import date

import numpy as np
import pytest
import uvicorn
from starlette.testclient import TestClient

from straightband.combine.pairs import Pair
from straightband.face.shapes import round_face
from straightband.heightmap.map import HeightMap
from straightband.provenance import source_of
from straightband.shop.entries import FlatTest
from straightband.shop.folder import open_shop
from straightband.shop.queries import back_of
from straightband.synthetic.golden import golden_scene
from straightband.synthetic.render import render
from straightband.wear.pads import evened
from straightband.web.app import bench_app
from straightband.web.desk import Desk
from straightband.web.pairing import Pairing
from straightband.web.serve import listen
from straightband.web.worker import Worker
from straightband.workflows import shop_strokes
from straightband.workflows.batch import batch_from_toml
from straightband.workflows.maps import map_file
from straightband.workflows.plan import make_plan
from straightband.workflows.shop_backs import back_task, enter_grid_photograph, look_for_the_record
from straightband.workflows.shop_batches import enter_batch
from straightband.workflows.shop_certificates import certify_for_the_record
from straightband.workflows.shop_laps import enter_lap
from straightband.workflows.shop_orders import enter_order, enter_piece
from straightband.workflows.shop_pads import lay_for_the_record, told_of_texts
from straightband.workflows.shop_readings import enter_photograph, read_for_the_record, task_from_texts
from straightband.workflows.shop_setup import enter_abrasive, enter_lamp, enter_pad, enter_shopkeeper
from straightband.workflows.shop_strokes import strokes_for_the_record
from straightband.workflows.shop_work import enter_gauging, start_timer
from straightband.workflows.threeflat import FlatsRequest, know_flats
from straightband.workflows.threeflat_report import flats_facts

NOW = "2026-03-03T09:41:07Z"
ORDER = {"name": "G-1", "aperture": "300mm", "focal_length": "1500mm", "intercept": "300mm", "full_field": "10mm", "strehl": "0.8"}
SETTINGS = {"light": "mercury-green", "mark": "3", "thicker": "2.5"}
GAUGING = {"leg_circle": "40mm", "reading": "12.4um,12.6um,12.5um", "zero": "11.0um,11.1um", "after_abrasive": "20um"}
BATCH = b"""
[[piece]]
name = "G-2"
shape = "round"
diameter_mm = 60
thickness_mm = 12
glass = "borosilicate"
sag_um = 4

[[piece]]
name = "base plate"
shape = "round"
diameter_mm = 60
thickness_mm = 12
glass = "borosilicate"

[grinding]
abrasives_um = [5]
minutes = 2
"""
PADS = {"piece": "2", "plate": "160mm", "pads": "square", "pad_size": "30mm", "pack": "6", "pack_price": "8.50 EUR"}
HOME = "http://127.0.0.1"


@pytest.fixture(scope="session")
def photograph():
    """The golden face as photographed: 0.75 megapixels, 6.6 bands."""
    return render(golden_scene(width_px=1000, height_px=750), rng=np.random.default_rng(11)).encode("jpeg")


@pytest.fixture(scope="session")
def golden(tmp_path_factory, photograph, grid_photographs):
    """The shop, filled once; tests that write take a copy."""
    shop = open_shop(tmp_path_factory.mktemp("golden") / "shop", make=True)
    enter_shopkeeper(shop, {"name": "Hollow Lane Glass (invented)"}, now=NOW)
    enter_lamp(shop, {"name": "mercury lamp", "light": "mercury-green"}, now=NOW)
    enter_abrasive(shop, {"name": "fine", "grain": "5um"}, now=NOW)
    enter_pad(shop, {"name": "pitch", "diameter": "100mm"}, now=NOW)
    order = enter_order(shop, ORDER, now=NOW)
    enter_piece(shop, {"name": "G-1", "minor": "90mm", "glass": "borosilicate"}, now=NOW, order_id=order)
    enter_piece(shop, {"name": "G-2", "minor": "90mm"}, now=NOW, order_id=order)
    enter_gauging(shop, 1, texts=GAUGING, now=NOW)
    enter_gauging(shop, 1, texts=GAUGING | {"after_abrasive": "10um"}, now=NOW)
    start_timer(shop, 2, texts={"work": "grinding", "minutes": "10min"}, now=NOW)
    number = enter_photograph(shop, 1, name="bands.jpg", data=photograph, now=NOW)
    read_for_the_record(shop, task_from_texts(shop, (number,), texts=SETTINGS), now=NOW)
    plan = make_plan(batch_from_toml(BATCH, name="batch.toml"))
    enter_batch(shop, plan, name="spring", told={"batch_file": BATCH.decode(), "pieces": [2]}, now=NOW)
    for data, polished in zip(grid_photographs, ("8min", "12min"), strict=True):
        enter_grid_photograph(shop, 2, name=f"grid-{polished}.jpg", data=data, texts={"polished": polished}, now=NOW)
    with shop.record() as record:
        back = back_of(record, 2)
    look_for_the_record(shop, back_task(shop, back.root, texts={"mark": "12"}), now=NOW)
    with rows_of_pads():
        lay_for_the_record(shop, told_of_texts(shop, PADS), now=NOW)
    enter_flat_test(shop)
    enter_lap(shop, {"name": "pitch lap", "diameter": "30mm", "ways": "still"}, now=NOW)
    strokes_for_the_record(shop, shop_strokes.told_of_texts(shop, 1, texts={"reading": "1", "mark": "3", "tolerance": "40nm"}), now=NOW)
    return shop


def pairs_of_flats():
    """Maps of three flats of known power on each other."""
    axis, face = np.linspace(-30.0, 30.0, 31), round_face(diameter_mm=60.0)
    u, v = np.meshgrid(axis, axis)
    inside, square = face.contains(u, v), (u**2 + v**2) / 900.0

    def pair(piece, other, power_nm):
        level = np.where(inside, 0.0, np.nan)
        meta = {"sign": "known", "flags": []}
        height_map = HeightMap(
            heights_nm=level + power_nm * square, u_mm=axis, v_mm=axis, uncertainty_nm=level + 4.0, face=face, clear_margin=0.03, meta=meta
        )
        return Pair(piece=piece, other=other, height_map=height_map)

    return (pair("A", "B", 30.0), pair("B", "C", 10.0), pair("C", "A", -5.0))


@pytest.fixture(scope="session")
def pair_maps():
    """The same as files."""
    return {f"{each.piece}{each.other}": map_file(each.height_map, name="pair.npz") for each in pairs_of_flats()}


def enter_flat_test(shop):
    """Three flats as the test of their pairs finds them."""
    pairs = pairs_of_flats()
    sources = tuple(source_of(f"{each.piece}{each.other}.npz", b"") for each in pairs)
    known = know_flats(FlatsRequest(pairs=pairs, sources=sources, order=2, measured=date(2026, 3, 3)))
    maps = {flat.name: shop.maps.keep(map_file(flat.height_map, name="flat.npz")) for flat in known.flats}
    with shop.record() as record:
        record.add(FlatTest(at=NOW, told={}, found=flats_facts(known) | {"maps": maps}, program="test"))


@contextmanager
def rows_of_pads():
    """Pads are only laid in rows, which is quick: how they are laid evenly is no matter of pages."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(evened, "ROUNDS", 0)
        yield


@pytest.fixture(scope="session")
def certified(golden, tmp_path_factory):
    """The same with its certificate written."""
    shop = copied(golden, tmp_path_factory.mktemp("certified") / "shop")
    certify_for_the_record(shop, 1, now=NOW)
    return shop


def copied(shop, folder):
    shutil.copytree(shop.folder, folder)
    return open_shop(folder)


@pytest.fixture
def shop(certified, tmp_path):
    """A copy of it to work in."""
    return copied(certified, tmp_path / "shop")


@pytest.fixture
def unsigned(golden, tmp_path):
    """A copy in which the certificate is still to be written."""
    return copied(golden, tmp_path / "unsigned")


@pytest.fixture
def client(shop):
    """The bench on this computer without a browser; forms come from its own pages."""
    app = bench_app(Desk(shop=shop, now=lambda: NOW), pairing_code=Pairing())
    return TestClient(app, base_url=HOME, follow_redirects=False, headers={"Origin": HOME})


@pytest.fixture
def served(unsigned):
    """The bench served with its worker; its address."""
    yield from serving(unsigned, worker=Worker(shop=unsigned))


@pytest.fixture
def idle(unsigned):
    """The bench served without a worker, so that work that is asked for waits; its address."""
    yield from serving(unsigned, worker=None)


@pytest.fixture(scope="session")
def home(certified):
    """A bench that is only looked at; its address."""
    yield from serving(certified, worker=None)


def serving(shop, *, worker):
    """Serve a shop on a free port until the test is over."""
    listening = listen(lan=False, port=0)
    app = bench_app(Desk(shop=shop), pairing_code=Pairing(), worker=worker)
    server = uvicorn.Server(uvicorn.Config(app, log_level="error", timeout_graceful_shutdown=1))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    yield f"http://127.0.0.1:{listening.getsockname()[1]}"
    server.should_exit = True
    thread.join()
    listening.close()


def chromium():
    """The browser; there must be one, since no test of a page may be left out silently."""
    named = os.environ.get("CHROMIUM")
    names = (named,) if named else ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
    path = next((found for found in map(shutil.which, names) if found), None)
    if path is None:
        pytest.fail("no Chromium was found; scripts/ensure_chromium.py installs one, or CHROMIUM names it")
    return path


@pytest.fixture(scope="session")
def browser():
    """One browser per worker."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium(), args=["--no-sandbox", "--disable-dev-shm-usage"])
        yield browser
        browser.close()
