"""A shop whose record stays open between one look and the next: opening it anew costs more than most pages."""

from __future__ import annotations

import queue
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from straightband.shop.database import NAME, connect, told_in_words
from straightband.shop.folder import Shop
from straightband.shop.record import Record

MOST_IDLE = 8  # threads that serve pages at the same moment on a small computer


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptOpen(Shop):
    """The same shop for a program that goes on serving.

    Attributes
    ----------
    idle
        Connections that nobody uses at the moment, each with the file it was opened on.
    """

    idle: queue.LifoQueue[tuple[int, sqlite3.Connection]] = field(
        default_factory=lambda: queue.LifoQueue(MOST_IDLE), compare=False, repr=False
    )

    @contextmanager
    def record(self) -> Iterator[Record]:
        """The record, for one thread at a time; after a fault it is opened anew."""
        with told_in_words():
            file, connection = self._taken()
            try:
                yield Record(connection=connection)
            except BaseException:
                connection.close()
                raise
            self._put_back(file, connection)

    def _taken(self) -> tuple[int, sqlite3.Connection]:
        path = self.folder / NAME
        file = path.stat().st_ino if path.is_file() else 0
        while True:
            try:
                opened_on, connection = self.idle.get_nowait()
            except queue.Empty:
                return file, connect(path)
            if opened_on == file:
                return file, connection
            connection.close()  # somebody put another record in the place of that one

    def _put_back(self, file: int, connection: sqlite3.Connection) -> None:
        try:
            self.idle.put_nowait((file, connection))
        except queue.Full:
            connection.close()

    def close(self) -> None:
        """Close what is idle."""
        while True:
            try:
                self.idle.get_nowait()[1].close()
            except queue.Empty:
                return
