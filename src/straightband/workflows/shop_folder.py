"""Open a shop's folder, keep a copy of it, and vouch for it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from straightband.shop.copying import Checked, check_shop, copy_shop
from straightband.shop.folder import Shop, open_shop
from straightband.workflows.read import tell_nobody

__all__ = ["Checked", "Recomputed", "Shop", "Vouched", "keep", "open_shop", "vouch"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Recomputed:
    """What came of it.

    Attributes
    ----------
    counts
        How many of each kind were computed anew, by the kind's name for several; those of which there is none left out.
    same
        How many of all came out the same.
    differing
        A sentence for each fact that came out differently, and for each entry that could not be computed.
    """

    counts: dict[str, int]
    same: int
    differing: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Vouched:
    """What can be said for a shop's folder.

    Attributes
    ----------
    checked
        Files and entries against their hashes.
    recomputed
        What was computed anew, or None where that was not asked for, or could not be trusted.
    """

    checked: Checked
    recomputed: Recomputed | None

    @property
    def whole(self) -> bool:
        """Whether nothing is amiss."""
        return not self.checked.faults and not (self.recomputed and self.recomputed.differing)


def keep(shop: Shop, target: Path) -> Checked:
    """A consistent copy of the shop in a new folder, made while the bench may be running, and checked."""
    return copy_shop(shop, target)


def vouch(shop: Shop, *, recompute: bool = False, stage: Callable[[str], None] = tell_nobody) -> Vouched:
    """Check a shop's folder against its own hashes; with `recompute` also compute all that it holds anew and compare the numbers."""
    checked = check_shop(shop)
    if not recompute or checked.faults:
        return Vouched(checked=checked, recomputed=None)
    from straightband.workflows.shop_recompute import recompute_all  # which loads everything that computes

    return Vouched(checked=checked, recomputed=recompute_all(shop, stage=stage))
