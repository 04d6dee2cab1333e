"""How clear a back is at each place: contrast of the grid through it over that of the same grid beside the mirror.

Clearness is what an eye sees, 0 to 1. The share of light passed unscattered is more where a veil of stray light lies over the grid; the
veil is told from the mean light, which it raises over that of its surroundings.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from straightband.errors import GridNotFound
from straightband.face.shapes import Face
from straightband.gauges.printed_grid.contrast import LocalContrast, local_contrast
from straightband.photo.outline import Outline
from straightband.photo.plane import Plane
from straightband.photo.rectify import SquarePicture, square_on

AROUND = 1.35  # semi-axes looked at, so that the sheet beside the mirror is seen
BESIDE = (1.05, 1.33)  # where the sheet is compared with
SAMPLES_PER_PITCH = 10.0
FEWEST_SAMPLES, MOST_SAMPLES = 240, 1400
BESIDE_LEAST = 0.15  # of the ring beside the mirror that must be seen
BESIDE_OVER_FACE = 0.6  # contrast beside over the clearest of the face below which what lies beside is no grid
CLEAREST = 90.0  # percentile of the face that stands for the clear ring where nothing is seen beside
GLASS_PASSES = 0.92  # two faces of index 1.5 reflect 4 % each: Fresnel
FAINTEST = 0.02  # contrast below which nothing can be compared with


@dataclass(frozen=True, slots=True, kw_only=True)
class Clearness:
    """Clearness over the face.

    Attributes
    ----------
    face
        The face, its bevel included.
    u_mm, v_mm
        Coordinates of columns and rows, as the photograph shows the mirror.
    clearness
        [v, u], 0 to 1; NaN off the face. On the bevel it is that of the nearest place inside.
    passed
        [v, u], share of light passed unscattered.
    veil
        [v, u], stray light over that of the paper.
    pitch_mm
        Of the grid as seen.
    contrast
        Of the grid compared with.
    beside
        True if that was the sheet beside the mirror, False if the clearest part of the face.
    missing_share
        Of the face that is overexposed or hidden.
    """

    face: Face
    u_mm: NDArray
    v_mm: NDArray
    clearness: NDArray
    passed: NDArray
    veil: NDArray
    pitch_mm: float
    contrast: float
    beside: bool
    missing_share: float


def clearness_of(
    plane: Plane, outline: Outline, *, face: Face, pitch_px: float, margin: float, mark_hour: float | None = None
) -> Clearness:
    """The map of clearness; `pitch_px` is the grid's in pixels of `plane`, `margin` the share of each semi-axis left to the bevel."""
    pitch_mm = pitch_px * plane.scale * face.semi_major_mm / outline.semi_major
    picture = _around(plane, outline, face=face, pitch_mm=pitch_mm, mark_hour=mark_hour)
    radius = face.normalised_radius(picture.u_mm[None, :], picture.v_mm[:, None])
    pitch = pitch_mm / float(picture.u_mm[1] - picture.u_mm[0])
    inside = (radius < 1.0 - margin) & ~picture.missing
    beside = (radius > BESIDE[0]) & (radius < BESIDE[1]) & ~picture.missing
    through = local_contrast(picture.light, use=inside, pitch=pitch)
    direct = local_contrast(picture.light, use=beside, pitch=pitch)
    reference, told_beside = _reference(through, direct, inside=inside, beside=beside, ring=(radius > BESIDE[0]) & (radius < BESIDE[1]))
    clear = through.contrast / reference
    brighter = _brighter(through, direct, clear=clear, inside=inside, beside=beside if told_beside else None, picture=picture)
    on_face = radius <= 1.0
    rows, columns = _box(picture, face=face)

    def kept(values: NDArray) -> NDArray:
        held = np.where(on_face, np.clip(_outward(values, known=inside), 0.0, None), np.nan)[rows, columns]
        held.setflags(write=False)
        return held

    return Clearness(
        face=face,
        u_mm=picture.u_mm[columns],
        v_mm=picture.v_mm[rows],
        clearness=np.minimum(kept(clear), 1.0),
        passed=np.minimum(kept(clear * brighter), 1.0),
        veil=kept(brighter - 1.0),
        pitch_mm=pitch_mm,
        contrast=reference,
        beside=told_beside,
        missing_share=float(np.mean(picture.missing[on_face])),
    )


def _around(plane: Plane, outline: Outline, *, face: Face, pitch_mm: float, mark_hour: float | None) -> SquarePicture:
    """The face and what lies beside it, square-on."""
    wide = replace(face, semi_u_mm=face.semi_u_mm * AROUND, semi_v_mm=face.semi_v_mm * AROUND)
    corners = outline.corners
    if corners is not None:
        middle = corners.mean(axis=0)
        corners = middle + AROUND * (corners - middle)
    wider = replace(outline, semi_major=outline.semi_major * AROUND, semi_minor=outline.semi_minor * AROUND, corners=corners)
    across = 2.0 * min(wide.semi_u_mm, wide.semi_v_mm) / pitch_mm * SAMPLES_PER_PITCH
    samples = int(min(max(across, FEWEST_SAMPLES), MOST_SAMPLES))
    return square_on(plane, wider, face=wide, samples_across=samples, mark_hour=mark_hour)


def _reference(through: LocalContrast, direct: LocalContrast, *, inside: NDArray, beside: NDArray, ring: NDArray) -> tuple[float, bool]:
    """The contrast that counts as clear, and whether it is that beside the mirror."""
    on_face = float(np.nanpercentile(through.contrast[inside], CLEAREST)) if inside.any() else 0.0
    if beside.sum() > BESIDE_LEAST * ring.sum():
        outside = float(np.nanmedian(direct.contrast[beside]))
        if outside > max(FAINTEST, BESIDE_OVER_FACE * on_face):
            return max(outside, on_face), True
    if on_face < FAINTEST:
        raise GridNotFound(
            found="the grid shows neither through the mirror nor beside it",
            needed="it must show sharp beside the mirror, or through a clear ring of it",
            remedy="use a larger sheet, focus on it and take the photograph again",
        )
    return on_face, False


def _brighter(
    through: LocalContrast, direct: LocalContrast, *, clear: NDArray, inside: NDArray, beside: NDArray | None, picture: SquarePicture
) -> NDArray:
    """Mean light through the mirror over that expected of a clear one, 1 or more; lighting is taken as a quadratic over the picture."""
    sure = inside & (clear > 0.9)
    places = sure if beside is None else sure | beside
    light = np.where(inside, through.mean / (1.0 if beside is None else GLASS_PASSES), direct.mean)
    if places.sum() < 100:
        return np.ones_like(clear)
    x = (picture.u_mm / picture.face.semi_u_mm)[None, :] + 0.0 * picture.v_mm[:, None]
    y = (picture.v_mm / picture.face.semi_v_mm)[:, None] + 0.0 * picture.u_mm[None, :]
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)
    thinned = np.flatnonzero(places)[:: max(1, int(places.sum()) // 20_000)]
    fitted, *_ = np.linalg.lstsq(terms.reshape(-1, 6)[thinned], np.log(np.maximum(light.ravel()[thinned], 1e-4)), rcond=None)
    return np.asarray(np.maximum(light / np.exp(terms @ fitted), 1.0))


def _outward(values: NDArray, *, known: NDArray) -> NDArray:
    """Values carried from the nearest known place to where they are not known."""
    good = known & np.isfinite(values)
    distance = np.where(good, 0, 1).astype(np.uint8)
    _, labels = cv2.distanceTransformWithLabels(distance, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL)
    by_label = np.zeros(int(labels.max()) + 1)
    by_label[labels[good]] = values[good]
    return by_label[labels]


def _box(picture: SquarePicture, *, face: Face) -> tuple[slice, slice]:
    """Rows and columns that hold the face."""
    rows = np.flatnonzero(np.abs(picture.v_mm) <= face.semi_v_mm)
    columns = np.flatnonzero(np.abs(picture.u_mm) <= face.semi_u_mm)
    return slice(int(rows[0]), int(rows[-1]) + 1), slice(int(columns[0]), int(columns[-1]) + 1)
