"""First guesses of the phase of the bands: quadratic chirps times a Fourier peak.

A fit that starts wrong ends wrong, so many starts are made and the fit decides. Two sources of curvature are used: a grid of weak
quadratic phases tried by brute force, which serves few bands, and for many bands the curvature read off the picture itself:
for cos(phi) with quadratic phi, the product f(x + d) f(x - d) holds a pure tone of frequency 2 H d, H the matrix of second derivatives.

Sources
-------
Derived here; the tone is the discrete relative of the ambiguity function of radar (P. M. Woodward, Probability and Information Theory, 1953, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy import fft

WEAK_LIMIT_WAVES = 3.5  # curvature tried by brute force, waves from centre to rim
WEAK_STEP_WAVES = 0.5  # a miss of half a step still keeps 90 % of the peak
WEAK_SAMPLES = 32
SHIFTS = (0.16, 0.28)  # d, in units of the radius
PEAKS_KEPT = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """A quadratic phase in waves: tilt_x x + tilt_y y + bow rho^2 + cross (x^2 - y^2) + twist 2xy on the unit disc.

    Attributes
    ----------
    tilt_x, tilt_y, bow, cross, twist
        Coefficients, in waves (bands).
    score
        Height of the Fourier peak, for ranking only.
    """

    tilt_x: float
    tilt_y: float
    bow: float
    cross: float
    twist: float
    score: float

    def phase_rad(self, x: NDArray, y: NDArray) -> NDArray:
        """The phase at points of the unit disc, in radians."""
        waves = self.tilt_x * x + self.tilt_y * y + self.bow * (x * x + y * y) + self.cross * (x * x - y * y) + 2.0 * self.twist * x * y
        return 2.0 * np.pi * waves


def disc_grid(samples: int) -> tuple[NDArray, NDArray]:
    """Coordinates x (columns) and y (rows) of the cell centres of a square -1..1 cut into `samples` a side."""
    axis = (np.arange(samples) + 0.5) * (2.0 / samples) - 1.0
    return np.meshgrid(axis, axis)


def find_starts(bands: NDArray, *, coarse: NDArray) -> list[Start]:
    """Candidate phases, best peak first, from the picture less its background.

    Parameters
    ----------
    bands
        [y, x] over the square -1..1 round the unit disc, zero outside the face and where pixels are missing.
    coarse
        The same at WEAK_SAMPLES a side, for the brute-force grid.
    """
    tried = _weak_starts(coarse) + _strong_starts(bands)
    tried.sort(key=lambda start: -start.score)
    return _distinct(tried)


def _weak_starts(coarse: NDArray) -> list[Start]:
    grid, chirps = _weak_chirps(coarse.shape[0])
    return _tilts(coarse, chirps=chirps, curvatures=grid, keep=24)


@lru_cache(maxsize=2)
def _weak_chirps(samples: int) -> tuple[NDArray, NDArray]:
    """Curvatures (k, 3) of the brute-force grid and their chirps (k, samples, samples), the same for every photograph."""
    steps = np.arange(-WEAK_LIMIT_WAVES, WEAK_LIMIT_WAVES + 1e-9, WEAK_STEP_WAVES)
    # The conjugate chirp of a real picture gives the mirrored spectrum, so half the grid is enough.
    grid = np.array([q for q in product(steps, steps, steps) if q >= (0.0, 0.0, 0.0)], dtype=np.float32)
    return grid, _chirps(grid, samples)


def _chirps(curvatures: NDArray, samples: int) -> NDArray:
    """exp(-i phase) of each quadratic phase (k, samples, samples)."""
    x, y = disc_grid(samples)
    shapes = np.stack([x * x + y * y, x * x - y * y, 2 * x * y]).astype(np.float32).reshape(3, -1)
    return np.exp(np.complex64(-2j * np.pi) * (curvatures @ shapes)).reshape(-1, samples, samples)


def _strong_starts(bands: NDArray) -> list[Start]:
    rows: list[tuple[float, float, float]] = [(0.0, 0.0, 0.0)]
    for shift in SHIFTS:
        along_x, along_y = _curvature_peaks(bands, shift=shift, axis=1), _curvature_peaks(bands, shift=shift, axis=0)
        for (xx, xy), (yx, yy), sign in product(along_x, along_y, (1.0, -1.0)):
            rows.append(((xx + sign * yy) / 4.0, (xx - sign * yy) / 4.0, (xy + sign * yx) / 4.0))
    grid = np.unique(np.round(np.array(rows, dtype=np.float32), 2), axis=0)
    grid = grid[np.abs(grid).max(axis=1) < bands.shape[0] / 4]
    return _tilts(bands, chirps=_chirps(grid, bands.shape[0]), curvatures=grid, keep=24)


def _curvature_peaks(bands: NDArray, *, shift: float, axis: int) -> list[tuple[float, float]]:
    """Column of H / (2 pi), in waves per radius^2, from the strongest tones of f(x + d) f(x - d)."""
    n = bands.shape[0]
    d = max(1, round(shift * n / 2))
    g = np.roll(bands, d, axis=axis) * np.roll(bands, -d, axis=axis)
    power = np.abs(fft.rfft2(g, s=(2 * n, 2 * n), workers=2))
    found = []
    for _ in range(PEAKS_KEPT):
        i, j = divmod(int(np.argmax(power)), power.shape[1])
        fy, fx = (i - 2 * n if i >= n else i) / 4.0, j / 4.0  # cycles per radius: the padded side spans 4 radii
        found.append((fx, fy))
        rows = (np.arange(i - 3, i + 4)) % (2 * n)
        power[np.ix_(rows, np.arange(max(0, j - 3), min(j + 4, n + 1)))] = 0.0
    scale = 2.0 * (2.0 * d / n)  # phase of the tone: 2 d . H x
    return [(fx / scale, fy / scale) for fx, fy in found]


def _tilts(bands: NDArray, *, chirps: NDArray, curvatures: NDArray, keep: int) -> list[Start]:
    """For each chirp the tilt of the highest Fourier peak, the `keep` highest of all."""
    n = bands.shape[0]
    spectrum = np.abs(fft.fft2(bands.astype(np.float32) * chirps, axes=(1, 2), workers=2)).reshape(len(chirps), -1)
    best = np.argmax(spectrum, axis=1)
    peak = spectrum[np.arange(len(chirps)), best]
    # a start is one sample of a peak about one cycle wide, cycles counted over two radii
    wrapped = np.where(np.arange(n) >= n / 2, np.arange(n) - n, np.arange(n)) / 2.0
    order = np.argsort(-peak)[:keep]
    norm = float(np.abs(bands).sum()) or 1.0
    return [
        Start(
            tilt_x=float(wrapped[best[k] % n]),
            tilt_y=float(wrapped[best[k] // n]),
            bow=float(curvatures[k][0]),
            cross=float(curvatures[k][1]),
            twist=float(curvatures[k][2]),
            score=float(peak[k]) / norm,
        )
        for k in order
    ]


def _distinct(starts: list[Start]) -> list[Start]:
    """Drops starts within half a wave of a better one, and mirrored twins."""
    kept: list[NDArray] = []
    out = []
    for start in starts:
        vector = np.array([start.tilt_x, start.tilt_y, start.bow, start.cross, start.twist])
        if all(min(np.abs(vector - other).max(), np.abs(vector + other).max()) > 0.3 for other in kept):
            kept.append(vector)
            out.append(start)
    return out
