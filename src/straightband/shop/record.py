"""The record of a shop: entries go in and stay as they are.

Every entry is sealed by a hash over itself and the seal before it. A form carries a token, so that sending it twice enters it once.
"""

from __future__ import annotations

import hashlib
import json
import math
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, fields, replace
from typing import Any, TypeVar

from straightband.errors import BadInput
from straightband.shop.entries import Entry

JSON_FIELDS = ("told", "found", "drawing")
E = TypeVar("E", bound=Entry)


class NotInRecord(BadInput):
    """There is no entry of that number."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """A form that was sent.

    Attributes
    ----------
    token
        Written into the form when it was shown.
    digest
        Hash of what was sent in it.
    """

    token: str
    digest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """An open record; one per thread.

    Attributes
    ----------
    connection
        To its database.
    """

    connection: sqlite3.Connection

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """All that is entered within it, or nothing; within another it is part of that."""
        if self.connection.in_transaction:
            yield
            return
        self.connection.execute("BEGIN IMMEDIATE")
        try:
            yield
            self.connection.execute("COMMIT")
        except BaseException:
            if self.connection.in_transaction:  # a full disk has rolled it back already
                self.connection.execute("ROLLBACK")
            raise

    def add(self, entry: E) -> E:
        """Enter something; returns it with its number. Raises NotInRecord where it names an entry that is not there."""
        columns = [each.name for each in fields(entry) if each.name != "id"]
        values = [_stored(getattr(entry, name), name) for name in columns]
        marks = ", ".join("?" * len(columns))
        with self.transaction():
            cursor = self._inserted(f"INSERT INTO {entry.table} ({', '.join(columns)}) VALUES ({marks})", values)  # noqa: S608 - names are those of our own dataclasses
            number = int(cursor.lastrowid or 0)
            self._seal(entry.table, number)
        return replace(entry, id=number)

    def _inserted(self, statement: str, values: list[Any]) -> sqlite3.Cursor:
        try:
            return self.connection.execute(statement, values)
        except sqlite3.IntegrityError as fault:
            if fault.sqlite_errorcode != sqlite3.SQLITE_CONSTRAINT_FOREIGNKEY:
                raise
            raise NotInRecord(
                found="this names something that is not in the record",
                needed="an entry of the record is needed",
                remedy="open the page anew and choose again",
            ) from fault

    def once(self, form: Form | None, make: Callable[[], Entry]) -> tuple[str, int]:
        """Kind and number of what a form makes, made now or when it was sent before; all of it or nothing."""
        with self.transaction():
            made = self.sent_before(form)
            if made is not None:
                return made
            entry = make()
            self.note_form(form, entry)
            return entry.table, entry.id

    def sent_before(self, form: Form | None) -> tuple[str, int] | None:
        """Kind and number of what a form has made already; raises BadInput when it was sent with something else in it."""
        if form is None:
            return None
        row = self.connection.execute("SELECT digest, kind, entry FROM form WHERE token = ?", (form.token,)).fetchone()
        if row is None:
            return None
        if row["digest"] != form.digest:
            raise BadInput(
                found="this form was sent before with something else in it",
                needed="an entry stays as it was made",
                remedy="open the entry, and enter what you changed as a correction",
            )
        return row["kind"], row["entry"]

    def note_form(self, form: Form | None, entry: Entry) -> None:
        """Remember what a form has made."""
        if form is not None:
            self.connection.execute("INSERT INTO form VALUES (?, ?, ?, ?)", (form.token, form.digest, entry.table, entry.id))

    def get(self, kind: type[E], number: int) -> E:
        """One entry by its own number; raises NotInRecord."""
        row = self.connection.execute(f"SELECT * FROM {kind.table} WHERE id = ?", (number,)).fetchone()  # noqa: S608 - as above
        if row is None:
            raise NotInRecord(
                found=f"there is no {kind.table} of number {number}",
                needed="an entry of the record is needed",
                remedy="go back to today's page",
            )
        return entry_of(kind, row)

    def current(self, kind: type[E], root: int) -> E:
        """What holds of an entry: its newest correction, or itself; raises NotInRecord."""
        row = self.connection.execute(
            f"SELECT * FROM {kind.table} WHERE id = ?1 OR corrects = ?1 ORDER BY id DESC LIMIT 1",  # noqa: S608 - as above
            (root,),
        ).fetchone()
        return entry_of(kind, row) if row is not None else self.get(kind, root)

    def listing(self, kind: type[E], *, newest_first: bool = False, limit: int = -1, offset: int = 0, **where: Any) -> tuple[E, ...]:
        """The entries that hold, those that a correction stands for left out; `where` gives values of columns."""
        named = "".join(f" AND here.{name} IS ?" for name in where)
        order = "DESC" if newest_first else "ASC"
        rows = self.connection.execute(
            f"SELECT here.* FROM {kind.table} AS here WHERE NOT EXISTS (SELECT 1 FROM {kind.table} AS later "  # noqa: S608 - as above
            f"WHERE later.corrects = COALESCE(here.corrects, here.id) AND later.id > here.id){named} "
            f"ORDER BY COALESCE(here.corrects, here.id) {order} LIMIT ? OFFSET ?",
            (*where.values(), limit, offset),
        )
        return tuple(entry_of(kind, row) for row in rows)

    def leaf(self, kind: type[E], number: int, *, size: int) -> tuple[tuple[E, ...], bool]:
        """One leaf of a long list, the newest first, counted from 0; and whether there are older ones."""
        found = self.listing(kind, newest_first=True, limit=size + 1, offset=number * size)
        return found[:size], len(found) > size

    def versions(self, kind: type[E], root: int) -> tuple[E, ...]:
        """An entry and all its corrections, oldest first."""
        rows = self.connection.execute(f"SELECT * FROM {kind.table} WHERE id = ?1 OR corrects = ?1 ORDER BY id", (root,))  # noqa: S608 - as above
        return tuple(entry_of(kind, row) for row in rows)

    def count(self, kind: type[Entry], **where: Any) -> int:
        """How many entries there are, corrections counted too."""
        named = " AND ".join(f"{name} IS ?" for name in where) or "1"
        return int(self.connection.execute(f"SELECT COUNT(*) FROM {kind.table} WHERE {named}", tuple(where.values())).fetchone()[0])  # noqa: S608 - as above

    def _seal(self, table: str, number: int) -> None:
        before = self.connection.execute("SELECT sha256 FROM seal ORDER BY number DESC LIMIT 1").fetchone()
        sealed = seal_of(self.row_text(table, number), before=before["sha256"] if before else "")
        self.connection.execute("INSERT INTO seal (kind, entry, sha256) VALUES (?, ?, ?)", (table, number, sealed))

    def row_text(self, table: str, number: int) -> str:
        """A row as one text, for its seal."""
        row = self.connection.execute(f"SELECT * FROM {table} WHERE id = ?", (number,)).fetchone()  # noqa: S608 - names come from our own schema
        return json.dumps([table, dict(row) if row else None], sort_keys=True, ensure_ascii=True)


def seal_of(text: str, *, before: str) -> str:
    """The seal of a row after another seal."""
    return hashlib.sha256(f"{before}\n{text}".encode()).hexdigest()


def entry_of(kind: type[E], row: sqlite3.Row) -> E:
    """The entry in a row of its table."""
    return kind(**{name: json.loads(row[name]) if name in JSON_FIELDS else row[name] for name in row.keys()})  # noqa: SIM118 - a Row iterates over values


def json_text(value: Any) -> str:
    """JSON with sorted keys, what is not known as null: the same values give the same text."""
    return json.dumps(_finite(value), sort_keys=True, ensure_ascii=False, allow_nan=False)


def _stored(value: Any, name: str) -> Any:
    return json_text(value) if name in JSON_FIELDS else value


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(key): _finite(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(each) for each in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value
