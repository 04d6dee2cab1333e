"""The block's face found by itself: it is where the bands jump aside between two straight, parallel edges.

The light is compared with one even tone over the whole lit field; what it is ahead or behind stays the same over the platen and changes at
the block's edges. Two edges are wanted that cut the field into a middle and two sides, each of one phase.
Where the step is a whole number of bands nothing jumps, and nothing can be found.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from straightband.errors import OutlineNotFound
from straightband.fringes.step_cells import BlockFace, Margins
from straightband.fringes.step_fit import powers

FIELD_ROWS = 300
LIT = 0.25  # of the brightest bands: below that the field's rim shades
COLUMNS, GROUPS = 110, 12
SHEARS = np.arange(-0.3, 0.301, 0.05)  # sideways lean of the edges, 17 degrees either way
DRIFTS = np.arange(-0.5, 0.51, 1.0 / 12.0)  # bands over half the field that the even tone may have missed
NARROWEST, WIDEST, LEAST_SIDE = 0.15, 0.8, 0.05  # of the field's width
LEAST_GAIN = 0.04  # of the whole tone: photographs without a jump gain 0.008, with a sixth of a band 0.07
LEAST_JUMP, UNLIKE_JUMPS = 0.06, 0.2  # bands, right at each edge and between the two
WINDOW, STAND_OFF = 0.14, 0.13  # of the block's width: where the phase is taken beside an edge, clear of its blur
TILTS = np.arange(-0.5, 0.51, 0.05)  # of block against platen, bands over half the field
FOUND_STANDARD = 0.15  # of half the face: the largest miss of its middle on real photographs
FOUND_MARGINS = Margins(inside=0.14, outside=0.14, ends=0.08)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Field:
    """The lit part of the photograph at FIELD_ROWS rows.

    Attributes
    ----------
    light
        [row, column].
    lit
        [row, column] True off the shaded rim.
    corner
        x, y of its first pixel in the picture.
    scale
        x, y pixels of the picture per pixel here.
    """

    light: NDArray
    lit: NDArray
    corner: tuple[int, int]
    scale: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Edges:
    """Two parallel edges: `left` and `right` at mid-height as shares of the field's width, `shear` columns per row, `drift` as DRIFTS.

    `gain` is what summing inside and outside apart keeps of the tone, over what is kept of the field as a whole.
    """

    gain: float
    shear: float
    drift: float
    left: float
    right: float


def find_block(light: NDArray) -> BlockFace:
    """The block's face in a picture [row, column] of linear light; raises OutlineNotFound where the bands show no clear jump."""
    field = _lit_field(light)
    phasor = _against_even_tone(field)
    edges = _find_edges(phasor, field.lit)
    if edges.gain < LEAST_GAIN or not _is_step(_jumps(phasor, field.lit, edges)):
        raise _not_found()
    top, bottom = _find_ends(phasor, field.lit, edges)
    return _face(field, edges, top=top, bottom=bottom)


def _not_found() -> OutlineNotFound:
    return OutlineNotFound(
        found="the bands show no clear jump at two straight edges, so the block's face can't be found",
        needed="its corners are needed",
        remedy="give --corners with its top-left, bottom-left and bottom-right corner, in pixels of the upright photograph",
    )


def _lit_part(light: NDArray) -> NDArray:
    """[row, column] True on the largest part that is bright at its bright bands."""
    reach = (max(5, light.shape[0] // 8), 5)
    bright = ndimage.maximum_filter(ndimage.uniform_filter(light, 3), size=reach)
    label, count = ndimage.label(bright > LIT * np.percentile(bright, 99))
    if count == 0:
        raise _not_found()
    return label == 1 + int(np.argmax(np.bincount(label.ravel())[1:]))


def _lit_field(light: NDArray) -> _Field:
    shrink = max(1.0, max(light.shape) / 400.0)
    small = cv2.resize(light, None, fx=1.0 / shrink, fy=1.0 / shrink, interpolation=cv2.INTER_AREA)
    lit = _lit_part(small)
    rows, columns = np.flatnonzero(lit.any(axis=1)), np.flatnonzero(lit.any(axis=0))
    top, bottom = int(rows[0] * shrink), int((rows[-1] + 1) * shrink)
    left, right = int(columns[0] * shrink), int((columns[-1] + 1) * shrink)
    part = light[top:bottom, left:right]
    width = max(1, round(part.shape[1] * FIELD_ROWS / part.shape[0]))
    if min(part.shape) < 64 or not 60 <= width <= 4 * FIELD_ROWS:
        raise _not_found()
    fine = cv2.resize(part, (width, FIELD_ROWS), interpolation=cv2.INTER_AREA).astype(float)
    return _Field(light=fine, lit=_lit_part(fine), corner=(left, top), scale=(part.shape[1] / width, part.shape[0] / FIELD_ROWS))


def _against_even_tone(field: _Field) -> NDArray:
    """[row, column] of length up to 1: how far the bands are ahead of the even tone that fits the whole field best."""
    rows, columns = field.light.shape
    x, y = np.meshgrid(_centred(columns), _centred(rows))
    basis = powers(x, y, order=4)
    fit, *_ = np.linalg.lstsq(basis[:, field.lit].T, field.light[field.lit], rcond=None)
    background = np.tensordot(fit, basis, axes=1)
    floor = 0.15 * float(np.median(field.light[field.lit]))
    bands = np.where(field.lit, (field.light - background) / np.maximum(background, floor), 0.0)
    across, down = np.arange(-4.0, 4.01, 0.125), np.arange(0.5, 20.0, 0.125)
    power = np.abs(np.exp(-2j * np.pi * np.outer(down, y[:, 0])) @ bands @ np.exp(-2j * np.pi * np.outer(x[0], across)))
    i, j = np.unravel_index(int(np.argmax(power)), power.shape)
    turned = bands * np.exp(-2j * np.pi * (down[i] * y + across[j] * x))
    # Averaging over a band along its run removes the background and the mirrored tone; across the edges hardly anything is averaged.
    blur = (rows / (4.0 * down[i]), 0.5)
    smooth = (ndimage.gaussian_filter(turned.real, blur) + 1j * ndimage.gaussian_filter(turned.imag, blur)) * field.lit
    size = np.abs(smooth)
    return smooth / np.maximum(size, max(0.3 * float(np.median(size[field.lit])), 1e-12))


def _centred(count: int) -> NDArray:
    return (np.arange(count) + 0.5) * 2.0 / count - 1.0


def _find_edges(phasor: NDArray, lit: NDArray) -> _Edges:
    """The two edges that leave most of the tone inside and outside them, each summed by itself."""
    found, whole = [], 0.0
    for shear in SHEARS:
        sums, count = _sheared_sums(phasor, lit, shear=shear)
        for drift in DRIFTS:
            kept, left, right, uncut = _best_cut(sums * np.exp(-2j * np.pi * drift * _centred(COLUMNS)))
            found.append((kept / count, shear, drift, left / COLUMNS, right / COLUMNS))
            whole = max(whole, uncut / count)
    best, shear, drift, start, end = max(found)
    return _Edges(gain=best - whole, shear=float(shear), drift=float(drift), left=start, right=end)


def _sheared_sums(phasor: NDArray, lit: NDArray, *, shear: float) -> tuple[NDArray, int]:
    """[group of rows, column] sums along lines that lean by `shear`, less the first and last group, and the number of pixels in them.

    Each group has its own phase, so that a tilt or a bow of the block along its length does no harm.
    """
    rows, columns = phasor.shape
    y, x = np.mgrid[:rows, :columns]
    column = np.floor((x - shear * (y - rows / 2)) / columns * COLUMNS).astype(int)
    group = y * GROUPS // rows
    taken = lit & (column >= 0) & (column < COLUMNS) & (group > 0) & (group < GROUPS - 1)
    label = (group * COLUMNS + column)[taken]
    sums = np.bincount(label, phasor.real[taken], minlength=GROUPS * COLUMNS) + 1j * np.bincount(
        label, phasor.imag[taken], minlength=GROUPS * COLUMNS
    )
    return sums.reshape(GROUPS, COLUMNS)[1:-1], max(label.size, 1)


def _best_cut(sums: NDArray) -> tuple[float, int, int, float]:
    """Tone kept by the best two cuts, the columns they lie before, and the tone kept uncut."""
    running = np.concatenate([np.zeros((len(sums), 1)), np.cumsum(sums, axis=1)], axis=1)
    inside = running[:, None, :] - running[:, :, None]
    kept = (np.abs(inside) + np.abs(running[:, -1][:, None, None] - inside)).sum(axis=0)
    cut = np.arange(COLUMNS + 1) / COLUMNS
    width = cut[None, :] - cut[:, None]
    allowed = (width > NARROWEST) & (width < WIDEST) & (cut[:, None] > LEAST_SIDE) & (cut[None, :] < 1.0 - LEAST_SIDE)
    kept = np.where(allowed, kept, 0.0)
    left, right = np.unravel_index(int(np.argmax(kept)), kept.shape)
    return float(kept[left, right]), int(left), int(right), float(np.abs(running[:, -1]).sum())


def _along(phasor: NDArray, edges: _Edges) -> tuple[NDArray, NDArray]:
    """Position between the edges, 0 at the left and 1 at the right one, and the phasors with the drift taken out."""
    rows, columns = phasor.shape
    y, x = np.mgrid[:rows, :columns]
    place = (x - edges.shear * (y - rows / 2)) / columns
    turned = phasor * np.exp(-2j * np.pi * edges.drift * (2.0 * place - 1.0))
    return (place - edges.left) / (edges.right - edges.left), turned


def _jumps(phasor: NDArray, lit: NDArray, edges: _Edges) -> NDArray:
    """(2,) jump close by the left and the right edge, inside less outside, in bands.

    What the phase changes on either side of the edge over a like distance is taken off: a tilt or a bow is no jump.
    """
    place, turned = _along(phasor, edges)
    rows = len(lit) // 6
    middle = lit & (np.abs(np.arange(len(lit)) - len(lit) / 2) < 2 * rows)[:, None]

    def ahead(one: float, other: float) -> float:
        """By how many bands the phase around place `one` is ahead of that around `other`."""
        near = [np.where(middle & (np.abs(place - spot) < WINDOW / 2), turned, 0.0) for spot in (one, other)]
        grouped = [window[rows : 5 * rows].reshape(4, -1).sum(axis=1) for window in near]
        return float(np.angle(np.sum(grouped[0] * np.conj(grouped[1])))) / (2.0 * np.pi)

    found = []
    for edge, inward in ((0.0, 1.0), (1.0, -1.0)):
        inner, outer = edge + inward * STAND_OFF, edge - inward * STAND_OFF
        slope = (ahead(inner + inward * WINDOW, inner) + ahead(outer, outer - inward * WINDOW)) / (2.0 * WINDOW)
        found.append((ahead(inner, outer) - 2.0 * STAND_OFF * slope + 0.5) % 1.0 - 0.5)
    return np.array(found)


def _is_step(jumps: NDArray) -> bool:
    """True if the bands jump at both edges, and by like amounts."""
    unlike = abs((jumps[0] - jumps[1] + 0.5) % 1.0 - 0.5)
    return bool(np.abs(jumps).min() > LEAST_JUMP and unlike < UNLIKE_JUMPS)


def _find_ends(phasor: NDArray, lit: NDArray, edges: _Edges) -> tuple[int, int]:
    """Rows where the middle stops being as far ahead of the sides as it is half-way up, the tilt between them allowed for."""
    place, turned = _along(phasor, edges)
    inside = np.where(lit & (place > 0.08) & (place < 0.92), turned, 0.0).sum(axis=1)
    beside = np.where(lit & ((place < -0.08) | (place > 1.08)), turned, 0.0).sum(axis=1)
    ahead = inside * np.conj(beside) / np.maximum(np.abs(beside), 1e-12)
    third = len(ahead) // 3
    tilts = np.exp(-2j * np.pi * np.outer(TILTS, _centred(len(ahead))))
    sums = (tilts * ahead)[:, third:-third].sum(axis=1)
    best = int(np.argmax(np.abs(sums)))
    like_block = np.real(ahead * tilts[best] * np.conj(sums[best])) / max(abs(sums[best]), 1e-12) - np.real(ahead)
    running = np.concatenate([[0.0], np.cumsum(like_block)])
    return int(np.argmin(running[:third])), len(ahead) - third + int(np.argmax(running[-third - 1 :]))


def _face(field: _Field, edges: _Edges, *, top: int, bottom: int) -> BlockFace:
    rows, columns = field.light.shape
    half_width = (edges.right - edges.left) * columns / 2.0 * field.scale[0]
    half_height = (bottom - top) / 2.0 * field.scale[1]
    lean = edges.shear * field.scale[0] / field.scale[1]
    middle_row = (top + bottom) / 2.0
    middle = (edges.left + edges.right) / 2.0 * columns + edges.shear * (middle_row - rows / 2.0)
    return BlockFace(
        centre=(field.corner[0] + middle * field.scale[0] - 0.5, field.corner[1] + middle_row * field.scale[1] - 0.5),
        # A face is square at its corners, so the end leans as much as the sides do.
        half_across=(half_width, -lean * half_width),
        half_down=(lean * half_height, half_height),
        standard=FOUND_STANDARD,
    )
