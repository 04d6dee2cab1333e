"""The same bands read a second way that shares nothing with the program: a Fourier carrier, unwrapped, and polynomials by least squares."""

import math

import numpy as np
import pytest
from skimage.restoration import unwrap_phase

from straightband.face.polynomials import face_polynomials
from straightband.face.shapes import round_face
from straightband.fringes.reading import read_phase

FACE = round_face(diameter_mm=80.0)
NM_PER_RAD = 43.456


def phase(u, v):
    """Ten bands of wedge, power of half a band and a little coma."""
    x, y = u / 40.0, v / 40.0
    r2 = x * x + y * y
    return 2.0 * math.pi * (4.8 * x + 1.4 * y + 0.45 * r2 + 0.08 * (3.0 * r2 - 2.0) * y)


def carrier_phase(picture):
    """One order of the Fourier transform cut out, back-transformed and unwrapped: M. Takeda et al., J. Opt. Soc. Am. 72, 156 (1982)."""
    inside = ~picture.missing
    bands = np.where(inside, picture.light - picture.light[inside].mean(), 0.0)
    spectrum = np.fft.fftshift(np.fft.fft2(bands))
    rows, columns = bands.shape
    fy, fx = np.meshgrid(np.arange(rows) - rows // 2, np.arange(columns) - columns // 2, indexing="ij")
    half = np.where(fx > 0, np.abs(spectrum), 0.0)
    peak_y, peak_x = np.unravel_index(np.argmax(half), half.shape)
    window = np.exp(-(((fy - fy[peak_y, peak_x]) / 2.6) ** 2 + ((fx - fx[peak_y, peak_x]) / 2.6) ** 2))
    field = np.fft.ifft2(np.fft.ifftshift(spectrum * window))
    return np.asarray(unwrap_phase(np.ma.array(np.angle(field), mask=picture.missing), rng=0).filled(np.nan))


def low_orders(values, picture, *, within):
    """Coefficients beyond the tilts, up to the third order, over a smaller disc: the transform rings at the outline."""
    u, v = np.meshgrid(picture.u_mm, picture.v_mm)
    kept = (np.hypot(u, v) <= within) & np.isfinite(values)
    basis = face_polynomials(u[kept], v[kept], face=round_face(diameter_mm=2.0 * within), order=6)
    return np.linalg.lstsq(basis.T, values[kept], rcond=None)[0][3:10]


def test_ten_bands_agree_with_a_fourier_carrier(picture_of):
    """Takeda's method with another library's unwrapping gives the same low orders within 1 nm on a picture of ten bands."""
    picture = picture_of(FACE, phase, samples=256, noise=0.01)
    reading = read_phase(picture, clear=FACE)
    ours = low_orders(reading.phase_rad, picture, within=28.0)
    theirs = low_orders(carrier_phase(picture), picture, within=28.0)
    ours *= math.copysign(1.0, float(ours @ theirs))
    assert ours * NM_PER_RAD == pytest.approx(theirs * NM_PER_RAD, abs=1.0)  # what the cut in the spectrum costs the carrier method
    assert np.abs(ours).max() * NM_PER_RAD > 10.0  # there is a figure to agree on
