"""The lit part of a photograph of two faces, and how its bands differ from one even tone along lines that lean as the block's edges may."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from straightband.fringes.step_fit import powers

ROWS, COLUMNS = 300, 192
LIT = 0.25  # of the brightest bands: below that the field's rim shades
SMALLEST_FIELD_PX = 64
WIDEST_FIELD, NARROWEST_FIELD = 4.0, 0.2  # of its height
GROUPS = 12  # of rows; the first and the last are left out


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """The lit part of the photograph at ROWS x COLUMNS.

    Attributes
    ----------
    bands
        [row, column] light over its background, less 1.
    tone
        Bands down and across half the field of the even tone that fits the whole field best.
    lit
        [row, column] True off the shaded rim.
    corner
        x, y of its first pixel in the picture.
    scale
        x, y pixels of the picture per pixel here.
    """

    bands: NDArray
    tone: tuple[float, float]
    lit: NDArray
    corner: tuple[int, int]
    scale: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """The field along lines that lean by `lean` pixels sideways per pixel down: column `c` follows one line, which crosses mid-height at `c`.

    Attributes
    ----------
    lean
        In pixels of the picture.
    phasor
        [row, column] of length up to 1, 0 where unlit: how far the bands are ahead of the even tone.
    contrast
        [row, column] size of the bands over the background.
    independent
        Share of the groups of rows that the blur leaves independent of each other.
    """

    lean: float
    phasor: NDArray
    contrast: NDArray
    independent: float


def centred(count: int) -> NDArray:
    """(count,) middles of so many equal parts of -1 to 1."""
    return (np.arange(count) + 0.5) * 2.0 / count - 1.0


def lit_field(light: NDArray) -> Field | None:
    """The lit field of a picture [row, column] of linear light; None where there is none of use."""
    shrink = max(1.0, max(light.shape) / 400.0)
    lit = _lit_part(cv2.resize(light, None, fx=1.0 / shrink, fy=1.0 / shrink, interpolation=cv2.INTER_AREA))
    if lit is None:
        return None
    rows, columns = np.flatnonzero(lit.any(axis=1)), np.flatnonzero(lit.any(axis=0))
    top, bottom = int(rows[0] * shrink), int((rows[-1] + 1) * shrink)
    left, right = int(columns[0] * shrink), int((columns[-1] + 1) * shrink)
    part = light[top:bottom, left:right]
    if min(part.shape) < SMALLEST_FIELD_PX or not NARROWEST_FIELD < part.shape[1] / part.shape[0] < WIDEST_FIELD:
        return None
    fine = cv2.resize(part, (COLUMNS, ROWS), interpolation=cv2.INTER_AREA).astype(float)
    lit = _lit_part(fine)
    if lit is None:
        return None
    bands = _bands_alone(fine, lit)
    return Field(
        bands=bands,
        tone=_even_tone(bands),
        lit=lit,
        corner=(left, top),
        scale=(part.shape[1] / COLUMNS, part.shape[0] / ROWS),
    )


def _lit_part(light: NDArray) -> NDArray | None:
    """[row, column] True on the largest part that is bright at its bright bands; None if all is dark."""
    reach = (max(5, light.shape[0] // 8), 5)
    bright = ndimage.maximum_filter(ndimage.uniform_filter(light, 3), size=reach)
    label, count = ndimage.label(bright > LIT * np.percentile(bright, 99))
    if count == 0:
        return None
    largest: NDArray = label == 1 + int(np.argmax(np.bincount(label.ravel())[1:]))
    return largest


def _bands_alone(light: NDArray, lit: NDArray) -> NDArray:
    """[row, column] light over its background, less 1; 0 where unlit."""
    x, y = np.meshgrid(centred(COLUMNS), centred(ROWS))
    basis = powers(x, y, order=4)
    fit, *_ = np.linalg.lstsq(basis[:, lit].T, light[lit], rcond=None)
    background = np.tensordot(fit, basis, axes=1)
    floor = 0.15 * float(np.median(light[lit]))
    return np.where(lit, (light - background) / np.maximum(background, floor), 0.0)


def _even_tone(bands: NDArray) -> tuple[float, float]:
    """Bands down and across half the field of the strongest even tone."""
    across, down = np.arange(-4.0, 4.01, 0.125), np.arange(0.5, 20.0, 0.125)
    waves_down, waves_across = np.outer(down, centred(ROWS)), np.outer(centred(COLUMNS), across)
    power = np.abs(np.exp(-2j * np.pi * waves_down) @ bands @ np.exp(-2j * np.pi * waves_across))
    i, j = np.unravel_index(int(np.argmax(power)), power.shape)
    return float(down[i]), float(across[j])


def _move(field: Field, lean: float) -> NDArray:
    """Where lines that lean come from, for cv2.warpAffine."""
    shear = lean * field.scale[1] / field.scale[0]
    return np.array([[1.0, shear, -shear * ROWS / 2.0], [0.0, 1.0, 0.0]])


def _straightened(picture: NDArray, move: NDArray) -> NDArray:
    return cv2.warpAffine(picture.astype(np.float32), move, (COLUMNS, ROWS), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)


def bands_along(field: Field, *, lean: float) -> tuple[NDArray, NDArray]:
    """[row, column] the bands along leaning lines without any blur, and the phasors of the even tone there."""
    move = _move(field, lean)
    column, row = np.meshgrid(np.arange(COLUMNS), np.arange(ROWS))
    x = (column + move[0, 1] * row + move[0, 2] + 0.5) * 2.0 / COLUMNS - 1.0
    down, across = field.tone
    return _straightened(field.bands, move), np.exp(2j * np.pi * (down * centred(ROWS)[:, None] + across * x))


def lit_along(field: Field, *, lean: float) -> NDArray:
    """[row, column] True along leaning lines where the field is lit."""
    lit: NDArray = _straightened(field.lit, _move(field, lean)) > 0.99
    return lit


def climb_along(field: Field, *, lean: float) -> float:
    """Rows by which a band of the even tone goes down from one leaning line to the next."""
    down, across = field.tone
    along = down + across * float(_move(field, lean)[0, 1]) * ROWS / COLUMNS
    return -across / along * ROWS / COLUMNS


def lines_of(field: Field, *, lean: float) -> Lines:
    """The field along leaning lines. Blurred along them by a band, it keeps the edges of a block sharp that lean as they do."""
    move = _move(field, lean)
    down, across = field.tone
    turned = field.bands * np.exp(-2j * np.pi * (down * centred(ROWS)[:, None] + across * centred(COLUMNS)))
    blur_rows = ROWS / (4.0 * down)

    def blurred(picture: NDArray) -> NDArray:
        return cv2.GaussianBlur(_straightened(picture, move), (0, 0), sigmaX=0.5, sigmaY=blur_rows, borderType=cv2.BORDER_CONSTANT)

    share = blurred(field.lit)
    known = share > 0.3  # of the blur's reach
    smooth = np.where(known, (blurred(turned.real) + 1j * blurred(turned.imag)) / np.maximum(share, 0.3), 0.0)
    size = np.abs(smooth)
    typical = float(np.median(size[known])) if known.any() else 0.0
    independent = min(1.0, ROWS / GROUPS / (2.0 * float(np.sqrt(np.pi)) * blur_rows))
    return Lines(lean=lean, phasor=smooth / np.maximum(size, max(0.3 * typical, 1e-12)), contrast=size, independent=independent)


def by_groups(lines: NDArray) -> NDArray:
    """[group, column] sums over groups of rows, less the first and the last group."""
    columns = lines.shape[1]
    return lines.reshape(GROUPS, ROWS // GROUPS, columns).sum(axis=1)[1:-1]
