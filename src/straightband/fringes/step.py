"""Two faces at different heights in one photograph: the step between them as a fraction of a band.

The fraction is the phase on the block less the phase on the platen, both at the centre of the block's face, modulo one band, counted with
the phase increasing down the photograph: bands that stand higher in the picture on the block than beside it give a small positive fraction.

Sources
-------
The quantity is the one that gauge-block laboratories record ("fringe fraction": ISO 3650, measurement by interferometry; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from straightband.errors import BandsUnreadable
from straightband.fringes.step_cells import (
    BlockFace,
    Margins,
    StepCells,
    block_cells,
    check_shown,
    platen_cells,
    without_shadow,
)
from straightband.fringes.step_fit import QUICK_CELLS, FaceFit, PhaseForm, fit_face, fit_quickly
from straightband.fringes.step_lying import frame_of, turned_back
from straightband.fringes.step_starts import find_step_starts
from straightband.uncertainty import COVERAGE_95

BLOCK = PhaseForm(bands=(1.0,))  # a block's face may be bowed by a fraction of a band
PLATEN = PhaseForm(
    bands=(0.008,)
)  # bow of platen and reference flat: tenth-wave flats of 150 mm bend 1 to 3 nm over half a block; common practice, no source
MARGINS = Margins()
WEDGE_WAVES = 0.15  # expected tilt of block against platen, bands over half the face; wrung gauge blocks stay below 50 nm
WEDGE_FLAGGED_WAVES = 0.4
LEAST_EXPLAINED = 0.5  # of the bands' variance; laser light through dusty optics leaves a tenth unexplained
LEAST_BANDS = 1.5  # from the top of the face to its bottom
FIRST_READINGS = (150.0, 150.0)  # independent ones in each face, until a fit tells: ripples hang together over some hundred cells
LEAST_LEAD = 12.0  # in chi^2: the odds against the runner-up are 400 to 1
FAINT = ("block-hardly-shows",)
WORST_LYING = 0.25  # expanded, in bands: beyond it the count of bands under a lying block, which they run along, is in doubt
SAME_FRACTION = 0.1  # bands; phases nearer than this are one reading


@dataclass(frozen=True, slots=True, kw_only=True)
class StepTerm:
    """One cause of uncertainty.

    Attributes
    ----------
    name, origin
        What it is and where the number came from.
    bands
        Expanded (95 %).
    """

    name: str
    bands: float
    origin: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StepReading:
    """The step between two faces.

    Attributes
    ----------
    band_fraction
        0 to 1.
    band_fraction_uncertainty
        Expanded (95 %), in bands.
    terms
        The causes behind it.
    face
        Where the block's face lies in the picture.
    block, platen
        The fitted phases, in the block's frame, counted as increasing down the photograph.
    lead
        How much worse the best other phase fits, in chi^2.
    flags
        Short names of doubts.
    """

    band_fraction: float
    band_fraction_uncertainty: float
    terms: tuple[StepTerm, ...]
    face: BlockFace
    block: FaceFit
    platen: FaceFit
    lead: float
    flags: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pair:
    block: FaceFit
    platen: FaceFit

    @property
    def fraction(self) -> float:
        return float(self.block.waves[0] - self.platen.waves[0]) % 1.0


def read_step(light: NDArray, clipped: NDArray, *, face: BlockFace, margins: Margins = MARGINS) -> StepReading:
    """The step between the block's face and the platen beside it.

    Parameters
    ----------
    light, clipped
        [row, column] linear light, and True where it is overexposed.
    face
        Where the block's face lies, in pixels of `light`; one that lies is read from the platen above and below it where none shows beside it.
    margins
        What to leave out beside its edges.

    Raises
    ------
    BadInput
        Where too little of block or platen shows.
    BandsUnreadable
        Where there are no bands, or two phases explain them equally well.
    """
    cells, frame = frame_of(light, clipped, face=face, margins=margins)
    pairs = _pairs(cells, margins, face=frame)
    first = pairs[int(np.argmin(_costs(pairs, readings=FIRST_READINGS)))]
    lit = without_shadow(cells, bands_per_half=float(abs(first.block.waves[1])))
    check_shown(lit, margins)
    read, lead = _settled(lit, margins, pairs=pairs, first=first)
    told = read if frame is face else _Pair(block=turned_back(read.block), platen=turned_back(read.platen))
    _check_bands(told, face=face)
    terms = _terms(lit, read, face=frame, margins=margins)
    uncertainty = float(np.sqrt(sum(term.bands**2 for term in terms)))
    if lead < LEAST_LEAD or (frame is not face and uncertainty > WORST_LYING):
        raise BandsUnreadable(
            found="two readings that differ by more than a tenth of a band explain the photograph about equally well",
            needed="one reading must stand out",
            remedy="show more of the platen on both sides, or use more bands and less dust",
        )
    return StepReading(
        band_fraction=read.fraction,
        band_fraction_uncertainty=uncertainty,
        terms=terms,
        face=face,
        block=told.block,
        platen=told.platen,
        lead=lead,
        flags=_flags(told) + (FAINT if face.faint else ()),
    )


def _apart(one: float, other: float) -> float:
    return abs((one - other + 0.5) % 1.0 - 0.5)


def _settled(cells: StepCells, margins: Margins, *, pairs: list[_Pair], first: _Pair) -> tuple[_Pair, float]:
    """The likeliest pair read with care, and by how much it leads: only the careful reading tells how many readings are independent."""
    read = _refitted(cells, margins, read=first, block=BLOCK, platen=PLATEN)
    costs = _costs(pairs, readings=_readings(read))
    likeliest = pairs[int(np.argmin(costs))]
    if likeliest is not first:
        read = _refitted(cells, margins, read=likeliest, block=BLOCK, platen=PLATEN)
        costs = _costs(pairs, readings=_readings(read))
    rival = np.array([_apart(pair.fraction, read.fraction) > SAME_FRACTION for pair in pairs])
    return read, float(np.min(costs[rival], initial=np.inf) - np.min(costs[~rival], initial=np.inf))


def _readings(pair: _Pair) -> tuple[float, float]:
    return pair.block.readings, pair.platen.readings


def _pairs(cells: StepCells, margins: Margins, *, face: BlockFace) -> list[_Pair]:
    """Block and platen fits from all starts, each with each."""
    block, platen = block_cells(cells, margins), platen_cells(cells, margins)
    starts = find_step_starts(cells, block=block, platen=platen)
    found = []
    for mask, several in zip((block, platen), starts, strict=True):
        fits = [fit for fit in (fit_quickly(cells, mask, start=start) for start in several) if fit is not None]
        found.append([_downwards(fit, face=face) for fit in fits])
    if not found[0] or not found[1]:
        raise _no_bands(None)
    return [_Pair(block=block_fit, platen=platen_fit) for block_fit in found[0] for platen_fit in found[1]]


def _costs(pairs: list[_Pair], *, readings: tuple[float, float]) -> NDArray:
    """Chi^2 of each pair: what its fits leave over against the best of each face, and how far the faces are out of parallel.

    `readings` are the independent readings on the block and on the platen.
    """
    left = np.array([(pair.block.unexplained, pair.platen.unexplained) for pair in pairs])
    against_best = left / np.maximum(left.min(axis=0), 1e-9) - 1.0
    wedge = np.array([np.sum((pair.block.waves[1:3] - pair.platen.waves[1:3]) ** 2) for pair in pairs])
    return against_best @ np.minimum(readings, QUICK_CELLS) + wedge / WEDGE_WAVES**2


def _downwards(fit: FaceFit, *, face: BlockFace) -> FaceFit:
    """The fit with its phase counted as increasing down the photograph at the centre."""
    if _down_slope(fit, face=face) >= 0.0:
        return fit
    return replace(fit, waves=-fit.waves)


def _slope(fit: FaceFit, *, face: BlockFace) -> NDArray:
    """(x, y) slope of the phase at the centre, in bands per pixel."""
    return np.linalg.inv(face.axes).T @ fit.waves[[2, 1]]


def _down_slope(fit: FaceFit, *, face: BlockFace) -> float:
    return float(_slope(fit, face=face)[1])


def _no_bands(pair: _Pair | None) -> BandsUnreadable:
    share = 0.0 if pair is None else min(pair.block.explained, pair.platen.explained)
    return BandsUnreadable(
        found=f"bands explain only {100 * max(share, 0.0):.0f} % of what is seen on the block or on the platen beside it",
        needed=f"at least {100 * LEAST_EXPLAINED:.0f} % on both is needed",
        remedy="check the corners, and use a photograph with bands across both faces",
    )


def _check_bands(pair: _Pair, *, face: BlockFace) -> None:
    if min(pair.block.explained, pair.platen.explained) < LEAST_EXPLAINED:
        raise _no_bands(pair)
    slope = _slope(pair.platen, face=face)
    bands = 2.0 * float(np.hypot(*slope)) * float(np.hypot(*face.half_down))
    if bands < LEAST_BANDS:
        raise BandsUnreadable(
            found=f"{bands:.1f} bands cross the block's face from top to bottom",
            needed=f"at least {LEAST_BANDS:.1f} are needed",
            remedy="tilt the reference flat more",
        )
    if slope[1] < 0.2 * float(np.hypot(*slope)):
        raise BandsUnreadable(
            found="the bands run straight up and down, so it can't be told which way the fraction counts",
            needed="bands that cross the photograph from side to side are needed",
            remedy="turn the photograph, or tilt the reference flat the other way",
        )


def _terms(cells: StepCells, read: _Pair, *, face: BlockFace, margins: Margins) -> tuple[StepTerm, ...]:
    """What moves the fraction: noise, and every choice of the fit that could have been made otherwise."""
    tilt = float(np.hypot(*(read.block.waves[1:3] - read.platen.waves[1:3])))
    noise = float(np.hypot(read.block.centre_standard_waves, read.platen.centre_standard_waves))

    def moved(*, block: PhaseForm | None = None, platen: PhaseForm | None = None, beside: Margins = margins) -> float:
        other = _refitted(cells, beside, read=read, block=block, platen=platen)
        return _apart(other.fraction, read.fraction)

    stiff, loose = PhaseForm(bands=(0.001,)), PhaseForm(bands=(0.03,))
    wide = Margins(inside=1.5 * margins.inside, outside=1.5 * margins.outside, ends=margins.ends + 0.05)
    finer = PhaseForm(bands=(1.0, 0.1))
    platens_form = max(moved(platen=stiff), moved(platen=loose))
    causes = (
        ("fit noise", noise, "what the fit leaves over, and how it hangs together"),
        ("platen's form", platens_form, "platen as a plane, and with four times the bow"),
        ("block's form", moved(block=finer), "third order added"),
        ("edges", moved(block=BLOCK, platen=PLATEN, beside=wide), "margins half as wide again"),
        ("uneven light", moved(block=_lit(BLOCK), platen=_lit(PLATEN)), "light and contrast of third order"),
        ("corners", face.standard * tilt, f"centre off by {100 * face.standard:.0f} % of half the face"),
    )
    return tuple(StepTerm(name=name, bands=COVERAGE_95 * standard, origin=origin) for name, standard, origin in causes)


def _refitted(cells: StepCells, margins: Margins, *, read: _Pair, block: PhaseForm | None, platen: PhaseForm | None) -> _Pair:
    """The pair with one face or both fitted in another form."""
    first = read.block if block is None else fit_face(cells, block_cells(cells, margins), start=read.block.waves, form=block)
    second = read.platen if platen is None else fit_face(cells, platen_cells(cells, margins), start=read.platen.waves, form=platen)
    if first is None or second is None:
        raise _no_bands(read)
    return _Pair(block=first, platen=second)


def _lit(form: PhaseForm) -> PhaseForm:
    return PhaseForm(bands=form.bands, light_order=3)


def _flags(pair: _Pair) -> tuple[str, ...]:
    found = []
    if float(np.abs(pair.block.waves[1:3] - pair.platen.waves[1:3]).max()) > WEDGE_FLAGGED_WAVES:
        found.append("block-out-of-parallel-with-platen")
    if min(pair.block.used, pair.platen.used) < 0.8:
        found.append("much-dust-or-glare")
    if 2.0 * abs(float(pair.platen.waves[1])) < 3.0:
        found.append("few-bands")
    return tuple(found)
