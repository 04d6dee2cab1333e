"""Entries of the record come out the same when they are computed anew, whatever was corrected since; one that does not is named."""

from dataclasses import replace

import pytest

from straightband.shop.entries import GaugingEntry, Ordered
from straightband.workflows.shop_folder import open_shop, vouch
from straightband.workflows.shop_orders import enter_order, enter_piece
from straightband.workflows.shop_prices import enter_prices
from straightband.workflows.shop_work import enter_gauging

NOW, LATER = "2026-03-03T09:41:07Z", "2026-03-04T09:41:07Z"
ORDER = {"name": "G-1", "aperture": "300mm", "focal_length": "1500mm", "intercept": "300mm", "full_field": "10mm"}
GAUGING = {"leg_circle": "40mm", "reading": "12.4um,12.6um,12.5um", "zero": "11.0um,11.1um", "after_abrasive": "20um"}


@pytest.fixture
def shop(tmp_path):
    """A shop with prices of its own, an order, a piece and two gaugings, of which the second knows the first."""
    shop = open_shop(tmp_path / "shop", make=True)
    enter_prices(shop, {"per_hour": "31", "currency": "CHF"}, now=NOW)
    enter_piece(shop, {"name": "G-1", "minor": "90mm"}, now=NOW, order_id=enter_order(shop, ORDER, now=NOW))
    for grain in ("20um", "10um"):
        enter_gauging(shop, 1, texts=GAUGING | {"after_abrasive": grain}, now=NOW)
    return shop


def test_what_was_changed_since_changes_nothing_that_was_found(shop):
    """New prices and a corrected size hold for what comes: the old quote and the old sags come out as they were."""
    enter_prices(shop, {"per_hour": "62"}, now=LATER)
    enter_piece(shop, {"name": "G-1", "minor": "95mm"}, now=LATER, corrects=1)
    enter_order(shop, ORDER | {"name": "G-2"}, now=LATER)
    with shop.record() as record:
        first, second = (record.get(Ordered, number).found["quote"] for number in (1, 2))
    assert first["price"] < second["price"]
    found = vouch(shop, recompute=True)
    assert found.recomputed.differing == ()
    assert found.recomputed.counts == {"orders": 2, "gaugings": 2}
    assert found.recomputed.same == 4


def test_a_number_that_was_never_found_is_named(shop):
    """An entry that says what its readings do not, and one whose readings are none, are each named; the rest counts as the same."""
    with shop.record() as record:
        true = record.get(GaugingEntry, 1)
        record.add(replace(true, id=0, found=true.found | {"sag_um": true.found["sag_um"] + 1e-9}))
        record.add(replace(true, id=0, told=true.told | {"reading": "much"}))
    found = vouch(shop, recompute=True)
    assert not found.whole
    first, second = found.recomputed.differing
    assert first == "gauging 3: 'sag_um' came out differently"
    assert second.startswith("gauging 4: it can't be computed anew: the reading was given as 'much'")
    assert found.recomputed.same == 3
