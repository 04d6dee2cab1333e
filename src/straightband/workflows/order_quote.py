"""What to ask for a mirror: material, abrasive, pads, polish, hours and margin, each with whose figure it rests on."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from straightband.glass import Glass, weight_kg
from straightband.workflows.order_prices import DEFAULT_ORIGIN, Done, Prices

DEFAULT_SPREAD = 0.5  # share of hours told by our defaults by which they may be wrong; common practice, no source
FEWEST_FOR_A_LINE = 4  # mirrors on record from which a fixed part and a part by area can be told, with two left to tell the spread


@dataclass(frozen=True, slots=True, kw_only=True)
class QuoteLine:
    """One line of a quote.

    Attributes
    ----------
    name
        What it is for.
    quantity, unit
        How much of it.
    cost
        In the quote's currency.
    origin
        Whose figures it rests on.
    """

    name: str
    quantity: float
    unit: str
    cost: float
    origin: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Quote:
    """A price and what it is made of.

    Attributes
    ----------
    lines
        Material, abrasive, pads, ceria, hours.
    cost, margin, price
        Sum of the lines, what is added, and what to ask.
    margin_percent, margin_origin
        Added to the cost, and whose figure that is.
    price_spread
        By how much the price may be wrong since the hours may be (95 % where the shop's record tells them).
    hours, hours_spread
        What the work takes.
    currency
        Of all amounts.
    """

    lines: tuple[QuoteLine, ...]
    cost: float
    margin: float
    price: float
    margin_percent: float
    margin_origin: str
    price_spread: float
    hours: float
    hours_spread: float
    currency: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Hours:
    """How long a mirror takes.

    Attributes
    ----------
    hours, spread
        Told, and by how much that may be wrong.
    origin
        Whose figures it rests on.
    """

    hours: float
    spread: float
    origin: str


def quote(prices: Prices, *, minor_mm: float, thickness_mm: float, glass: Glass) -> Quote:
    """The quote for one elliptical mirror of that minor axis and thickness."""
    value = prices.values
    area_cm2 = math.pi / 4.0 * minor_mm * minor_mm * math.sqrt(2.0) / 100.0
    time = hours_for(area_cm2, prices=prices)
    allowance = value["glass_allowance_mm"]
    blank_mm3 = (minor_mm + allowance) * (minor_mm * math.sqrt(2.0) + allowance) * thickness_mm
    kg = weight_kg(glass, volume_mm3=blank_mm3)
    abrasive_kg = 1e-3 * value["abrasive_g_per_cm2"] * area_cm2
    ceria_kg = 1e-3 * value["ceria_g_per_cm2"] * area_cm2
    pads = value["pads_per_100cm2"] * area_cm2 / 100.0
    lines = (
        _line(prices, "glass", kg, unit="kg", keys=("glass_per_kg", "glass_allowance_mm")),
        _line(prices, "abrasive", abrasive_kg, unit="kg", keys=("abrasive_per_kg", "abrasive_g_per_cm2")),
        _line(prices, "pads", pads, unit="pads", keys=("pad", "pads_per_100cm2")),
        _line(prices, "ceria", ceria_kg, unit="kg", keys=("ceria_per_kg", "ceria_g_per_cm2")),
        QuoteLine(
            name="hours",
            quantity=time.hours,
            unit="h",
            cost=time.hours * value["per_hour"],
            origin=time.origin,
        ),
    )
    cost = sum(each.cost for each in lines)
    factor = 1.0 + value["margin_percent"] / 100.0
    return Quote(
        lines=lines,
        cost=cost,
        margin=cost * (factor - 1.0),
        price=cost * factor,
        margin_percent=value["margin_percent"],
        margin_origin=prices.origin("margin_percent"),
        price_spread=time.spread * value["per_hour"] * factor,
        hours=time.hours,
        hours_spread=time.spread,
        currency=prices.currency,
    )


def _line(prices: Prices, name: str, quantity: float, *, unit: str, keys: tuple[str, str]) -> QuoteLine:
    """One line at the price of the first key, resting on both."""
    return QuoteLine(name=name, quantity=quantity, unit=unit, cost=quantity * prices.values[keys[0]], origin=prices.origin(*keys))


def hours_for(area_cm2: float, *, prices: Prices) -> Hours:
    """Hours for a face of that area: from the mirrors on record where there are any, else from the two figures for hours."""
    value = prices.values
    told = value["hours_fixed"] + value["hours_per_100cm2"] * area_cm2 / 100.0
    if not prices.done:
        return Hours(hours=told, spread=DEFAULT_SPREAD * told, origin=prices.origin("hours_fixed", "hours_per_100cm2"))
    count = len(prices.done)
    origin = f"{count} mirror{'s' if count > 1 else ''} on the shop's record"
    if count < FEWEST_FOR_A_LINE or len({done.area_cm2 for done in prices.done}) < 3:
        ratio = _ratio(prices.done, prices=prices)
        return Hours(hours=told * ratio, spread=DEFAULT_SPREAD * told * ratio, origin=f"{origin}, by size as in {DEFAULT_ORIGIN}")
    return _by_line(prices.done, area_cm2=area_cm2, origin=origin)


def _ratio(done: tuple[Done, ...], *, prices: Prices) -> float:
    """How much longer the shop takes than the two figures for hours say."""
    value = prices.values
    told = sum(value["hours_fixed"] + value["hours_per_100cm2"] * each.area_cm2 / 100.0 for each in done)
    return sum(each.hours for each in done) / told if told > 0.0 else 1.0


def _by_line(done: tuple[Done, ...], *, area_cm2: float, origin: str) -> Hours:
    """Least-squares line of hours over area, with its 95 % interval for one more mirror."""
    from scipy.stats import t

    area, hours = np.array([each.area_cm2 for each in done]), np.array([each.hours for each in done])
    terms = np.stack([np.ones_like(area), area], axis=1)
    fit, *_ = np.linalg.lstsq(terms, hours, rcond=None)
    free = len(done) - 2
    scatter = math.sqrt(float(np.sum((hours - terms @ fit) ** 2)) / free)
    at = np.array([1.0, area_cm2])
    leverage = float(at @ np.linalg.solve(terms.T @ terms, at))
    told = max(float(at @ fit), float(hours.min()) * min(1.0, area_cm2 / float(area.min())))  # a line may fall below nothing
    factor = float(t.ppf(0.5 + 0.95 / 2.0, free))
    return Hours(hours=told, spread=factor * scatter * math.sqrt(1.0 + leverage), origin=origin)
