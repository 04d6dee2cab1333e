"""How many minutes more until a back is clear, from photographs with minutes of polishing between them.

Pits of a ground face shrink as the face around them wears away. Taken as a stretched exponential of the depth worn off, -ln(clearness) falls as
y0 exp(-(b t)^m): m = 1 for pits whose depths are spread exponentially, more for pits of like depth. The pace b rises from the place that clears
last outward as b exp(q (r/R)^2). All of these, and the minutes polished before the first photograph, are found together with what is
believed of them beforehand; the answer is the spread of forecasts that fit.

Sources
-------
Wear in proportion to pressure, speed and time: F. W. Preston, J. Soc. Glass Technol. 11, 214 (1927) (from memory).
Sampling: J. Goodman, J. Weare, Ensemble samplers with affine invariance, Comm. App. Math. Comp. Sci. 5, 65 (2010) (from memory).
A small back by hand takes about half an hour on pads, rim first, centre last: common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

USUAL_MINUTES, USUAL_SEMI_MM = 30.0, 30.0  # a small back by hand: common practice, no source
# Beliefs before any photograph, each as mean and standard deviation; estimates of ours where nothing else is said.
START = (math.log(10.0), 0.8)  # ln y0: 300 to 1000 nm rms as fine grinding leaves it, by gauges/roughness.py
RIM_LEAD = (0.6, 0.4)  # q: rim first
STRETCH = (math.log(1.25), 0.2)  # ln m
BEFORE_MIN = (math.log(8.0), 1.2)  # ln of the minutes polished before the first photograph, where not told
PACE_STANDARD = 0.6  # of ln b from shop to shop
SIZE_POWER = (-1.0, 0.5)  # of the pace against size: the same hand presses less on each mm2 of a larger back
SAME_SHOP = 0.25  # of ln b from back to back in one shop
PACE_CHANGES = 0.15  # of the pace from one spell of polishing to the next: charge and warmth of the pads
PACE_UNEVEN = 0.1  # of the pace about its smooth run with radius
WALKERS, STEPS, BURN_IN = 60, 700, 250
LONGEST_MIN = 1e4


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """One photograph, as rings about the place that clears last.

    Attributes
    ----------
    minutes
        Of polishing since the first photograph.
    radius
        (n,) middle of each ring over the largest radius of the face there.
    clearness, standard
        (n,) mean clearness of each ring and its standard uncertainty.
    """

    minutes: float
    radius: NDArray
    clearness: NDArray
    standard: NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class PastBack:
    """A back that this shop has polished before.

    Attributes
    ----------
    semi_mm
        Its semi-minor axis.
    minutes
        From fine ground to clear all over.
    """

    semi_mm: float
    minutes: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """What is believed of the pace of a back beforehand: ln b, b in 1/min."""

    mean: float
    standard: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """Minutes of polishing after the last photograph until the whole face is clear enough.

    Attributes
    ----------
    minutes, low, high
        Median and the ends of the 95 % interval.
    radius, pace_per_min
        (n,) radius over the largest, and the pace b there: median of what fits.
    rim_leads
        Chance that the rim clears before the middle.
    """

    minutes: float
    low: float
    high: float
    radius: NDArray
    pace_per_min: NDArray
    rim_leads: float


def pace_of_shop(past: tuple[PastBack, ...], *, semi_mm: float) -> Pace:
    """What to believe of a back of that size: common practice, corrected by this shop's past backs of this and other sizes.

    A straight line of ln(pace) over ln(size), with normal beliefs on height and slope (linear regression with a prior).
    """
    usual = math.log(_clearing_depth() / USUAL_MINUTES)
    precision = np.diag([PACE_STANDARD**-2, SIZE_POWER[1] ** -2])
    weighted = precision @ np.array([usual, SIZE_POWER[0]])
    for back in past:
        row = np.array([1.0, math.log(back.semi_mm / USUAL_SEMI_MM)])
        precision += np.outer(row, row) / SAME_SHOP**2
        weighted += row * math.log(_clearing_depth() / back.minutes) / SAME_SHOP**2
    covariance = np.linalg.inv(precision)
    at = np.array([1.0, math.log(semi_mm / USUAL_SEMI_MM)])
    return Pace(mean=float(at @ covariance @ weighted), standard=math.sqrt(float(at @ covariance @ at) + SAME_SHOP**2))


def _clearing_depth() -> float:
    """(b t) from fine ground to half clear, at the middle of what is believed."""
    return float(_depth_to(math.log(2.0), start=START[0], stretch=STRETCH[0]))


def _depth_to(y: float, *, start: NDArray | float, stretch: NDArray | float) -> NDArray:
    return np.maximum(np.asarray(start) - math.log(y), 0.0) ** np.exp(-np.asarray(stretch))


def forecast(looks: tuple[Look, ...], *, enough: float, pace: Pace, rng: np.random.Generator, before_min: float | None = None) -> Forecast:
    """Minutes to go after the last of the looks; `before_min` are those polished before the first, where known."""
    believed = _Beliefs(looks=looks, pace=pace, before_min=before_min)
    chain = _sample(believed.log_probability, _first_walkers(believed, rng=rng), rng=rng)
    b, q, start, stretch, before = chain[:, :5].T
    radius = np.linspace(0.0, 1.0, 21)
    rate = np.exp(b[:, None] + q[:, None] * radius**2)
    depth = _depth_to(-math.log(enough), start=start[:, None], stretch=stretch[:, None])
    done = np.exp(before)[:, None] + _worked(looks, changes=chain[:, 5:])[:, -1:]
    uneven = np.exp(PACE_UNEVEN * rng.standard_normal((len(chain), 1)) + PACE_CHANGES * rng.standard_normal((len(chain), 1)))
    to_go = np.minimum(np.maximum(depth / rate - done, 0.0) / uneven, LONGEST_MIN).max(axis=1)
    low, middle, high = np.quantile(to_go, [0.025, 0.5, 0.975])
    return Forecast(
        minutes=float(middle), low=float(low), high=float(high), radius=radius, pace_per_min=np.median(rate, axis=0), rim_leads=float(np.mean(q > 0.0))
    )  # fmt: skip


def _worked(looks: tuple[Look, ...], *, changes: NDArray) -> NDArray:
    """(walkers, looks) minutes since the first look, each spell at its own pace; the first spell is the measure."""
    spells = np.diff([look.minutes for look in looks])
    factors = np.concatenate([np.zeros((len(changes), 1)), changes], axis=1)[:, : spells.size]
    return np.concatenate([np.zeros((len(changes), 1)), np.cumsum(spells * np.exp(factors), axis=1)], axis=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Beliefs:
    """Log-probability of (ln b, q, ln y0, ln m, ln before, changes of pace) given the looks."""

    looks: tuple[Look, ...]
    pace: Pace
    before_min: float | None

    def middle_and_spread(self) -> tuple[NDArray, NDArray]:
        """Mean and standard deviation of each number beforehand."""
        before = BEFORE_MIN if self.before_min is None else (math.log(max(self.before_min, 0.05)), 0.1)
        rows = [(self.pace.mean, self.pace.standard), RIM_LEAD, START, STRETCH, before]
        rows += [(0.0, PACE_CHANGES * math.sqrt(2.0))] * max(len(self.looks) - 2, 0)
        table = np.array(rows)
        return table[:, 0], table[:, 1]

    def log_probability(self, numbers: NDArray) -> NDArray:
        """(walkers,) for `numbers` (walkers, parameters)."""
        middle, spread = self.middle_and_spread()
        found = -0.5 * (((numbers - middle) / spread) ** 2).sum(axis=1)
        b, q, start, stretch, before = numbers[:, :5].T
        worked = np.exp(np.minimum(before, 20.0))[:, None] + _worked(self.looks, changes=numbers[:, 5:])
        for number, look in enumerate(self.looks):
            depth = np.exp(np.minimum(b[:, None] + q[:, None] * look.radius**2, 20.0)) * worked[:, number : number + 1]
            m = np.exp(np.minimum(stretch, 2.0))[:, None]
            worn = np.minimum(depth, 1e3) ** m
            y = np.exp(np.minimum(start[:, None] - worn, 50.0))
            clearness = np.exp(-y)
            variance = look.standard**2 + (PACE_UNEVEN * m * worn * y * clearness) ** 2
            found -= 0.5 * ((look.clearness - clearness) ** 2 / variance + np.log(variance)).sum(axis=1)
        return found


def _first_walkers(believed: _Beliefs, *, rng: np.random.Generator) -> NDArray:
    """The most probable of many draws from the beliefs."""
    middle, spread = believed.middle_and_spread()
    draws = middle + spread * rng.standard_normal((60 * WALKERS, middle.size))
    return draws[np.argsort(-believed.log_probability(draws))[:WALKERS]]


def _sample(log_probability: Callable[[NDArray], NDArray], walkers: NDArray, *, rng: np.random.Generator) -> NDArray:
    """Draws from a probability by walkers that stretch toward one another (Goodman and Weare 2010, the move with a = 2)."""
    level = log_probability(walkers)
    half, size = WALKERS // 2, walkers.shape[1]
    kept = []
    for step in range(STEPS):
        for moving, other in ((slice(0, half), slice(half, None)), (slice(half, None), slice(0, half))):
            partners = walkers[other][rng.integers(0, half, half)]
            stretch = (1.0 + rng.random(half)) ** 2 / 2.0
            tried = partners + stretch[:, None] * (walkers[moving] - partners)
            new = log_probability(tried)
            accepted = np.log(rng.random(half)) < (size - 1) * np.log(stretch) + new - level[moving]
            walkers[moving] = np.where(accepted[:, None], tried, walkers[moving])
            level[moving] = np.where(accepted, new, level[moving])
        if step >= BURN_IN and step % 5 == 0:
            kept.append(walkers.copy())
    return np.concatenate(kept)
