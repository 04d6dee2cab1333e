"""A consistent copy of a shop's folder, and the check of a folder against its own hashes."""

from __future__ import annotations

import secrets
import shutil
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from straightband.errors import BadInput, RecordUnreadable
from straightband.shop.archive import sha256_of
from straightband.shop.database import NAME, migrations, version_of
from straightband.shop.entries import KINDS
from straightband.shop.files import write_whole
from straightband.shop.folder import Shop, open_shop
from straightband.shop.record import Record, seal_of

# Which column names a file of which archive.
NAMED_FILES = (
    ("photos", "photograph", "sha256"),
    ("maps", "flat", "map_sha256"),
    ("maps", "reading", "map_sha256"),
    ("papers", "certificate", "pdf_sha256"),
    ("papers", "batch", "json_extract(found, '$.papers.cards')"),
    ("papers", "batch", "json_extract(found, '$.papers.plot')"),
    ("photos", "grid_photograph", "sha256"),
    ("papers", "clearing", "picture_sha256"),
    ("papers", "plate", "template_sha256"),
    ("maps", "flat_test, json_each(flat_test.found, '$.maps') AS map", "map.value"),
    ("papers", "stroke_plan, json_each(stroke_plan.found, '$.papers') AS paper", "paper.value"),
    ("maps", "stroke_plan", "json_extract(found, '$.predicted_map')"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """What a check of a folder found.

    Attributes
    ----------
    entries, files
        How many were looked at.
    faults
        A sentence for each thing that is not as it was left.
    unnamed
        Files that no entry names, which does no harm.
    """

    entries: int
    files: int
    faults: tuple[str, ...]
    unnamed: int


def copy_shop(shop: Shop, target: Path) -> Checked:
    """Copy a shop to a folder that is not there yet, while it may be in use, and check the copy; raises BadInput."""
    if target.exists():
        raise BadInput(
            found=f"'{str(target)[:80]}' is there already",
            needed="a folder that is not there yet is needed, so that no older copy is lost",
            remedy="name another",
        )
    if not target.parent.is_dir():
        raise BadInput(
            found=f"the folder '{str(target.parent)[:80]}' does not exist",
            needed="a folder to put the copy into is needed",
            remedy="make it",
        )
    unfinished = target.parent / f".unfinished.{secrets.token_hex(8)}"
    try:
        unfinished.mkdir(mode=0o700)
        _copy_into(shop, unfinished)
        checked = check_shop(open_shop(unfinished))
        unfinished.rename(target)
    except OSError as fault:
        raise BadInput(
            found=f"the copy could not be written ({fault.strerror or fault})",
            needed="room on the disk is needed",
            remedy="make room, or name another place",
        ) from fault
    finally:
        shutil.rmtree(unfinished, ignore_errors=True)
    return checked


def _copy_into(shop: Shop, folder: Path) -> None:
    # The record first: files are kept before an entry names them and never go away, so what it names is there when they are copied.
    with shop.record() as record, closing(sqlite3.connect(folder / NAME)) as copy:
        record.connection.backup(copy)
    for archive in shop.archives.values():
        for name in archive.names():
            place = folder / archive.folder.name / name[:2]
            place.mkdir(parents=True, exist_ok=True)
            write_whole(place / name, (archive.folder / name[:2] / name).read_bytes())


def check_shop(shop: Shop) -> Checked:
    """Whether every file has the bytes it is named by, every file that is named is there, and every entry is as it was sealed."""
    with shop.record() as record:
        named = {(kind, row[0]) for kind, table, column in NAMED_FILES for row in _column(record, table, column=column) if row[0]}
        faults = [*_database_faults(record), *_seal_faults(record)]
        entries = record.connection.execute("SELECT COUNT(*) FROM seal").fetchone()[0]
    present = {(kind, name) for kind, archive in shop.archives.items() for name in archive.names()}
    faults += [f"the {_one(kind)} {name[:12]} is named by the record and is not there" for kind, name in sorted(named - present)]
    for kind, name in sorted(present):
        if sha256_of((shop.archives[kind].folder / name[:2] / name).read_bytes()) != name:
            faults.append(f"the {_one(kind)} {name[:12]} no longer has the bytes it was kept with")
    return Checked(entries=entries, files=len(present), faults=tuple(faults), unnamed=len(present - named))


def _one(kind: str) -> str:
    return {"photos": "photograph", "maps": "map", "papers": "paper"}[kind]


def _column(record: Record, table: str, *, column: str) -> list[sqlite3.Row]:
    return record.connection.execute(f"SELECT {column} FROM {table}").fetchall()  # noqa: S608 - names stand above


def _database_faults(record: Record) -> list[str]:
    try:
        whole = [row[0] for row in record.connection.execute("PRAGMA integrity_check")]
    except sqlite3.DatabaseError as fault:
        raise RecordUnreadable(
            found=f"the record is damaged ({fault})", needed="a whole file is needed", remedy="go back to a copy of the shop's folder"
        ) from fault
    faults = [] if whole == ["ok"] else [f"the database is damaged: {line}" for line in whole[:5]]
    faults += [f"an entry of '{row[0]}' names one that is not there" for row in record.connection.execute("PRAGMA foreign_key_check")]
    if version_of(record.connection) == migrations()[-1][0]:
        with closing(sqlite3.connect(":memory:")) as fresh:
            for _, text in migrations():
                fresh.executescript(text)
            if _schema(fresh) != _schema(record.connection):
                faults.append("the schema is not the one this program made: a table, an index or a trigger was changed")
    return faults


def _schema(connection: sqlite3.Connection) -> set[tuple[str, str]]:
    rows = connection.execute("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL")
    return {(row[0], " ".join(row[1].split())) for row in rows}


def _seal_faults(record: Record) -> list[str]:
    """Each entry against its seal; the chain goes on from the seal as written, so that one change is one fault."""
    faults, before = [], ""
    rows = record.connection.execute("SELECT number, kind, entry, sha256 FROM seal ORDER BY number").fetchall()
    known = {kind.table for kind in KINDS}
    for place, row in enumerate(rows, start=1):
        if row["number"] != place:
            faults.append(f"seal {place} is missing")
            break
        if row["kind"] not in known or seal_of(record.row_text(row["kind"], row["entry"]), before=before) != row["sha256"]:
            faults.append(f"entry {row['entry']} of '{row['kind']}' is not as it was sealed")
        before = row["sha256"]
    sealed = {(row["kind"], row["entry"]) for row in rows}
    for kind in KINDS:
        loose = [row[0] for row in _column(record, kind.table, column="id") if (kind.table, row[0]) not in sealed]
        faults += [f"entry {number} of '{kind.table}' was never sealed" for number in loose[:5]]
    return faults
