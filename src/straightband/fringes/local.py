"""The local stage: what polynomials of the whole face miss, with the uncertainty of what comes out.

Light, modulation and phase are estimated together as Gaussian fields (polynomials, rim functions, splines). How rough each field may be
is not set but found: the stiffness of every block is the one that makes the picture most likely (evidence). On a face without a
local fault the splines go flat by themselves; the posterior covariance is the fit's share of the uncertainty.

Sources
-------
Evidence and its fixed-point iteration: D. J. C. MacKay, Bayesian interpolation, Neural Computation 4, 415-447 (1992), section 4 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse

from straightband.face.polynomials import noll_count
from straightband.face.shapes import Face
from straightband.fringes.border import Border, Strewn, find_border, refine_border
from straightband.fringes.cells import CHANNELS, Cells, Moments, divide, gather
from straightband.fringes.fields import SplineGrid, polynomial_block, rim_functions, rim_roughness, spline_grid
from straightband.fringes.noise import correlation_area, distrusted, glare, laid_over, local_confidence, soft_weight, spread
from straightband.fringes.whole import polynomials

LIGHT, MODULATION, PHASE, OVERTONE = range(CHANNELS)
PHASE_ORDER, LIGHT_ORDER = 8, 3
QUADRATIC = noll_count(2)  # piston, tilts and second order: free, since wedge and bow are what they are
PHASE_SPLINES, LIGHT_SPLINES = 22, 9  # along the shorter extent
STEPS = 5
MOST_STEPS = 8  # taken when something hangs together in what is left: the border of a frosted back, say
FIRST_SHARED, MISFIT_SHARED = 4.0, 8.0  # pixels that share a reading: assumed at first; above which the model misses something
SOFT_SIGMAS = (
    5.0,
    np.inf,
    30.0,
    8.0,
    3.0,
)  # scale of the soft weight, round by round: first catch what is wide, then forget what is narrow
BORDER_BLOCK, LOCAL_BLOCKS = 7, 9  # first of the two blocks of a border; blocks before the rim functions and splines of the phase
BORDER_ROUNDS = (1, 2)  # in which the border is placed anew
SETTLED_ROUND = 2  # before it the residual is not yet noise
HELD_ROUNDS = 1  # in which contrast stays near constant: what a phase can explain, the phase explains
CONTRAST_SPREAD = 0.02  # expected departure of the contrast from constant, per polynomial
# Where the picture can't tell contrast from height, at a rim beyond the last band, it is the contrast that is taken as constant.
CONTRAST_BEND, CONTRAST_BEND_LIMIT = 0.003, 0.3
# Stiff at first: where bands turn round, light and height look alike, and a light that sets out loose takes what is height.
LIGHT_BEND = 0.0005  # of the mean light
LIGHT_SPREAD = 0.15  # expected unevenness of the light as a share of its mean, per polynomial
STIFFEST = 1e10


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """Basis functions of one field that share a stiffness.

    Attributes
    ----------
    channel
        Which field they add to.
    columns
        (c, k) values at the cells, dense or sparse.
    penalty
        (k, k) or (k,): stiffness 1 in its own units.
    stiffness
        Factor on the penalty.
    loosest
        Smallest factor the evidence may set.
    adapts
        Whether the evidence sets the factor.
    """

    channel: int
    columns: NDArray | sparse.csr_array
    penalty: NDArray
    stiffness: float
    adapts: bool
    loosest: float = 0.0

    @property
    def size(self) -> int:
        """Number of functions."""
        return int(self.columns.shape[1])


@dataclass(frozen=True, slots=True, kw_only=True)
class Fields:
    """The three fields at the pixels of the face, (n,) each, and the strength of the overtone."""

    light: NDArray
    modulation: NDArray
    phase_rad: NDArray
    overtone: float


def normal_equations(blocks: list[Block], moments: Moments) -> tuple[NDArray, NDArray]:
    """J'WJ and J'Wr of all blocks together, from the moments of the cells."""
    ends = np.cumsum([0] + [block.size for block in blocks])
    place = [slice(ends[i], ends[i + 1]) for i in range(len(blocks))]
    normal = np.empty((ends[-1], ends[-1]))
    right = np.concatenate([block.columns.T @ moments.with_residual[block.channel] for block in blocks])
    dense = [i for i, block in enumerate(blocks) if isinstance(block.columns, np.ndarray)]
    thin = [i for i in range(len(blocks)) if i not in dense]

    def weigh(i: int, j: int) -> NDArray:
        return moments.products[blocks[i].channel, blocks[j].channel]

    for k, i in enumerate(dense):
        for j in dense[k:]:
            part = (blocks[i].columns * weigh(i, j)[:, None]).T @ blocks[j].columns
            normal[place[i], place[j]], normal[place[j], place[i]] = part, part.T
    for k, i in enumerate(thin):
        # every product with a sparse matrix has its price, so the dense ones are taken side by side
        side = blocks[i].columns.T @ np.concatenate([blocks[j].columns * weigh(i, j)[:, None] for j in dense], axis=1)
        for j, part in zip(dense, np.split(side, np.cumsum([blocks[j].size for j in dense])[:-1], axis=1), strict=True):
            normal[place[i], place[j]], normal[place[j], place[i]] = part, part.T
        for j in thin[k:]:
            part = (_row_scaled(blocks[i].columns, weigh(i, j)).T @ blocks[j].columns).toarray()
            normal[place[i], place[j]], normal[place[j], place[i]] = part, part.T
    return normal, right


def _row_scaled(matrix: sparse.csr_array, factor: NDArray) -> sparse.csr_array:
    """The matrix with each row times its factor."""
    data = matrix.data * np.repeat(factor, np.diff(matrix.indptr))
    return sparse.csr_array((data, matrix.indices, matrix.indptr), shape=matrix.shape)


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """The grid of pixels the fields live on, and the bases evaluated there once.

    Attributes
    ----------
    clear
        The clear aperture, which the coordinates are scaled to.
    x, y
        Axes of the grid, -1 to 1.
    inside
        [v, u] True on the clear aperture.
    polynomials, rim
        (k, n) values at the pixels inside.
    phase_grid, light_grid
        Spline grids of the fine and the broad fields.
    cells
        The cells of the pixels.
    border
        (3, n) step across the border of a frosted back and its slopes, no rows where there is none.
    """

    clear: Face
    x: NDArray
    y: NDArray
    inside: NDArray
    polynomials: NDArray
    rim: NDArray
    phase_grid: SplineGrid
    light_grid: SplineGrid
    cells: Cells
    border: NDArray


def make_frame(*, clear: Face, x: NDArray, y: NDArray) -> Frame:
    """Bases for a grid with axes x and y scaled to the clear aperture."""
    cells = divide(x, y, clear=clear)
    inside = cells.label >= 0
    xx, yy = np.meshgrid(x.astype(np.float32), y.astype(np.float32))
    return Frame(
        clear=clear,
        x=x,
        y=y,
        inside=inside,
        polynomials=polynomials(xx[inside], yy[inside], shape=clear.shape, order=PHASE_ORDER),
        rim=rim_functions(xx[inside], yy[inside], clear=clear),
        phase_grid=_grid(PHASE_SPLINES, clear),
        light_grid=_grid(LIGHT_SPLINES, clear),
        cells=cells,
        border=np.zeros((0, int(inside.sum())), dtype=np.float32),
    )


def _grid(shorter: int, clear: Face) -> SplineGrid:
    """Splines of even spacing on the face although the coordinates are stretched."""
    aspect = clear.semi_v_mm / clear.semi_u_mm
    return spline_grid(
        columns=max(5, round(shorter * max(1.0, 1.0 / aspect))), rows=max(5, round(shorter * max(1.0, aspect))), shape=clear.shape
    )


def make_blocks(frame: Frame, *, light: float, modulation: float, prior_rad: NDArray) -> list[Block]:
    """The blocks of all fields with their first stiffness; light and modulation are the mean levels of the whole fit."""
    x, y = frame.cells.x, frame.cells.y
    shape = frame.clear.shape
    broad = polynomial_block(x, y, shape=shape, order=LIGHT_ORDER)
    coarse, fine = frame.light_grid.matrix(x, y), frame.phase_grid.matrix(x, y)
    bend_coarse = frame.light_grid.bending() + 1e-4 * np.eye(frame.light_grid.size)
    bend_fine = frame.phase_grid.bending() + 1e-4 * np.eye(frame.phase_grid.size)
    free = np.r_[1e-6, np.ones(broad.shape[1] - 1)] / light**2
    held = np.r_[1e-4, np.ones(broad.shape[1] - 1)]
    figure = polynomial_block(x, y, shape=shape, order=PHASE_ORDER)
    return [
        Block(channel=LIGHT, columns=broad, penalty=free, stiffness=1.0 / LIGHT_SPREAD**2, adapts=False),
        Block(channel=LIGHT, columns=coarse, penalty=bend_coarse, stiffness=1.0 / (LIGHT_BEND * light) ** 2, adapts=True),
        # Not left to the evidence: few bands can't tell uneven light from height, and the doubt must stay in the covariance.
        Block(channel=MODULATION, columns=broad, penalty=held, stiffness=1.0 / (CONTRAST_SPREAD * modulation) ** 2, adapts=False),
        Block(
            channel=MODULATION,
            columns=coarse,
            penalty=bend_coarse,
            stiffness=1.0 / (CONTRAST_BEND * modulation) ** 2,
            adapts=True,
            loosest=1.0 / (CONTRAST_BEND_LIMIT * modulation) ** 2,
        ),
        Block(channel=OVERTONE, columns=np.ones((x.size, 1)), penalty=np.array([1.0 / 0.1**2]), stiffness=1.0, adapts=False),
        Block(channel=PHASE, columns=figure[:, :QUADRATIC], penalty=1.0 / prior_rad[:QUADRATIC] ** 2, stiffness=1.0, adapts=False),
        Block(channel=PHASE, columns=figure[:, QUADRATIC:], penalty=1.0 / prior_rad[QUADRATIC:] ** 2, stiffness=1.0, adapts=True),
        *_border_blocks(np.zeros((x.size, 0)), light=light),
        Block(
            channel=PHASE,
            columns=rim_functions(x, y, clear=frame.clear).T.copy(),
            penalty=rim_roughness(),
            stiffness=1.0 / 0.3**2,
            adapts=True,
        ),
        Block(channel=PHASE, columns=fine, penalty=bend_fine, stiffness=1.0 / 0.02**2, adapts=True),
    ]


def split(coefficients: NDArray, blocks: list[Block]) -> list[NDArray]:
    """The coefficients of each block."""
    return np.split(coefficients, np.cumsum([block.size for block in blocks])[:-1])


def evaluate(frame: Frame, parts: list[NDArray], *, start_rad: NDArray, share: float) -> Fields:
    """The fields at the pixels from the coefficients of the blocks; `share` is modulation per light."""
    broad = frame.polynomials[: noll_count(LIGHT_ORDER)]
    # The bases are held in single precision: a double on the other side would copy them whole.
    slim = [part.astype(np.float32) for part in parts]
    light = slim[0] @ broad + frame.light_grid.on_grid(parts[1], x=frame.x, y=frame.y)[frame.inside]
    extra = slim[2] @ broad + frame.light_grid.on_grid(parts[3], x=frame.x, y=frame.y)[frame.inside]
    figure = slim[5] @ frame.polynomials[:QUADRATIC] + slim[6] @ frame.polynomials[QUADRATIC:]
    phase = figure + slim[9] @ frame.rim + frame.phase_grid.on_grid(parts[10], x=frame.x, y=frame.y)[frame.inside]
    if len(frame.border):
        light, extra = light + slim[BORDER_BLOCK] @ frame.border, extra + slim[BORDER_BLOCK + 1] @ frame.border
    return Fields(light=light, modulation=share * light + extra, phase_rad=start_rad + phase, overtone=float(parts[4][0]))


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


def fit_local(value: NDArray, present: NDArray, *, frame: Frame, start_rad: NDArray, prior_rad: NDArray, grown: Grown) -> LocalFit:
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
    """
    light, modulation = float(grown.light[0]), float(grown.modulation)
    share = modulation / light
    blocks = make_blocks(frame, light=light, modulation=modulation, prior_rad=prior_rad)
    coefficients = np.zeros(sum(block.size for block in blocks))
    ends = np.cumsum([0] + [block.size for block in blocks])
    coefficients[: grown.light.size] = grown.light
    coefficients[ends[5] : ends[5] + grown.phase_rad.size] = grown.phase_rad
    fields = evaluate(frame, split(coefficients, blocks), start_rad=start_rad, share=share)
    bright = _glare(value, fields, present=present, frame=frame)
    border = _searched(value - _picture(fields), fields=fields, present=present & ~bright, frame=frame, near=None)
    if border is not None:
        frame, at_cells = _bordered(frame, border)
        blocks = _with_border(blocks, at_cells, light=light)
        coefficients = np.insert(coefficients, ends[BORDER_BLOCK], np.zeros(2 * at_cells.shape[1]))
    shared, round_, misfit = FIRST_SHARED, 0, False
    while round_ < (MOST_STEPS if misfit else STEPS):
        fields = evaluate(frame, split(coefficients, blocks), start_rad=start_rad, share=share)
        residual, channels = _linearise(value, fields, share=share)
        if round_ == 1:
            present = present & ~_overlaid(residual, present, by_phase=channels[PHASE], frame=frame)
        if border is not None and round_ in BORDER_ROUNDS:
            parts = split(coefficients, blocks)
            border = _placed_anew(border, frame=frame, fields=fields, residual=residual, present=present, parts=parts, share=share)
            frame, at_cells = _bordered(frame, border)
            blocks = _with_border(blocks, at_cells, light=light)
            fields = evaluate(frame, split(coefficients, blocks), start_rad=start_rad, share=share)
            residual, channels = _linearise(value, fields, share=share)
        bright = _glare(value, fields, present=present, frame=frame)
        weight = _weights(residual, present & ~bright, by_phase=channels[PHASE], frame=frame, round_=round_)
        noise = spread(residual, weight)
        if round_ > SETTLED_ROUND:
            shared = correlation_area(_spread_out(residual * np.sqrt(weight), frame), _spread_out(weight > 0, frame))
        moments = gather(frame.cells, channels=channels, residual=residual, weight=weight)
        # at first without the local fields: what lies over the bands shows only where nothing has bent to it
        used = blocks[:LOCAL_BLOCKS] if round_ == 0 else blocks
        normal, right = normal_equations(used, moments)
        variance = max(noise**2 * shared, 1e-14)
        known = sum(block.size for block in used)
        coefficients[:known], covariance, log_odds, fresh = _solve(
            normal / variance, right / variance, coefficients=coefficients[:known], blocks=used, hold=round_ < HELD_ROUNDS
        )
        blocks = [*fresh, *blocks[len(used) :]]
        round_ += 1
        misfit = misfit or (round_ == STEPS and shared > MISFIT_SHARED)
    fields = evaluate(frame, split(coefficients, blocks), start_rad=start_rad, share=share)
    residual, _ = _linearise(value, fields, share=share)
    return LocalFit(
        frame=frame,
        blocks=blocks,
        fields=fields,
        covariance=covariance,
        residual=residual,
        weight=weight,
        noise=noise,
        correlated_pixels=shared,
        log_odds=log_odds,
    )


def _searched(residual: NDArray, *, fields: Fields, present: NDArray, frame: Frame, near: Border | None) -> Border | None:
    """The border of a frosted back in what a model without it left over, near a known one if given."""
    rows, columns = np.nonzero(frame.inside)
    some = present & (rows % 2 == 0) & (columns % 2 == 0)
    x, y = _even(frame)
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


def _even(frame: Frame) -> tuple[NDArray, NDArray]:
    """Coordinates (n,) of the pixels inside, both in units of the shorter half extent."""
    clear = frame.clear
    short = min(clear.semi_u_mm, clear.semi_v_mm)
    rows, columns = np.nonzero(frame.inside)
    return frame.x[columns] * clear.semi_u_mm / short, frame.y[rows] * clear.semi_v_mm / short


def _border_blocks(at_cells: NDArray, *, light: float) -> list[Block]:
    """The change of light and of modulation across a border, nearly free; `at_cells` (c, 3), or (c, 0) where there is none."""
    free = np.full(at_cells.shape[1], 1.0 / light**2)
    return [Block(channel=channel, columns=at_cells, penalty=free, stiffness=1.0, adapts=False) for channel in (LIGHT, MODULATION)]


def _with_border(blocks: list[Block], at_cells: NDArray, *, light: float) -> list[Block]:
    return [*blocks[:BORDER_BLOCK], *_border_blocks(at_cells, light=light), *blocks[LOCAL_BLOCKS:]]


def _bordered(frame: Frame, border: Border) -> tuple[Frame, NDArray]:
    """The frame with the functions of the border at its pixels, and their means (c, 3) over the cells."""
    functions = border.functions(*_even(frame))
    label = frame.cells.label[frame.inside]
    at_cells = np.stack([np.bincount(label, row) for row in functions], axis=1) / np.bincount(label)[:, None]
    return replace(frame, border=functions.astype(np.float32)), at_cells


def _placed_anew(
    border: Border, *, frame: Frame, fields: Fields, residual: NDArray, present: NDArray, parts: list[NDArray], share: float
) -> Border:
    """The border where it fits best now that the bands are better known."""
    veil, lost = parts[BORDER_BLOCK] @ frame.border, parts[BORDER_BLOCK + 1] @ frame.border
    by_border = veil + (share * veil + lost) * np.cos(fields.phase_rad)
    return _searched(residual + by_border, fields=fields, present=present, frame=frame, near=border) or border


def _spread_out(values: NDArray, frame: Frame) -> NDArray:
    grid = np.zeros(frame.inside.shape, dtype=values.dtype)
    grid[frame.inside] = values
    return grid


def _overlaid(residual: NDArray, present: NDArray, *, by_phase: NDArray, frame: Frame) -> NDArray:
    laid = laid_over(_spread_out(residual, frame), _spread_out(present, frame), by_phase=_spread_out(by_phase, frame))
    return laid[frame.inside]


def _glare(value: NDArray, fields: Fields, *, present: NDArray, frame: Frame) -> NDArray:
    light, modulation = _spread_out(fields.light, frame), _spread_out(fields.modulation, frame)
    there, missing = _spread_out(present, frame), _spread_out(~present, frame)
    return glare(_spread_out(value, frame), light=light, modulation=modulation, present=there, missing=missing)[frame.inside]


def _weights(residual: NDArray, present: NDArray, *, by_phase: NDArray, frame: Frame, round_: int) -> NDArray:
    """All pixels alike at first, then soft, then without the specks, at last with what the model misses held against its surroundings."""
    if round_ == 1:
        return present.astype(float)
    weight = soft_weight(residual, present, sigmas=SOFT_SIGMAS[min(round_, len(SOFT_SIGMAS) - 1)])
    if round_ < STEPS - 1:
        return weight
    specks = distrusted(_spread_out(residual, frame), _spread_out(present, frame), by_phase=_spread_out(by_phase, frame))
    weight = np.where(specks[frame.inside], 0.0, weight)
    if round_ < MOST_STEPS - 1:
        return weight
    return weight * local_confidence(_spread_out(residual, frame), _spread_out(weight > 0, frame))[frame.inside]


def _picture(fields: Fields) -> NDArray:
    """The light (n,) that the fields say."""
    cos = np.cos(fields.phase_rad)
    return fields.light + fields.modulation * (cos + fields.overtone * (2.0 * cos * cos - 1.0))


def _linearise(value: NDArray, fields: Fields, *, share: float) -> tuple[NDArray, NDArray]:
    """Residual (n,) and the derivative of the picture by each channel (CHANNELS, n)."""
    cos, sin = np.cos(fields.phase_rad), np.sin(fields.phase_rad)
    double = 2.0 * cos * cos - 1.0
    model = fields.light + fields.modulation * (cos + fields.overtone * double)
    by_phase = -fields.modulation * (sin + 4.0 * fields.overtone * sin * cos)
    return value - model, np.stack([1.0 + share * cos, cos, by_phase, fields.modulation * double])


def _solve(
    normal: NDArray, right: NDArray, *, coefficients: NDArray, blocks: list[Block], hold: bool
) -> tuple[NDArray, NDArray, float, list[Block]]:
    """One Gauss-Newton step under the prior, the posterior covariance, the log odds and the stiffness that the evidence asks for."""
    posterior, pull = normal.copy(), right.copy()
    ends = np.cumsum([0] + [block.size for block in blocks])
    for i, block in enumerate(blocks):
        rows = slice(ends[i], ends[i + 1])
        part = block.stiffness * (np.diag(block.penalty) if block.penalty.ndim == 1 else block.penalty)
        posterior[rows, rows] += part
        pull[rows] -= part @ coefficients[rows]
    factor, fault = linalg.lapack.dpotrf(posterior, lower=1)
    if fault:
        raise linalg.LinAlgError
    change, _ = linalg.lapack.dpotrs(factor, pull, lower=1)
    log_odds = -2.0 * float(np.sum(np.log(np.diag(factor))))
    inverse, _ = linalg.lapack.dpotri(factor, lower=1)
    # the upper triangle was left zero by the factorisation
    covariance = inverse + np.tril(inverse, -1).T
    updated = coefficients + change
    log_odds += sum(_log_prior(block, updated[ends[i] : ends[i + 1]]) for i, block in enumerate(blocks))
    fresh = [
        block
        if hold and block.channel == MODULATION
        else _by_evidence(block, updated[ends[i] : ends[i + 1]], covariance[ends[i] : ends[i + 1], ends[i] : ends[i + 1]])
        for i, block in enumerate(blocks)
    ]
    return updated, covariance, log_odds, fresh


def _log_prior(block: Block, coefficients: NDArray) -> float:
    """Twice the logarithm of the prior density, but for what depends on the basis alone."""
    shaped = block.penalty * coefficients if block.penalty.ndim == 1 else block.penalty @ coefficients
    return block.size * float(np.log(block.stiffness)) - block.stiffness * float(coefficients @ shaped)


def _by_evidence(block: Block, coefficients: NDArray, covariance: NDArray) -> Block:
    """The block with the stiffness that makes the picture most likely: gamma / c'Pc (MacKay eq. 4.8 and the text below it)."""
    if not block.adapts:
        return block
    if block.penalty.ndim == 1:
        trace, energy = float(np.sum(block.penalty * np.diag(covariance))), float(np.sum(block.penalty * coefficients**2))
    else:
        trace, energy = float(np.sum(block.penalty * covariance)), float(coefficients @ block.penalty @ coefficients)
    known = max(block.size - block.stiffness * trace, 1e-3)
    return replace(
        block,
        stiffness=float(
            np.clip(known / max(energy, 1e-300), max(block.loosest, 1e-3 * block.stiffness), min(STIFFEST, 1e3 * block.stiffness))
        ),
    )


def light_bend(fit: LocalFit) -> float:
    """How far the light bends from spline to spline, as a share of its mean: the spread that the evidence came to."""
    splines = next(block for block in fit.blocks if block.channel == LIGHT and block.adapts)
    return 1.0 / (float(np.sqrt(splines.stiffness)) * float(np.mean(fit.fields.light)))


def phase_columns(fit: LocalFit) -> tuple[list[NDArray | sparse.csr_array], NDArray]:
    """Values at the cells of the phase's basis functions, block by block, and the covariance of their coefficients."""
    ends = np.cumsum([0] + [block.size for block in fit.blocks])
    phase = [i for i, block in enumerate(fit.blocks) if block.channel == PHASE]
    chosen = np.concatenate([np.arange(ends[i], ends[i + 1]) for i in phase])
    return [fit.blocks[i].columns for i in phase], fit.covariance[np.ix_(chosen, chosen)]
