"""Killed at each step: `python -m fuzzing.steps FOLDER [WORK ...]` carries out each kind of work again and again, dying one step later every time.

A step is a statement of the record, or a file opened, renamed or taken away. After each death the folder is checked, and the work done once more.
"""

from __future__ import annotations

import itertools
import os
import shutil
import signal
import sqlite3
import sys
from collections.abc import Callable
from pathlib import Path

from benchmarks.pages import NOW
from fuzzing.faults import Acknowledged, made_old, missing
from straightband.shop import database, folder
from straightband.shop.copying import copy_shop
from straightband.shop.folder import open_shop
from straightband.shop.record import Form
from straightband.workflows.shop_orders import enter_order
from straightband.workflows.shop_readings import enter_photograph

EVENTS = ("open", "os.rename", "os.remove", "os.mkdir", "sqlite3.connect")
ORDER = {"name": "new order", "aperture": "300mm", "focal_ratio": "5", "intercept": "240mm", "full_field": "15mm"}


def upload(shop: Path) -> None:
    """A photograph."""
    enter_photograph(open_shop(shop), 1, name="new.jpg", data=b"new bytes", now=NOW)


def order(shop: Path) -> None:
    """An order by a form."""
    enter_order(open_shop(shop), ORDER, now=NOW, form=Form(token="a token of a form", digest="d"))  # noqa: S106 - no secret


def copy(shop: Path) -> None:
    """A copy of the folder, beside it."""
    target = shop.with_name("copy")
    shutil.rmtree(target, ignore_errors=True)
    copy_shop(open_shop(shop), target)


def migrate(shop: Path) -> None:
    """Bring the folder up to date."""
    open_shop(shop)


def make(shop: Path) -> None:
    """Make a folder anew."""
    open_shop(shop.with_name("made"), make=True)


WORKS: dict[str, Callable[[Path], None]] = {"upload": upload, "order": order, "copy": copy, "migrate": migrate, "make": make}


def killed_at_each_step(work: Callable[[Path], None], *, first: Path, shop: Path) -> tuple[int, list[str]]:
    """How many deaths there were, and what was amiss after them."""
    faults: list[str] = []
    for step in itertools.count(1):
        for path in (shop, shop.with_name("made")):
            shutil.rmtree(path, ignore_errors=True)
        shutil.copytree(first, shop)
        child = os.fork()
        if child == 0:
            _die_at(step)
            work(shop)
            os._exit(0)
        ended = os.waitpid(child, 0)[1]
        before = missing(shop, Acknowledged(orders={"old order"}))
        work(shop)
        after = missing(shop, Acknowledged(orders={"old order"}))
        faults += [f"{work.__name__}, step {step}: {fault}" for fault in (*before, *after)]
        if os.WIFEXITED(ended):
            return step - 1, faults if os.WEXITSTATUS(ended) == 0 else [*faults, f"{work.__name__} failed"]
    raise AssertionError


def _die_at(step: int) -> None:
    left = [step]

    def one(*_: object) -> None:
        left[0] -= 1
        if left[0] == 0:
            os.kill(os.getpid(), signal.SIGKILL)

    connect = database.connect

    def traced(path: Path) -> sqlite3.Connection:
        connection = connect(path)
        connection.set_trace_callback(one)
        return connection

    database.connect = folder.connect = traced
    sys.addaudithook(lambda event, arguments: one() if event in EVENTS and _touches(event, arguments) else None)


def _touches(event: str, arguments: tuple) -> bool:
    return event != "open" or bool(isinstance(arguments[2], int) and arguments[2] & (os.O_WRONLY | os.O_RDWR))


def main(arguments: list[str]) -> int:
    """Each kind of work named, in a folder; all if none is."""
    place = Path(arguments[0])
    newest, faults = made_old(place / "newest", schema=len(database.migrations())), []
    oldest = made_old(place / "oldest", schema=1)
    for name in arguments[1:] or WORKS:
        work = WORKS[name]
        deaths, found = killed_at_each_step(work, first=(oldest if name == "migrate" else newest).folder, shop=place / "shop")
        print(f"{name}: {deaths} deaths, {len(found)} faults")
        faults += found
    print("\n".join(faults))
    return int(bool(faults))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
