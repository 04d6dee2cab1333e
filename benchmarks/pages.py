"""Weight of the bench's pages, and how long they take with five thousand readings in the record beside a nearly empty one.

Everything is measured in this process, without a network: what the program does, not what a network adds. The ratio is what counts.
"""

from __future__ import annotations

import gzip
import shutil
import statistics
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from starlette.testclient import TestClient

from benchmarks.tables import write_table
from straightband.shop.entries import Exposure, FaceEntry, Photograph, PieceEntry, ReadingEntry, VerdictEntry
from straightband.shop.folder import Shop, open_shop
from straightband.shop.queries import newest_verdict
from straightband.synthetic.golden import golden_scene
from straightband.synthetic.render import render
from straightband.web.app import bench_app
from straightband.web.desk import Desk
from straightband.web.pairing import Pairing
from straightband.workflows.shop_orders import enter_order, enter_piece
from straightband.workflows.shop_readings import enter_photograph, read_for_the_record, task_from_texts

if TYPE_CHECKING:
    from benchmarks.run import Options

NOW = "2026-03-03T09:41:07Z"
READINGS = 5000
PER_PIECE = 10
ASKED = 15  # times each page is asked for; the median is told
PAGES = (
    "/", "/orders", "/orders/new", "/orders/1", "/pieces", "/pieces/1", "/photographs/1", "/readings/1", "/verdicts/1", "/pieces/1/back", "/pieces/1/figuring", "/pads",
    "/box?largest=200mm", "/flats", "/flats/tests/new", "/shop",
)  # fmt: skip
FIRST = ("/", "/static/bench.css", "/static/bench.js")  # what the first page takes
ORDER = {"name": "G-1", "aperture": "300mm", "focal_length": "1500mm", "intercept": "300mm", "full_field": "10mm", "strehl": "0.8"}
HOST = "http://127.0.0.1"


def run(options: Options) -> None:
    """Measure and write the table."""
    with tempfile.TemporaryDirectory() as name:
        small = shop_with_one(Path(name) / "small")
        shutil.copytree(small.folder, Path(name) / "large")
        large = open_shop(Path(name) / "large")
        fill(large, count=options.count or READINGS)
        rows = measured(small, large, asked=ASKED)
        print(write_table(rows, stem=options.out / "pages"))
        print(f"first page with style and script, packed: {first_page_bytes(small) / 1e3:.1f} kB")


def shop_with_one(folder: Path) -> Shop:
    """A shop with one order, one piece and one reading of it."""
    shop = open_shop(folder, make=True)
    order = enter_order(shop, ORDER, now=NOW)
    enter_piece(shop, {"name": "G-1", "minor": "90mm"}, now=NOW, order_id=order)
    data = render(golden_scene(width_px=1000, height_px=750), rng=np.random.default_rng(11)).encode("jpeg")
    number = enter_photograph(shop, 1, name="bands.jpg", data=data, now=NOW)
    read_for_the_record(shop, task_from_texts(shop, (number,), texts={"light": "mercury-green", "mark": "3", "thicker": "2.5"}), now=NOW)
    return shop


def fill(shop: Shop, *, count: int) -> None:
    """Enter the one reading again and again, ten to a piece, each with its photograph and its verdict."""
    with shop.record() as record, record.transaction():
        piece, photograph, reading = record.get(PieceEntry, 1), record.get(Photograph, 1), record.get(ReadingEntry, 1)
        verdict = newest_verdict(record, 1)
        face = 0
        for number in range(count):
            if number % PER_PIECE == 0:
                made = record.add(replace(piece, name=f"P-{number}"))
                face = record.add(FaceEntry(at=NOW, piece_id=made.id, name="face")).id
            taken = record.add(replace(photograph, face_id=face, sha256=f"{number:064x}"))
            entry = record.add(replace(reading, face_id=face))
            record.add(Exposure(at=NOW, reading_id=entry.id, photograph_id=taken.id, place=0))
            if verdict is not None:
                record.add(VerdictEntry(at=NOW, reading_id=entry.id, told=verdict.told, found=verdict.found, program=verdict.program))


def client_of(shop: Shop) -> TestClient:
    """A bench for a shop, spoken to in this process."""
    return TestClient(bench_app(Desk(shop=shop, now=lambda: NOW), pairing_code=Pairing()), base_url=HOST)


def measured(small: Shop, large: Shop, *, asked: int) -> list[dict[str, Any]]:
    """A row per page: its packed weight, median times with a small and a large record asked in turn, and their ratio."""
    rows = []
    with client_of(small) as few, client_of(large) as many:
        for path in PAGES:
            times: dict[str, list[float]] = {"small": [], "large": []}
            for _ in range(asked + 1):
                for kind, client in (("small", few), ("large", many)):
                    began = time.perf_counter()
                    answer = client.get(path)
                    times[kind].append(time.perf_counter() - began)
                    answer.raise_for_status()
            small_s, large_s = (statistics.median(each[1:]) for each in times.values())  # the first fills caches
            weight = len(gzip.compress(many.get(path).content))
            rows.append(
                {
                    "page": path,
                    "kB packed": weight / 1e3,
                    "ms, one reading": 1e3 * small_s,
                    "ms, many": 1e3 * large_s,
                    "ratio": large_s / small_s,
                }
            )
    return rows


def first_page_bytes(shop: Shop) -> int:
    """Packed bytes of the first page with what it loads."""
    with client_of(shop) as client:
        return sum(len(gzip.compress(client.get(path).content)) for path in FIRST)
