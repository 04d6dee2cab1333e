"""Which of several fits the picture makes clearly the likeliest.

What is left over alone does not tell: a wrong phase can be mended by a light and a contrast that no lamp and no glass make, and by setting aside
what it can't explain.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from straightband.errors import BandsUnreadable
from straightband.fringes.grow import differ
from straightband.fringes.local import LocalFit, light_bend
from straightband.fringes.traits import EASY_TO_MIMIC, FAINTEST, bands_of, explained_by, is_even, is_possible, own_contrast, trusted_by

# In the same measure: a contrast that is not even, or even fails in places, must explain far more; true ones led by several thousand in trials.
ODDS_OF_UNEVEN_CONTRAST, ODDS_OF_DEEP_FROST = 1000.0, 1000.0
LEAST_LEAD = 50.0  # in twice the logarithm of the evidence, where right choices led by a hundred and more in trials: odds beyond all measure, for the noise is not quite what the model takes it for
WILDEST, LEAST_NOISE = 5.0, 1e-9  # spreads; so that a picture without noise has a spread
PATCH_PIXELS = 50.0  # that hang together where a fit set the picture aside; half and twice as many chose alike in trials
DIFFERENT_RAD = 0.2 * np.pi  # rms from which on two phases are different surfaces and not two tries at one
MUCH_MORE_LEFT, LITTLE_LEFT = 8.0, 0.02  # times what the best leaves unexplained; share of the bands' variance that is never much
# Of the mean light, from spline to spline: a patchy back stays about a tenth, a wrong phase in disguise asks for more, and so does a glare not known for one.
UNHEARD_OF_BEND, WILD_BEND = 0.25, 0.75


def likeliest(fits: list[LocalFit]) -> list[LocalFit]:
    """The likeliest fit, and the likeliest of those that show another surface."""
    leads = _leads(fits)
    first = _first(leads)
    others = [k for k, fit in enumerate(fits) if is_possible(fit) and _differ(fits[first], fit)]
    return [fits[first], *(fits[k] for k in sorted(others, key=lambda k: leads[first, k])[:1])]


def only_one(fits: list[LocalFit]) -> LocalFit:
    """The fit that the picture makes clearly more likely than any that shows another surface; raises BandsUnreadable where none is."""
    fits = [fit for fit in fits if is_possible(fit)]
    if not fits:
        raise BandsUnreadable(
            found="the bands could only be explained by a light that no lamp makes",
            needed="bands that stand out from the light over the whole face are needed",
            remedy="light the face evenly, clear the back further or change the wedge to between 4 and 12 bands, and take it again",
        )
    leads = _leads(fits)
    usual = _under_usual_light(fits, first=fits[_first(leads)])
    if len(usual) < len(fits):
        fits, leads = usual, _leads(usual)
    best = _first(leads)
    if any(lead < LEAST_LEAD and _differ(fits[best], other) for lead, other in zip(leads[best], fits, strict=True)):
        raise BandsUnreadable(
            found="two different surfaces would give these bands equally well",
            needed="bands that tell them apart are needed",
            remedy="change the wedge to between 4 and 12 bands and take the photograph again",
        )
    return fits[best]


def _differ(one: LocalFit, other: LocalFit) -> bool:
    """Whether two fits show different surfaces."""
    return one is not other and differ(one.fields.phase_rad, other.fields.phase_rad, by_rad=DIFFERENT_RAD)


def _leads(fits: list[LocalFit]) -> NDArray:
    """[one, other]: by how much one leads the other."""
    shared = max(fit.correlated_pixels for fit in fits)
    leads = np.zeros((len(fits), len(fits)))
    for i, j in combinations(range(len(fits)), 2):
        leads[i, j] = _lead(fits[i], fits[j], shared=shared)
        leads[j, i] = -leads[i, j]
    return leads


def _first(leads: NDArray) -> int:
    """The one that leads all others, or falls behind the best of them by least."""
    return int(np.argmax(leads.min(axis=1)))


def _under_usual_light(fits: list[LocalFit], *, first: LocalFit) -> list[LocalFit]:
    """Those whose light does not bend more than is heard of, as long as they don't leave far more unexplained than the best; all where there are none.

    Where the likeliest, `first`, has many bands a light that bends is glare and no disguise: it can't follow them.
    """
    if bands_of(first) > EASY_TO_MIMIC:
        return fits
    least = min(1.0 - explained_by(fit) for fit in fits)
    fair = [fit for fit in fits if 1.0 - explained_by(fit) < max(MUCH_MORE_LEFT * least, LITTLE_LEFT)]
    # of a real photograph of rings the light bends by more than either
    for limit in (UNHEARD_OF_BEND, WILD_BEND):
        if usual := [fit for fit in fair if light_bend(fit) < limit]:
            return usual
    return fits


def _lead(one: LocalFit, other: LocalFit, *, shared: float) -> float:
    """Twice the logarithm of how much likelier one fit is than another.

    They are held against each other where both trust the picture: a fit that sets aside what it can't explain must not look the better for it. Where only
    one trusts it, what the other leaves over counts by the patch, for it hangs together over one. No pixel counts for more than WILDEST spreads.
    """
    spread = max(min(one.noise, other.noise), LEAST_NOISE)
    left, left_by_other = (np.clip(fit.residual**2, LEAST_NOISE**2, (WILDEST * spread) ** 2) for fit in (one, other))
    trusts, other_trusts = trusted_by(one), trusted_by(other)
    both = trusts & other_trusts
    lead = one.log_odds - _rarity(one) - other.log_odds + _rarity(other)
    lead += float(np.sum((left_by_other - left)[trusts ^ other_trusts])) / (spread**2 * PATCH_PIXELS)
    if both.any():
        lead += left.size / shared * float(np.log(np.mean(left_by_other[both]) / np.mean(left[both])))
    return lead


def _rarity(fit: LocalFit) -> float:
    """How much more a fit must explain, in the same measure, whose contrast few pieces of glass have."""
    contrast = own_contrast(fit)
    rare = 0.0 if is_even(contrast) else ODDS_OF_UNEVEN_CONTRAST
    return rare + (ODDS_OF_DEEP_FROST if contrast.min() < FAINTEST * contrast.max() else 0.0)
