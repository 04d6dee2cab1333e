"""Hill or hole from bands of several colours in one photograph, without touching anything.

Bare faces in contact are dark in every colour, so at a gap t each colour stands 2 t / wavelength bands from dark. Phases tell that number but for whole
bands and but for its sign; only one choice of whole bands lets all colours speak of the same gap, and a gap is never negative.

The colours of a camera leak into each other, so only the first is read in full. Each of the others is a multiple of its phase with a constant, and both
are found by least squares with the leaks of the other colours beside them.

Sources
-------
Two-beam interference, dark at contact: M. Born, E. Wolf, Principles of Optics, 7th ed. (1999), section 7.6 (from memory). That the shorter wavelength lies at the
smaller gap in a fixed order: derived. Whole bands from the fractions of several colours: method of exact fractions, J.-R. Benoît (1898) (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from straightband.face.polynomials import face_polynomials
from straightband.fringes.reading import PhaseReading

MOST_ORDERS = 12  # bands from contact in the first colour: beyond it bands of lamps fade and coincidences repeat
SEARCHED_ORDERS = 18  # beyond them too, so that a gap too large is not taken for a coincidence nearer by
LARGEST_MISS_BANDS = 0.04  # by which whole bands may be missed, rms over the colours; trials leave 0.001 to 0.02
LEAST_LEAD = 3.0  # how many times farther off the best choice of the other sign must be
LEAST_FAR_BANDS = 0.05  # and by how much: what is nearer could be the truth, read with an error
RATIO_RANGE = 0.06  # about the lamps' labels: two LEDs may be off by 2 to 3 % each
STARTS = 9
LEAST_OTHERS = 2  # with one, coincidences come every few bands and wrong signs with them
LEAST_EXPLAINED = 0.5  # of what a colour shows beside leaks and even light: less are no bands
SWELLS = 2  # contrast over the gap: constant, rising, bent
LIGHT_ORDER = 3  # of the polynomials of the mean light


@dataclass(frozen=True, slots=True, kw_only=True)
class Colour:
    """Bands in one colour.

    Attributes
    ----------
    light
        (c,) light of its channel at the cells.
    wavelength_nm
        As the lamp's label says.
    """

    light: NDArray
    wavelength_nm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ColourSign:
    """What the colours say.

    Attributes
    ----------
    sense
        +1 if the first phase grows with the gap, -1 if it falls, 0 if the colours leave it open.
    gap_um
        Smallest and largest gap on the face.
    miss_bands
        By which the whole bands are missed, rms, and by which the best choice of the other sign misses them.
    """

    sense: int
    gap_um: tuple[float, float]
    miss_bands: tuple[float, float]


def gap_sense_from_colours(phase: PhaseReading, first: Colour, *, others: list[Colour]) -> ColourSign:
    """Which way the phase of the first colour counts, from the light of the same face in two further colours."""
    wavelength_nm = first.wavelength_nm
    own = phase.cell_phase_rad / (2.0 * np.pi) - 0.5  # whole numbers are dark
    lines = _lines(phase, others, first_light=first.light, ratios=[wavelength_nm / other.wavelength_nm for other in others])
    farthest = SEARCHED_ORDERS + int(np.ceil(np.max(np.abs(own))))
    best = {1: (np.inf, 0), -1: (np.inf, 0)}
    for order in range(-farthest, farthest + 1):
        bands = own + order
        for sense in (1, -1):
            if np.min(sense * bands) > 0.0 and np.max(sense * bands) < SEARCHED_ORDERS:
                best[sense] = min(best[sense], (_miss(lines, order), order))
    sense = 1 if best[1][0] <= best[-1][0] else -1
    near, far = best[sense][0], best[-sense][0]
    sure = len(lines) == len(others) >= LEAST_OTHERS and near < LARGEST_MISS_BANDS and far > max(LEAST_LEAD * near, LEAST_FAR_BANDS)
    bands = sense * (own + best[sense][1])
    sure = sure and float(bands.max()) < MOST_ORDERS
    gap = bands * wavelength_nm / 2000.0
    return ColourSign(sense=sense if sure else 0, gap_um=(float(gap.min()), float(gap.max())), miss_bands=(near, far))


def _miss(lines: list[tuple[float, float]], order: int) -> float:
    """By how much the other colours miss whole bands, rms, when the first lies `order` whole bands from what its phase says.

    With the gap in bands of the first colour g = first + order, another stands ratio x g from dark; its own fraction is ratio x first + constant.
    """
    missed = np.array([0.5] if not lines else [ratio * order - constant for ratio, constant in lines])
    return float(np.sqrt(np.mean((missed - np.round(missed)) ** 2)))


def _lines(phase: PhaseReading, others: list[Colour], *, first_light: NDArray, ratios: list[float]) -> list[tuple[float, float]]:
    """For each further colour that shows bands, ratio and constant: its bands = ratio x the first's + constant."""
    middle = float(np.mean(phase.cell_phase_rad))
    from_middle = phase.cell_phase_rad - middle
    polynomials = face_polynomials(phase.points.u_mm, phase.points.v_mm, face=phase.points.clear, order=LIGHT_ORDER)
    lights = [first_light, *(other.light for other in others)]
    found = []
    for k, ratio in enumerate(ratios, start=1):
        # What leaks in from another colour looks like that colour's own picture.
        beside = np.stack([light for j, light in enumerate(lights) if j != k])
        own = _own_bands(lights[k], from_middle, fixed=np.concatenate([polynomials, beside]), about=ratio)
        if own is not None:
            found.append((own[0], own[1] - own[0] * (middle / (2.0 * np.pi) - 0.5)))
    return found


def _own_bands(light: NDArray, phase_rad: NDArray, *, fixed: NDArray, about: float) -> tuple[float, float] | None:
    """Ratio, and bands from dark where the first colour's phase is 0, of the bands that explain a colour best beside what is fixed; None if none do."""
    along = phase_rad / np.max(np.abs(phase_rad))
    swell = np.stack([along**power for power in range(SWELLS + 1)])
    # What polynomials and leaks explain is taken off once; only the bands are sought anew with each try.
    rest = _Rest(fixed)
    target = rest.of(light[None])[0]

    def left(sought: NDArray) -> NDArray:
        waves = rest.of(swell * np.cos(sought[0] * phase_rad + sought[1]))
        return target - np.linalg.lstsq(waves.T, target, rcond=1e-9)[0] @ waves

    tries = []
    for ratio in about * (1.0 + np.linspace(-RATIO_RANGE, RATIO_RANGE, STARTS)):
        pair = rest.of(np.stack([np.cos(ratio * phase_rad), np.sin(ratio * phase_rad)]))
        cosine, sine = np.linalg.lstsq(pair.T, target, rcond=1e-9)[0]
        tries.append(optimize.least_squares(left, np.array([ratio, -np.arctan2(sine, cosine)]), method="lm", x_scale=(0.01, 0.1)))
    best = min(tries, key=lambda tried: tried.cost)
    if 2.0 * best.cost > (1.0 - LEAST_EXPLAINED) * float(target @ target):
        return None
    ratio, offset = best.x
    waves = rest.of(swell * np.cos(ratio * phase_rad + offset))
    dark = np.linalg.lstsq(waves.T, target, rcond=1e-9)[0][0] < 0.0
    return float(ratio), float(offset / (2.0 * np.pi) - 0.5 + (0.5 if dark else 0.0))


class _Rest:
    """What is left of rows when the rows given are fitted to them and taken off."""

    def __init__(self, fixed: NDArray) -> None:
        self._basis = np.linalg.qr(fixed.T)[0]

    def of(self, rows: NDArray) -> NDArray:
        """Rows (r, c) less their part along the fixed ones."""
        return rows - (rows @ self._basis) @ self._basis.T
