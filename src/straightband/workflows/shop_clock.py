"""Times as the record writes them, and as a person reads them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

_STORED = "%Y-%m-%dT%H:%M:%SZ"


def utc_now() -> str:
    """The time by the computer's clock, as the record writes it."""
    return datetime.now(UTC).strftime(_STORED)


def moment(stored: str) -> datetime:
    """The moment that a stored time names."""
    return datetime.fromisoformat(stored)


def later(stored: str, *, minutes: float) -> str:
    """A stored time so many minutes after another."""
    return (moment(stored) + timedelta(minutes=minutes)).strftime(_STORED)


def day_shown(stored: str) -> str:
    """The day where the shop is, as `3 March 2026`."""
    local = moment(stored).astimezone()
    return f"{local.day} {local:%B %Y}"


def time_shown(stored: str) -> str:
    """Day and time where the shop is, as `3 March 2026, 14:05`."""
    return f"{day_shown(stored)}, {moment(stored).astimezone():%H:%M}"


def hour_shown(stored: str) -> str:
    """The time of day where the shop is, as `14:05`."""
    return f"{moment(stored).astimezone():%H:%M}"


def minutes_between(begin: str, end: str) -> float:
    """Minutes from one stored time to another, not below zero."""
    return max(0.0, (moment(end) - moment(begin)).total_seconds() / 60.0)
