"""Faults: `python -m fuzzing.faults [PART ...] --kills 300 --out fuzz-out`. After each the folder is checked, and all that was acknowledged must be there.

uploads      a bench with its worker is killed (kill -9) at random moments while photographs, gaugings and orders are sent to it
readings     the same while a photograph is read and entered
migrations   a folder of the first schema is killed while it is brought up to date
full         a disk of a few MB (a tmpfs, which only root may mount) is filled by uploads, emptied again, and goes on
read-only    a folder on a disk that can't be written to is refused in a sentence
clock        the clock is set back by a year in the middle of the work
two          two benches on one folder take uploads at once, and the one that works is killed
backup       copies are made while uploads come in, each is checked, and the last is opened as a shop
"""

from __future__ import annotations

import argparse
import contextlib
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx2

from benchmarks.pages import NOW, shop_with_one
from benchmarks.tables import write_table
from straightband.errors import StraightbandError
from straightband.shop import database, jobs
from straightband.shop.archive import sha256_of
from straightband.shop.copying import check_shop, copy_shop
from straightband.shop.entries import GaugingEntry, Ordered, Photograph, ReadingEntry
from straightband.shop.folder import Shop, open_shop
from straightband.synthetic.golden import golden_scene
from straightband.synthetic.render import render
from straightband.workflows import shop_orders
from straightband.workflows.shop_orders import enter_order, enter_piece
from straightband.workflows.shop_readings import enter_photograph
from straightband.workflows.shop_setup import enter_lamp

GAUGING = {"leg_circle": "40mm", "reading": "12.4um,12.6um,12.5um", "zero": "11.0um,11.1um"}
SETTINGS = {"light": "mercury-green", "mark": "3", "thicker": "2.5"}
PATIENCE_S = 60.0


@dataclass(slots=True)
class Bench:
    """A bench in processes of its own, spoken to over the loopback.

    Attributes
    ----------
    shop
        Its folder.
    """

    shop: Path
    process: subprocess.Popen | None = None
    address: str = ""
    log: Any = field(default_factory=tempfile.TemporaryFile)

    def open(self) -> Bench:
        """Start it and wait until it answers."""
        command = [sys.executable, "-m", "straightband", "bench", "--shop", str(self.shop), "--port", str(_free_port()), "--json"]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=self.log, text=True, start_new_session=True)
        told = self.process.stdout.readline() if self.process.stdout else ""
        self.address = told.partition('"address": "')[2].partition('"')[0]
        end = time.monotonic() + PATIENCE_S
        while self.address and time.monotonic() < end:
            with contextlib.suppress(httpx2.HTTPError):
                httpx2.get(f"{self.address}/static/bench.css", timeout=5.0)
                return self
            time.sleep(0.02)
        raise AssertionError(f"the bench did not open: {self.heard()[-500:]}")

    def kill(self) -> None:
        """Kill it with all it started, as a power cut would."""
        if self.process is not None:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()
            if self.process.stdout:
                self.process.stdout.close()

    def heard(self) -> str:
        """What it said on standard error."""
        self.log.seek(0)
        return self.log.read().decode("utf-8", "replace")

    def post(self, path: str, fields: dict[str, str], *, photograph: bytes | None = None) -> httpx2.Response:
        """Send a form, as a page of the bench does."""
        files = None if photograph is None else {"photograph": ("bands.jpg", photograph)}
        return httpx2.post(f"{self.address}{path}", data=fields, files=files, headers={"Origin": self.address}, timeout=PATIENCE_S)


def _free_port() -> int:
    import socket

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@dataclass(slots=True)
class Acknowledged:
    """What a bench said it had taken.

    Attributes
    ----------
    photographs, orders
        Hashes; names.
    gaugings
        How many.
    """

    photographs: set[str] = field(default_factory=set)
    orders: set[str] = field(default_factory=set)
    gaugings: int = 0


def photograph(number: int) -> bytes:
    """The golden face once more, another file each time: what stands behind the end of a JPEG is no part of the picture."""
    return _golden() + f"\n{number}".encode()


def _golden(cache: list[bytes] = []) -> bytes:  # noqa: B006 - rendered once
    if not cache:
        import numpy as np

        cache.append(render(golden_scene(width_px=640, height_px=480), rng=np.random.default_rng(11)).encode("jpeg"))
    return cache[0]


def missing(folder: Path, told: Acknowledged) -> list[str]:
    """What is amiss in a folder: faults by its own hashes, and what was acknowledged and is not there."""
    shop = open_shop(folder)
    faults = list(check_shop(shop).faults)
    with shop.record() as record:
        there = {each.sha256 for each in record.listing(Photograph)}
        named = {each.name for each in record.listing(Ordered)}
        gaugings = record.count(GaugingEntry)
    faults += [f"photograph {each[:12]} was acknowledged and is not there" for each in told.photographs - there]
    faults += [f"order {each} was acknowledged and is not there" for each in told.orders - named]
    faults += [f"{told.gaugings} gaugings were acknowledged and {gaugings} are there"] if gaugings < told.gaugings else []
    for each in told.photographs:
        with contextlib.suppress(StraightbandError):
            if sha256_of(shop.photos.read(each)) == each:
                continue
        faults.append(f"photograph {each[:12]} can't be read back")
    return faults


def send(bench: Bench, told: Acknowledged, *, numbers: Iterator[int], until: threading.Event) -> None:
    """Send one thing after another and note what was acknowledged, until the bench is gone."""
    while not until.is_set():
        number = next(numbers)
        try:
            if number % 3 == 0:
                data = photograph(number)
                if bench.post("/pieces/1/photograph", SETTINGS, photograph=data).status_code == 303:
                    told.photographs.add(sha256_of(data))
            elif number % 3 == 1:
                told.gaugings += bench.post("/pieces/1/gauge", GAUGING).status_code == 303
            else:
                fields = {"name": f"K-{number}", "aperture": "300mm", "focal_ratio": "5", "intercept": "240mm", "full_field": "15mm"}
                if bench.post("/orders/new", fields).status_code == 303:
                    told.orders.add(f"K-{number}")
        except httpx2.HTTPError:
            return


def _wait_for_another(photographs: set[str]) -> None:
    before, end = len(photographs), time.monotonic() + PATIENCE_S
    while len(photographs) == before and time.monotonic() < end:
        time.sleep(0.01)


def kill_uploads(first: Path, *, kills: int, rng: random.Random, folder: Path) -> list[str]:
    """Kill a bench while two telephones send to it, again and again on one folder."""
    shop, told, faults = _copy(first, folder / "uploads"), Acknowledged(), []
    numbers = iter(range(10**9))
    for kill in range(kills):
        bench, until = Bench(shop).open(), threading.Event()
        senders = [threading.Thread(target=send, args=(bench, told), kwargs={"numbers": numbers, "until": until}) for _ in range(2)]
        for sender in senders:
            sender.start()
        if kill % 2:  # otherwise mostly before whoever takes photographs in has begun
            _wait_for_another(told.photographs)
        time.sleep(rng.uniform(0.0, 1.2))
        bench.kill()
        until.set()
        for sender in senders:
            sender.join()
        faults += [f"kill {kill}: {fault}" for fault in (*missing(shop, told), *_tracebacks(bench))]
    print(f"uploads: {len(told.photographs)} photographs, {len(told.orders)} orders, {told.gaugings} gaugings acknowledged", flush=True)
    return faults


def kill_readings(first: Path, *, kills: int, rng: random.Random, folder: Path) -> list[str]:
    """Kill a bench while its worker reads; the job that was going is ended by the next bench, and readings that were done stay."""
    shop, told, faults, done = _copy(first, folder / "readings"), Acknowledged(), [], set()
    for kill in range(kills):
        bench = Bench(shop).open()
        data = photograph(10**6 + kill)
        if bench.post("/pieces/1/photograph", SETTINGS, photograph=data).status_code == 303:
            told.photographs.add(sha256_of(data))
        time.sleep(rng.uniform(0.0, 5.0))
        bench.kill()
        with open_shop(shop).record() as record:
            led = {row["leads_to"] for row in record.connection.execute("SELECT leads_to FROM job WHERE state = 'done'")}
            numbers = {f"/readings/{each.id}" for each in record.listing(ReadingEntry)}
        done |= led
        faults += [f"kill {kill}: {fault}" for fault in (*missing(shop, told), *_tracebacks(bench))]
        faults += [f"kill {kill}: the reading {each} was told and is not there" for each in done - numbers]
    print(f"readings: {len(told.photographs)} photographs and {len(done)} readings acknowledged", flush=True)
    return faults


def kill_migrations(first: Path, *, kills: int, rng: random.Random, folder: Path) -> list[str]:
    """Kill a process while it brings an old folder up to date; the next one finishes that, and every entry is there."""
    del first
    old = folder / "old"
    made_old(old, schema=1)
    faults = []
    longest = _seconds_of(lambda: open_shop(_copy(old, folder / "timed")))
    for kill in range(kills):
        shop = _copy(old, folder / "migrations")
        child = os.fork()
        if child == 0:
            open_shop(shop)
            os._exit(0)
        time.sleep(rng.uniform(0.0, 1.5 * longest))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        with open_shop(shop).record() as record:
            names = [each.name for each in record.listing(Ordered)]
        faults += [f"kill {kill}: {fault}" for fault in missing(shop, Acknowledged(orders=set(names)))]
        faults += [] if names == ["old order"] else [f"kill {kill}: the orders are {names}"]
    return faults


def made_old(folder: Path, *, schema: int) -> Shop:
    """A folder as a program of that schema left it: an order, a piece, a lamp and a photograph."""
    known, prices = database.migrations(), shop_orders.prices_file
    database.migrations = lambda: known[:schema]
    shop_orders.prices_file = lambda _: ""  # programs of old schemas had no table of prices
    try:
        shop = open_shop(folder, make=True)
        order = enter_order(
            shop, {"name": "old order", "aperture": "300mm", "focal_ratio": "5", "intercept": "240mm", "full_field": "15mm"}, now=NOW
        )
        enter_piece(shop, {"name": "old piece", "minor": "65mm", "glass": "borosilicate"}, now=NOW, order_id=order)
        enter_lamp(shop, {"name": "sodium lamp", "light": "sodium"}, now=NOW)
        enter_photograph(shop, 1, name="bands.jpg", data=b"no photograph, but the bytes of one", now=NOW)
        with contextlib.closing(sqlite3.connect(folder / database.NAME)) as connection:
            connection.execute("PRAGMA journal_mode = DELETE")  # one file, as it lies when nobody has it open
    finally:
        database.migrations, shop_orders.prices_file = lambda: known, prices
    return shop


def fill_disk(first: Path, *, kills: int, rng: random.Random, folder: Path) -> list[str]:
    """Fill a small disk by uploads, look at pages meanwhile, make room, and go on."""
    del kills, rng
    faults: list[str] = []
    with small_disk(folder / "full", mb=6) as disk:
        shop, told, refused = _copy(first, disk / "shop"), Acknowledged(), 0
        ballast = disk / "ballast"
        ballast.write_bytes(bytes(1_500_000))
        bench = Bench(shop).open()
        for number in range(60):
            data = photograph(2 * 10**6 + number)
            answer = bench.post("/pieces/1/photograph", SETTINGS, photograph=data)
            if answer.status_code == 303:
                told.photographs.add(sha256_of(data))
            refused += answer.status_code == 422
            faults += [f"upload {number} gave {answer.status_code}"] if answer.status_code not in (303, 422) else []
            page = httpx2.get(f"{bench.address}/pieces/1", timeout=PATIENCE_S)
            faults += [f"a page gave {page.status_code} on a full disk"] if page.status_code >= 500 else []
        bench.kill()
        ballast.unlink()
        faults += missing(shop, told)
        again = Bench(shop).open()
        more = again.post("/pieces/1/gauge", GAUGING)
        faults += [] if more.status_code == 303 else [f"with room again a form gave {more.status_code}"]
        again.kill()
        faults += [*missing(shop, told), *_tracebacks(bench), *_tracebacks(again)]
        faults += [] if refused else ["the disk was never full"]
    print(f"full: {len(told.photographs)} photographs acknowledged, {refused} refused", flush=True)
    return faults


def read_only(first: Path, *, kills: int, rng: random.Random, folder: Path) -> list[str]:
    """A folder on a disk that can't be written to: each command says why it can't in one sentence, and afterwards everything is there."""
    del kills, rng
    faults: list[str] = []
    with small_disk(folder / "read-only", mb=20) as disk:
        shop = _copy(first, disk / "shop")
        bench = Bench(shop).open()
        bench.post("/pieces/1/gauge", GAUGING)
        bench.kill()
        subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
        for command in (
            ["bench", "--shop", str(shop), "--port", str(_free_port())],
            ["vouch", "--shop", str(shop)],
            ["keep", "--shop", str(shop), "--out", str(disk / "copy")],
        ):
            opened = subprocess.run(
                [sys.executable, "-m", "straightband", *command], capture_output=True, text=True, timeout=PATIENCE_S, check=False
            )
            if command[0] == "bench" and opened.returncode == 0:
                faults.append("a bench opened on a read-only disk")
            if opened.returncode != 0 and (opened.returncode != 2 or opened.stderr.count("\n") != 1):
                faults.append(f"{command[0]} on a read-only disk: {opened.returncode}, {opened.stderr[-300:]}")
        subprocess.run(["mount", "-o", "remount,rw", str(disk)], check=True)
        faults += [*missing(shop, Acknowledged(gaugings=1)), *_tracebacks(bench)]
    return faults


def set_clock_back(first: Path, *, kills: int, rng: random.Random, folder: Path) -> list[str]:
    """The same work with the clock a year back in the middle: nothing runs backwards, and the newest entry is still the newest."""
    del kills, rng
    from straightband.workflows.shop_work import enter_gauging, start_timer, stop_timer

    shop, faults = open_shop(_copy(first, folder / "clock")), []
    timer = start_timer(shop, 1, texts={"work": "grinding", "minutes": "10min"}, now="2026-03-03T09:41:07Z")
    run = stop_timer(shop, timer, texts={}, now="2025-03-03T09:41:07Z")
    number = enter_gauging(shop, 1, texts=GAUGING, now="2025-03-03T09:45:00Z")
    with shop.record() as record:
        from straightband.shop.entries import Run

        faults += [] if record.get(Run, run).minutes == 0.0 else ["a run lasted less than nothing"]
        newest = record.listing(GaugingEntry, newest_first=True, limit=1, face_id=1)[0]
        faults += [] if newest.id == number else ["the newest gauging is not the one that was entered last"]
    bench = Bench(shop.folder).open()
    for path in ("/", "/pieces/1", "/orders", f"/gaugings/{number}"):
        answer = httpx2.get(f"{bench.address}{path}", timeout=PATIENCE_S)
        faults += [f"{path} gave {answer.status_code}"] if answer.status_code != 200 else []
    bench.kill()
    return [*faults, *missing(shop.folder, Acknowledged()), *_tracebacks(bench)]


def two_benches(first: Path, *, kills: int, rng: random.Random, folder: Path) -> list[str]:
    """Two benches on one folder; the one that works is killed while both take uploads, and the other does what is left."""
    del rng
    faults: list[str] = []
    for round_ in range(max(1, kills // 30)):
        shop, told, until = _copy(first, folder / f"two-{round_}"), Acknowledged(), threading.Event()
        benches = [Bench(shop).open(), Bench(shop).open()]
        numbers = iter(range(10**7, 10**9, 3))  # photographs only
        senders = [threading.Thread(target=send, args=(each, told), kwargs={"numbers": numbers, "until": until}) for each in benches]
        for sender in senders:
            sender.start()
        time.sleep(1.5)
        benches[0].kill()
        time.sleep(1.0)
        until.set()
        for sender in senders:
            sender.join()
        last = benches[1].post("/pieces/1/photograph", SETTINGS, photograph=photograph(5))
        faults += [] if _ended(shop, int(last.headers["location"].rpartition("/")[2])) == "done" else ["the second bench did not take over"]
        benches[1].kill()
        faults += [*missing(shop, told), *_tracebacks(*benches)]
    return faults


def copies(first: Path, *, kills: int, rng: random.Random, folder: Path) -> list[str]:
    """Copy a folder again and again while two telephones send to it; each copy is whole, and holds what was acknowledged before it was begun."""
    del rng
    shop, told, until = _copy(first, folder / "copied"), Acknowledged(), threading.Event()
    bench, numbers, faults = Bench(shop).open(), iter(range(3 * 10**6, 10**9)), []
    senders = [threading.Thread(target=send, args=(bench, told), kwargs={"numbers": numbers, "until": until}) for _ in range(2)]
    for sender in senders:
        sender.start()
    for copy in range(max(2, kills // 30)):
        before = Acknowledged(photographs=set(told.photographs), orders=set(told.orders), gaugings=told.gaugings)
        target = folder / f"copy-{copy}"
        faults += list(copy_shop(open_shop(shop), target).faults)
        faults += [f"copy {copy}: {fault}" for fault in missing(target, before)]
    until.set()
    for sender in senders:
        sender.join()
    bench.kill()
    again = Bench(target).open()
    answer = again.post("/pieces/1/gauge", GAUGING)
    faults += [] if answer.status_code == 303 else [f"the restored copy answered {answer.status_code}"]
    again.kill()
    return [*faults, *_tracebacks(bench, again)]


PARTS: dict[str, Callable[..., list[str]]] = {
    "uploads": kill_uploads,
    "readings": kill_readings,
    "migrations": kill_migrations,
    "full": fill_disk,
    "read-only": read_only,
    "clock": set_clock_back,
    "two": two_benches,
    "backup": copies,
}


@contextlib.contextmanager
def small_disk(folder: Path, *, mb: int) -> Iterator[Path]:
    """A disk of so many MB; raises where this process may not mount one."""
    folder.mkdir(parents=True)
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={mb}m", "tmpfs", str(folder)], check=True)
    try:
        yield folder
    finally:
        subprocess.run(["umount", str(folder)], check=True)


def _ended(shop: Path, job: int) -> str:
    end = time.monotonic() + PATIENCE_S
    state = ""
    while time.monotonic() < end and state not in jobs.OVER:
        with open_shop(shop).record() as record:
            state = jobs.job_of(record, job).state
        time.sleep(0.1)
    return state


def _tracebacks(*benches: Bench) -> list[str]:
    return [f"a bench said: {bench.heard()[-400:]}" for bench in benches if "Traceback" in bench.heard()]


def _copy(first: Path, to: Path) -> Path:
    shutil.rmtree(to, ignore_errors=True)
    shutil.copytree(first, to)
    return to


def _seconds_of(work: Callable[[], object]) -> float:
    began = time.monotonic()
    work()
    return time.monotonic() - began


def main(arguments: list[str] | None = None) -> int:
    """Carry out the parts named, all if none is; exits with 1 where something is amiss."""
    parser = argparse.ArgumentParser(
        prog="python -m fuzzing.faults", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("parts", nargs="*", help=f"any of {', '.join(PARTS)}")
    parser.add_argument("--kills", type=int, default=300, help="in all, a third each for uploads, readings and migrations")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, default=Path("fuzz-out"))
    asked = parser.parse_args(arguments)
    asked.out.mkdir(parents=True, exist_ok=True)
    rows = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        first = shop_with_one(folder / "first").folder
        for part in asked.parts or PARTS:
            began = time.monotonic()
            faults = PARTS[part](first, kills=max(1, asked.kills // 3), rng=random.Random(asked.seed), folder=folder)  # noqa: S311 - no secret
            rows.append(
                {"part": part, "seconds": time.monotonic() - began, "faults": len(faults), "first of them": faults[0] if faults else ""}
            )
            print(rows[-1], flush=True)
    print(write_table(rows, stem=asked.out / "faults"))
    return int(any(row["faults"] for row in rows))


if __name__ == "__main__":
    sys.exit(main())
