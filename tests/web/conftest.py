"""A shop with one order, one piece, one photograph of the golden face read and certified; and the bench that serves it."""

import os
import shutil
import threading
import time

import numpy as np
import pytest
import uvicorn
from starlette.testclient import TestClient

from straightband.shop.folder import open_shop
from straightband.synthetic.golden import golden_scene
from straightband.synthetic.render import render
from straightband.web.app import bench_app
from straightband.web.desk import Desk
from straightband.web.pairing import Pairing
from straightband.web.serve import listen
from straightband.web.worker import Worker
from straightband.workflows.batch import batch_from_toml
from straightband.workflows.plan import make_plan
from straightband.workflows.shop_batches import enter_batch
from straightband.workflows.shop_certificates import certify_for_the_record
from straightband.workflows.shop_orders import enter_order, enter_piece
from straightband.workflows.shop_readings import enter_photograph, read_for_the_record, task_from_texts
from straightband.workflows.shop_setup import enter_abrasive, enter_lamp, enter_pad, enter_shopkeeper
from straightband.workflows.shop_work import enter_gauging, start_timer

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
HOME = "http://127.0.0.1"


@pytest.fixture(scope="session")
def photograph():
    """The golden face as photographed: 0.75 megapixels, 6.6 bands."""
    return render(golden_scene(width_px=1000, height_px=750), rng=np.random.default_rng(11)).encode("jpeg")


@pytest.fixture(scope="session")
def golden(tmp_path_factory, photograph):
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
    return shop


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
