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
from straightband.fringes.frame import LIGHT_ORDER, PHASE_ORDER, Frame, make_frame
from straightband.fringes.grow import WholeFit, expected_size_rad
from straightband.fringes.local import Grown, LocalFit, calmed, fit_local, light_bend, phase_columns
from straightband.fringes.odds import likeliest, only_one
from straightband.fringes.traits import (
    EASY_TO_MIMIC,
    SET_ASIDE_WEIGHT,
    bands_of,
    explained_by,
    is_calm,
    is_plain,
    is_settled,
    swing_of,
    trusted_by,
)
from straightband.fringes.trust import STEPS
from straightband.fringes.whole import RIVAL, fit_whole
from straightband.heightmap.figures import Points
from straightband.photo.rectify import SquarePicture

LEAST_EXPLAINED = 0.75  # of the band variance; fine textures stay below a half in trials
LEAST_UNDER_FROST = 0.5  # the same before the border of a frosted back is known
SURE_EXPLAINED = 0.95  # asked where so few bands show that smooth blotches can mimic them
FEW_TO_MIMIC, MOST_SWING = 2.0, 0.42  # bands; light's own swing over the modulation: 0.46-0.80 in smooth blotches, 0.03-0.40 in bands
FAIR_SHARE = 0.6  # of what the best of the simplest phases explains
LEAST_BANDS = 1.0  # below, contrast and height can't be told apart
SURE_BANDS = 3.0
MUCH_SET_ASIDE = 0.08  # share of the face worth a word
TOO_MUCH_SET_ASIDE = 0.2  # share of the face that leaves no certainty where few bands show
MOST_LIGHT_BEND = 0.15  # of the mean light, from spline to spline: a patchy back stays about a tenth
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
    cell_seen
        (c,) True where at least half of a cell was not set aside.
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
    cell_seen: NDArray
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
    chosen = only_one(fits)
    flags = _doubts(chosen, seen=seen)
    return _report(calmed(chosen), u_mm=picture.u_mm[columns], v_mm=picture.v_mm[rows], seen=seen, flags=flags)


def _contenders(whole: WholeFit, value: NDArray, present: NDArray, *, frame: Frame) -> list[LocalFit]:
    """The fit from the best phase of the whole face, and as many others as its light and its contrast leave in doubt."""
    fit = _local(value, present, frame=frame, whole=whole)
    close = [each for each in whole.rivals if 1.0 - each.explained < RIVAL * (1.0 - whole.explained)]
    if is_calm(fit) or is_settled(fit):
        rivals = close
    else:
        # what leaves more over than the best, and what is simpler, is only tried where the best needs an odd light
        rivals = [*whole.rivals, *(() if is_plain(fit) else _fair(whole.simplest))]
    fits = [fit, *(_local(value, present, frame=frame, whole=each) for each in rivals)]
    trusting = [each for each in fits if trusted_by(each).any()]
    odd = [each for each in likeliest(trusting) if not (is_plain(each) or is_settled(each))] if trusting else []
    return fits + [_anew(each, present, frame=frame) for each in odd]


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


def _anew(fit: LocalFit, present: NDArray, *, frame: Frame) -> LocalFit:
    """The fit once more from its own phase under an even light of constant contrast, which shows borders that were followed by bending before.

    The phase sets out from its polynomials alone: what is put into the start is not held against the prior, and would look surer than it is.
    """
    polynomials = frame.polynomials.astype(float)
    phase = np.linalg.solve(polynomials @ polynomials.T, polynomials @ fit.fields.phase_rad)
    light, modulation = float(np.median(fit.fields.light)), float(np.median(fit.fields.modulation))
    even = np.r_[light, np.zeros(noll_count(LIGHT_ORDER) - 1)]
    return fit_local(
        fit.value,
        present,
        frame=frame,
        start_rad=np.zeros(fit.value.size),
        prior_rad=expected_size_rad(PHASE_ORDER),
        grown=Grown(light=even, modulation=modulation, phase_rad=phase),
        held=STEPS - 1,
    )


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
    bands = bands_of(fit)
    explained = explained_by(fit)
    if explained < (LEAST_EXPLAINED if bands >= EASY_TO_MIMIC else SURE_EXPLAINED):
        raise _no_bands(explained)
    if bands < FEW_TO_MIMIC and swing_of(fit) > MOST_SWING:
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
    if bands < SURE_BANDS and not is_calm(fit) and _set_aside(fit, seen=seen) > TOO_MUCH_SET_ASIDE:
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
        cell_seen=np.bincount(label, trusted_by(fit)) >= 0.5 * area,
        bands_across=bands_of(fit),
        explained=explained_by(fit),
        contrast=float(np.mean(fit.fields.modulation) / np.mean(fit.fields.light)),
        seen=seen,
        flags=flags,
    )


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
