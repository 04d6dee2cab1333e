"""Forms with files are read and entered outside the process that serves pages: it is bounded, and dies without harm."""

import asyncio
import os
import resource
import secrets
import shutil
import signal
import time
from concurrent.futures import ThreadPoolExecutor

import pytest
from starlette.testclient import TestClient

from straightband.shop.entries import Flat, Photograph
from straightband.shop.folder import open_shop
from straightband.shop.incoming import FOLDER, OLD_S, forget_old
from straightband.web import taken
from straightband.web.app import bench_app
from straightband.web.desk import Desk
from straightband.web.intake import Intake
from straightband.web.pairing import Pairing
from straightband.workflows.bounds import MOST_MEMORY_BYTES

HOME = "http://127.0.0.1"
NOW = "2026-03-03T09:41:07Z"
SETTINGS = {"light": "mercury-green"}


@pytest.fixture(scope="module")
def shop(certified, tmp_path_factory):
    """A copy of the filled shop, for all of these tests: it takes seconds to begin such a process."""
    folder = tmp_path_factory.mktemp("intake") / "shop"
    shutil.copytree(certified.folder, folder)
    return open_shop(folder)


@pytest.fixture(scope="module")
def intake(shop):
    return Intake(shop=shop)


@pytest.fixture(scope="module")
def apart(shop, intake):
    """The bench with its process for forms with files."""
    app = bench_app(Desk(shop=shop, now=lambda: NOW), pairing_code=Pairing(), intake=intake)
    with TestClient(app, base_url=HOME, follow_redirects=False, headers={"Origin": HOME}) as client:
        yield client


@pytest.fixture
def forms(photograph):
    """A form with a photograph nobody has sent before."""
    data = photograph + secrets.token_bytes(8)
    return {"data": SETTINGS, "files": {"photograph": ("bands.jpg", data)}}


def counted(shop, kind):
    with shop.record() as record:
        return record.count(kind)


def left(shop):
    return list((shop.folder / FOLDER).glob("*"))


def test_a_photograph_is_entered_by_another_process(shop, apart, intake, forms, monkeypatch):
    """It is entered though nothing in this process could, at the time of the bench's clock, within bounds of memory; no file stays where it came in."""
    monkeypatch.setattr(taken, "TAKES", {})
    before = counted(shop, Photograph)
    answer = apart.post("/pieces/2/photograph", **forms)
    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/work/")
    assert counted(shop, Photograph) == before + 1
    with shop.record() as record:
        assert record.listing(Photograph, newest_first=True, limit=1)[0].at == NOW
    assert resource.prlimit(intake.pid, resource.RLIMIT_AS) == (MOST_MEMORY_BYTES, MOST_MEMORY_BYTES)
    assert left(shop) == []


def test_a_map_is_read_by_another_process(shop, apart, monkeypatch):
    """What is no map is refused by it in one sentence, with what was typed still in the form."""
    monkeypatch.setattr(taken, "TAKES", {})
    before = counted(shop, Flat)
    answer = apart.post("/flats", data={"name": "flat nobody has"}, files={"map": ("map.csv", b"no numbers")})
    assert answer.status_code == 422
    assert "flat nobody has" in answer.text
    assert counted(shop, Flat) == before
    assert left(shop) == []


def test_something_that_is_no_form_is_refused(shop, apart):
    """Without a boundary between its parts it can't be taken apart, and is answered as a fault of whoever sent it."""
    answer = apart.post("/flats", content=b"x", headers={"content-type": "multipart/form-data"})
    assert answer.status_code == 400
    assert apart.post("/pieces/999999/photograph", data=SETTINGS, files={"photograph": ("a", b"a")}).status_code == 404
    assert left(shop) == []


def kill_while_it_takes(shop, pid):
    while not left(shop):
        time.sleep(0.01)
    time.sleep(0.5)  # until the form has been handed over
    os.kill(pid, signal.SIGKILL)


def test_a_process_that_ends_over_a_form_refuses_it(shop, apart, intake, forms):
    """Killed by the system, as for want of memory: that form is refused in a sentence, and the next one is taken."""
    os.kill(intake.pid, signal.SIGSTOP)
    with ThreadPoolExecutor(1) as thread:
        thread.submit(kill_while_it_takes, shop, intake.pid)
        answer = apart.post("/pieces/2/photograph", **forms)
    assert answer.status_code == 422
    assert "What was sent could not be taken in: whoever reads it ended over it, perhaps for want of memory" in answer.text
    assert apart.post("/pieces/2/photograph", **forms).status_code == 303
    assert left(shop) == []


def test_a_form_that_takes_too_long_is_refused(apart, intake, forms):
    """The bound on time holds from outside, and the answer that never came is not taken for that of the next form."""
    assert apart.post("/pieces/2/photograph", **forms).status_code == 303
    before = intake.pid
    os.kill(before, signal.SIGSTOP)
    intake.most_seconds = 0.2
    answer = apart.post("/pieces/2/photograph", **forms)
    assert answer.status_code == 422
    assert "What was sent could not be taken in: it took more than 0 seconds" in answer.text
    intake.most_seconds = 60.0
    assert apart.post("/pieces/2/photograph", **forms).status_code == 303
    assert intake.pid != before


def test_what_stops_coming_leaves_nothing(shop):
    """A telephone that goes away in the middle of a photograph leaves no file behind."""
    app = bench_app(Desk(shop=shop, now=lambda: NOW), pairing_code=Pairing())
    seen = []

    async def receive():
        seen.append(len(left(shop)))
        return {"type": "http.request", "body": b"x" * 3_000_000, "more_body": True} if len(seen) < 3 else {"type": "http.disconnect"}

    async def send(message):
        pass

    headers = [(b"host", b"127.0.0.1"), (b"origin", HOME.encode()), (b"content-type", b"multipart/form-data; boundary=x")]
    scope = {
        "type": "http", "method": "POST", "path": "/flats", "raw_path": b"/flats", "query_string": b"", "headers": headers,
        "client": ("127.0.0.1", 1), "server": ("127.0.0.1", 80), "scheme": "http", "root_path": "", "http_version": "1.1",
    }  # fmt: skip
    with ThreadPoolExecutor(1) as thread:  # browsers leave a loop behind in the tests' own
        thread.submit(asyncio.run, app(scope, receive, send)).result()
    assert seen == [1, 1, 1]
    assert left(shop) == []


def test_what_a_dead_bench_left_is_taken_away(tmp_path):
    """After a day, since another bench on the same folder may still be taking something in."""
    (tmp_path / FOLDER).mkdir()
    old, new = tmp_path / FOLDER / "old", tmp_path / FOLDER / "new"
    for path in (old, new):
        path.write_bytes(b"x")
    os.utime(old, (time.time() - OLD_S - 60.0,) * 2)
    forget_old(tmp_path)
    assert [path.name for path in (tmp_path / FOLDER).iterdir()] == ["new"]
