"""A border across the face where light and contrast change, at once or over a wide strip: the edge of a back that is still frosted.

Neither polynomials nor wide splines follow such a border. Light and contrast are taken to change along it by the same share f, which goes
from 0 to 1 across a straight line or a circle (a back clears from its rim inward): f (1, x, y) in the light, the veil, and f (1, x, y) in the
modulation, the contrast lost. Line and width are found by trying many and refining the best, everything else being left free in the meantime
(variable projection: G. H. Golub, V. Pereyra, Inverse Problems 19, R1-R26 (2003), from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

ANGLES, OFFSETS = 24, 15
REACH = 0.85  # of the half extent: a border farther out leaves too little of the face beyond it
CENTRES, RADII = (-0.6, -0.3, 0.0, 0.3, 0.6), (0.25, 0.4, 0.55, 0.75, 1.0)
WIDTHS = (0.015, 0.08, 0.2, 0.4)  # half width of the strip tried first, in units of the shorter half extent
NARROWEST, WIDEST = 0.004, 0.8
TRIED_SAMPLES, REFINED_SAMPLES = 1200, 3000
LEAST_GAIN = (
    0.35  # share of what is left over that a border must explain; real ones explain half and more, hills and zones a quarter at most
)
LEAST_STEP = 0.03  # of the mean light or of the mean modulation: a smaller step is not worth a model of its own
LEAST_BEYOND = 0.04  # share of the samples on the smaller side
MOST_STEPS = 160
FIRST_MOVES = (0.06, 0.06, 0.1, 0.5)  # of the refinement: angle, offset, curvature, logarithm of the width
MOST_CURVED = 8.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Border:
    """An arc through the point at `offset` in the direction `angle_rad`, square to it there; lengths in units of the shorter half extent.

    Attributes
    ----------
    angle_rad
        Direction across it.
    offset
        How far out it passes from the middle of the face.
    curvature
        Of the arc, bent toward where it comes from; 0 is a straight line.
    width
        Half width of the strip over which light and contrast change.
    """

    angle_rad: float
    offset: float
    curvature: float
    width: float

    def share(self, x: NDArray, y: NDArray) -> NDArray:
        """0 on one side, 1 on the other, at points in units of the shorter half extent."""
        across = x * np.cos(self.angle_rad) + y * np.sin(self.angle_rad) - self.offset
        along = y * np.cos(self.angle_rad) - x * np.sin(self.angle_rad)
        # distance from the circle, written so that it stays exact as the circle becomes a line
        bent = self.curvature * (across**2 + along**2) + 2.0 * across
        distance = bent / (1.0 + np.hypot(1.0 + self.curvature * across, self.curvature * along))
        return _rise(distance / self.width)

    def functions(self, x: NDArray, y: NDArray) -> NDArray:
        """(3, n): the share, and the share times x and y."""
        share = self.share(x, y)
        return np.stack([share, share * x, share * y])


@dataclass(frozen=True, slots=True, kw_only=True)
class Strewn:
    """Samples strewn over the face.

    Attributes
    ----------
    x, y
        (n,) in units of the shorter half extent.
    value
        (n,) light, or what a model left of it.
    phase_rad
        (n,) as far as it is known.
    light, modulation
        Mean levels, to judge a step by.
    """

    x: NDArray
    y: NDArray
    value: NDArray
    phase_rad: NDArray
    light: float
    modulation: float

    def thinned(self, count: int) -> Strewn:
        """A fixed random choice of at most `count` of them."""
        if self.x.size <= count:
            return self
        kept = np.random.default_rng(count).choice(self.x.size, count, replace=False)
        return Strewn(
            x=self.x[kept],
            y=self.y[kept],
            value=self.value[kept],
            phase_rad=self.phase_rad[kept],
            light=self.light,
            modulation=self.modulation,
        )


def find_border(strewn: Strewn) -> Border | None:
    """The border that explains most of what smooth light, contrast and a small change of the phase do not; None where none stands out."""
    few = strewn.thinned(TRIED_SAMPLES)
    start = _best_tried(few, base=_base(few))
    return None if start is None else refine_border(strewn, start)


def refine_border(strewn: Strewn, start: Border) -> Border | None:
    """The border nearby that explains most; None if that is not enough to be one."""
    some = strewn.thinned(REFINED_SAMPLES)
    base = _base(some)
    left = some.value - base @ (base.T @ some.value)

    def unexplained(place: NDArray) -> float:
        return _fitted(some, base=base, left=left, border=_border_at(place))[0]

    first = np.array([start.angle_rad, start.offset, start.curvature, np.log(start.width)])
    simplex = np.stack([first, *(first + np.diag(FIRST_MOVES))])
    found = optimize.minimize(
        unexplained, first, method="Nelder-Mead", options={"initial_simplex": simplex, "maxfev": MOST_STEPS, "xatol": 5e-4, "fatol": 0.0}
    )
    border = _border_at(found.x)
    return border if _stands_out(some, base=base, left=left, border=border) else None


def _border_at(place: NDArray) -> Border:
    angle, offset, curvature, width = (float(each) for each in place)
    return Border(
        angle_rad=angle,
        offset=offset,
        curvature=min(max(curvature, -MOST_CURVED), MOST_CURVED),
        width=min(max(float(np.exp(width)), NARROWEST), WIDEST),
    )


def _rise(across: NDArray) -> NDArray:
    """0 to 1 over -1..1, smooth at both ends."""
    t = np.clip(0.5 + 0.5 * across, 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


def _base(strewn: Strewn) -> NDArray:
    """Orthonormal columns (n, 22) of what is left free: light up to the third order, contrast up to the first, phase up to the third."""
    x, y = strewn.x, strewn.y
    ones = np.ones_like(x)
    powers = np.stack([ones, x, y, x * x, x * y, y * y, x**3, x * x * y, x * y * y, y**3], axis=1)
    cos, sin = np.cos(strewn.phase_rad)[:, None], np.sin(strewn.phase_rad)[:, None]
    return np.linalg.qr(np.concatenate([powers, cos * powers[:, :3], sin * powers], axis=1))[0]


def _best_tried(strewn: Strewn, *, base: NDArray) -> Border | None:
    """The best of a coarse choice of lines, circles and widths, each with one step of light and one of contrast."""
    places, distance = _tried_places(strewn)
    left = strewn.value - base @ (base.T @ strewn.value)
    cos = np.cos(strewn.phase_rad).astype(np.float32)
    slim = base.astype(np.float32)
    best, found = 0.0, None
    for width in WIDTHS:
        share = _rise(distance / np.float32(width))
        gain = _gains(share, share * cos, left=left.astype(np.float32), base=slim)
        k = int(np.argmax(gain))
        if gain[k] > best:
            angle, offset, curvature = places[k]
            best, found = float(gain[k]), Border(angle_rad=angle, offset=offset, curvature=curvature, width=width)
    return found if best > LEAST_GAIN / 2.0 * float(left @ left) else None


def _tried_places(strewn: Strewn) -> tuple[list[tuple[float, float, float]], NDArray]:
    """Angle, offset and curvature of each line and circle, and the distance (k, n) of the samples from it."""
    x, y = strewn.x.astype(np.float32), strewn.y.astype(np.float32)
    places, distances = [], []
    for angle in np.pi * np.arange(ANGLES) / ANGLES:
        across = x * np.float32(np.cos(angle)) + y * np.float32(np.sin(angle))
        for offset in np.linspace(-REACH, REACH, OFFSETS) * float(np.abs(across).max()):
            places.append((float(angle), float(offset), 0.0))
            distances.append(across - np.float32(offset))
    long_x, long_y = float(np.abs(x).max()), float(np.abs(y).max())
    for at_x, at_y, radius in product(CENTRES, CENTRES, RADII):
        centre = np.hypot(at_x * long_x, at_y * long_y)
        places.append((float(np.arctan2(at_y * long_y, at_x * long_x)), float(centre + radius), 1.0 / radius))
        distances.append(np.hypot(x - np.float32(at_x * long_x), y - np.float32(at_y * long_y)) - np.float32(radius))
    return places, np.stack(distances)


def _gains(light: NDArray, contrast: NDArray, *, left: NDArray, base: NDArray) -> NDArray:
    """(k,) squares explained by the columns light[k] and contrast[k] together, beyond the base."""
    by_light, by_contrast = light @ base, contrast @ base
    a = np.sum(light * light, axis=1) - np.sum(by_light**2, axis=1)
    b = np.sum(contrast * contrast, axis=1) - np.sum(by_contrast**2, axis=1)
    c = np.sum(light * contrast, axis=1) - np.sum(by_light * by_contrast, axis=1)
    p, q = light @ left, contrast @ left
    least = 1e-3 * left.size  # a column that the base nearly holds explains nothing
    determinant = np.maximum(a * b - c * c, least**2)
    return np.where((a > least) & (b > least), (b * p * p - 2.0 * c * p * q + a * q * q) / determinant, 0.0)


def _fitted(strewn: Strewn, *, base: NDArray, left: NDArray, border: Border) -> tuple[float, NDArray]:
    """Sum of squares that stays unexplained, and the six coefficients of the border."""
    functions = border.functions(strewn.x, strewn.y)
    columns = np.concatenate([functions, functions * np.cos(strewn.phase_rad)]).T
    columns = columns - base @ (base.T @ columns)
    normal = columns.T @ columns
    normal[np.diag_indices(6)] += 1e-6 * strewn.x.size
    solution = np.linalg.solve(normal, columns.T @ left)
    return float(np.sum((left - columns @ solution) ** 2)), solution


def _stands_out(strewn: Strewn, *, base: NDArray, left: NDArray, border: Border) -> bool:
    unexplained, step = _fitted(strewn, base=base, left=left, border=border)
    share = border.share(strewn.x, strewn.y)
    beyond = float(np.mean(share))
    weight = share * (1.0 - beyond)
    functions = border.functions(strewn.x, strewn.y)
    in_light = float(np.abs(weight @ (step[:3] @ functions)) / max(np.sum(weight), 1e-9))
    in_contrast = float(np.abs(weight @ (step[3:] @ functions)) / max(np.sum(weight), 1e-9))
    steps = in_light > LEAST_STEP * strewn.light or in_contrast > LEAST_STEP * strewn.modulation
    return steps and min(beyond, 1.0 - beyond) > LEAST_BEYOND and unexplained < (1.0 - LEAST_GAIN) * float(left @ left)
