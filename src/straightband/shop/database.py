"""The database of a shop: how it is opened, and brought to the newest schema by numbered files of plain SQL.

A copy is made before a schema is changed, by SQLite's own backup, since a plain copy of the file would miss what is still in its log.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from importlib import resources
from pathlib import Path

from straightband.errors import RecordUnreadable

NAME = "shop.db"
WAIT_S = 10.0  # for another who writes
_DISK = "a disk that works, with a folder on it that this person may write to, is needed"
# What comes from outside the program, by SQLite's result codes (sqlite.org/rescode.html), and what is needed then.
OUTSIDE = {
    sqlite3.SQLITE_BUSY: "a moment in which no other program holds it is needed",
    sqlite3.SQLITE_LOCKED: "a moment in which no other program holds it is needed",
    sqlite3.SQLITE_FULL: "room on the disk is needed",
    sqlite3.SQLITE_PERM: _DISK,
    sqlite3.SQLITE_READONLY: _DISK,
    sqlite3.SQLITE_IOERR: _DISK,
    sqlite3.SQLITE_CANTOPEN: _DISK,
    sqlite3.SQLITE_PROTOCOL: _DISK,
    sqlite3.SQLITE_CORRUPT: "a whole record is needed, as in the newest copy of the folder",
    sqlite3.SQLITE_NOTADB: "a whole record is needed, as in the newest copy of the folder",
}


def connect(path: Path) -> sqlite3.Connection:
    """The database at `path`, made if it is not there, with its schema as it was left."""
    connection = sqlite3.connect(path, timeout=WAIT_S, isolation_level=None, check_same_thread=False)
    connection.row_factory = sqlite3.Row
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")  # a power cut after "entered" loses nothing
    connection.execute("PRAGMA foreign_keys = ON")
    return connection


@contextmanager
def told_in_words() -> Iterator[None]:
    """Turn what the disk or another program does to the database into a sentence; a fault in our own SQL stays what it is."""
    try:
        yield
    except sqlite3.DatabaseError as fault:
        code = getattr(fault, "sqlite_errorcode", 0) & 0xFF  # the low byte tells the kind, the rest its details
        if code not in OUTSIDE:
            raise
        raise RecordUnreadable(
            found=f"the record can't be read or written at the moment ({fault})",
            needed=OUTSIDE[code],
            remedy="see to that and try again; what was entered before is kept",
        ) from fault


def migrations() -> tuple[tuple[int, str], ...]:
    """Number and text of every schema file, in order."""
    folder = resources.files("straightband.shop") / "schema"
    files = sorted(file.name for file in folder.iterdir() if file.name.endswith(".sql"))
    return tuple((int(name[:4]), (folder / name).read_text(encoding="utf-8")) for name in files)


def version_of(connection: sqlite3.Connection) -> int:
    """The number of the newest schema file that has been carried out."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def bring_up_to_date(path: Path) -> None:
    """Carry out the schema files that are missing; raises RecordUnreadable for a file that is no record, or a newer program's."""
    try:
        with closing(connect(path)) as connection:
            found, known = version_of(connection), migrations()
            if found > known[-1][0]:
                raise RecordUnreadable(
                    found=f"the record was written by a newer Straightband (schema {found})",
                    needed=f"schema {known[-1][0]} or older is needed",
                    remedy="use the newer program",
                )
            wanted = [(number, text) for number, text in known if number > found]
            if wanted and found:
                _copy_before(connection, path.with_name(f"{path.stem}-before-schema-{wanted[-1][0]}.db"))
            for number, text in wanted:
                _carry_out(connection, number, text=text)
    except sqlite3.Error as fault:
        raise RecordUnreadable(
            found=f"'{path.name}' can't be opened as a record ({fault})",
            needed="a shop's folder that this person may write to is needed",
            remedy="check the folder, or go back to a copy of it",
        ) from fault


def _carry_out(connection: sqlite3.Connection, number: int, *, text: str) -> None:
    # executescript ends a transaction that is open, so begin and end stand inside the script; two at once find the second too late.
    try:
        connection.executescript(f"BEGIN IMMEDIATE;\n{text}\nPRAGMA user_version = {number};\nCOMMIT;")
    except sqlite3.OperationalError:
        if connection.in_transaction:
            connection.rollback()
        if version_of(connection) < number:
            raise


def _copy_before(connection: sqlite3.Connection, path: Path) -> None:
    with closing(sqlite3.connect(path)) as copy:
        connection.backup(copy)
