"""From a square-on picture to the phase of its bands, or a refusal that says why."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from straightband.errors import BandsUnreadable
from straightband.face.polynomials import noll_count
from straightband.face.shapes import Face
from straightband.fringes.fade import without_fade
from straightband.fringes.frame import LIGHT_ORDER, PHASE_ORDER, Frame, make_frame
from straightband.fringes.grow import MOST_CONTRAST, WholeFit, differ, expected_size_rad
from straightband.fringes.local import Grown, LocalFit, calmed, contrast_bend, fit_local, light_bend, phase_columns
from straightband.fringes.trust import STEPS
from straightband.fringes.whole import RIVAL, fit_whole
from straightband.heightmap.figures import Points
from straightband.photo.rectify import SquarePicture

LEAST_EXPLAINED = 0.75  # of the band variance; fine textures stay below a half in trials
LEAST_UNDER_FROST = 0.5  # the same before the border of a frosted back is known
SURE_EXPLAINED, EASY_TO_MIMIC = 0.95, 5.0  # asked where fewer bands show than this, which smooth blotches can mimic
FEW_TO_MIMIC, MOST_SWING = 2.0, 0.42  # bands; light's own swing over the modulation: 0.46-0.80 in smooth blotches, 0.03-0.40 in bands
PLAIN_CONTRAST = 0.12  # range of the contrast over its mean
FAIR_SHARE = 0.6  # of what the best of the simplest phases explains
SETTLED_BEND = 0.02  # of light and contrast, from spline to spline
FAINTEST = 0.25  # contrast over the highest of the face: under a back frosted more than that the search is easily led astray
MOST_TIMES_BRIGHTER, FEW_ODD = 6.0, 0.02  # bright over dim; share that may be beyond that or beyond MOST_CONTRAST
CALM_SWING = 0.18  # of the light over the modulation: wrong phases of two to three bands asked for 0.2 and more in trials
LEAST_BANDS = 1.0  # below, contrast and height can't be told apart
SURE_BANDS = 3.0
# In the same measure: a contrast that is not even, or even fails in places, must explain far more; true ones led by several thousand in trials.
ODDS_OF_UNEVEN_CONTRAST, ODDS_OF_DEEP_FROST = 1000.0, 1000.0
LEAST_LEAD = 50.0  # in twice the logarithm of the evidence, where right choices led by a hundred and more in trials: odds beyond all measure, for the noise is not quite what the model takes it for
WILDEST, LEAST_NOISE = 5.0, 1e-9  # spreads; so that a picture without noise has a spread
PATCH_PIXELS = 50.0  # that hang together where a fit set the picture aside; half and twice as many chose alike in trials
DIFFERENT_RAD = 0.2 * np.pi  # rms from which on two phases are different surfaces and not two tries at one
SET_ASIDE_WEIGHT, MUCH_SET_ASIDE = 0.1, 0.08  # weight below which a pixel is set aside; share of the face worth a word
TOO_MUCH_SET_ASIDE = 0.2  # share of the face that leaves no certainty where few bands show
# Of the mean light, from spline to spline: a patchy back stays about a tenth, a wrong phase in disguise asks for more, and so does a glare not known for one.
MOST_LIGHT_BEND, UNHEARD_OF_BEND, WILD_BEND = 0.15, 0.25, 0.75
MUCH_MORE_LEFT, LITTLE_LEFT = 8.0, 0.02  # times what the best leaves unexplained; share of the bands' variance that is never much
LEAST_SEEN = 0.4  # share of the clear aperture that must hold usable light
DRAWS = 200
DRAW_SEED = 20  # any number: the draws must be the same each time a photograph is read


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseReading:
    """The phase of the bands over the clear aperture; which way it counts is not known yet.

    Attributes
    ----------
    u_mm, v_mm
        Axes of the grid.
    phase_rad
        [v, u], NaN off the clear aperture.
    label
        [v, u] number of the cell of each pixel, -1 off the clear aperture.
    points
        Cells of the face.
    cell_phase_rad
        (c,) phase at the cells.
    draws_rad
        (DRAWS, c) random departures from it, spread as the fit's noise allows.
    bands_across
        Difference between the highest and the lowest band, in bands.
    explained
        Share of the band variance explained.
    contrast
        Mean modulation over mean light.
    seen
        Share of the aperture that was used.
    flags
        Short names of doubts.
    """

    u_mm: NDArray
    v_mm: NDArray
    phase_rad: NDArray
    label: NDArray
    points: Points
    cell_phase_rad: NDArray
    draws_rad: NDArray
    bands_across: float
    explained: float
    contrast: float
    seen: float
    flags: tuple[str, ...]


def read_phase(picture: SquarePicture, *, clear: Face, coherent_bands: float = math.inf) -> PhaseReading:
    """The phase of the bands; raises BandsUnreadable where there are none, too few, or more than one reading fits.

    Parameters
    ----------
    picture
        The face square-on.
    clear
        Its clear aperture.
    coherent_bands
        Wavelength over the full width at half maximum of the lamp's line; infinite for a line of no width.
    """
    columns, rows = np.abs(picture.u_mm) <= clear.semi_u_mm, np.abs(picture.v_mm) <= clear.semi_v_mm
    box = np.ix_(rows, columns)
    light, missing = picture.light[box], picture.missing[box]
    x, y = picture.u_mm[columns] / clear.semi_u_mm, picture.v_mm[rows] / clear.semi_v_mm
    frame = make_frame(clear=clear, x=x, y=y, coherent_bands=coherent_bands)
    seen = 1.0 - float(np.mean(missing[frame.inside]))
    if seen < LEAST_SEEN:
        raise BandsUnreadable(
            found=f"{100 * (1 - seen):.0f} % of the face is overexposed or hidden",
            needed="most of it must show bands",
            remedy="lower the exposure until no part is white, and take it again",
        )
    whole = _convincing(fit_whole(light, missing | ~frame.inside, shape=clear.shape, half_extent=(_half(x), _half(y))))
    value, present = light[frame.inside].astype(float), ~missing[frame.inside]
    fits = _contenders(whole, value, present, frame=frame)
    chosen = _only_one(fits)
    flags = _doubts(chosen, seen=seen)
    return _report(calmed(chosen), u_mm=picture.u_mm[columns], v_mm=picture.v_mm[rows], seen=seen, flags=flags)


def _contenders(whole: WholeFit, value: NDArray, present: NDArray, *, frame: Frame) -> list[LocalFit]:
    """The fit from the best phase of the whole face, and as many others as its light and its contrast leave in doubt."""
    fit = _local(value, present, frame=frame, whole=whole)
    close = [each for each in whole.rivals if 1.0 - each.explained < RIVAL * (1.0 - whole.explained)]
    if _calm(fit) or _settled(fit):
        rivals = close
    else:
        # what leaves more over than the best, and what is simpler, is only tried where the best needs an odd light
        rivals = [*whole.rivals, *(() if _plain(fit) else _fair(whole.simplest))]
    fits = [fit, *(_local(value, present, frame=frame, whole=each) for each in rivals)]
    trusting = [each for each in fits if _trusted(each).any()]
    odd = [each for each in _likeliest(trusting) if not (_plain(each) or _settled(each))] if trusting else []
    return fits + [_anew(each, value, present, frame=frame) for each in odd]


def _fair(simplest: tuple[WholeFit, ...]) -> list[WholeFit]:
    """Those that explain not far less than the best of them: the others are no phase of these bands."""
    return [each for each in simplest if each.explained > FAIR_SHARE * simplest[0].explained]


def _local(value: NDArray, present: NDArray, *, frame: Frame, whole: WholeFit) -> LocalFit:
    grid_x, grid_y = np.meshgrid(frame.x, frame.y)
    try:
        return fit_local(
            value,
            present,
            frame=frame,
            start_rad=whole.start.phase_rad(grid_x[frame.inside], grid_y[frame.inside]),
            prior_rad=expected_size_rad(PHASE_ORDER),
            grown=Grown(light=whole.levels[0], modulation=float(whole.levels[1][0]), phase_rad=whole.coefficients_rad),
        )
    except linalg.LinAlgError:
        raise _no_bands(0.0) from None


def _likeliest(fits: list[LocalFit]) -> list[LocalFit]:
    """The likeliest fit, and the likeliest of those that show another surface."""
    first = _first_among(fits)
    shared = _shared(fits)
    others = [fit for fit in fits if _possible(fit) and differ(first.fields.phase_rad, fit.fields.phase_rad, by_rad=DIFFERENT_RAD)]
    second = min(others, key=lambda fit: _lead(first, fit, shared=shared), default=None)
    return [first] if second is None else [first, second]


def _first_among(fits: list[LocalFit]) -> LocalFit:
    """The fit that leads the others, or falls behind the best of them by least."""
    shared = _shared(fits)
    return max(fits, key=lambda fit: min((_lead(fit, other, shared=shared) for other in fits if other is not fit), default=0.0))


def _shared(fits: list[LocalFit]) -> float:
    return max(fit.correlated_pixels for fit in fits)


def _anew(fit: LocalFit, value: NDArray, present: NDArray, *, frame: Frame) -> LocalFit:
    """The fit once more from its own phase under an even light of constant contrast, which shows borders that were followed by bending before.

    The phase sets out from its polynomials alone: what is put into the start is not held against the prior, and would look surer than it is.
    """
    polynomials = frame.polynomials.astype(float)
    phase = np.linalg.solve(polynomials @ polynomials.T, polynomials @ fit.fields.phase_rad)
    light, modulation = float(np.median(fit.fields.light)), float(np.median(fit.fields.modulation))
    even = np.r_[light, np.zeros(noll_count(LIGHT_ORDER) - 1)]
    return fit_local(
        value,
        present,
        frame=frame,
        start_rad=np.zeros(value.size),
        prior_rad=expected_size_rad(PHASE_ORDER),
        grown=Grown(light=even, modulation=modulation, phase_rad=phase),
        held=STEPS - 1,
    )


def _plain(fit: LocalFit) -> bool:
    """Whether the contrast is as even as one piece of glass on another makes it."""
    return _even(_own_contrast(fit))


def _even(contrast: NDArray) -> bool:
    return float(np.ptp(contrast)) < PLAIN_CONTRAST * float(np.mean(contrast))


def _calm(fit: LocalFit) -> bool:
    """Whether light and contrast are such as lamps and glass make without more ado."""
    contrast = _own_contrast(fit)
    return _swing(fit) < CALM_SWING and contrast.min() > FAINTEST * contrast.max() and fit.fields.contrast.max() < 1.0


def _own_contrast(fit: LocalFit) -> NDArray:
    """Contrast as glass and light of the room make it, without the fade of the lamp's own bands."""
    return without_fade(fit.fields.contrast, fit.fields.phase_rad, coherent_bands=fit.frame.coherent_bands)


def _settled(fit: LocalFit) -> bool:
    """Whether many bands are explained with hardly any bend of light and contrast, but for a border: few bands can be bent to wrong phases."""
    return _bands(fit) > EASY_TO_MIMIC and max(light_bend(fit), contrast_bend(fit)) < SETTLED_BEND


def _bands(fit: LocalFit) -> float:
    """From the lowest band to the highest."""
    return float(np.ptp(fit.fields.phase_rad)) / (2.0 * np.pi)


def _swing(fit: LocalFit) -> float:
    """How much the light itself varies, over the modulation."""
    return float(np.std(fit.fields.light) / np.mean(fit.fields.modulation))


def _trusted(fit: LocalFit) -> NDArray:
    """(n,) True where a pixel is not set aside; a try that went wrong altogether trusts none, and explains that perfectly."""
    return fit.weight > SET_ASIDE_WEIGHT


def _possible(fit: LocalFit) -> bool:
    """Whether a lamp and glass can make such light: no band turned inside out or darker than dark but for a few pixels, no place many times brighter."""
    trusted = _trusted(fit)
    if not trusted.any():
        return False
    contrast = fit.fields.contrast[trusted]
    dim, bright = np.quantile(fit.fields.light[trusted], (FEW_ODD, 1.0 - FEW_ODD))
    odd = float(np.mean((contrast < 0.0) | (contrast > MOST_CONTRAST)))
    return odd < FEW_ODD and 0.0 < bright < MOST_TIMES_BRIGHTER * dim


def _only_one(fits: list[LocalFit]) -> LocalFit:
    """The fit that the picture makes clearly more likely than any that shows another surface.

    What is left over alone does not tell: a wrong phase can be mended by a light and a contrast that no lamp and no glass make.
    """
    fits = [fit for fit in fits if _possible(fit)]
    if not fits:
        raise BandsUnreadable(
            found="the bands could only be explained by a light that no lamp makes",
            needed="bands that stand out from the light over the whole face are needed",
            remedy="light the face evenly, clear the back further or change the wedge to between 4 and 12 bands, and take it again",
        )
    fits = _under_usual_light(fits)
    best, shared = _first_among(fits), _shared(fits)
    for other in fits:
        if _lead(best, other, shared=shared) < LEAST_LEAD and differ(best.fields.phase_rad, other.fields.phase_rad, by_rad=DIFFERENT_RAD):
            raise BandsUnreadable(
                found="two different surfaces would give these bands equally well",
                needed="bands that tell them apart are needed",
                remedy="change the wedge to between 4 and 12 bands and take the photograph again",
            )
    return best


def _under_usual_light(fits: list[LocalFit]) -> list[LocalFit]:
    """Those whose light does not bend more than is heard of, as long as they don't leave far more unexplained than the best; all where there are none.

    Where the likeliest has many bands a light that bends is glare and no disguise: it can't follow them.
    """
    if _bands(_first_among(fits)) > EASY_TO_MIMIC:
        return fits
    least = min(1.0 - _explained(fit) for fit in fits)
    fair = [fit for fit in fits if 1.0 - _explained(fit) < max(MUCH_MORE_LEFT * least, LITTLE_LEFT)]
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
    left, left_by_other = (np.minimum(fit.residual**2, (WILDEST * spread) ** 2) for fit in (one, other))
    trusts, other_trusts = _trusted(one), _trusted(other)
    both = trusts & other_trusts
    lead = one.log_odds - _rarity(one) - other.log_odds + _rarity(other)
    lead += float(np.sum((left_by_other - left)[trusts ^ other_trusts])) / (spread**2 * PATCH_PIXELS)
    if both.any():
        lead += left.size / shared * float(np.log(np.mean(left_by_other[both]) / np.mean(left[both])))
    return lead


def _rarity(fit: LocalFit) -> float:
    """How much more a fit must explain, in the same measure, whose contrast few pieces of glass have."""
    contrast = _own_contrast(fit)
    rare = 0.0 if _even(contrast) else ODDS_OF_UNEVEN_CONTRAST
    return rare + (ODDS_OF_DEEP_FROST if contrast.min() < FAINTEST * contrast.max() else 0.0)


def _half(axis: NDArray) -> float:
    """Half the extent of the pixels of an axis, rims of the outer pixels included."""
    return float(axis[-1] - axis[0] + axis[1] - axis[0]) / 2.0


def _no_bands(share: float) -> BandsUnreadable:
    return BandsUnreadable(
        found=f"no bands were made out on the face (the best try explains {100 * max(0.0, share):.0f} % of what is seen)",
        needed="dark and bright bands must show clearly over the whole face",
        remedy="check lamp, focus and contact, and take the photograph again",
    )


def _convincing(whole: WholeFit | None) -> WholeFit:
    if whole is None or whole.explained < LEAST_UNDER_FROST:
        raise _no_bands(0.0 if whole is None else whole.explained)
    return whole


def _doubts(fit: LocalFit, *, seen: float) -> tuple[str, ...]:
    """Short names of doubts; raises BandsUnreadable where they are too great."""
    bands = _bands(fit)
    explained = _explained(fit)
    if explained < (LEAST_EXPLAINED if bands >= EASY_TO_MIMIC else SURE_EXPLAINED):
        raise _no_bands(explained)
    if bands < FEW_TO_MIMIC and _swing(fit) > MOST_SWING:
        raise BandsUnreadable(
            found=f"what shows on the face is as much uneven light as bands (at most {bands:.1f} of them)",
            needed="at least two dark bands must stand out from the light",
            remedy="put a paper shim under one side so that 4 to 12 bands show, and light the face evenly",
        )
    if bands < LEAST_BANDS:
        raise BandsUnreadable(
            found=f"only {bands:.1f} of a band shows on the face",
            needed="at least two bands are needed to tell height from contrast",
            remedy="put a paper shim under one side so that 4 to 12 bands show",
        )
    if bands < SURE_BANDS and not _calm(fit) and _set_aside(fit, seen=seen) > TOO_MUCH_SET_ASIDE:
        raise BandsUnreadable(
            found=f"only {bands:.1f} bands show and much of the face lies under dust or glare",
            needed="more bands, or a cleaner view of them, are needed to be sure of the reading",
            remedy="put a paper shim under one side so that 4 to 12 bands show, wipe the glass and shade it",
        )
    if bands < SURE_BANDS and light_bend(fit) > MOST_LIGHT_BEND:
        raise BandsUnreadable(
            found=f"only {bands:.1f} bands show and the light on the face is so uneven that shadows can't be told from bands",
            needed="more bands or a more even light is needed to be sure of the reading",
            remedy="put a paper shim under one side so that 4 to 12 bands show, and let the lamp shine evenly",
        )
    return _flags(bands=bands, seen=seen, fit=fit)


def _report(fit: LocalFit, *, u_mm: NDArray, v_mm: NDArray, seen: float, flags: tuple[str, ...]) -> PhaseReading:
    frame = fit.frame
    phase = np.full(frame.inside.shape, np.nan)
    phase[frame.inside] = fit.fields.phase_rad
    label = frame.cells.label[frame.inside]
    area = np.bincount(label).astype(float)
    points = Points(u_mm=frame.cells.x * frame.clear.semi_u_mm, v_mm=frame.cells.y * frame.clear.semi_v_mm, area=area, clear=frame.clear)
    return PhaseReading(
        u_mm=u_mm,
        v_mm=v_mm,
        phase_rad=phase,
        label=frame.cells.label,
        points=points,
        cell_phase_rad=np.bincount(label, fit.fields.phase_rad) / area,
        draws_rad=_draws(fit),
        bands_across=_bands(fit),
        explained=_explained(fit),
        contrast=float(np.mean(fit.fields.modulation) / np.mean(fit.fields.light)),
        seen=seen,
        flags=flags,
    )


def _explained(fit: LocalFit) -> float:
    """Share of the band variance that the model accounts for, over all pixels not set aside, however little the fit trusted them."""
    kept = fit.weight > 0.0
    swing = fit.fields.modulation[kept] * np.cos(fit.fields.phase_rad[kept])
    # no pixel counts for more than its whole band
    left = np.minimum(fit.residual[kept] ** 2, fit.fields.modulation[kept] ** 2)
    return 1.0 - float(np.sum(left) / max(np.sum(swing**2), 1e-30))


def _flags(*, bands: float, seen: float, fit: LocalFit) -> tuple[str, ...]:
    found = []
    if bands < SURE_BANDS:
        found.append("few-bands")
    if seen < 1.0 - 0.03:
        found.append("part-of-the-face-not-seen")
    if _set_aside(fit, seen=seen) > MUCH_SET_ASIDE:
        found.append("much-dust-or-glare")
    return tuple(found)


def _set_aside(fit: LocalFit, *, seen: float) -> float:
    """Share of the face that could be seen and was set aside."""
    return float(np.mean(fit.weight < SET_ASIDE_WEIGHT)) - (1.0 - seen)


def _draws(fit: LocalFit) -> NDArray:
    """Departures of the phase at the cells, drawn from the posterior of the phase blocks."""
    columns, covariance = phase_columns(fit)
    factor = linalg.cholesky(covariance + 1e-12 * np.trace(covariance) / len(covariance) * np.eye(len(covariance)), lower=True)
    noise = np.random.default_rng(DRAW_SEED).standard_normal((len(covariance), DRAWS))
    sample = factor @ noise
    at = 0
    total = np.zeros((fit.frame.cells.x.size, DRAWS))
    for block in columns:
        total += block @ sample[at : at + block.shape[1]]
        at += block.shape[1]
    return total.T
