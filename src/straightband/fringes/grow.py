"""Growing a phase: a face shrunk to a coarse grid, and one start fitted to it by polynomials of rising order."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from straightband.face.polynomials import circle_polynomials, legendre_products, noll_count
from straightband.face.shapes import Shape
from straightband.fringes.model import BandModel, Samples, explained, seed, step
from straightband.fringes.starts import Start, disc_grid

GRIDS = (48, 128, 256)
SAMPLES_PER_BAND = 4.5
SAME_RAD = 0.1  # fits closer than this will come to the same end
LEAST_FILLED = 0.5  # share of a coarse cell that must hold light to count
MOST_CONTRAST = 1.1  # 1, and room for noise and a black level that is not quite black
BACKGROUND_ROUNDS = 3
OUTSHINES = 3.5  # times the median departure from the background; even bands stay below 1.5, half-frosted ones below 3
OUTLIER_SIGMAS = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class WholeFit:
    """A phase over the whole face.

    Attributes
    ----------
    start
        Quadratic phase it grew from.
    coefficients_rad
        Of the face's polynomials, added to the start's phase; piston included.
    order
        Their highest order.
    explained
        Share of the band variance explained on the coarse grid.
    runner_up
        The same for the best other phase that differs from this one.
    rivals
        Other phases that leave nearly as little unexplained, best first; a later stage has to tell them apart.
    levels
        Light and modulation: coefficients of the same polynomials, up to the third order, mean first.
    simplest
        The best by the second order alone, which a border in the light has led astray least.
    """

    start: Start
    coefficients_rad: NDArray
    order: int
    explained: float
    runner_up: float
    rivals: tuple[WholeFit, ...]
    levels: tuple[NDArray, NDArray]
    simplest: tuple[WholeFit, ...] = ()

    def phase_rad(self, x: NDArray, y: NDArray, *, shape: Shape) -> NDArray:
        """The phase at normalised coordinates."""
        return self.start.phase_rad(x, y) + np.tensordot(self.coefficients_rad, polynomials(x, y, shape=shape, order=self.order), axes=1)


def at_start(start: Start) -> WholeFit:
    """A fit that has not grown yet."""
    nothing = np.zeros(1)
    return WholeFit(
        start=start, coefficients_rad=nothing, order=0, explained=start.score, runner_up=0.0, rivals=(), levels=(nothing, nothing)
    )


def polynomials(x: NDArray, y: NDArray, *, shape: Shape, order: int) -> NDArray:
    """Orthonormal polynomials of a face of this shape in coordinates scaled to its half extents."""
    return legendre_products(x, y, order=order) if shape is Shape.RECTANGLE else circle_polynomials(x, y, order=order)


@dataclass(frozen=True, slots=True, kw_only=True)
class CoarsePicture:
    """The face shrunk to a square grid of normalised coordinates.

    Attributes
    ----------
    samples
        Value and weight at the kept cells.
    x, y
        (n,) their coordinates.
    grid
        [y, x] picture less its background, zero where nothing is known.
    gaps
        [y, x] share of each cell that is missing, less the mean over the face: bright bands that were clipped are seen in what they took away.
    """

    samples: Samples
    x: NDArray
    y: NDArray
    grid: NDArray
    gaps: NDArray

    def only(self, chosen: NDArray) -> CoarsePicture:
        """The picture with some of its cells, by number or by True; the grid stays whole."""
        samples = Samples(value=self.samples.value[chosen], weight=self.samples.weight[chosen])
        return replace(self, samples=samples, x=self.x[chosen], y=self.y[chosen])


def shrink(intensity: NDArray, missing: NDArray, *, samples: int, shape: Shape, half_extent: tuple[float, float]) -> CoarsePicture:
    """Mean of the present pixels in each of `samples` x `samples` cells, less a smooth background for the spectra.

    `half_extent` is half the picture's width and height in coordinates scaled to the aperture, 1 to within a pixel.
    """
    present = (~missing).astype(np.float32)
    size = (samples, samples)
    filled = cv2.resize(present, size, interpolation=cv2.INTER_AREA)
    mean = cv2.resize(np.where(missing, np.float32(0), intensity), size, interpolation=cv2.INTER_AREA) / np.maximum(filled, 1e-6)
    x, y = disc_grid(samples)
    x, y = x * half_extent[0], y * half_extent[1]
    on_face = (shape is Shape.RECTANGLE) | (x * x + y * y <= 1.0)
    keep = (filled > LEAST_FILLED) & on_face
    xs, ys, value, weight = x[keep], y[keep], mean[keep].astype(float), filled[keep].astype(float)
    basis = polynomials(xs, ys, shape=shape, order=2)
    for _ in range(BACKGROUND_ROUNDS):
        weighted = basis * weight
        background = np.linalg.solve(weighted @ basis.T + 1e-9 * np.eye(len(basis)), weighted @ value) @ basis
        # a streak of glare outshines the bands by far and would be taken for one broad band
        weight = np.where(np.abs(value - background) > OUTSHINES * np.median(np.abs(value - background)), 0.0, weight)
    grid = np.zeros(size, dtype=np.float32)
    grid[keep] = (value - background) * weight
    gaps = np.where(on_face, np.mean(filled[on_face]) - filled, np.float32(0))
    return CoarsePicture(samples=Samples(value=value, weight=weight), x=xs, y=ys, grid=grid, gaps=gaps)


def grid_for(start: Start) -> int:
    """Cells a side of the coarsest grid that resolves the bands of a start."""
    slope = np.hypot(start.tilt_x, start.tilt_y) + 2.0 * (abs(start.bow) + np.hypot(start.cross, start.twist))
    wanted = SAMPLES_PER_BAND * 2.0 * slope
    return next((n for n in GRIDS if n >= wanted), GRIDS[-1])


def thin(picture: CoarsePicture, count: int) -> CoarsePicture:
    """A fixed random choice of at most `count` samples: low orders need few, and a random choice has no aliases."""
    if picture.x.size <= count:
        return picture
    return picture.only(np.random.default_rng(count).choice(picture.x.size, count, replace=False))


def best_first(tried: list[WholeFit | None], *, picture: CoarsePicture, shape: Shape) -> list[WholeFit]:
    """The fits that came to something, those that explain most first, each phase once."""
    return distinct(sorted((fit for fit in tried if fit is not None), key=lambda fit: -fit.explained), picture=picture, shape=shape)


def distinct(fits: list[WholeFit], *, picture: CoarsePicture, shape: Shape) -> list[WholeFit]:
    """The fits, best first, without those that came to the same phase as a better one."""
    kept: list[tuple[WholeFit, NDArray]] = []
    for fit in fits:
        phase = fit.phase_rad(picture.x, picture.y, shape=shape)
        if all(differ(phase, other, by_rad=SAME_RAD) for _, other in kept):
            kept.append((fit, phase))
    return [fit for fit, _ in kept]


def differ(one: NDArray, other: NDArray, *, by_rad: float) -> bool:
    """True unless two phases agree up to sign and piston to so much rms."""
    return min(float(np.std(one - other)), float(np.std(one + other))) > by_rad


def grown(picture: CoarsePicture, fit: WholeFit, *, shape: Shape, orders: tuple[int, ...], steps: int) -> WholeFit | None:
    """The fit refined by polynomials of rising order, or None where the picture determines no such fit at all."""
    try:
        return _grow(picture, fit, shape=shape, orders=orders, steps=steps)
    except np.linalg.LinAlgError:
        return None


def _grow(picture: CoarsePicture, fit: WholeFit, *, shape: Shape, orders: tuple[int, ...], steps: int) -> WholeFit | None:
    """The fit refined by polynomials of rising order on one grid; None if it ran away."""
    samples, coefficients = picture.samples, fit.coefficients_rad
    base = fit.start.phase_rad(picture.x, picture.y)
    for order in orders:
        basis = polynomials(picture.x, picture.y, shape=shape, order=order)
        light_basis = basis[: noll_count(min(order - 1, 3))]
        coefficients = np.pad(coefficients, (0, len(basis) - len(coefficients)))
        phase = base + coefficients @ basis
        model = seed(samples, phase_rad=phase, light_basis=light_basis, basis=basis)
        coefficients[0] += float(np.mean(model.phase_rad - phase))
        for _ in range(steps):
            model = step(samples, model, basis=basis, light_basis=light_basis, prior_rad=expected_size_rad(order))
        if not np.all(np.isfinite(model.residual)) or not _physical(model):
            return None
        coefficients += model.coefficients_rad
        samples = _distrust(samples, model)
        share = explained(samples, model)
    return replace(
        fit,
        coefficients_rad=coefficients,
        order=orders[-1],
        explained=share,
        levels=(model.light_coefficients, model.modulation_coefficients),
    )


def _physical(model: BandModel) -> bool:
    """False where light would have to be negative between the bands; such fits make any picture out of a sliver of a huge band."""
    return 0.0 < model.modulation_coefficients[0] < MOST_CONTRAST * model.light_coefficients[0]


def expected_size_rad(order: int) -> NDArray:
    """Prior spread of each coefficient: free up to the second order, then falling as a worked surface's do (common practice, no source)."""
    size = np.empty(noll_count(order))
    for n in range(order + 1):
        size[noll_count(n - 1) if n else 0 : noll_count(n)] = 100.0 if n <= 2 else 12.0 / (n - 1) ** 2
    return size


def _distrust(samples: Samples, model: BandModel) -> Samples:
    """The samples with outliers set aside: dust, scratches, glare."""
    present = samples.weight > 0
    sigma = 1.4826 * float(np.median(np.abs(model.residual[present])))
    if sigma == 0.0:
        return samples
    return Samples(value=samples.value, weight=np.where(np.abs(model.residual) > OUTLIER_SIGMAS * sigma, 0.0, samples.weight))
