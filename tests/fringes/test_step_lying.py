"""Blocks that lie across the photograph and fill it from left to right: drawn pictures of closed form, read from the platen above and below."""

from dataclasses import replace

import numpy as np
import pytest

from straightband.errors import BadInput, BandsUnreadable
from straightband.fringes import step
from straightband.fringes.step import read_step
from straightband.fringes.step_cells import face_from_corners
from straightband.fringes.step_fit import FaceFit, powers
from straightband.fringes.step_lying import turned, turned_back

WIDTH, HEIGHT = 820, 440
CORNERS = np.array([[30.0, 125.0], [38.0, 325.0], [795.0, 310.0]])  # top-left, bottom-left, bottom-right


def _picture(fraction, *, down=2.0, across=0.1, wedge=(0.0, 0.0), bow=0.0, noise=0.1, above=0, seed=1):
    """Bands of closed form, `down` and `across` of them over half the face, on a block with `wedge` more and `bow` along it; rows cut off `above`."""
    face = face_from_corners(CORNERS)
    x, y = np.meshgrid(np.arange(WIDTH) - face.centre[0], np.arange(HEIGHT) - face.centre[1])
    a, b = np.tensordot(np.linalg.inv(face.axes), np.stack([x, y]), axes=1)
    on_block = (np.abs(a) < 1.0) & (np.abs(b) < 1.0)
    waves = 0.2 + down * b + across * a + np.where(on_block, fraction + wedge[0] * b + wedge[1] * a + bow * a * a, 0.0)
    light = (1.0 - 0.2 * (a + 0.1) ** 2 - 0.1 * b * b) * (1.0 + 0.7 * np.cos(2.0 * np.pi * waves))
    light += noise * np.random.default_rng(seed).normal(size=light.shape)
    return light[above:].astype(np.float32), face_from_corners(CORNERS - [0.0, above])


def _read(light, face):
    return read_step(light, np.zeros(light.shape, dtype=bool), face=face)


def _apart(one, other):
    return (one - other + 0.5) % 1.0 - 0.5


@pytest.mark.parametrize("fraction", [0.03, 0.25, 0.5, 0.8])
@pytest.mark.parametrize(("down", "across"), [(2.0, 0.1), (1.2, -2.5), (3.5, 1.5)], ids=["along the block", "slanting", "many"])
def test_a_lying_block_is_read_from_the_platen_above_and_below(fraction, down, across):
    """Closed form: bands along the block or across it, the fraction counts with the phase increasing down the photograph, as on an upright one."""
    light, face = _picture(fraction, down=down, across=across, wedge=(0.05, -0.1), bow=0.1)
    reading = _read(light, face)
    assert abs(_apart(reading.band_fraction, fraction)) < 0.01  # noise of 10 %; a band miscounted under the block is half a band off
    assert abs(_apart(reading.band_fraction, fraction)) < reading.band_fraction_uncertainty
    assert np.allclose(reading.platen.waves[1:3], [down, across], atol=0.05)  # told down and across the photograph
    assert np.allclose(reading.block.waves[1:3], [down + 0.05, across - 0.1], atol=0.05)
    assert reading.block.waves[5] == pytest.approx(0.1, abs=0.05)  # the bow across; cells average over a twentieth of a band
    assert reading.face == face


def test_upside_down_the_fraction_counts_the_other_way():
    """Closed form of the sign: turned upside down, a lying block reads 1 less its fraction."""
    light, face = _picture(0.3)
    top_left, bottom_left, _, top_right = face.corners
    over = face_from_corners(np.array([0.0, HEIGHT - 1.0]) + np.array([bottom_left, top_left, top_right]) * [1.0, -1.0])
    assert abs(_apart(_read(light[::-1], over).band_fraction, 0.7)) < 0.01  # as above


def test_a_fit_told_in_the_faces_own_frame_is_the_same_surface():
    """Closed form: whatever its six coefficients, a fit has the same phase at the same pixels in either frame."""
    rng = np.random.default_rng(4)
    face, pixels = face_from_corners(CORNERS), np.array([[50.0, 300.0, 700.0], [10.0, 400.0, 200.0]])
    fit = FaceFit(
        waves=rng.normal(size=6), explained=1.0, unexplained=0.0, contrast=0.7, used=1.0, readings=99.0, centre_standard_waves=0.0
    )

    def phase(one, frame):
        across, down = np.linalg.inv(frame.axes) @ (pixels - np.array(frame.centre)[:, None])
        return one.waves @ powers(across, down, order=2)

    assert np.allclose(phase(fit, turned(face)), phase(turned_back(fit), face))


def test_too_little_platen_above_a_lying_block_is_refused():
    """Closed form: where the picture ends with the block's upper edge, there is nothing to read against."""
    light, face = _picture(0.3, above=118)
    with pytest.raises(BadInput, match="platen shows"):
        _read(light, face)


def test_an_upright_block_is_never_read_across():
    """Closed form: a block no wider than high whose platen does not show beside it is refused, though platen shows above and below."""
    light, face = _picture(0.3)
    cut, moved = (
        np.ascontiguousarray(light[:, 330:500]),
        replace(face, centre=(face.centre[0] - 330.0, face.centre[1]), half_across=(84.0, -1.5)),
    )
    with pytest.raises(BadInput, match="platen shows"):
        _read(cut, moved)


def test_a_face_found_by_upright_edges_is_never_read_across():
    """Closed form: the finder knows upright edges only, so where it finds a face without platen beside it, it has found no block."""
    light, face = _picture(0.3)
    with pytest.raises(BadInput, match="platen shows"):
        _read(light, replace(face, standard=0.15))


def test_bands_straight_up_and_down_are_refused():
    """Closed form: it can't be told which way the fraction of such bands counts, on a lying block either."""
    with pytest.raises(BandsUnreadable):
        _read(*_picture(0.3, down=0.3, across=6.0))


def test_a_doubtful_count_under_a_lying_block_is_refused(monkeypatch):
    """Where platen on two sides leaves the fraction open by more than the limit, there is no reading, flagged or not."""
    light, face = _picture(0.3)
    monkeypatch.setattr(step, "WORST_LYING", 0.5 * _read(light, face).band_fraction_uncertainty)
    with pytest.raises(BandsUnreadable, match="two readings"):
        _read(light, face)
