"""From what a person writes of a spherometer and its readings to what the measurement needs."""

from __future__ import annotations

import re
from dataclasses import dataclass

from straightband.errors import BadInput
from straightband.gauges.sag import Readings
from straightband.gauges.spherometer import Feet, Spherometer, circle_of_triangle_mm
from straightband.quantities import MM_PER_UNIT, half_last_figure_nm, parse_length_mm

MOST_READINGS = 100
CIRCLE_RANGE_MM = (2.0, 500.0)  # radius
WIDEST_SPREAD_UM = 100.0  # of readings that were meant to be the same: beyond, one of them has another unit
_NOTHING = re.compile(r"0+(?:[.,]0+)?\s*(?P<unit>\S*)")
_GIVEN = ("leg_circle", "leg_side", "ring")


@dataclass(frozen=True, slots=True, kw_only=True)
class Earlier:
    """A sag measured after an earlier abrasive.

    Attributes
    ----------
    abrasive_um
        Size of that abrasive.
    sag_um
        Within the feet; positive for convex.
    """

    abrasive_um: float
    sag_um: float


def spherometer_from_text(
    *, leg_circle: str | None = None, leg_side: str | None = None, ring: str | None = None, ball: str | None = None
) -> Spherometer:
    """The gauge from one of the diameter of the circle through its feet, the side of their triangle, or the diameter of its ring.

    A ring may be given as two diameters, inner and outer: a convex face rests on the first, a concave one on the second. `ball` is the
    diameter of ball feet. Raises BadInput.
    """
    given = dict(zip(_GIVEN, (leg_circle, leg_side, ring), strict=True))
    named = [name for name, text in given.items() if text is not None]
    if len(named) != 1:
        raise BadInput(
            found="no feet of the spherometer were given" if not named else "the feet of the spherometer were given in more than one way",
            needed="one of the circle through the feet, the side of their triangle or the ring is needed",
            remedy="give --leg-circle like 60mm (its diameter), or --leg-side, or --ring",
        )
    if ring is not None:
        inner, outer = _ring(ring)
        if ball is not None:
            raise BadInput(found="ball feet were given for a ring", needed="a ring has none", remedy="leave --ball out")
        return Spherometer(feet=Feet.RING, inner_mm=inner, outer_mm=outer, ball_mm=0.0)
    if leg_circle is not None:
        circle = parse_length_mm(leg_circle, what="the circle through the feet") / 2.0
    else:
        circle = circle_of_triangle_mm(side_mm=parse_length_mm(str(leg_side), what="the side of the triangle of feet"))
    _check_circle(circle)
    return Spherometer(feet=Feet.THREE, inner_mm=circle, outer_mm=circle, ball_mm=0.0 if ball is None else _ball(ball, circle_mm=circle))


def _ring(text: str) -> tuple[float, float]:
    parts = [part.strip() for part in text.split(",")]
    if len(parts) > 2 or not all(parts):
        raise BadInput(
            found=f"the ring was given as '{text[:40]}'",
            needed="its diameter, or its inner and outer diameter, is needed",
            remedy="write it like 80mm or 80mm,84mm",
        )
    radii = sorted(parse_length_mm(part, what="the ring") / 2.0 for part in parts)
    for radius in radii:
        _check_circle(radius)
    return radii[0], radii[-1]


def _check_circle(radius_mm: float) -> None:
    lowest, highest = CIRCLE_RANGE_MM
    if not lowest <= radius_mm <= highest:
        raise BadInput(
            found=f"the feet stand on a circle {2.0 * radius_mm:g} mm across",
            needed=f"a diameter from {2.0 * lowest:g} mm to {2.0 * highest:g} mm is needed",
            remedy="check number and unit",
        )


def _ball(text: str, *, circle_mm: float) -> float:
    radius = parse_length_mm(text, what="the ball feet") / 2.0
    if radius > circle_mm / 2.0:
        raise BadInput(
            found=f"the ball feet are {2.0 * radius:g} mm across",
            needed=f"balls much smaller than the circle they stand on ({2.0 * circle_mm:g} mm) are needed",
            remedy="give the diameter of one ball",
        )
    return radius


def readings_from_text(
    *,
    reading: str | None,
    zero: str | None,
    turned: str | None = None,
    zero_after: str | None = None,
    step: str | None = None,
    indicator_error: str | None = None,
    reference_sag: str | None = None,
    reference_doubt: str | None = None,
    falls_on_hills: bool = False,
) -> Readings:
    """The readings from their texts, several with commas between them; raises BadInput.

    Without `step` it is a unit of the finest last figure that was typed. With `falls_on_hills` the dial falls when its tip is pushed in.
    """
    texts = {
        "the reading": _parts(reading, what="the reading", option="--reading"),
        "the zero": _parts(zero, what="the zero", option="--zero"),
        "the reading turned by 60 degrees": () if turned is None else _parts(turned, what="the turned reading", option="--turned"),
        "the zero afterwards": () if zero_after is None else _parts(zero_after, what="the zero afterwards", option="--zero-after"),
    }
    hand = -1.0 if falls_on_hills else 1.0
    groups = [_group(parts, what=what, hand=hand) for what, parts in texts.items()]
    values, zeros, turned_um, zeros_after = groups
    finest = min(2e-3 * half_last_figure_nm(part.lstrip("+-")) for parts in texts.values() for part in parts)
    return Readings(
        values_um=values,
        turned_um=turned_um,
        zeros_um=zeros,
        zeros_after_um=zeros_after,
        step_um=finest if step is None else 1000.0 * parse_length_mm(step, what="the step of the dial"),
        indicator_error_um=0.0 if indicator_error is None else 1000.0 * parse_length_mm(indicator_error, what="the error of the dial"),
        reference_um=0.0 if reference_sag is None else signed_um(reference_sag, what="the sag of the reference"),
        reference_uncertainty_um=0.0
        if reference_doubt is None
        else 1000.0 * parse_length_mm(reference_doubt, what="the reference's doubt"),
    )


def _parts(text: str | None, *, what: str, option: str) -> tuple[str, ...]:
    parts = tuple(part.strip() for part in (text or "").split(",") if part.strip())
    if not 1 <= len(parts) <= MOST_READINGS:
        raise BadInput(
            found=f"{what} holds no number" if not parts else f"{what} holds {len(parts)} numbers",
            needed=f"1 to {MOST_READINGS} are needed, each with its unit",
            remedy=f"write them like {option} 12.4um,12.6um",
        )
    return parts


def _group(parts: tuple[str, ...], *, what: str, hand: float) -> tuple[float, ...]:
    values = tuple(hand * signed_um(part, what=what) for part in parts)
    if values and max(values) - min(values) > WIDEST_SPREAD_UM:
        raise BadInput(
            found=f"{what} goes from {min(values):g} um to {max(values):g} um",
            needed=f"repeated readings of one place within {WIDEST_SPREAD_UM:g} um are needed",
            remedy="check the units, or measure again",
        )
    return values


def signed_um(text: str, *, what: str) -> float:
    """A length in um that may be zero or negative, such as `-3.2um` or `0um`; raises BadInput.

    Example
    -------
    >>> signed_um("-0.0032mm", what="the reading")
    -3.2
    """
    bare = text.strip()
    sign = -1.0 if bare.startswith(("-", "−")) else 1.0
    bare = bare[1:].strip() if bare[:1] in {"+", "-", "−"} else bare
    nothing = _NOTHING.fullmatch(bare)
    if nothing and nothing["unit"] in MM_PER_UNIT:
        return 0.0
    if bare[:1] in {"+", "-"}:
        raise BadInput(found=f"{what} was given as '{text[:40]}'", needed="one sign at most is needed", remedy="write it like -3.2um")
    return round(sign * parse_length_mm(bare, what=what) * 1000.0, 9)  # which a dial's figures need no more than


def earlier_from_text(text: str) -> tuple[Earlier, ...]:
    """Sags after earlier abrasives, from text such as `40um:12.1um,20um:-5um`, coarsest first; raises BadInput."""
    found = []
    for part in _parts(text, what="the list of earlier sags", option="--earlier"):
        abrasive, colon, sag = part.partition(":")
        if not colon:
            raise BadInput(
                found=f"an earlier sag was given as '{part[:40]}'",
                needed="the size of the abrasive, a colon and the sag are needed",
                remedy="write it like 40um:12.1um",
            )
        size = 1000.0 * parse_length_mm(abrasive, what="the abrasive")
        found.append(Earlier(abrasive_um=round(size, 9), sag_um=signed_um(sag, what="an earlier sag")))
    if len({each.abrasive_um for each in found}) < len(found):
        raise BadInput(found="an abrasive stands twice among the earlier sags", needed="one sag for each is needed", remedy="take one out")
    return tuple(sorted(found, key=lambda each: -each.abrasive_um))
