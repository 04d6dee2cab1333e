"""Faults: killed at any step, full and read-only disks, a clock set back, two benches, folders of old programs: the folder stays whole, the person gets a sentence."""

import errno
import os
import shutil
import sqlite3
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from fuzzing import faults, steps
from straightband.errors import BadInput, RecordUnreadable
from straightband.shop import folder as shop_folder
from straightband.shop import jobs
from straightband.shop.copying import check_shop, copy_shop
from straightband.shop.database import NAME, migrations
from straightband.shop.entries import Lamp, Ordered, Photograph, PieceEntry, Run
from straightband.shop.folder import open_shop
from straightband.shop.holding import PLACE, hold
from straightband.web.worker import LEFT, Worker
from straightband.workflows.shop_jobs import ask_recompute
from straightband.workflows.shop_orders import enter_piece
from straightband.workflows.shop_readings import enter_photograph
from straightband.workflows.shop_work import start_timer, stop_timer

ROOT = Path(__file__).resolve().parents[2]
OLD = sorted((ROOT / "tests" / "truth" / "shops").glob("schema-*"))
NOW = "2026-03-03T09:41:07Z"


@pytest.fixture
def shop(tmp_path):
    return open_shop(tmp_path / "shop", make=True)


def test_killed_at_each_step(tmp_path):
    """A process that dies at any statement or file of an upload, an order or a migration leaves a whole folder, in which the work can be done again."""
    command = [sys.executable, "-m", "fuzzing.steps", str(tmp_path), "upload", "order", "migrate"]
    surroundings = {**os.environ, "PYTHONPATH": str(ROOT)}
    told = subprocess.run(command, capture_output=True, text=True, check=False, env=surroundings, cwd=tmp_path)
    assert told.returncode == 0, told.stdout + told.stderr
    deaths = [int(line.split()[1]) for line in told.stdout.splitlines() if line.endswith("deaths, 0 faults")]
    assert len(deaths) == 3
    assert min(deaths) >= 8


def test_what_was_acknowledged_and_is_gone_is_found(shop):
    """The check of the campaigns can fail: it names an order, a photograph and a gauging that were told and are not there."""
    told = faults.Acknowledged(photographs={"0" * 64}, orders={"A"}, gaugings=2)
    assert len(faults.missing(shop.folder, told)) == 4  # the photograph is neither in the record nor in the archive


@pytest.mark.parametrize("old", OLD, ids=lambda path: path.name)
def test_a_folder_of_every_schema_opens(old, tmp_path):
    """A folder as a program of that schema left it is brought up to date: each entry is there, the seals fit, a copy as it was lies beside it."""
    shutil.copytree(old, tmp_path / "shop")
    shop = open_shop(tmp_path / "shop")
    assert check_shop(shop).faults == ()
    with shop.record() as record:
        assert record.get(Ordered, 1).name == "old order"
        assert record.get(PieceEntry, 1).told["glass"] == "borosilicate"
        assert record.listing(Lamp)[0].light == "sodium"
        assert shop.photos.read(record.get(Photograph, 1).sha256) == b"no photograph, but the bytes of one"
    newest = migrations()[-1][0]
    assert (tmp_path / "shop" / f"shop-before-schema-{newest}.db").exists() == (old.name != f"schema-{newest:04d}")
    enter_piece(shop, {"name": "new piece", "minor": "50mm"}, now=NOW)
    assert copy_shop(shop, tmp_path / "copy").faults == ()


def test_every_schema_but_the_newest_has_its_folder():
    """A schema that another one follows was released; `python -m fuzzing.old_shops tests/truth/shops` keeps a folder of each."""
    kept = {int(path.name.removeprefix("schema-")) for path in OLD}
    assert {number for number, _ in migrations()[:-1]} <= kept


def test_what_a_death_left_unfinished_is_no_file(shop, tmp_path):
    """A photograph of which half was written when the power went does no harm to check and copy, and is kept whole when it is sent again."""
    enter_piece(shop, {"name": "a", "minor": "50mm"}, now=NOW)
    enter_photograph(shop, 1, name="a.jpg", data=b"abc", now=NOW)
    place = shop.photos.place("ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad")
    (place.parent / ".unfinished.0011223344556677").write_bytes(b"ab")
    assert check_shop(shop).faults == ()
    assert copy_shop(shop, tmp_path / "copy").files == 1


def enter_many(shop):
    for number in range(500):
        enter_piece(shop, {"name": f"piece {number}", "minor": "50mm"}, now=NOW)


def full(monkeypatch):
    """From now on the record may not grow by a page: SQLite's own answer is the same as on a full disk."""
    connect = shop_folder.connect

    def bounded(path):
        connection = connect(path)
        connection.execute(f"PRAGMA max_page_count = {connection.execute('PRAGMA page_count').fetchone()[0]}")
        return connection

    monkeypatch.setattr(shop_folder, "connect", bounded)


def test_a_full_disk_is_told_and_harms_nothing(shop, monkeypatch):
    """Entries are refused in a sentence that says why, what was entered stays, and with room again it goes on."""
    with monkeypatch.context() as patch:
        full(patch)
        with pytest.raises(
            RecordUnreadable,
            match=r"^the record can't be read or written at the moment \(database or disk is full\); room on the disk is needed; ",
        ):
            enter_many(shop)
    assert check_shop(shop).faults == ()
    with shop.record() as record:
        entered = record.count(PieceEntry)
    enter_piece(shop, {"name": f"piece {entered}", "minor": "50mm"}, now=NOW)  # the one that was refused
    assert check_shop(shop).faults == ()


def test_a_photograph_on_a_full_disk_is_not_entered(shop, monkeypatch):
    """Where there is no room for the file there is no entry either, and nothing half written stays."""
    enter_piece(shop, {"name": "a", "minor": "50mm"}, now=NOW)
    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", lambda _: (_ for _ in ()).throw(OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))))
        with pytest.raises(BadInput, match="No space left on device"):
            enter_photograph(shop, 1, name="a.jpg", data=b"abc", now=NOW)
    with shop.record() as record:
        assert record.count(Photograph) == 0
    assert [path for path in shop.photos.folder.rglob("*") if path.is_file()] == []


def test_a_record_that_may_only_be_read_is_told(shop, monkeypatch):
    """A form on a record that has become read-only is refused in a sentence, and looking at it still works."""
    connect = shop_folder.connect

    def read_only(path):
        connection = connect(path)
        connection.execute("PRAGMA query_only = ON")
        return connection

    monkeypatch.setattr(shop_folder, "connect", read_only)
    with pytest.raises(RecordUnreadable, match="attempt to write a readonly database"):
        enter_piece(shop, {"name": "a", "minor": "50mm"}, now=NOW)
    with shop.record() as record:
        assert record.count(PieceEntry) == 0


def test_a_folder_that_can_not_be_written_to_opens_no_bench(shop):
    """Before anything is begun, the folder is tried; the sentence names it."""
    (shop.folder / PLACE).unlink(missing_ok=True)
    (shop.folder / PLACE).mkdir()
    with pytest.raises(BadInput, match=f"^nothing can be written in the folder '{shop.folder}'"):
        open_shop(shop.folder, make=True)
    assert open_shop(shop.folder) == shop


def test_a_fault_of_our_own_is_no_disk(shop):
    """A statement that is wrong is not passed off as a fault of the disk."""
    with pytest.raises(sqlite3.OperationalError, match="syntax error"), shop.record() as record:
        record.connection.execute("SELECT * FROM nothing")


def test_a_record_that_another_program_holds_is_told(shop, monkeypatch):
    """Who waits in vain for another that writes is told so."""
    monkeypatch.setattr("straightband.shop.database.WAIT_S", 0.05)
    holder = sqlite3.connect(shop.folder / NAME, isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    with pytest.raises(RecordUnreadable, match="a moment in which no other program holds it is needed"):
        enter_piece(shop, {"name": "a", "minor": "50mm"}, now=NOW)
    holder.execute("ROLLBACK")
    holder.close()


def test_a_clock_set_back_turns_nothing_round(shop):
    """A run that ended before it began lasted no time, and the newest entry is the one that was entered last, whatever its date."""
    enter_piece(shop, {"name": "a", "minor": "50mm"}, now=NOW)
    timer = start_timer(shop, 1, texts={"work": "grinding", "minutes": "10min"}, now=NOW)
    run = stop_timer(shop, timer, texts={}, now="2025-03-03T09:41:07Z")
    enter_piece(shop, {"name": "b", "minor": "50mm"}, now="2024-01-01T00:00:00Z")
    with shop.record() as record:
        assert record.get(Run, run).minutes == 0.0
        assert record.listing(PieceEntry, newest_first=True, limit=1)[0].name == "b"
    assert check_shop(shop).faults == ()


def test_a_second_bench_leaves_the_work_of_the_first_alone(shop):
    """Two benches on one folder: a job in hand goes on, and only when the first has ended the second ends what was left, and works."""
    first, second = Worker(shop=shop), Worker(shop=shop)
    first.start()
    job = ask_recompute(shop, 1, now=NOW)
    with shop.record() as record:
        jobs.take_next(record)
    second.start()
    with shop.record() as record:
        assert jobs.job_of(record, job).state == "running"
    assert second.pid == 0
    assert hold(shop.folder) is None
    first.close()
    end = time.monotonic() + 60.0
    while second.pid == 0 and time.monotonic() < end:
        time.sleep(0.02)
    with shop.record() as record:
        assert jobs.job_of(record, job).sentence == LEFT
    second.close()
    held = hold(shop.folder)
    assert held is not None
    held.close()


def test_copies_made_while_entries_come_in_are_whole(shop, tmp_path):
    """Three copies during a stream of uploads: each checks clean and holds every photograph that was acknowledged before it was begun."""
    enter_piece(shop, {"name": "a", "minor": "50mm"}, now=NOW)
    told, until = [], threading.Event()

    def send():
        while not until.is_set():
            told.append(enter_photograph(shop, 1, name="a.jpg", data=f"photograph {len(told)}".encode(), now=NOW))

    sender = threading.Thread(target=send)
    sender.start()
    for number in range(3):
        before = len(told)
        assert copy_shop(shop, tmp_path / f"copy-{number}").faults == ()
        with open_shop(tmp_path / f"copy-{number}").record() as record:
            assert record.count(Photograph) >= before
    until.set()
    sender.join()


def test_steps_touch_what_is_written(tmp_path):
    """A step is a file opened for writing, not one that is read."""
    assert steps._touches("open", (str(tmp_path), "w", os.O_WRONLY))
    assert not steps._touches("open", (str(tmp_path), "r", os.O_RDONLY))
