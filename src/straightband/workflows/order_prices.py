"""What things cost and how long they take: the shop's own figures from a small TOML file, or defaults that say that they are ours.

Every default is common practice, no source: it gives an order of magnitude until the shop puts in its own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from straightband.errors import BadInput
from straightband.quantities import parse_length_mm
from straightband.workflows.toml_table import table_from_toml

MOST_DONE = 1000
DEFAULT_ORIGIN = "our default: common practice, no source"
OWN_ORIGIN = "the shop's own figure"

# key: default, largest that is taken, what it is
KEYS: dict[str, tuple[float, float, str]] = {
    "per_hour": (30.0, 1e5, "one hour of work"),
    "glass_per_kg": (45.0, 1e6, "glass, per kg"),
    "glass_allowance_mm": (6.0, 100.0, "added to both axes of the blank for sawing and edging, in mm"),
    "abrasive_per_kg": (30.0, 1e6, "abrasive of all sizes, per kg"),
    "abrasive_g_per_cm2": (0.8, 1e3, "abrasive used up on both faces, in g per cm2 of face"),
    "pads_per_100cm2": (2.0, 1e3, "polishing pads worn out per 100 cm2 of face"),
    "pad": (4.0, 1e5, "one polishing pad"),
    "ceria_per_kg": (70.0, 1e6, "cerium oxide, per kg"),
    "ceria_g_per_cm2": (0.4, 1e3, "cerium oxide used up, in g per cm2 of face"),
    "hours_fixed": (3.0, 1e3, "hours that every mirror takes: sawing, edging, bevel, blocking, papers"),
    "hours_per_100cm2": (5.0, 1e4, "hours of grinding, polishing, testing and figuring per 100 cm2 of face"),
    "margin_percent": (20.0, 1e3, "margin, in per cent added to the cost"),
}
DEFAULT_CURRENCY = "EUR"


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """A mirror the shop has made.

    Attributes
    ----------
    area_cm2
        Of its face.
    hours
        What it took.
    """

    area_cm2: float
    hours: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Prices:
    """Figures behind a quote.

    Attributes
    ----------
    values
        Under the names of `KEYS`.
    own
        Names of those that the shop gave.
    currency
        As written by the shop.
    done
        Mirrors made, from which hours can be told.
    """

    values: dict[str, float]
    own: frozenset[str]
    currency: str
    done: tuple[Done, ...]

    def origin(self, *keys: str) -> str:
        """Whose figures these are."""
        theirs = [key for key in keys if key in self.own]
        if len(theirs) == len(keys):
            return OWN_ORIGIN
        return DEFAULT_ORIGIN if not theirs else f"{OWN_ORIGIN} for {', '.join(theirs)}; the rest {DEFAULT_ORIGIN}"


DEFAULT_PRICES = Prices(values={key: each[0] for key, each in KEYS.items()}, own=frozenset(), currency=DEFAULT_CURRENCY, done=())


def prices_from_toml(data: bytes, *, name: str) -> Prices:
    """The shop's figures in the bytes of a file called `name`, our defaults for the rest; raises BadInput."""
    shown = f"the price file '{name[:60]}'"
    table = table_from_toml(data, shown=shown, needed="lines like per_hour = 30 are needed")
    for key in table:
        if key not in {*KEYS, "currency", "done"}:
            raise BadInput(
                found=f"{shown} has '{key[:40]}', which is not known",
                needed=f"the keys are currency, done, {', '.join(KEYS)}",
                remedy="correct its name or take it out",
            )
    own = {key: _amount(table[key], key=key, shown=shown) for key in KEYS if key in table}
    return Prices(
        values=DEFAULT_PRICES.values | own,
        own=frozenset(own),
        currency=_currency(table.get("currency", DEFAULT_CURRENCY), shown=shown),
        done=_done(table.get("done", []), shown=shown),
    )


def _amount(value: Any, *, key: str, shown: str) -> float:
    _, most, meaning = KEYS[key]
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0.0 <= value <= most:
        raise BadInput(
            found=f"'{key}' in {shown} is no number from 0 to {most:g}",
            needed=f"it is {meaning}",
            remedy=f"write it like {key} = {KEYS[key][0]:g}",
        )
    return float(value)


def _currency(value: Any, *, shown: str) -> str:
    if not isinstance(value, str) or not 1 <= len(value.strip()) <= 8:
        raise BadInput(
            found=f"'currency' in {shown} is no short text", needed="1 to 8 letters are needed", remedy='write it like currency = "EUR"'
        )
    return value.strip()


def _done(value: Any, *, shown: str) -> tuple[Done, ...]:
    if not isinstance(value, list) or not all(isinstance(each, dict) for each in value) or len(value) > MOST_DONE:
        raise BadInput(
            found=f"'done' in {shown} is no list of mirrors",
            needed=f"up to {MOST_DONE} tables are needed",
            remedy="write [[done]] above each",
        )
    return tuple(_one_done(each, shown=f"[[done]] {number} in {shown}") for number, each in enumerate(value, 1))


def _one_done(table: dict[str, Any], *, shown: str) -> Done:
    minor, hours = table.get("minor"), table.get("hours")
    if set(table) - {"minor", "hours"} or not isinstance(minor, str) or isinstance(hours, bool) or not isinstance(hours, int | float):
        raise BadInput(
            found=f"{shown} is not understood",
            needed="a minor axis with its unit and the hours it took are needed",
            remedy='write minor = "63mm" and hours = 9.5',
        )
    if not 0.0 < hours <= 1e4:
        raise BadInput(
            found=f"{shown} took no hours, or too many", needed="more than none and at most 10000 are needed", remedy="correct it"
        )
    minor_mm = parse_length_mm(minor, what=f"the minor axis of {shown}")
    return Done(area_cm2=math.pi / 4.0 * minor_mm**2 * math.sqrt(2.0) / 100.0, hours=float(hours))
