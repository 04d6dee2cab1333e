"""What the fit leaves over: how noisy it is, over how many pixels it hangs together, and which pixels to distrust."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import fft, optimize

LEVELS = 8  # of light, equally many pixels in each, over which noise is compared
LARGEST_LAG = 3  # pixels; longer ranges are figure, not noise
OUTLIER_SIGMAS, SURE_SIGMAS = 4.5, 8.0
WIDEST_SPECK = 11  # pixels of 1/256 of the shorter extent: 4 mm on a 90 mm diagonal
TURNED = 0.5  # squared mean over mean square of the slope
# Share of the residual that a shift must explain, alone and where the residual follows it all over.
EXPLAINED_BY_SHIFT, HINTED_BY_SHIFT = 0.5, 0.15
DARKER, DARKEST = 1.5, 2.5  # times what is off there on average: what counts at most; above which it is dust all the same
SURELY_OFF, FOLLOWS_SHIFT = 2.0, 0.55  # spreads; share, weighed by the square of the slope
ONE_SIDED = 0.8  # share by which one sign outnumbers the other
DARK_PER_BRIGHT = 10.0  # how many times more pixels must be too bright than too dark
BEYOND_BANDS = 0.35  # of the modulation: room for light and contrast not yet settled
GLARE_REACH = 15  # pixels across; the skirt of a glare lies between the bands
WIDE_GLARE, WIDE_GLARE_REACH = 80, 31  # pixels in a patch from which on it is no speck but a lamp's image, with a wider skirt and a veil
LEAST_GLARE = 4  # pixels that must be too bright: clipped ones alone can be the crest of a band
LOCAL_WINDOW, WIDE_WINDOW = 9, 25  # pixels
PLAIN_NOISE = 1.5  # local over global variance that noise alone reaches in such a window
MISFIT_PIXELS = 20.0  # about the pixels of a window that a misfit ties together


def spread(residual: NDArray, weight: NDArray) -> float:
    """Robust standard deviation of the residual where weight is above zero: 1.4826 times the median of its size."""
    present = weight > 0
    return 1.4826 * float(np.median(np.abs(residual[present]))) if np.any(present) else 0.0


def evened(residual: NDArray, weight: NDArray, *, level: NDArray) -> NDArray:
    """The residual as it would be if noise were as large in dark bands as in bright ones, where photons and the camera's curve make it larger.

    The variance is taken to rise linearly with the light (photons of a steady lamp: Poisson's law), the spread over all to stay as it is.

    Parameters
    ----------
    residual, level
        Value less model, and the model.
    weight
        Pixels of weight zero have no say.
    """
    present = weight > 0
    if np.count_nonzero(present) < 2 * LEVELS:
        return residual
    size, at = np.abs(residual[present]), np.maximum(level[present], 0.0)
    place = np.searchsorted(np.quantile(at, np.arange(1, LEVELS) / LEVELS), at)
    variance = np.array([np.median(size[place == k]) if np.any(place == k) else 0.0 for k in range(LEVELS)]) ** 2
    light = np.array([np.mean(at[place == k]) if np.any(place == k) else 0.0 for k in range(LEVELS)])
    known = variance > 0.0
    if np.count_nonzero(known) < 2:
        return residual
    law = np.stack([np.ones(LEVELS), light], axis=1)[known] / variance[known, None]
    (steady, rising), _ = optimize.nnls(law, np.ones(np.count_nonzero(known)))
    usual = np.sqrt(steady + rising * np.maximum(level, light[known][0]))
    return residual * (float(np.median(size)) / np.maximum(usual, 1e-30))


def correlation_area(residual: NDArray, present: NDArray, *, largest_lag: int = LARGEST_LAG) -> float:
    """Number of pixels that share one independent reading: the sum of the residual's autocorrelation, at least 1.

    Parameters
    ----------
    residual, present
        [v, u]; pixels not present are left out of every pair.
    largest_lag
        Pixels; beyond it the fit has taken away more than noise leaves, and the sum would come out too small.
    """
    shape = [fft.next_fast_len(n + largest_lag, real=True) for n in residual.shape]
    kept = np.where(present, residual, 0.0)
    pairs = fft.irfft2(np.abs(fft.rfft2(present.astype(np.float32), s=shape, workers=2)) ** 2, s=shape, workers=2)
    sums = fft.irfft2(np.abs(fft.rfft2(kept.astype(np.float32), s=shape, workers=2)) ** 2, s=shape, workers=2)
    lags = np.r_[0 : largest_lag + 1, -largest_lag:0]
    ratio = sums[np.ix_(lags, lags)] / np.maximum(pairs[np.ix_(lags, lags)], 1.0)
    correlation = ratio / ratio[0, 0] if ratio[0, 0] > 0 else np.zeros_like(ratio)
    near = np.hypot(*np.meshgrid(lags, lags)) <= largest_lag
    # noise in the estimate itself averages out in the sum; negative lobes of a sharpened photograph do count
    return max(1.0, float(np.sum(correlation[near])))


@dataclass(frozen=True, slots=True, kw_only=True)
class Things:
    """What is far off the noise in narrow places, [v, u].

    Attributes
    ----------
    specks
        True at dust, scratches and hairs, with their neighbours.
    moved
        True where a shift of the bands explains it, as a small hill makes it.
    """

    specks: NDArray
    moved: NDArray


def things(residual: NDArray, present: NDArray, *, by_phase: NDArray, sigmas: float = OUTLIER_SIGMAS) -> Things:
    """Pixels off by several times the spread, where they are narrow: specks, and small hills whose residual turns its sign with the bands.

    What is off over a wide patch is no speck but something the fit has not caught yet, a local hill for one: it is neither.

    Parameters
    ----------
    residual, present
        [v, u].
    by_phase
        [v, u] change of the picture with the phase.
    """
    sigma = max(spread(residual, present.astype(float)), 1e-30)
    off = np.abs(residual) / sigma
    wild = present & (off > sigmas)
    # single pixels are noise tails; what hangs together is a thing on the glass
    blob = cv2.boxFilter(wild.astype(np.float32), -1, (3, 3)) > 0.3
    thing = ((wild & blob) | (present & (off > SURE_SIGMAS))).astype(np.uint8)
    wide = cv2.morphologyEx(thing, cv2.MORPH_OPEN, _disc(WIDEST_SPECK))
    wide = cv2.dilate(wide, np.ones((5, 5), np.uint8))
    narrow = ((thing > 0) & (wide == 0)).astype(np.uint8)
    moved = present & _moved_bands(
        narrow, residual=np.where(present, residual, 0.0), by_phase=np.where(present, by_phase, 0.0), sigma=sigma
    )
    return Things(specks=cv2.dilate(narrow, np.ones((3, 3), np.uint8)).astype(bool) & ~moved, moved=moved)


def _moved_bands(blobs: NDArray, *, residual: NDArray, by_phase: NDArray, sigma: float) -> NDArray:
    """True on the neighbourhoods of blobs that a shift of the bands explains, over enough of a band to tell, but for dust that lies in them."""
    _, label = cv2.connectedComponents(cv2.dilate(blobs, np.ones((7, 7), np.uint8)))
    flat, r, s = label.ravel(), residual.ravel(), by_phase.ravel()
    count = np.maximum(np.bincount(flat), 1)
    # a speck beside a hill is darker than any shift makes a band, and must not have its say for the whole
    typical = np.bincount(flat, np.abs(r) * blobs.ravel()) / np.maximum(np.bincount(flat, blobs.ravel()), 1)
    r = np.clip(r, -DARKER * typical[flat], DARKER * typical[flat])
    s_mean, s_square = np.bincount(flat, s) / count, np.bincount(flat, s * s) / count
    cross, square = np.bincount(flat, r * s) / count, np.bincount(flat, r * r) / count
    told_apart = s_mean**2 < TURNED * s_square
    explained = cross**2 > EXPLAINED_BY_SHIFT * s_square * square
    shift = cross / np.maximum(s_square, 1e-30)
    # dust is off in one place; a hill that dust lies beside is off, and the right way, over most of its surroundings
    follows = r * np.sign(shift[flat] * s) > SURELY_OFF * sigma
    hinted = cross**2 > HINTED_BY_SHIFT * s_square * square
    explained |= hinted & (np.bincount(flat, follows * s * s) > FOLLOWS_SHIFT * count * s_square)
    moved = told_apart & explained
    moved[0] = False
    along, size = residual * np.sign(shift[label] * by_phase), np.abs(residual)
    return moved[label] & ((size < SURE_SIGMAS * sigma) | ((along > 0.0) & (size < DARKEST * typical[label])))


def wild_patches(residual: NDArray, present: NDArray) -> NDArray:
    """1 (uint8) [v, u] where pixels surely off the noise lie side by side, 0 elsewhere."""
    sigma = max(spread(residual, present.astype(float)), 1e-30)
    wild = (present & (np.abs(residual) > SURE_SIGMAS * sigma)).astype(np.uint8)
    return cv2.morphologyEx(wild, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))


def laid_over(residual: NDArray, present: NDArray, *, by_phase: NDArray) -> NDArray:
    """True where something lies over the bands: patches of one sign across bands that would make a hill's residual turn its sign.

    Wants the residual before any local field has had a chance to follow the patch. A patch too small to span half a band can't be told
    from a hill and is left alone. Arguments as `distrusted`.
    """
    _, label = cv2.connectedComponents(wild_patches(residual, present))
    flat, s = label.ravel(), by_phase.ravel()
    count = np.maximum(np.bincount(flat), 1)
    one_sided = np.abs(np.bincount(flat, np.sign(residual).ravel())) > ONE_SIDED * count
    told_apart = (np.bincount(flat, s) / count) ** 2 < TURNED * np.bincount(flat, s * s) / count
    laid = one_sided & told_apart
    laid[0] = False
    return cv2.dilate(laid[label].astype(np.uint8), _disc(GLARE_REACH)) > 0


def glare(value: NDArray, *, light: NDArray, modulation: NDArray, present: NDArray, missing: NDArray) -> NDArray:
    """True where light is added to the bands: brighter than the brightest band, with no place nearby darker than the darkest.

    A hill only moves bands and stays between them; a contrast that is not settled yet is exceeded on both sides. Missing pixels of the
    face belong to a glare that surrounds them. All [v, u]; off the face neither present nor missing.
    """
    room = (1.0 + BEYOND_BANDS) * np.abs(modulation)
    above, below = (cv2.blur((present & (sign * (value - light) > room)).astype(np.float32), (3, 3)) > 0.5 for sign in (1.0, -1.0))
    patches = cv2.dilate((above | below).astype(np.uint8), _disc(GLARE_REACH)) | missing
    _, label = cv2.connectedComponents(patches.astype(np.uint8))
    bright, dark = (np.bincount(label.ravel(), each.ravel(), minlength=1) for each in (above, below))
    size = np.bincount(label.ravel(), (above | missing).ravel(), minlength=1)
    added = (bright >= LEAST_GLARE) & (bright > DARK_PER_BRIGHT * dark)
    added[0] = False
    wide = (added & (size > WIDE_GLARE))[label] & (above | missing)
    return added[label] | (cv2.dilate(wide.astype(np.uint8), _disc(WIDE_GLARE_REACH)) > 0)


def _disc(across: int) -> NDArray:
    return cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (across, across))


def soft_weight(residual: NDArray, present: NDArray, *, sigmas: float) -> NDArray:
    """Cauchy's weight 1 / (1 + (r / c)^2), c being `sigmas` spreads: a wide fault not yet fitted keeps pulling, a speck hardly does.

    P. J. Huber, E. M. Ronchetti, Robust Statistics, 2nd ed. (2009), section 4.8 (from memory).
    """
    sigma = max(spread(residual, present.astype(float)), 1e-30)
    return present / (1.0 + (residual / (sigmas * sigma)) ** 2)


def local_confidence(residual: NDArray, present: NDArray, *, across: int) -> NDArray:
    """Weight [v, u] of each pixel from how rough the residual is around it: 1 where it is plain noise, less where the model misses something.

    What the model misses hangs together over many pixels, so an excess of variance counts MISFIT_PIXELS times. `across` is the side of the square of pixels
    looked at around each.
    """
    sigma = spread(residual, present.astype(float))
    if sigma == 0.0:
        return present.astype(float)
    window = (across, across)
    count = cv2.boxFilter(present.astype(np.float32), -1, window, normalize=False)
    square = cv2.boxFilter(np.where(present, residual**2, 0.0).astype(np.float32), -1, window, normalize=False)
    excess = np.maximum(square / np.maximum(count, 1.0) / sigma**2 - PLAIN_NOISE, 0.0)
    return present / (1.0 + MISFIT_PIXELS * excess)
