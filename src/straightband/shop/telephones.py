"""Telephones that the shop knows: only the hash of a cookie is kept, so that the folder gives nobody a way in."""

from __future__ import annotations

from dataclasses import dataclass

from straightband.shop.archive import sha256_of
from straightband.shop.record import Record


@dataclass(frozen=True, slots=True, kw_only=True)
class Telephone:
    """One of them.

    Attributes
    ----------
    id, at, name, until
        Number, when it was paired, what it calls itself, until when it is known.
    """

    id: int
    at: str
    name: str
    until: str


def know(record: Record, cookie: str, *, name: str, now: str, until: str) -> None:
    """Know a telephone by its cookie from now on."""
    record.connection.execute(
        "INSERT INTO telephone (at, name, cookie_sha256, until) VALUES (?, ?, ?, ?)", (now, name[:80], sha256_of(cookie.encode()), until)
    )


def is_known(record: Record, cookie: str, *, now: str) -> bool:
    """Whether a telephone with that cookie was paired and not forgotten."""
    row = record.connection.execute(
        "SELECT 1 FROM telephone WHERE cookie_sha256 = ? AND until > ?", (sha256_of(cookie.encode()), now)
    ).fetchone()
    return row is not None


def telephones(record: Record, *, now: str) -> tuple[Telephone, ...]:
    """All that are known, the newest first."""
    rows = record.connection.execute("SELECT id, at, name, until FROM telephone WHERE until > ? ORDER BY id DESC", (now,))
    return tuple(Telephone(**dict(row)) for row in rows)


def forget(record: Record, number: int) -> None:
    """Know a telephone no longer."""
    record.connection.execute("DELETE FROM telephone WHERE id = ?", (number,))
