"""A bench under load on loopback: telephones that upload and pages that are asked for, for so long: errors, times beside an idle bench, memory over time.

Twenty telephones send a photograph each as fast as one takes to walk to the next piece (one in six seconds each), 200 pages a second are asked for beside them.
The bench is a process of its own, with its worker reading what comes in. The askers run in another. Told beside it is the load of the machine.
"""

from __future__ import annotations

import asyncio
import json
import multiprocessing as mp
import os
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import httpx2
import numpy as np

from benchmarks.pages import NOW, PAGES, shop_with_one
from benchmarks.tables import write_table
from straightband.shop.copying import check_shop
from straightband.shop.folder import open_shop
from straightband.synthetic.golden import golden_scene
from straightband.synthetic.render import render
from straightband.workflows.shop_orders import enter_piece

if TYPE_CHECKING:
    from multiprocessing.synchronize import Barrier

    from benchmarks.run import Options

SECONDS = 600  # --count gives another number
TELEPHONES = 20
BETWEEN_UPLOADS_S = 6.0
PAGES_PER_S = 200
IDLE_S, IDLE_PER_S = 15.0, 15.0
ALONGSIDE = 64  # requests under way at once
SETTINGS = {"light": "mercury-green", "mark": "3", "thicker": "2.5"}
ACCEPTED = 303


@dataclass(slots=True)
class Seen:
    """What came of it.

    Attributes
    ----------
    page_s, upload_s
        How long each took.
    errors
        A sentence for each answer that was none.
    memory_mb
        Of the bench, from time to time.
    """

    page_s: list[float] = field(default_factory=list)
    upload_s: list[float] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    memory_mb: list[float] = field(default_factory=list)


def run(options: Options) -> None:
    """Measure and write the table."""
    seconds = SECONDS if options.count is None else options.count
    with tempfile.TemporaryDirectory() as name:
        filled = shop_with_one(Path(name) / "shop")
        for telephone in range(TELEPHONES):
            enter_piece(filled, {"name": f"L-{telephone}", "minor": "90mm"}, now=NOW, order_id=1)
        shop = filled.folder
        with opened(shop) as (address, pid):
            row = measured(address, pid=pid, seconds=seconds)
        row |= {"faults of the folder": len(check_shop(open_shop(shop)).faults)}
    text = write_table([{"what": key, "value": value} for key, value in row.items()], stem=options.out / "load")
    print(text)


class opened:  # noqa: N801 - used as a with-statement
    """A bench on a folder in a process of its own; its address and the number of its process."""

    def __init__(self, shop: Path) -> None:
        self.shop = shop
        self.process: subprocess.Popen[str] | None = None

    def __enter__(self) -> tuple[str, int]:
        """Start it."""
        command = [sys.executable, "-m", "straightband", "bench", "--shop", str(self.shop), "--json"]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        told = json.loads(self.process.stdout.readline() if self.process.stdout else "{}")
        return told["address"], self.process.pid

    def __exit__(self, *_: object) -> None:
        """End it."""
        if self.process is not None:
            self.process.terminate()
            self.process.wait()
            if self.process.stdout is not None:
                self.process.stdout.close()


def measured(address: str, *, pid: int, seconds: float) -> dict[str, Any]:
    """Times of an idle bench, then of one under load; the telephones are a process of their own, so that they do not delay who measures."""
    idle = asyncio.run(_looked(address, seconds=IDLE_S, per_s=IDLE_PER_S))
    spawning = mp.get_context("spawn")
    waiting: mp.Queue[Seen] = spawning.Queue()
    ready = spawning.Barrier(2)  # what a process takes to begin is no load of the bench
    telephones = spawning.Process(target=_telephones, args=(address, seconds, waiting, ready))
    telephones.start()
    ready.wait()
    seen = asyncio.run(_looked(address, seconds=seconds, per_s=PAGES_PER_S, pid=pid))
    sent = waiting.get()
    telephones.join()
    seen.upload_s = sent.upload_s
    seen.errors += sent.errors
    return _told(idle, seen, seconds=seconds)


def _told(idle: Seen, seen: Seen, *, seconds: float) -> dict[str, Any]:
    settled = idle.page_s[len(PAGES) :] or idle.page_s  # the first of each fills caches
    median = 1e3 * statistics.median(settled)
    p99 = 1e3 * float(np.quantile(seen.page_s, 0.99))
    quarters = [statistics.median(part) for part in np.array_split(seen.memory_mb, min(4, len(seen.memory_mb)))]
    return {
        "seconds": seconds,
        "pages asked for": len(seen.page_s),
        "pages per second": len(seen.page_s) / seconds,
        "photographs sent": len(seen.upload_s),
        "errors": len(seen.errors),
        "first error": seen.errors[0] if seen.errors else "",
        "idle median, ms": median,
        "idle p99, ms": 1e3 * float(np.quantile(settled, 0.99)),
        "median under load, ms": 1e3 * statistics.median(seen.page_s),
        "p99 under load, ms": p99,
        "p99 over idle median": p99 / median,
        "slowest page, ms": 1e3 * max(seen.page_s),
        "p99 of uploads, ms": 1e3 * float(np.quantile(seen.upload_s, 0.99)) if seen.upload_s else float("nan"),
        "memory by quarters, MB": ", ".join(f"{each:.0f}" for each in quarters),
        "most memory, MB": max(seen.memory_mb),
        "load of the machine": os.getloadavg()[0],
        "cores": os.cpu_count(),
    }


async def _looked(address: str, *, seconds: float, per_s: float, pid: int = 0) -> Seen:
    """So many pages a second, each at its time whether or not earlier ones are answered, but never more than so many at once."""
    seen, free = Seen(), asyncio.Queue[_Line]()
    for _ in range(ALONGSIDE):
        free.put_nowait(_Line(address=address))
    began, number, under_way = time.monotonic(), 0, set[asyncio.Task]()
    while time.monotonic() < began + seconds:
        while number < per_s * (time.monotonic() - began) and not free.empty():
            task = asyncio.create_task(_ask(free.get_nowait(), PAGES[number % len(PAGES)], free=free, seen=seen))
            under_way.add(task)
            task.add_done_callback(under_way.discard)
            number += 1
        if pid and len(seen.memory_mb) < time.monotonic() - began:
            seen.memory_mb.append(_memory_mb(pid))
        await asyncio.sleep(0.001)
    await asyncio.gather(*under_way)
    while not free.empty():
        free.get_nowait().close()
    return seen


@dataclass(slots=True)
class _Line:
    """A connection that is kept: as little work as can be, since what it takes is measured too."""

    address: str
    reader: asyncio.StreamReader | None = None
    writer: asyncio.StreamWriter | None = None

    async def get(self, path: str) -> int:
        """Ask for a page and read all of it; returns its status."""
        host = self.address.partition("//")[2]
        if self.writer is None:
            self.reader, self.writer = await asyncio.open_connection(*host.split(":"))
        self.writer.write(f"GET {path} HTTP/1.1\r\nHost: {host}\r\nAccept-Encoding: gzip\r\n\r\n".encode())
        head = await self.reader.readuntil(b"\r\n\r\n")
        length = head.lower().partition(b"content-length: ")[2].partition(b"\r\n")[0]
        await self.reader.readexactly(int(length))
        return int(head.split()[1])

    def close(self) -> None:
        """Hang up."""
        if self.writer is not None:
            self.writer.close()


async def _ask(line: _Line, path: str, *, free: asyncio.Queue[_Line], seen: Seen) -> None:
    began = time.perf_counter()
    try:
        status = await line.get(path)
    except (OSError, asyncio.IncompleteReadError, ValueError) as fault:
        seen.errors.append(f"{path}: {type(fault).__name__}")
        line = _Line(address=line.address)
    else:
        seen.page_s.append(time.perf_counter() - began)
        if status != 200:
            seen.errors.append(f"{path} gave {status}")
    free.put_nowait(line)


def _telephones(address: str, seconds: float, waiting: mp.Queue[Seen], ready: Barrier) -> None:
    image = render(golden_scene(width_px=1000, height_px=750), rng=np.random.default_rng(11)).encode("jpeg")
    ready.wait()
    waiting.put(asyncio.run(_sent(address, image, seconds=seconds)))


async def _sent(address: str, image: bytes, *, seconds: float) -> Seen:
    seen, end = Seen(), time.monotonic() + seconds
    async with httpx2.AsyncClient(base_url=address, headers={"Origin": address}, timeout=60.0) as client:
        await asyncio.gather(*(_upload(client, image, telephone=k, until=end, seen=seen) for k in range(TELEPHONES)))
    return seen


async def _upload(client: httpx2.AsyncClient, image: bytes, *, telephone: int, until: float, seen: Seen) -> None:
    await asyncio.sleep(BETWEEN_UPLOADS_S * telephone / TELEPHONES)
    number = 0
    while time.monotonic() < until:
        began, number = time.monotonic(), number + 1
        data = image + f"\n{telephone} {number}".encode()  # another file each time
        try:
            answer = await client.post(f"/pieces/{2 + telephone}/photograph", data=SETTINGS, files={"photograph": ("bands.jpg", data)})
        except httpx2.HTTPError as fault:
            seen.errors.append(f"an upload: {type(fault).__name__}")
        else:
            seen.upload_s.append(time.monotonic() - began)
            if answer.status_code != ACCEPTED:
                seen.errors.append(f"an upload gave {answer.status_code}")
        await asyncio.sleep(max(0.0, BETWEEN_UPLOADS_S - (time.monotonic() - began)))


def _memory_mb(pid: int) -> float:
    """Resident memory of a process, where the system tells it (Linux)."""
    held = Path(f"/proc/{pid}/statm")
    return int(held.read_text(encoding="ascii").split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6 if held.exists() else float("nan")
