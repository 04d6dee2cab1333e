"""Lay pads on a plate for a back, and say how evenly it will clear and where last."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from straightband.wear.pads.evened import Evened, Plate, Stroke, best_stroke, even_pads, stroke_reach_mm
from straightband.wear.pads.layout import repeats
from straightband.wear.pads.outlines import Cut, reach_mm
from straightband.wear.pads.rates import unevenness

SEED = 1  # any number: the same plate must be laid out the same each time
WORTH_TELLING = 0.03  # by which another stroke must be evener


@dataclass(frozen=True, slots=True, kw_only=True)
class Pack:
    """How pads are sold.

    Attributes
    ----------
    count
        In a pack.
    price, currency
        Of a pack, None and empty where not told.
    """

    count: int
    price: float | None
    currency: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PadPlan:
    """Pads on a plate and what they do.

    Attributes
    ----------
    plate, pack
        What was told.
    evened
        The lay-out, the rates on it, and the hexagonal lay-out beside it.
    packs
        How many packs it takes.
    pieces_by_cut
        How many whole pads, halves and petals.
    uneven, uneven_naive, uneven_uncertainty
        Largest rate over the smallest within the clear aperture, here and on the hexagonal lay-out; and the 95 % uncertainty of the first.
    centre_lag
        By what share the centre wears slower than the fastest place.
    last_radius_mm
        Distance from the centre of the mirror at which it clears last.
    reach_mm, pads_reach_mm
        How far from the middle of the plate the mirror's rim gets, and the pads.
    stroke
        An evener stroke on the same pads, or None where the one told is as good.
    flags
        Short names of doubts.
    """

    plate: Plate
    pack: Pack | None
    evened: Evened
    packs: int | None
    pieces_by_cut: dict[str, int]
    uneven: float
    uneven_naive: float
    uneven_uncertainty: float
    centre_lag: float
    last_radius_mm: float
    reach_mm: float
    pads_reach_mm: float
    stroke: Stroke | None
    flags: tuple[str, ...]


def plan_pads(plate: Plate, *, pack: Pack | None = None) -> PadPlan:
    """The pads in their places; raises BadInput where they don't fit, or where the mirror would tip off them."""
    evened = even_pads(plate, rng=np.random.default_rng(SEED))
    pressed, layout = evened.pressed, evened.layout
    slow, fast = int(np.argmin(pressed.rate)), int(np.argmax(pressed.rate))
    uneven, naive = unevenness(pressed.rate), unevenness(evened.naive_pressed.rate)
    better = best_stroke(layout, plate=plate)
    told = unevenness(layout.rates)
    pads_reach = max(math.hypot(*piece.outline.centroid.coords[0]) + reach_mm(piece.outline) for piece in layout.pieces)
    return PadPlan(
        plate=plate,
        pack=pack,
        evened=evened,
        packs=None if pack is None else math.ceil(layout.pads_used / pack.count),
        pieces_by_cut={str(cut): sum(piece.cut is cut for piece in layout.pieces) for cut in Cut},
        uneven=uneven,
        uneven_naive=naive,
        uneven_uncertainty=uneven * math.hypot(*(pressed.uncertainty[k] / pressed.rate[k] for k in (slow, fast))),
        centre_lag=float(pressed.rate[fast] / pressed.rate[0]) - 1.0,
        last_radius_mm=float(pressed.radius_mm[slow]),
        reach_mm=stroke_reach_mm(plate.face, plate.motion),
        pads_reach_mm=pads_reach,
        stroke=better if better.uneven < told - WORTH_TELLING else None,
        flags=_flags(plate, evened, uneven=uneven, naive=naive),
    )


def _flags(plate: Plate, evened: Evened, *, uneven: float, naive: float) -> tuple[str, ...]:
    raised = {
        "mirror-passes-plate-edge": stroke_reach_mm(plate.face, plate.motion) > plate.radius_mm,
        "no-lay-out-found": not evened.found,
        "spacing-repeats": bool(repeats(evened.layout)),
        "not-twice-as-even": uneven - 1.0 > 0.5 * (naive - 1.0),
        "mirror-rocks": evened.pressed.lifted > 0.05,
        "plate-does-not-turn": not plate.motion.spindle_rpm or not plate.motion.top_rpm,
    }
    return tuple(name for name, is_so in raised.items() if is_so)
