"""Which of the closed curves found is the outline of the glass.

Beside the outline there run, each as sharp all around: the inner edge of its bevel, closed bands, the rim of a larger flat, the border of
a shadow. Bands lie inside the outline and not outside; a bevel is as wide all around; a shadow shows on one side only; between the outline
and the rim of a larger flat there are no bands.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from straightband.photo.curves import Curve
from straightband.photo.figure import Figure, apart
from straightband.photo.judge import Look, change_between, look_at
from straightband.photo.unrolled import Pyramid

LOOKED_AT = 12
ALIKE = 0.002  # relative radius: one curve found twice
LEAST_COVERAGE = 0.45
CALM_WORTH = 0.4  # a curve calm outside all around is worth this much more coverage
FAINTEST = 0.1  # of the liveliest curve
CALM = 0.35
WIDEST_BEVEL = 0.045  # of the shorter half axis
EVEN_BEVEL = 0.4  # narrowest over widest place of a bevel, or of what blur and perspective make of it
ONE_SIDED = 0.25  # the same of a shadow's border, at most
BEVEL_COVERAGE, SHADOW_COVERAGE, RIVAL_COVERAGE = 0.45, 0.85, 0.7
SOLID_STRENGTH, WHOLE_COVERAGE = 0.13, 0.95  # of the edge beside it; coverage that makes up for less
TOUCHING = 0.003  # of the shorter half axis
SAME = 0.004
RIM_COUNT = 48


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """A curve and what it looks like."""

    curve: Curve
    look: Look

    @property
    def figure(self) -> Figure:
        """Where it runs."""
        return self.curve.figure

    @property
    def rank(self) -> float:
        """Coverage, and how calm it is outside."""
        return self.curve.coverage + CALM_WORTH * self.look.calm


def outline_among(pyramid: Pyramid, curves: list[Curve]) -> Seen | None:
    """The curve that is the outline; None if none is like one."""
    seen = _seen(pyramid, curves)
    if not seen:
        return None
    best = max(seen, key=lambda one: one.rank)
    for other in sorted(seen, key=lambda one: -one.rank):
        best = _of_nested(pyramid, best, other)
    best = _without_shadow(pyramid, best, seen)
    for _ in range(3):
        wider = [one for one in seen if _is_bevel(inner=best, outer=one)]
        if not wider:
            break
        best = max(wider, key=lambda one: one.curve.coverage)
    return best


def _seen(pyramid: Pyramid, curves: list[Curve]) -> list[Seen]:
    some: list[Curve] = []
    for curve in sorted((curve for curve in curves if curve.coverage > LEAST_COVERAGE), key=lambda curve: -curve.coverage):
        if len(some) < LOOKED_AT and all(apart(other.figure, curve.figure) > ALIKE for other in some):
            some.append(curve)
    seen = [Seen(curve=curve, look=look_at(pyramid, curve.figure)) for curve in some]
    liveliest = max((one.look.border for one in seen), default=0.0)
    return [one for one in seen if one.look.border > FAINTEST * liveliest]


def gaps(*, inner: Figure, outer: Figure) -> tuple[float, float]:
    """Narrowest and widest gap across the rims, relative to the shorter half axis; negative where they cross."""
    away = (1.0 - outer.radius(*inner.rim_pixels(RIM_COUNT))) * outer.depths(RIM_COUNT) / outer.axes()[1]
    return float(away.min()), float(away.max())


def _of_nested(pyramid: Pyramid, one: Seen, other: Seen) -> Seen:
    """Of two curves one well inside the other: the inner if nothing changes between them, else the outer; else the first."""
    if one is other:
        return one
    inner, outer = (one, other) if gaps(inner=one.figure, outer=other.figure)[0] > 0.0 else (other, one)
    narrow, wide = gaps(inner=inner.figure, outer=outer.figure)
    if narrow < -TOUCHING or wide < WIDEST_BEVEL or inner.curve.coverage < RIVAL_COVERAGE * outer.curve.coverage:
        return one
    if not _is_solid(inner, beside=outer):
        return one
    between = change_between(pyramid, inner=inner.figure, outer=outer.figure)
    if math.isnan(between):
        return one
    if between < CALM * max(inner.look.border, inner.look.inside):
        return inner
    return outer if outer.curve.coverage > RIVAL_COVERAGE * inner.curve.coverage else one


def _without_shadow(pyramid: Pyramid, best: Seen, seen: list[Seen]) -> Seen:
    """The outline inside a curve that runs along the outline on one side and along its shadow on the other."""
    for inner in sorted(seen, key=lambda one: -one.curve.coverage):
        narrow, wide = gaps(inner=inner.figure, outer=best.figure)
        if inner is best or narrow < -TOUCHING or wide < 2.0 * TOUCHING or narrow > ONE_SIDED * wide:
            continue
        calm = change_between(pyramid, inner=inner.figure, outer=best.figure) < CALM * max(inner.look.border, inner.look.inside)
        if calm and _is_solid(inner, beside=best) and inner.curve.coverage > SHADOW_COVERAGE * best.curve.coverage:
            return inner
    return best


def _is_bevel(*, inner: Seen, outer: Seen) -> bool:
    narrow, wide = gaps(inner=inner.figure, outer=outer.figure)
    even = SAME < wide < WIDEST_BEVEL and narrow > EVEN_BEVEL * wide
    return even and _is_solid(outer, beside=inner) and outer.curve.coverage > BEVEL_COVERAGE


def _is_solid(one: Seen, *, beside: Seen) -> bool:
    """False for what noise and JPEG make beside a strong edge: it is weak and has gaps."""
    return one.curve.strength > SOLID_STRENGTH * beside.curve.strength or one.curve.coverage > WHOLE_COVERAGE


def bevel_inside(best: Seen, curves: list[Curve]) -> float:
    """Mean width of the bevel, relative to the radius; 0 if no inner edge is seen."""
    widths = []
    for curve in curves:
        narrow, wide = gaps(inner=curve.figure, outer=best.figure)
        if SAME < wide < WIDEST_BEVEL and narrow > EVEN_BEVEL * wide and curve.coverage > BEVEL_COVERAGE:
            widths.append((curve.coverage, 0.5 * (narrow + wide)))
    return max(widths, default=(0.0, 0.0))[1]
