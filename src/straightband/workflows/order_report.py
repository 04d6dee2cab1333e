"""An order in names for programs and in sentences for people."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from straightband.quantities import MM_PER_UNIT
from straightband.telescope.sizing import loss_mag
from straightband.workflows.order import Light, Mirror, Order
from straightband.workflows.order_prices import KEYS

UNITS = ("mm", "in")
SENTENCES = {
    "axis-not-fully-lit": "the mirror is narrower than the light of a star in the middle of the field: it stops the telescope down",
    "field-not-fully-lit": "the mirror does not light the whole field that was asked for",
    "bevel-in-the-light": "only with its bevel does the mirror cover the light: a turned edge would show in stars at the edge of the field",
    "none-at-hand-is-enough": "no size at hand is large enough; one must be made",
    "focus-inside-the-tube": "the focus lies inside the tube: no eye and no camera can reach it; check the intercept",
    "wide-shadow": "the mirror shades more than 30 % of the aperture, which costs a tenth of a magnitude and contrast",
    "prices-are-not-the-shops-own": "the price rests on our defaults in part or whole (common practice, no source); put the shop's own in with --prices",
}
_ROWS_SHOWN = 6
_DECIMALS = {"mm": 2, "in": 3}


def explain(flag: str) -> str:
    """The sentence for a flag."""
    return SENTENCES[flag]


def order_facts(order: Order) -> dict[str, Any]:
    """The order under the names of the contract, as plain JSON values; all lengths in mm."""
    request, cut = order.request, order.cut
    telescope = request.telescope
    glass = order.glass_minor_mm
    return {
        "minor_axis_mm": cut.minor_axis_mm,
        "cut_minor_mm": cut.cut_minor_mm,
        "cut_major_mm": cut.cut_major_mm,
        "offset_mm": cut.offset_mm,
        "offset_along_glass_mm": math.sqrt(2.0) * cut.offset_mm,
        "offset_direction": ["away from the focuser", "toward the primary"],
        "obstruction": order.mirror.obstruction,
        "obstruction_loss_mag": _loss(1.0 - order.mirror.obstruction**2),
        "full_field_mm": order.mirror.full_field_mm,
        "illumination": [_light_facts(light) for light in order.illumination],
        "minor_axis_rim_mm": order.rim_minor_mm,
        "classical": {
            "minor_axis_mm": order.classical_minor_mm,
            "offset_mm": order.classical_offset_mm,
            "short_by_mm": cut.minor_axis_mm - order.classical_minor_mm,
        },
        "mirror": {**_mirror_facts(order.mirror), "choice": order.choice},
        "sizes": [_mirror_facts(size) for size in order.sizes],
        "glass": {
            "kind": request.glass.name,
            "minor_mm": glass,
            "major_mm": glass * math.sqrt(2.0),
            "margin": request.margin,
            "obstruction": glass / telescope.aperture_mm,
        },
        "tolerance": _tolerance_facts(order),
        "thickness_mm": order.support.thickness_mm,
        "sag": {"edge_carried_nm": order.support.edge_sag_nm, "three_points_rms_nm": order.support.three_points_rms_nm},
        "quote": _quote_facts(order),
        "telescope": {
            "aperture_mm": telescope.aperture_mm,
            "focal_length_mm": telescope.focal_length_mm,
            "intercept_mm": telescope.intercept_mm,
            "full_field_mm": telescope.full_field_mm,
        },
        "flags": list(order.flags),
    }


def _light_facts(light: Light) -> dict[str, float]:
    return {
        "field_radius_mm": light.field_radius_mm,
        "fraction": light.lit.fraction,
        "loss_mag": _loss(light.lit.fraction),
        "fraction_least": light.lit.least,
        "fraction_paraxial": light.paraxial,
    }


def _mirror_facts(mirror: Mirror) -> dict[str, float]:
    return {name: getattr(mirror, name) for name in Mirror.__slots__}


def _tolerance_facts(order: Order) -> dict[str, Any]:
    tolerance = order.tolerance
    kinds = {"power": tolerance.power_nm, "astigmatism": tolerance.astigmatism_nm, "irregularity_rms": tolerance.irregularity_rms_nm}
    return {
        "strehl_wanted": order.request.strehl_wanted,
        "light_judged_nm": order.request.wavelength_nm,
        "wavefront_rms_nm": tolerance.wavefront_rms_nm,
        "band_nm": order.band_nm,
        "alone": {f"{name}_{unit}": value / per for name, value in kinds.items() for unit, per in (("nm", 1.0), ("bands", order.band_nm))},
        "together": {
            f"{name}_{unit}": tolerance.share * value / per
            for name, value in kinds.items()
            for unit, per in (("nm", 1.0), ("bands", order.band_nm))
        },
        "iso10110": _indication(order),
    }


def _indication(order: Order) -> str:
    """The limits for power and irregularity together as an indication after ISO 10110-5, which `judge --iso` takes."""
    tolerance = order.tolerance
    return f"3/{tolerance.share * tolerance.power_nm:.0f} nm(-); RMSi < {tolerance.share * tolerance.irregularity_rms_nm:.1f} nm"


def _quote_facts(order: Order) -> dict[str, Any]:
    quote = order.quote
    return {
        "currency": quote.currency,
        "price": round(quote.price, 2),
        "price_spread": round(quote.price_spread, 2),
        "cost": round(quote.cost, 2),
        "margin": round(quote.margin, 2),
        "margin_percent": quote.margin_percent,
        "margin_origin": quote.margin_origin,
        "hours": quote.hours,
        "hours_spread": quote.hours_spread,
        "figures": {
            key: {"value": order.request.prices.values[key], "what": KEYS[key][2], "origin": order.request.prices.origin(key)}
            for key in KEYS
        },
        "lines": [
            {"name": line.name, "quantity": line.quantity, "unit": line.unit, "cost": round(line.cost, 2), "origin": line.origin}
            for line in quote.lines
        ],
    }


def order_lines(order: Order, *, units: str = "mm") -> tuple[str, ...]:
    """The order as a person at the bench wants it: the piece of glass first. `units` is `mm` or `in`."""

    def shown(length_mm: float) -> str:
        return f"{length_mm / MM_PER_UNIT[units]:.{_DECIMALS[units]}f} {units}"

    return (
        *_size_lines(order, shown),
        *_place_lines(order, shown),
        *_light_lines(order, shown),
        *_tolerance_lines(order),
        *_support_lines(order, shown),
        *_quote_lines(order),
        *(f"Note: {explain(flag)}." for flag in order.flags),
    )


def _size_lines(order: Order, shown: Callable[[float], str]) -> tuple[str, ...]:
    glass, cut, mirror = order.glass_minor_mm, order.cut, order.mirror
    axes = f"{shown(glass)} x {shown(glass * math.sqrt(2.0))}"
    margin = f"{100 * order.request.margin:g} % of each semi-axis"
    first = {
        "asked": f"Diagonal as asked: {axes}.",
        "at hand": f"Take the {shown(mirror.minor_mm)} at hand: {axes}.",
        "to make": f"Make the glass {axes}: the light, {margin} for the bevel, and up to the next half millimetre.",
    }[order.choice]
    return (
        first,
        f"The light needs a 1 : 1.414 ellipse of {shown(cut.minor_axis_mm)} minor axis; the cut itself is {shown(cut.cut_minor_mm)} x {shown(cut.cut_major_mm)}.",
        f"  With the rim of the primary as the stop: {shown(order.rim_minor_mm)}.",
        f"  By the handbook formula: {shown(order.classical_minor_mm)}, short by {shown(cut.minor_axis_mm - order.classical_minor_mm)}.",
        f"{_whose(order, shown)} lights a field of {shown(mirror.full_field_mm)} fully{_inside(order, shown)}.",
        f"  It shades {100 * mirror.obstruction:.1f} % of the aperture ({100 * mirror.obstruction**2:.1f} % of the light).",
        *(_size_line(size, shown) for size in order.sizes),
    )


def _whose(order: Order, shown: Callable[[float], str]) -> str:
    return f"A face of {shown(order.mirror.minor_mm)}" if order.choice == "to make" else "It"


def _inside(order: Order, shown: Callable[[float], str]) -> str:
    """What is lit inside the bevel; a mirror to make has its bevel outside of what the light needs."""
    return "" if order.choice == "to make" else f", {shown(order.mirror.full_field_inside_bevel_mm)} of it from inside the bevel"


def _loss(fraction: float) -> float:
    """Magnitudes lost, which rounding must not turn into a gain."""
    return max(0.0, loss_mag(fraction))


def _size_line(size: Mirror, shown: Callable[[float], str]) -> str:
    loss = f"{size.edge_loss_mag:.2f} mag" if math.isfinite(size.edge_loss_mag) else "all"
    return f"  at hand {shown(size.minor_mm):>10}: lights {shown(size.full_field_mm)} fully, edge of the field loses {loss}, shades {100 * size.obstruction:.1f} %"


def _place_lines(order: Order, shown: Callable[[float], str]) -> tuple[str, ...]:
    offset = order.mirror.offset_mm
    return (
        f"Offset: {shown(offset)} away from the focuser and {shown(offset)} toward the primary, which is {shown(math.sqrt(2.0) * offset)} along the glass.",
    )


def _light_lines(order: Order, shown: Callable[[float], str]) -> tuple[str, ...]:
    rows = order.illumination
    picked = rows[:: max(1, math.ceil(len(rows) / _ROWS_SHOWN))]
    return (
        "Light by distance from the middle of the field (mean around, worst direction, by the formula of two circles):",
        *(
            f"  {shown(row.field_radius_mm):>10}  {100 * row.lit.fraction:5.1f} %  {100 * row.lit.least:5.1f} %  {100 * row.paraxial:5.1f} %  "
            f"loses {_loss(row.lit.fraction):.2f} mag"
            for row in picked
        ),
    )


def _tolerance_lines(order: Order) -> tuple[str, ...]:
    request, tolerance, band = order.request, order.tolerance, order.band_nm
    kinds = (("power", tolerance.power_nm), ("astigmatism", tolerance.astigmatism_nm), ("irregularity RMS", tolerance.irregularity_rms_nm))
    return (
        f"The face must hold to, for a Strehl ratio of {request.strehl_wanted:.10g} at {request.wavelength_nm:g} nm (bands of {band:.1f} nm, {request.lamp.name}):",
        f"  {'':<17} {'as the only fault':>26} {'all at once, at worst':>26}",
        *(f"  {name:<17} {_both(value, band):>26} {_both(tolerance.share * value, band):>26}" for name, value in kinds),
        "  All at once: power, with irregularity that holds the astigmatism. Power does not focus out: at 45 degrees part of it is astigmatism.",
        f"  As a drawing says it: {_indication(order)}",
    )


def _both(value_nm: float, band_nm: float) -> str:
    return f"{value_nm:.1f} nm ({value_nm / band_nm:.3f} bands)"


def _support_lines(order: Order, shown: Callable[[float], str]) -> tuple[str, ...]:
    support = order.support
    asked = (
        "as asked"
        if order.request.thickness_mm is not None
        else "suggested: a seventh of the major axis or more, common practice, no source"
    )
    return (
        f"Thickness {shown(support.thickness_mm)} ({asked}).",
        f"  Lying level in {order.request.glass.name}, told as a round plate as wide as the major axis, it sags",
        f"  {support.edge_sag_nm:.2g} nm carried all round the rim, {support.three_points_rms_nm:.2g} nm rms on three points at 0.645 of its radius.",
    )


def _quote_lines(order: Order) -> tuple[str, ...]:
    quote, prices = order.quote, order.request.prices
    return (
        f"Ask {quote.price:.0f} {quote.currency}, give or take {quote.price_spread:.0f}, coating not counted:",
        *(f"  {line.name:<9} {line.quantity:8.3g} {line.unit:<5} {line.cost:9.2f}" for line in quote.lines),
        f"  {'margin':<9} {quote.margin_percent:8.3g} {'%':<5} {quote.margin:9.2f}",
        f"  The hours may be wrong by {quote.hours_spread:.1f} ({quote.lines[-1].origin}).",
        "  It rests on (* is our default: common practice, no source):",
        *(f"  {' ' if key in prices.own else '*'} {prices.values[key]:6g}  {KEYS[key][2]}" for key in KEYS),
    )
