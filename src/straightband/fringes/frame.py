"""The fields of the local stage on the pixels of a face: light, modulation and phase as polynomials, rim functions, splines and a border."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from straightband.face.polynomials import noll_count
from straightband.face.shapes import Face
from straightband.fringes.blocks import LIGHT, MODULATION, OVERTONE, PHASE, Block
from straightband.fringes.border import Border
from straightband.fringes.cells import Cells, divide
from straightband.fringes.fields import (
    SplineGrid,
    polynomial_block,
    rim_functions,
    rim_roughness,
    side_functions,
    side_roughness,
    spline_grid,
)
from straightband.fringes.grow import polynomials

PHASE_ORDER, LIGHT_ORDER = 8, 3
QUADRATIC = noll_count(2)  # piston, tilts and second order: free, since wedge and bow are what they are
PHASE_SPLINES, LIGHT_SPLINES = 22, 9  # along the shorter extent
# First of the phase, first of the two of a border, first of rim functions, splines and sides.
FIGURE_BLOCK, BORDER_BLOCK, LOCAL_BLOCKS = 5, 7, 9
CONTRAST_SPREAD = 0.02  # expected departure of the contrast from constant, per polynomial
# Where the picture can't tell contrast from height, at a rim beyond the last band, it is the contrast that is taken as constant.
CONTRAST_BEND, CONTRAST_BEND_LIMIT = 0.003, 0.3
# Stiff at first: where bands turn round, light and height look alike, and a light that sets out loose takes what is height.
LIGHT_BEND = 0.0005  # of the mean light
LIGHT_SPREAD = 0.15  # expected unevenness of the light as a share of its mean, per polynomial


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
    polynomials, rim, sides
        (k, n) values at the pixels inside; sides of a rectangle only, no rows for other shapes.
    phase_grid, light_grid
        Spline grids of the fine and the broad fields.
    cells
        The cells of the pixels.
    border
        (3, n) step across the border of a frosted back and its slopes, no rows where there is none.
    coherent_bands
        Wavelength over the width of the lamp's line.
    """

    clear: Face
    x: NDArray
    y: NDArray
    inside: NDArray
    polynomials: NDArray
    rim: NDArray
    sides: NDArray
    phase_grid: SplineGrid
    light_grid: SplineGrid
    cells: Cells
    border: NDArray
    coherent_bands: float


def make_frame(*, clear: Face, x: NDArray, y: NDArray, coherent_bands: float = math.inf) -> Frame:
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
        sides=side_functions(xx[inside], yy[inside], clear=clear),
        phase_grid=_grid(PHASE_SPLINES, clear),
        light_grid=_grid(LIGHT_SPLINES, clear),
        cells=cells,
        border=np.zeros((0, int(inside.sum())), dtype=np.float32),
        coherent_bands=coherent_bands,
    )


def _grid(shorter: int, clear: Face) -> SplineGrid:
    """Splines of even spacing on the face although the coordinates are stretched."""
    aspect = clear.semi_v_mm / clear.semi_u_mm
    return spline_grid(
        columns=max(5, round(shorter * max(1.0, 1.0 / aspect))), rows=max(5, round(shorter * max(1.0, aspect))), shape=clear.shape
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Fields:
    """The three fields at the pixels of the face, (n,) each, and the strength of the overtone."""

    light: NDArray
    modulation: NDArray
    phase_rad: NDArray
    overtone: float

    @property
    def contrast(self) -> NDArray:
        """Modulation over light."""
        return self.modulation / self.light


def evaluate(frame: Frame, parts: list[NDArray], *, start_rad: NDArray, share: float) -> Fields:
    """The fields at the pixels from the coefficients of the blocks; `share` is modulation per light."""
    broad = frame.polynomials[: noll_count(LIGHT_ORDER)]
    # The bases are held in single precision: a double on the other side would copy them whole.
    slim = [part.astype(np.float32) for part in parts]
    light = slim[0] @ broad + frame.light_grid.on_grid(parts[1], x=frame.x, y=frame.y)[frame.inside]
    extra = slim[2] @ broad + frame.light_grid.on_grid(parts[3], x=frame.x, y=frame.y)[frame.inside]
    figure = slim[5] @ frame.polynomials[:QUADRATIC] + slim[6] @ frame.polynomials[QUADRATIC:]
    phase = figure + slim[9] @ frame.rim + frame.phase_grid.on_grid(parts[10], x=frame.x, y=frame.y)[frame.inside]
    if len(frame.sides):
        phase = phase + slim[11] @ frame.sides
    if len(frame.border):
        light, extra = light + slim[BORDER_BLOCK] @ frame.border, extra + slim[BORDER_BLOCK + 1] @ frame.border
    return Fields(light=light, modulation=share * light + extra, phase_rad=start_rad + phase, overtone=float(parts[4][0]))


def picture(fields: Fields) -> NDArray:
    """The light (n,) that the fields say."""
    cos = np.cos(fields.phase_rad)
    return fields.light + fields.modulation * (cos + fields.overtone * (2.0 * cos * cos - 1.0))


def linearise(value: NDArray, fields: Fields, *, share: float) -> tuple[NDArray, NDArray]:
    """Residual (n,) and the derivative of the picture by each channel (CHANNELS, n)."""
    cos, sin = np.cos(fields.phase_rad), np.sin(fields.phase_rad)
    double = 2.0 * cos * cos - 1.0
    model = fields.light + fields.modulation * (cos + fields.overtone * double)
    by_phase = -fields.modulation * (sin + 4.0 * fields.overtone * sin * cos)
    return value - model, np.stack([1.0 + share * cos, cos, by_phase, fields.modulation * double])


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
    sides = side_functions(x, y, clear=frame.clear).T.copy()
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
        Block(channel=PHASE, columns=sides, penalty=side_roughness(sides.shape[1]), stiffness=1.0 / 0.3**2, adapts=sides.size > 0),
    ]


def _border_blocks(at_cells: NDArray, *, light: float) -> list[Block]:
    """The change of light and of modulation across a border, nearly free; `at_cells` (c, 3), or (c, 0) where there is none."""
    free = np.full(at_cells.shape[1], 1.0 / light**2)
    return [Block(channel=channel, columns=at_cells, penalty=free, stiffness=1.0, adapts=False) for channel in (LIGHT, MODULATION)]


def with_border(blocks: list[Block], at_cells: NDArray, *, light: float) -> list[Block]:
    """The blocks with those of a border, whose functions have these means (c, 3) over the cells, in their place."""
    return [*blocks[:BORDER_BLOCK], *_border_blocks(at_cells, light=light), *blocks[LOCAL_BLOCKS:]]


def bordered(frame: Frame, border: Border) -> tuple[Frame, NDArray]:
    """The frame with the functions of the border at its pixels, and their means (c, 3) over the cells."""
    functions = border.functions(*even_coordinates(frame))
    label = frame.cells.label[frame.inside]
    at_cells = np.stack([np.bincount(label, row) for row in functions], axis=1) / np.bincount(label)[:, None]
    return replace(frame, border=functions.astype(np.float32)), at_cells


def even_coordinates(frame: Frame) -> tuple[NDArray, NDArray]:
    """Coordinates (n,) of the pixels inside, both in units of the shorter half extent."""
    clear = frame.clear
    short = min(clear.semi_u_mm, clear.semi_v_mm)
    rows, columns = np.nonzero(frame.inside)
    return frame.x[columns] * clear.semi_u_mm / short, frame.y[rows] * clear.semi_v_mm / short


def spread_out(values: NDArray, frame: Frame) -> NDArray:
    """Values (n,) of the pixels inside on the whole grid [v, u], zero or False elsewhere."""
    grid = np.zeros(frame.inside.shape, dtype=values.dtype)
    grid[frame.inside] = values
    return grid
