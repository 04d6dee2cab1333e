"""The local stage: what polynomials of the whole face miss, with the uncertainty of what comes out.

Light, modulation and phase are estimated together as Gaussian fields (polynomials, rim functions, splines). How rough each field may be
is not set but found: the stiffness of every block is the one that makes the picture most likely (see `blocks`). On a face without a
local fault the splines go flat by themselves; the posterior covariance is the fit's share of the uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from straightband.fringes.blocks import LIGHT, MODULATION, PHASE, Block, normal_equations, solve, split
from straightband.fringes.border import Border, Strewn, find_border, refine_border
from straightband.fringes.bumps import MOVED_EXPLAINED, find_bumps
from straightband.fringes.cells import gather
from straightband.fringes.frame import (
    BORDER_BLOCK,
    FIGURE_BLOCK,
    LOCAL_BLOCKS,
    Fields,
    Frame,
    bordered,
    evaluate,
    even_coordinates,
    linearise,
    make_blocks,
    spread_out,
    with_border,
)
from straightband.fringes.noise import correlation_area, spread
from straightband.fringes.trust import CALMED_STEPS, MOST_STEPS, STEPS, far_off, glare_on, narrow_things, overlaid, weights
from straightband.fringes.veil import lifted_veil

FIRST_SHARED, MISFIT_SHARED = 4.0, 5.0  # pixels that share a reading: assumed at first; above which the model misses something
BORDER_ROUNDS = (1, 2)  # in which the border is placed anew
SETTLED_ROUND = 2  # before it the residual is not yet noise
HELD_ROUNDS = 1  # in which contrast stays near constant: what a phase can explain, the phase explains


@dataclass(frozen=True, slots=True, kw_only=True)
class Grown:
    """Where the local stage sets out.

    Attributes
    ----------
    light
        Coefficients of the light's polynomials, mean first, up to LIGHT_ORDER.
    modulation
        Mean modulation.
    phase_rad
        Coefficients of the phase's polynomials, up to PHASE_ORDER.
    """

    light: NDArray
    modulation: float
    phase_rad: NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class _State:
    """Where the iteration stands: the fields' blocks and coefficients, the border if any, and what the last round said of the pixels."""

    round: int
    frame: Frame
    blocks: list[Block]
    coefficients: NDArray
    border: Border | None
    present: NDArray
    weight: NDArray
    covariance: NDArray
    noise: float
    shared: float
    log_odds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Picture:
    """What is fitted: the light at the pixels, the start of its phase, modulation per light, and the mean light."""

    value: NDArray
    start_rad: NDArray
    share: float
    light: float
    held: int

    def seen_by(self, state: _State) -> tuple[Fields, NDArray, NDArray]:
        """Fields of a state, what they leave over, and the derivatives by each channel."""
        fields = evaluate(state.frame, split(state.coefficients, state.blocks), start_rad=self.start_rad, share=self.share)
        return fields, *linearise(self.value, fields, share=self.share)


@dataclass(frozen=True, slots=True, kw_only=True)
class LocalFit:
    """Fields over the face and the covariance of their coefficients.

    Attributes
    ----------
    frame, blocks
        Bases the coefficients belong to.
    fields
        Light, modulation and phase at the pixels of the face.
    covariance
        (k, k) posterior covariance of all coefficients, noise correlation counted.
    residual
        (n,) value less model.
    weight
        (n,) 0 where missing or distrusted.
    noise
        Standard deviation of one pixel.
    correlated_pixels
        Pixels that share one independent reading.
    log_odds
        Logarithm of the evidence, twice, but for the part that the residual has in it: large where fields that are likely beforehand explain
        the picture.
    ended
        Where the iteration stopped, to be taken up again.
    """

    frame: Frame
    blocks: list[Block]
    fields: Fields
    covariance: NDArray
    residual: NDArray
    weight: NDArray
    noise: float
    correlated_pixels: float
    log_odds: float
    ended: tuple[_Picture, _State]

    @property
    def value(self) -> NDArray:
        """The picture (n,) it fits: light laid over the bands taken away."""
        return self.ended[0].value


def fit_local(
    value: NDArray, present: NDArray, *, frame: Frame, start_rad: NDArray, prior_rad: NDArray, grown: Grown, held: int = HELD_ROUNDS
) -> LocalFit:
    """Fields that explain the picture, grown from the phase of the whole face.

    Parameters
    ----------
    value, present
        (n,) linear light and whether it counts, at the pixels of `frame.inside`.
    start_rad
        (n,) phase the polynomials of the whole fit were added to.
    prior_rad
        Expected size of each polynomial's coefficient.
    grown
        What the whole fit came to.
    held
        Rounds in which the contrast stays near constant.
    """
    picture = _Picture(
        value=value, start_rad=start_rad, held=held, share=float(grown.modulation) / float(grown.light[0]), light=float(grown.light[0])
    )
    state = _first(picture, present, frame=frame, prior_rad=prior_rad, grown=grown)
    steps = STEPS
    while state.round < steps:
        if state.round == 1:
            picture, state = _looked_over(_unveiled(picture, state), state)
        if state.round == STEPS - 1:
            picture = _looked_into(picture, state)
        state = _round(picture, state)
        if state.round == STEPS and state.shared > MISFIT_SHARED:
            steps = MOST_STEPS
    return _fit_at(picture, state)


def calmed(fit: LocalFit) -> LocalFit:
    """The fit carried on where it leaves over what hangs together: a frosted back's ragged border, its grain, glare.

    Every place is believed by how rough it is around it, over and over, so that the phase there comes to rest on what is seen elsewhere.
    """
    picture, state = fit.ended
    if state.round <= STEPS:
        return fit
    while state.round < CALMED_STEPS:
        state = _round(picture, state)
    return _fit_at(picture, state)


def _fit_at(picture: _Picture, state: _State) -> LocalFit:
    fields, residual, _ = picture.seen_by(state)
    return LocalFit(
        ended=(picture, state),
        frame=state.frame,
        blocks=state.blocks,
        fields=fields,
        covariance=state.covariance,
        residual=residual,
        weight=state.weight,
        noise=state.noise,
        correlated_pixels=state.shared,
        log_odds=state.log_odds,
    )


def _first(picture: _Picture, present: NDArray, *, frame: Frame, prior_rad: NDArray, grown: Grown) -> _State:
    """The whole fit in the blocks of the local stage, with the border of a frosted back if one stands out."""
    blocks = make_blocks(frame, light=picture.light, modulation=float(grown.modulation), prior_rad=prior_rad)
    ends = np.cumsum([0] + [block.size for block in blocks])
    coefficients = np.zeros(ends[-1])
    coefficients[: grown.light.size] = grown.light
    coefficients[ends[FIGURE_BLOCK] : ends[FIGURE_BLOCK] + grown.phase_rad.size] = grown.phase_rad
    state = _State(
        round=0,
        frame=frame,
        blocks=blocks,
        coefficients=coefficients,
        border=None,
        present=present,
        weight=present.astype(float),
        covariance=np.zeros((0, 0)),
        noise=0.0,
        shared=FIRST_SHARED,
        log_odds=0.0,
    )
    fields, residual, _ = picture.seen_by(state)
    bright = glare_on(picture.value, fields, present=present, frame=frame)
    border = _searched(residual, fields=fields, present=present & ~bright, frame=frame, near=None)
    return state if border is None else _bordered(picture, state, border=border)


def _bordered(picture: _Picture, state: _State, *, border: Border) -> _State:
    """The state with its border, new or moved."""
    frame, at_cells = bordered(state.frame, border)
    coefficients = state.coefficients
    if state.border is None:
        before = sum(block.size for block in state.blocks[:BORDER_BLOCK])
        coefficients = np.insert(coefficients, before, np.zeros(2 * at_cells.shape[1]))
    blocks = with_border(state.blocks, at_cells, light=picture.light)
    return replace(state, frame=frame, blocks=blocks, coefficients=coefficients, border=border)


def _unveiled(picture: _Picture, state: _State) -> _Picture:
    """The picture without the light of lamps' images that bands still show through."""
    fields, _, _ = picture.seen_by(state)
    bright = glare_on(picture.value, fields, present=state.present, frame=state.frame)
    if state.border is not None or not bright.any():  # the border of a frosted back is a step that no window follows
        return picture
    return replace(
        picture, value=picture.value - lifted_veil(picture.value, fields, bright=bright, present=state.present, frame=state.frame)
    )


def _looked_over(picture: _Picture, state: _State) -> tuple[_Picture, _State]:
    """Hills at the top of a band in the start of the phase, and what lies over the bands no longer present."""
    fields, residual, channels = picture.seen_by(state)
    patches = far_off(residual, state.present, frame=state.frame)
    bumps = find_bumps(picture.value, fields, patches=patches, present=state.present, frame=state.frame)
    laid = overlaid(residual, state.present & ~bumps.where, by_phase=channels[PHASE], frame=state.frame)
    return replace(picture, start_rad=picture.start_rad + bumps.phase_rad), replace(state, present=state.present & ~laid)


def _looked_into(picture: _Picture, state: _State) -> _Picture:
    """Hills too small for one patch of one sign in the start of the phase: one of them does not make the whole face's splines loose enough to follow it."""
    fields, residual, channels = picture.seen_by(state)
    found = narrow_things(residual, state.present, by_phase=channels[PHASE], frame=state.frame)
    clean = state.present & ~found.specks[state.frame.inside]
    bumps = find_bumps(
        picture.value, fields, patches=found.moved, present=clean, frame=state.frame, noise=state.noise, least=MOVED_EXPLAINED
    )
    return replace(picture, start_rad=picture.start_rad + bumps.phase_rad)


def _round(picture: _Picture, state: _State) -> _State:
    """One round: the border placed anew, the pixels weighed, a step of all coefficients, the stiffness set anew."""
    fields, residual, channels = picture.seen_by(state)
    if state.border is not None and state.round in BORDER_ROUNDS:
        state = _bordered(picture, state, border=_placed_anew(picture, state, border=state.border, fields=fields, residual=residual))
        fields, residual, channels = picture.seen_by(state)
    frame = state.frame
    bright = glare_on(picture.value, fields, present=state.present, frame=frame)
    weight = weights(
        residual, state.present & ~bright, level=picture.value - residual, by_phase=channels[PHASE], frame=frame, round_=state.round
    )
    noise, shared = spread(residual, weight), state.shared
    if state.round > SETTLED_ROUND:
        shared = correlation_area(spread_out(residual * np.sqrt(weight), frame), spread_out(weight > 0, frame))
    # at first without the local fields: what lies over the bands shows only where nothing has bent to it
    used = state.blocks[:LOCAL_BLOCKS] if state.round == 0 else state.blocks
    normal, right = normal_equations(used, gather(frame.cells, channels=channels, residual=residual, weight=weight))
    variance = max(noise**2 * shared, 1e-14)
    normal /= variance
    coefficients = state.coefficients.copy()
    known = sum(block.size for block in used)
    coefficients[:known], covariance, log_odds, fresh = solve(
        normal, right / variance, coefficients=coefficients[:known], blocks=used, hold=state.round < picture.held
    )
    return replace(
        state,
        round=state.round + 1,
        blocks=[*fresh, *state.blocks[len(used) :]],
        coefficients=coefficients,
        weight=weight,
        covariance=covariance,
        noise=noise,
        shared=shared,
        log_odds=log_odds,
    )


def _searched(residual: NDArray, *, fields: Fields, present: NDArray, frame: Frame, near: Border | None) -> Border | None:
    """The border of a frosted back in what a model without it left over, near a known one if given."""
    rows, columns = np.nonzero(frame.inside)
    some = present & (rows % 2 == 0) & (columns % 2 == 0)
    x, y = even_coordinates(frame)
    modulation = float(np.mean(np.abs(fields.modulation)))
    # a clipped residual keeps glare and specks from posing as borders
    strewn = Strewn(
        x=x[some],
        y=y[some],
        value=np.clip(residual[some], -modulation, modulation),
        phase_rad=fields.phase_rad[some],
        light=float(np.mean(fields.light)),
        modulation=modulation,
    )
    return find_border(strewn) if near is None else refine_border(strewn, near)


def _placed_anew(picture: _Picture, state: _State, *, border: Border, fields: Fields, residual: NDArray) -> Border:
    """The border of a state where it fits best now that the bands are better known."""
    parts = split(state.coefficients, state.blocks)
    veil, lost = parts[BORDER_BLOCK] @ state.frame.border, parts[BORDER_BLOCK + 1] @ state.frame.border
    by_border = veil + (picture.share * veil + lost) * np.cos(fields.phase_rad)
    found = _searched(residual + by_border, fields=fields, present=state.present, frame=state.frame, near=border)
    return border if found is None else found


def light_bend(fit: LocalFit) -> float:
    """How far the light bends from spline to spline, as a share of its mean: the spread that the evidence came to."""
    return _bend(fit, channel=LIGHT) / float(np.mean(fit.fields.light))


def contrast_bend(fit: LocalFit) -> float:
    """The same of the modulation."""
    return _bend(fit, channel=MODULATION) / float(np.mean(fit.fields.modulation))


def _bend(fit: LocalFit, *, channel: int) -> float:
    splines = next(block for block in fit.blocks if block.channel == channel and block.adapts)
    return 1.0 / float(np.sqrt(splines.stiffness))


def phase_columns(fit: LocalFit) -> tuple[list[NDArray | sparse.csr_array], NDArray]:
    """Values at the cells of the phase's basis functions, block by block, and the covariance of their coefficients."""
    ends = np.cumsum([0] + [block.size for block in fit.blocks])
    phase = [i for i, block in enumerate(fit.blocks) if block.channel == PHASE]
    chosen = np.concatenate([np.arange(ends[i], ends[i + 1]) for i in phase])
    return [fit.blocks[i].columns for i in phase], fit.covariance[np.ix_(chosen, chosen)]
