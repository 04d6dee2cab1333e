"""Which of several fits is believed, against cases whose answer is plain."""

import math
from dataclasses import replace

import numpy as np
import pytest

from straightband.errors import BandsUnreadable
from straightband.face.polynomials import noll_count
from straightband.face.shapes import round_face
from straightband.fringes.frame import PHASE_ORDER, make_frame
from straightband.fringes.grow import expected_size_rad
from straightband.fringes.local import Grown, fit_local
from straightband.fringes.odds import likeliest, only_one
from straightband.fringes.reading import read_phase

FACE = round_face(diameter_mm=80.0)
BANDS = 9.0


def wedge(u, v):
    return 2.0 * math.pi * BANDS * (u + 0.3 * v) / 80.0


@pytest.fixture(scope="module")
def fit(picture_of):
    """The fit of nine plain bands from their own phase."""
    picture = picture_of(FACE, wedge, noise=0.01)
    frame = make_frame(clear=FACE, x=picture.u_mm / 40.0, y=picture.v_mm / 40.0)
    u, v = (grid[frame.inside] for grid in np.meshgrid(picture.u_mm, picture.v_mm))
    grown = Grown(light=np.array([0.5]), modulation=0.35, phase_rad=np.zeros(noll_count(PHASE_ORDER)))
    everywhere = np.ones(u.size, dtype=bool)
    start, prior = wedge(u, v), expected_size_rad(PHASE_ORDER)
    return fit_local(picture.light[frame.inside].astype(float), everywhere, frame=frame, start_rad=start, prior_rad=prior, grown=grown)


def folded(fit, *, residual, weight):
    """Another fit whose phase turns back in the middle of the face, with what is said to be left over and how the pixels are trusted."""
    phase = np.abs(fit.fields.phase_rad)
    return replace(fit, fields=replace(fit.fields, phase_rad=phase), residual=residual, weight=weight)


def test_a_fit_that_sets_aside_what_it_cannot_explain_is_not_believed_for_it(fit):
    """It leaves a thirtieth less over where it trusts the picture, and has given half of the face up for it: the fit of the whole face leads."""
    half = fit.fields.phase_rad > 0.0
    noise = np.random.default_rng(1).standard_normal(half.size)
    honest = replace(fit, residual=0.01 * noise, weight=np.ones(half.size), noise=0.01)
    shy = folded(honest, residual=np.where(half, 0.0097, 0.3) * noise, weight=half.astype(float))
    shy = replace(shy, noise=0.0097, log_odds=honest.log_odds + 100.0)
    assert only_one([shy, honest]) is honest
    assert likeliest([shy, honest]) == [honest, shy]


def test_where_both_trust_the_picture_what_is_left_over_decides(fit):
    """Nine tenths of the noise over all of the face is worth more than any prior of a hundred."""
    noise = np.random.default_rng(2).standard_normal(fit.residual.size)
    one = replace(fit, residual=0.01 * noise, weight=np.ones(noise.size), noise=0.01)
    better = folded(one, residual=0.009 * noise, weight=np.ones(noise.size))
    assert only_one([one, better]) is better


def test_two_surfaces_as_likely_as_each_other_are_refused(fit):
    """The same left over from two phases: no reading."""
    twin = folded(fit, residual=fit.residual, weight=fit.weight)
    with pytest.raises(BandsUnreadable, match="two different surfaces"):
        only_one([fit, twin])


def test_two_tries_at_one_surface_are_no_doubt(fit):
    """The same left over from the same phase is one reading."""
    assert only_one([fit, replace(fit, noise=fit.noise)]).fields is fit.fields


@pytest.mark.parametrize(("brightness", "reach_mm"), [(1.0, 12.0), (1.5, 9.0), (1.0, 7.0)])
def test_bands_are_read_under_a_lamps_image(picture_of, brightness, reach_mm):
    """Light several times as strong as the bands' own, which fills the sensor in the middle, laid over a part of seven bands: read to a hundredth of a band.

    When a light that bends was held against every phase, the first two were refused and read 0.08 bands wrong.
    """

    def lamp(u, v):
        return 0.3 + brightness * np.exp(-0.5 * ((u + 14.0) ** 2 + (v + 12.0) ** 2) / reach_mm**2)

    def phase(u, v):
        return 2.0 * math.pi * 7.0 * (u + 0.3 * v) / 80.0 + (u * u - v * v) / 1600.0

    picture = picture_of(FACE, phase, noise=0.004, light=lamp, contrast=lambda u, v: 0.22 / lamp(u, v), samples=200)
    full = picture.light > 0.95
    seen = replace(picture, light=np.where(full, np.float32(0.95), picture.light), missing=picture.missing | full)
    reading = read_phase(seen, clear=FACE)
    u, v = np.meshgrid(reading.u_mm, reading.v_mm)
    on_face = np.isfinite(reading.phase_rad)
    off = min(float(np.std((sign * reading.phase_rad - phase(u, v))[on_face])) for sign in (1.0, -1.0))
    assert off / (2.0 * math.pi) < 0.01
