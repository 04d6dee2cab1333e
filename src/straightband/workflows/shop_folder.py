"""Open a shop's folder, keep a copy of it, and vouch for it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from straightband.shop.copying import Checked, check_shop, copy_shop
from straightband.shop.entries import ReadingEntry
from straightband.shop.folder import Shop, open_shop
from straightband.workflows.read import tell_nobody
from straightband.workflows.shop_readings import recomputed

__all__ = ["Checked", "Shop", "Vouched", "keep", "open_shop", "vouch"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Vouched:
    """What can be said for a shop's folder.

    Attributes
    ----------
    checked
        Files and entries against their hashes.
    read_again
        How many readings were computed anew.
    differing
        A sentence for each that came out differently.
    """

    checked: Checked
    read_again: int
    differing: tuple[str, ...]

    @property
    def whole(self) -> bool:
        """Whether nothing is amiss."""
        return not self.checked.faults and not self.differing


def keep(shop: Shop, target: Path) -> Checked:
    """A consistent copy of the shop in a new folder, made while the bench may be running, and checked."""
    return copy_shop(shop, target)


def vouch(shop: Shop, *, recompute: bool = False, stage: Callable[[str], None] = tell_nobody) -> Vouched:
    """Check a shop's folder against its own hashes; with `recompute` also read every photograph again and compare the numbers."""
    checked = check_shop(shop)
    differing: list[str] = []
    numbers: list[int] = []
    if recompute and not checked.faults:
        with shop.record() as record:
            numbers = [each.id for each in record.listing(ReadingEntry)]
        for number in numbers:
            stage(f"reading {number} of {len(numbers)}")
            differing += [f"reading {number}: {each}" for each in recomputed(shop, number)]
    return Vouched(checked=checked, read_again=len(numbers), differing=tuple(differing))
