"""Growing from parts of the face: figures of higher order as large as bands, where no quadratic start over the whole face comes near."""

import math

import numpy as np
import pytest

from straightband.face.polynomials import noll_count
from straightband.face.shapes import Shape, ellipse, round_face
from straightband.fringes.grow import GRIDS, polynomials, shrink
from straightband.fringes.parts import grown_from_parts
from straightband.fringes.starts import WEAK_SAMPLES
from straightband.fringes.whole import fit_whole

SIZES_BANDS = {1: 0.8, 2: 0.2, 3: 0.08, 4: 0.04, 5: 0.015, 6: 0.008}  # rms of the polynomials of each order
FACES = (round_face(diameter_mm=80.0), ellipse(minor_mm=90.0))


def picture_drawn(picture_of, seed):
    """A face of random figure with two to nine bands across, and its phase."""
    rng, face = np.random.default_rng(seed), FACES[seed % 2]
    coefficients = np.concatenate(
        [[0.0], *(rng.normal(0.0, size, noll_count(order) - noll_count(order - 1)) for order, size in SIZES_BANDS.items())]
    )
    start = rng.uniform(0.0, 2.0 * math.pi)

    def phase(u, v):
        terms = polynomials(u / face.semi_u_mm, v / face.semi_v_mm, shape=face.shape, order=6)
        return 2.0 * math.pi * np.tensordot(coefficients, terms, axes=1) + start

    return picture_of(face, phase, samples=128, seed=seed), phase


def off_rad(fit, picture, phase):
    """Rms departure from the truth, the better of the two signs."""
    u, v = np.meshgrid(picture.u_mm, picture.v_mm)
    inside = ~picture.missing
    found = fit.phase_rad(u[inside] / picture.face.semi_u_mm, v[inside] / picture.face.semi_v_mm, shape=picture.face.shape)
    return min(np.std(found - sign * phase(u[inside], v[inside])) for sign in (1.0, -1.0))


@pytest.mark.parametrize("seed", [17, 23, 31, 63, 78, 108, 113, 148])
def test_figures_that_no_start_over_the_whole_face_leads_to(picture_of, seed):
    """Each was once wrong by 0.8 to 4.9 rad rms and explained up to 0.99 of the bands."""
    picture, phase = picture_drawn(picture_of, seed)
    fit = fit_whole(picture.light, picture.missing, shape=picture.face.shape)
    assert off_rad(fit, picture, phase) < 0.15
    assert fit.explained > 0.99


def test_one_part_may_be_enough(picture_of):
    """A quarter of the face hidden leaves parts that lead to the truth over what is seen."""
    picture, phase = picture_drawn(picture_of, 78)
    u, v = np.meshgrid(picture.u_mm, picture.v_mm)
    missing = picture.missing | ((u > 0.0) & (v > 0.0))
    pictures = {
        n: shrink(picture.light, missing, samples=n, shape=picture.face.shape, half_extent=(1.0, 1.0)) for n in (WEAK_SAMPLES, *GRIDS)
    }
    fits = grown_from_parts(pictures, shape=picture.face.shape)
    seen = ~missing
    best = max(fits, key=lambda fit: fit.explained)
    found = best.phase_rad(u[seen] / picture.face.semi_u_mm, v[seen] / picture.face.semi_v_mm, shape=picture.face.shape)
    assert min(np.std(found - sign * phase(u[seen], v[seen])) for sign in (1.0, -1.0)) < 0.15


def test_parts_with_hardly_any_cell_are_left_out():
    """Where nearly all of the face is missing there is nothing to grow from."""
    missing = np.ones((128, 128), dtype=bool)
    missing[60:64, 60:64] = False
    pictures = {
        n: shrink(np.ones((128, 128), dtype=np.float32), missing, samples=n, shape=Shape.ROUND, half_extent=(1.0, 1.0))
        for n in (WEAK_SAMPLES, *GRIDS)
    }
    assert grown_from_parts(pictures, shape=Shape.ROUND) == []
