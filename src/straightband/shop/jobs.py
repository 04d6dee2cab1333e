"""Work in hand: asked for by a page, done by another process, watched by whoever looks. No record: a job changes while it is done."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import dataclass
from typing import Any

from straightband.shop.record import Form, NotInRecord, Record, json_text

OVER = ("done", "failed", "stopped")


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One job.

    Attributes
    ----------
    id, at, kind, told
        Its number, when it was asked for, what is to be done, with what.
    state
        `waiting`, `running`, `done`, `failed` or `stopped`.
    stage
        What is being done at the moment, in words.
    sentence
        Why it failed, or nothing.
    leads_to
        Where its result is shown, or nothing.
    """

    id: int
    at: str
    kind: str
    told: dict[str, Any]
    state: str
    stage: str
    sentence: str
    leads_to: str


def ask_for(record: Record, kind: str, *, told: dict[str, Any], now: str, form: Form | None = None) -> Job:
    """A new job, or the one that the same form has asked for before."""
    token = None if form is None else form.token
    with record.transaction():
        row = None if token is None else record.connection.execute("SELECT id FROM job WHERE token = ?", (token,)).fetchone()
        if row is not None:
            return job_of(record, row["id"])
        cursor = record.connection.execute(
            "INSERT INTO job (at, kind, told, state, stage, sentence, leads_to, token) VALUES (?, ?, ?, 'waiting', 'waiting for its turn', '', '', ?)",
            (now, kind, json_text(told), token),
        )
    return job_of(record, int(cursor.lastrowid or 0))


def job_of(record: Record, number: int) -> Job:
    """One job; raises NotInRecord."""
    row = record.connection.execute("SELECT * FROM job WHERE id = ?", (number,)).fetchone()
    if row is None:
        raise NotInRecord(
            found=f"there is no work of number {number}", needed="work that was asked for is needed", remedy="go back to today's page"
        )
    return _job(row)


def take_next(record: Record) -> Job | None:
    """The oldest job that waits, now running; None where none does."""
    with record.transaction():
        row = record.connection.execute("SELECT id FROM job WHERE state = 'waiting' ORDER BY id LIMIT 1").fetchone()
        if row is None:
            return None
        record.connection.execute("UPDATE job SET state = 'running', stage = 'beginning' WHERE id = ?", (row["id"],))
    return job_of(record, row["id"])


def tell_stage(record: Record, number: int, *, stage: str) -> bool:
    """What is being done at the moment; tells whether the job is still wanted."""
    cursor = record.connection.execute("UPDATE job SET stage = ? WHERE id = ? AND state = 'running'", (stage, number))
    return cursor.rowcount == 1


def end(record: Record, number: int, *, state: str, sentence: str = "", leads_to: str = "") -> bool:
    """End a job that is not over; tells whether it was still to be ended."""
    cursor = record.connection.execute(
        "UPDATE job SET state = ?, sentence = ?, leads_to = ?, stage = '' WHERE id = ? AND state IN ('waiting', 'running')",
        (state, sentence, leads_to, number),
    )
    return cursor.rowcount == 1


def running(record: Record) -> tuple[Job, ...]:
    """Jobs that are being done, or were when the program last stopped."""
    return tuple(_job(row) for row in record.connection.execute("SELECT * FROM job WHERE state = 'running' ORDER BY id"))


def not_over(record: Record, *, limit: int = -1) -> tuple[Job, ...]:
    """Jobs that wait or are being done, oldest first."""
    rows = record.connection.execute("SELECT * FROM job WHERE state IN ('waiting', 'running') ORDER BY id LIMIT ?", (limit,))
    return tuple(_job(row) for row in rows)


def count_not_over(record: Record) -> int:
    """How many there are."""
    return int(record.connection.execute("SELECT COUNT(*) FROM job WHERE state IN ('waiting', 'running')").fetchone()[0])


def _job(row: sqlite3.Row) -> Job:
    names = ("id", "at", "kind", "state", "stage", "sentence", "leads_to")
    return Job(told=json.loads(row["told"]), **{name: row[name] for name in names})
