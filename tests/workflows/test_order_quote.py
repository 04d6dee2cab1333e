"""The quote: sums, whose figures, hours from the record.

Sources: arithmetic; least-squares line and its prediction interval, any text on statistics; every default is common practice, no source.
"""

import math

import numpy as np
import pytest
from scipy import stats

from straightband.errors import BadInput
from straightband.glass import GLASSES
from straightband.workflows.order import order_from_text, take_order
from straightband.workflows.order_prices import DEFAULT_PRICES, KEYS, prices_from_toml
from straightband.workflows.order_quote import hours_for, quote
from straightband.workflows.order_report import order_facts, order_lines

GLASS = GLASSES["borosilicate"]
OWN = b"""
currency = "CHF"
per_hour = 40
glass_per_kg = 100
glass_allowance_mm = 10
abrasive_per_kg = 10
abrasive_g_per_cm2 = 1
pad = 5
pads_per_100cm2 = 3
ceria_per_kg = 50
ceria_g_per_cm2 = 0.5
hours_fixed = 2
hours_per_100cm2 = 4
margin_percent = 25
"""


def own(*, done=""):
    return prices_from_toml(OWN + done.encode(), name="prices.toml")


def test_the_quote_is_its_lines_and_the_margin():
    """Every line is quantity times price, worked out here by hand for a 90 mm diagonal of 18 mm."""
    found = quote(own(), minor_mm=90.0, thickness_mm=18.0, glass=GLASS)
    area_cm2 = math.pi / 4 * 9.0 * 9.0 * math.sqrt(2)
    kg = 2230e-9 * 100.0 * (90.0 * math.sqrt(2) + 10.0) * 18.0
    costs = (100 * kg, 10 * 1e-3 * area_cm2, 5 * 3 * area_cm2 / 100, 50 * 0.5e-3 * area_cm2, 40 * (2 + 4 * area_cm2 / 100))
    assert tuple(line.cost for line in found.lines) == pytest.approx(costs, rel=1e-12)
    assert found.price == pytest.approx(1.25 * sum(costs), rel=1e-12)
    assert found.cost + found.margin == pytest.approx(found.price, rel=1e-12)
    assert found.currency == "CHF"


def test_defaults_say_that_they_are_defaults():
    """With nothing told, every figure in facts and text says common practice, no source."""
    order = take_order(order_from_text(aperture="300mm", focal_length="1500mm", intercept="240mm", full_field="15mm"))
    assert all("common practice, no source" in each["origin"] for each in order_facts(order)["quote"]["figures"].values())
    text = "\n".join(order_lines(order))
    assert all(f"*{DEFAULT_PRICES.values[key]:7g}  {KEYS[key][2]}" in text for key in KEYS)


def test_the_shops_own_figures_are_said_to_be_its_own():
    """A file that gives all leaves no default; one that gives some says which."""
    assert all(own().origin(key) == "the shop's own figure" for key in KEYS)
    some = prices_from_toml(b"per_hour = 55", name="p.toml")
    assert some.values["per_hour"] == 55
    assert some.values["pad"] == DEFAULT_PRICES.values["pad"]
    assert "common practice" in some.origin("pad")
    assert some.origin("glass_per_kg", "per_hour").startswith("the shop's own figure for per_hour; the rest our default")


def record(pairs):
    return "".join(f'[[done]]\nminor = "{minor}mm"\nhours = {hours}\n' for minor, hours in pairs)


def test_few_mirrors_on_record_scale_the_hours():
    """One mirror that took twice what the figures say doubles the hours of every other."""
    prices = own()
    area = math.pi / 4 * 6.3**2 * math.sqrt(2)
    told = hours_for(area, prices=prices).hours
    scaled = own(done=record([(63, 2 * told)]))
    assert hours_for(100.0, prices=scaled).hours == pytest.approx(2 * hours_for(100.0, prices=prices).hours, rel=1e-12)
    assert hours_for(100.0, prices=scaled).origin.startswith("1 mirror on the shop's record")


def test_many_mirrors_on_record_give_a_line_and_its_interval():
    """From eight mirrors the hours are a straight line over the area with the 95 % interval for one more, as scipy has it."""
    rng = np.random.default_rng(3)
    minors = np.array([40, 50, 63, 75, 90, 100, 120, 150])
    areas = math.pi / 4 * minors**2 * math.sqrt(2) / 100
    hours = np.round(3 + 0.06 * areas + rng.normal(0, 0.5, 8), 3)
    found = hours_for(80.0, prices=own(done=record(zip(minors, hours, strict=True))))
    line = stats.linregress(areas, hours)
    scatter = math.sqrt(np.sum((hours - line.intercept - line.slope * areas) ** 2) / 6)
    spread = stats.t.ppf(0.975, 6) * scatter * math.sqrt(1 + 1 / 8 + (80 - areas.mean()) ** 2 / np.sum((areas - areas.mean()) ** 2))
    assert found.hours == pytest.approx(line.intercept + 80 * line.slope, rel=1e-9)
    assert found.spread == pytest.approx(spread, rel=1e-9)
    assert found.origin == "8 mirrors on the shop's record"


def test_a_line_never_promises_no_work():
    """A record whose line falls below nothing at small sizes still gives hours above none."""
    prices = own(done=record([(100, 2), (110, 4), (120, 6), (130, 8)]))
    assert hours_for(5.0, prices=prices).hours > 0.0


@pytest.mark.parametrize(
    ("data", "part"),
    [
        (b"per_hour = ", "is not TOML"),
        (b"\xff\xfe", "is not plain text in UTF-8"),
        (b"hourly = 30", "has 'hourly', which is not known"),
        (b'per_hour = "30"', "'per_hour' in the price file 'p.toml' is no number from 0 to 100000"),
        (b"per_hour = -1", "is no number from 0"),
        (b"per_hour = nan", "is no number from 0"),
        (b"per_hour = true", "is no number from 0"),
        (b"per_hour = 1" + b"0" * 400, "is no number from 0"),
        (b"currency = 5", "'currency' in the price file 'p.toml' is no short text"),
        (b"done = 5", "'done' in the price file 'p.toml' is no list of mirrors"),
        (b'[[done]]\nminor = "63mm"', "[[done]] 1 in the price file 'p.toml' is not understood"),
        (b'[[done]]\nminor = "63mm"\nhours = 0', "took no hours, or too many"),
        (b'[[done]]\nminor = "63"\nhours = 2', "was given as '63' without a unit"),
        (b"#" * 200_000, "has 200000 bytes"),
    ],
    ids=str,
)
def test_a_price_file_that_cannot_be_used_is_refused(data, part):
    """A price file is refused by the first thing in it that is not understood."""
    with pytest.raises(BadInput) as refused:
        prices_from_toml(data, name="p.toml")
    assert part in str(refused.value)
