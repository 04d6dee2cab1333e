"""Open a shop's folder, keep a copy of it, and vouch for it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from straightband.shop.copying import Checked, check_shop, copy_shop
from straightband.shop.folder import Shop, open_shop
from straightband.workflows.read import tell_nobody
from straightband.workflows.vouched import Recomputed, Vouched

__all__ = ["Checked", "Recomputed", "Shop", "Vouched", "keep", "open_shop", "vouch"]


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
