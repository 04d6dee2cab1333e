"""How the sag of a face went from abrasive to abrasive."""

from __future__ import annotations

from enum import StrEnum


class Trend(StrEnum):
    """Where the face is going."""

    TOWARD_FLAT = "toward flat"
    AWAY = "away from flat"
    THROUGH = "through flat to the other side"
    STILL = "no change that can be told"


def trend_of(earlier_um: float, now_um: float, *, uncertainty_um: float) -> Trend:
    """What became of a sag, when each of the two is known to that expanded uncertainty."""
    if abs(now_um - earlier_um) <= uncertainty_um * 2.0**0.5:
        return Trend.STILL
    if earlier_um * now_um < 0.0 and min(abs(earlier_um), abs(now_um)) > uncertainty_um:
        return Trend.THROUGH
    return Trend.TOWARD_FLAT if abs(now_um) < abs(earlier_um) else Trend.AWAY
