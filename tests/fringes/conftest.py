"""Pictures of bands written down from the formula, without the renderer: light (1 + contrast cos phase) plus white noise."""

import math

import numpy as np
import pytest
from threadpoolctl import threadpool_limits

from straightband.face.polynomials import ellipse_polynomials
from straightband.face.shapes import ellipse
from straightband.fringes.cells import divide
from straightband.fringes.reading import PhaseReading
from straightband.heightmap.figures import Points
from straightband.photo.rectify import SquarePicture
from straightband.synthetic.golden import ASPECT, WAVELENGTH_NM, golden_photograph

RAD_PER_NM = 4.0 * math.pi / WAVELENGTH_NM
GOLDEN_FACE = ellipse(minor_mm=90.0)


@pytest.fixture(autouse=True, scope="session")
def _one_thread():
    """One thread for the small matrices, as the workflow reads with."""
    with threadpool_limits(limits=1, user_api="blas"):
        yield


def make_picture(face, phase, *, samples=96, noise=0.02, seed=0, light=0.5, contrast=0.7):
    """The face square-on with `phase(u, v)` in radians; `light` and `contrast` are numbers or functions of (u, v)."""
    pitch = 2.0 * min(face.semi_u_mm, face.semi_v_mm) / samples
    columns, rows = round(2.0 * face.semi_u_mm / pitch), round(2.0 * face.semi_v_mm / pitch)
    u_mm, v_mm = (np.arange(columns) - (columns - 1) / 2.0) * pitch, (np.arange(rows) - (rows - 1) / 2.0) * pitch
    u, v = np.meshgrid(u_mm, v_mm)
    level, swing = (value(u, v) if callable(value) else value for value in (light, contrast))
    picture = level * (1.0 + swing * np.cos(phase(u, v))) + noise * np.random.default_rng(seed).standard_normal(u.shape)
    # The photograph shows +u to the right and +v up, its rows counted downwards.
    to_pixels = np.array([[face.semi_u_mm / pitch, 0.0, 500.0], [0.0, -face.semi_v_mm / pitch, 400.0], [0.0, 0.0, 1.0]])
    return SquarePicture(
        light=picture.astype(np.float32),
        missing=~face.contains(u, v),
        u_mm=u_mm,
        v_mm=v_mm,
        pixels_per_sample=1.0,
        face_to_pixels=to_pixels,
        face=face,
    )


@pytest.fixture(scope="session")
def picture_of():
    """The maker of pictures of bands."""
    return make_picture


def golden_picture(*, seed, pixels):
    """The golden photograph with one sample a pixel: its x is +v, its y is -u."""
    shot = golden_photograph(rng=np.random.default_rng(seed), pixels_inside=pixels)
    columns, rows = np.abs(shot.x) <= 1.0, np.abs(shot.y) <= ASPECT
    unit_px = shot.semi_major_px
    return SquarePicture(
        light=shot.light[np.ix_(rows, columns)].T.astype(np.float32),
        missing=~shot.inside[np.ix_(rows, columns)].T,
        u_mm=-shot.y[rows] * GOLDEN_FACE.semi_v_mm,
        v_mm=shot.x[columns] * GOLDEN_FACE.semi_v_mm,
        pixels_per_sample=1.0,
        face_to_pixels=np.array([[0.0, unit_px, 0.0], [ASPECT * unit_px, 0.0, 0.0], [0.0, 0.0, 1.0]]),
        face=GOLDEN_FACE,
    )


@pytest.fixture(scope="session")
def golden():
    """Everything a test of the golden face asks for: its face, its pictures, its terms read back from a phase."""

    class Golden:
        face = GOLDEN_FACE
        rad_per_nm = RAD_PER_NM
        picture = staticmethod(golden_picture)

        @staticmethod
        def basis(u_mm, v_mm, *, count=15):
            """The terms E_1 .. E_count at points of the face."""
            unit = GOLDEN_FACE.semi_v_mm
            return ellipse_polynomials(np.asarray(v_mm) / unit, -np.asarray(u_mm) / unit, aspect=ASPECT, count=count)

        @classmethod
        def terms_nm(cls, reading, *, sense):
            """The terms of the heights; `sense` is +1 where the phase grows with the gap."""
            u, v = np.meshgrid(reading.u_mm, reading.v_mm)
            inside = np.isfinite(reading.phase_rad)
            basis = cls.basis(u[inside], v[inside])
            return -sense * np.linalg.lstsq(basis.T, reading.phase_rad[inside], rcond=None)[0] / RAD_PER_NM

    return Golden


def make_reading(clear, phase, *, samples=64, bands_across=8.0):
    """A reading that nobody had to fit: `phase(u, v)` in radians on the grid of a clear aperture, no noise."""
    pitch = 2.0 * min(clear.semi_u_mm, clear.semi_v_mm) / samples
    columns, rows = round(2.0 * clear.semi_u_mm / pitch), round(2.0 * clear.semi_v_mm / pitch)
    u_mm, v_mm = (np.arange(columns) - (columns - 1) / 2.0) * pitch, (np.arange(rows) - (rows - 1) / 2.0) * pitch
    cells = divide(u_mm / clear.semi_u_mm, v_mm / clear.semi_v_mm, clear=clear)
    inside = cells.label >= 0
    u, v = np.meshgrid(u_mm, v_mm)
    values = phase(u, v)
    area = np.bincount(cells.label[inside]).astype(float)
    return PhaseReading(
        u_mm=u_mm,
        v_mm=v_mm,
        phase_rad=np.where(inside, values, np.nan),
        label=cells.label,
        points=Points(u_mm=cells.x * clear.semi_u_mm, v_mm=cells.y * clear.semi_v_mm, area=area, clear=clear),
        cell_phase_rad=np.bincount(cells.label[inside], values[inside]) / area,
        draws_rad=np.zeros((2, area.size)),
        cell_seen=np.ones(area.size, dtype=bool),
        bands_across=bands_across,
        explained=1.0,
        contrast=0.7,
        seen=1.0,
        flags=(),
    )


@pytest.fixture(scope="session")
def reading_of():
    """The maker of readings with a known phase."""
    return make_reading
