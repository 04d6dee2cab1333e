"""From a square-on picture to its phase: the golden face first, then pictures that must be refused."""

import math
import re

import numpy as np
import pytest
from scipy import ndimage

from straightband.errors import BandsUnreadable
from straightband.face.shapes import ellipse, round_face
from straightband.fringes.reading import DRAWS, read_phase
from straightband.synthetic.golden import TERMS_NM

FACE = ellipse(minor_mm=90.0)


def plain_wedge(bands):
    return lambda u, v: 2.0 * math.pi * bands * (0.3 * u / 90.0 + 0.95 * v / 127.3)


@pytest.fixture(scope="module")
def reading(golden):
    """The golden photograph, 100000 pixels on the face, noise of 0.02, read without any margin."""
    return read_phase(golden.picture(seed=1, pixels=100_000), clear=golden.face)


def test_the_golden_face_is_read_term_by_term(golden, reading):
    """END-1/END-2: every ellipse term (Mahajan and Dai 2007) comes back within 0.1 nm, E4 with its sign, the thick side at +x."""
    _, v = np.meshgrid(reading.u_mm, reading.v_mm)
    inside = np.isfinite(reading.phase_rad)
    slope = np.polyfit(v[inside], reading.phase_rad[inside], 1)[0]
    terms = golden.terms_nm(reading, sense=1.0 if slope > 0.0 else -1.0)
    wanted = np.zeros(15)
    wanted[[j - 1 for j in TERMS_NM]] = list(TERMS_NM.values())
    assert terms[3:] == pytest.approx(wanted[3:], abs=0.1)  # Rife and Boorstyn's bound is 0.011 nm; bias of blocks and priors gets the rest
    assert terms[3] > 0.0


def test_the_golden_bands_are_counted(reading):
    """END-2: between the highest and the lowest point of the gap on the face lie 6.75 bands, from the closed form on a fine grid."""
    assert reading.bands_across == pytest.approx(6.74, abs=0.03)  # noise at the two extreme pixels
    assert reading.contrast == pytest.approx(0.7, rel=0.01)  # the definition: swing 0.35 on 0.5
    assert reading.explained == pytest.approx(1.0 - 0.02**2 / (0.35**2 / 2.0), abs=2e-3)  # noise over signal; 100000 pixels
    assert reading.flags == ()
    assert reading.seen == 1.0


def test_a_reading_hangs_together(golden, reading):
    """Grids, cells and draws belong to one another: same axes, same cells, phase of a cell the mean over its pixels, mean draw zero."""
    picture = golden.picture(seed=1, pixels=100_000)
    assert reading.phase_rad.shape == reading.label.shape == (reading.v_mm.size, reading.u_mm.size) == picture.light.shape
    inside = reading.label >= 0
    assert np.array_equal(inside, np.isfinite(reading.phase_rad))
    assert reading.points.area.sum() == inside.sum()
    number = 777
    assert reading.cell_phase_rad[number] == pytest.approx(reading.phase_rad[reading.label == number].mean(), abs=1e-6)  # single precision
    assert reading.draws_rad.shape == (DRAWS, reading.points.area.size)
    standard = reading.draws_rad.std(axis=0)
    assert np.abs(reading.draws_rad.mean(axis=0) / standard).max() < 5.0 / math.sqrt(DRAWS)  # largest of thousands of normal means


def test_the_same_picture_is_read_the_same(golden):
    """Nothing is left to chance: phase and draws agree to the last bit."""
    one, two = (read_phase(golden.picture(seed=4, pixels=6000), clear=golden.face) for _ in range(2))
    assert np.array_equal(one.phase_rad, two.phase_rad, equal_nan=True)
    assert np.array_equal(one.draws_rad, two.draws_rad)


def test_only_the_clear_aperture_is_read(picture_of):
    """What lies in the margin, a bevel as bright as can be, has no say, and the grid ends at the clear aperture."""
    clear = FACE.clear_aperture(0.1)
    picture = picture_of(FACE, plain_wedge(8.0), samples=96, light=lambda u, v: np.where(clear.contains(u, v), 0.5, 3.0))
    reading = read_phase(picture, clear=clear)
    assert np.abs(reading.u_mm).max() <= clear.semi_u_mm
    off = read_off(reading, plain_wedge(8.0))
    assert off < 0.05  # rad: noise through all terms is 0.01; no bevel can hide in it


def read_off(reading, phase):
    u, v = np.meshgrid(reading.u_mm, reading.v_mm)
    inside = np.isfinite(reading.phase_rad)
    truth, found = phase(u, v)[inside], reading.phase_rad[inside]
    return min(np.std(found - truth), np.std(found + truth))


def refusal(picture, clear=FACE):
    with pytest.raises(BandsUnreadable) as caught:
        read_phase(picture, clear=clear)
    return str(caught.value)


NO_BANDS = (
    "no bands were made out on the face (the best try explains {} % of what is seen); "
    "dark and bright bands must show clearly over the whole face; check lamp, focus and contact, and take the photograph again."
)


def test_a_blank_face_is_refused(picture_of):
    """A plain disc with noise: no bands, in one sentence."""
    sentence = refusal(picture_of(FACE, lambda u, _v: 0.0 * u, contrast=0.0))
    share = sentence.partition("explains ")[2].partition(" %")[0]
    assert sentence == NO_BANDS.format(share)
    assert int(share) < 50


@pytest.mark.parametrize("grain_px", [1.5, 3.0])
def test_texture_is_refused(picture_of, grain_px):
    """Marble or cloth: blotches with nothing that runs through them are no bands."""

    def blotches(u, _v):
        made = ndimage.gaussian_filter(np.random.default_rng(5).standard_normal(u.shape), grain_px)
        return made / made.std()

    picture = picture_of(FACE, lambda u, _v: 0.0 * u, contrast=lambda u, v: 0.3 * blotches(u, v))
    sentence = refusal(picture)
    assert sentence == NO_BANDS.format(sentence.partition("explains ")[2].partition(" %")[0])


@pytest.mark.parametrize("offset", [0.3, 2.0])
def test_less_than_one_band_is_refused(picture_of, offset):
    """Four fifths of a band can't be told from uneven light: refused as too few bands or as none, each with what to do about it."""
    picture = picture_of(FACE, lambda u, v: plain_wedge(0.8)(u, v) + offset, noise=0.005)
    few = (
        r"only 0\.\d of a band shows on the face; at least two bands are needed to tell height from contrast; "
        r"put a paper shim under one side so that 4 to 12 bands show\."
    )
    assert re.fullmatch(rf"{few}|{re.escape(NO_BANDS.format('@')).replace('@', r'[0-9]+')}", refusal(picture))


@pytest.mark.parametrize("offset", [0.0, 2.0])
def test_two_bands_and_a_bit_are_read_with_their_true_doubt(picture_of, offset):
    """Where height and contrast can hardly be told apart the map is still within 3 nm rms, and within three of its own standard uncertainties."""
    reading = read_phase(picture_of(FACE, lambda u, v: plain_wedge(2.4)(u, v) + offset, noise=0.01), clear=FACE)
    off_nm = 43.456 * read_off(reading, plain_wedge(2.4))
    assert off_nm < 3.0  # the goal for a map
    standard_nm = 43.456 * np.sqrt(np.mean(reading.draws_rad.var(axis=0)))
    assert (
        off_nm < 3.0 * standard_nm
    )  # rms against rms over the whole face: a few terms carry it, so it scatters like a chi of few freedoms


def test_an_overexposed_face_is_refused(picture_of):
    """With seven tenths of the face white nothing is guessed about the rest."""
    picture = picture_of(FACE, plain_wedge(8.0))
    u, _ = np.meshgrid(picture.u_mm, picture.v_mm)
    white = type(picture)(**{**{name: getattr(picture, name) for name in picture.__slots__}, "missing": picture.missing | (u > -20.0)})
    hidden = np.mean(u[~picture.missing] > -20.0)
    assert refusal(white) == (
        f"{100.0 * hidden:.0f} % of the face is overexposed or hidden; most of it must show bands; "
        "lower the exposure until no part is white, and take it again."
    )


def test_part_of_the_face_hidden_is_flagged(picture_of):
    """A tenth of the face missing is filled in from its surroundings, and the reading says so and is less sure there."""
    picture = picture_of(FACE, plain_wedge(8.0))
    u, v = np.meshgrid(picture.u_mm, picture.v_mm)
    hole = np.hypot(u - 10.0, v) < 17.0
    missing = picture.missing | hole
    reading = read_phase(type(picture)(**{**{name: getattr(picture, name) for name in picture.__slots__}, "missing": missing}), clear=FACE)
    assert "part-of-the-face-not-seen" in reading.flags
    assert reading.seen == pytest.approx(1.0 - np.mean(hole[~picture.missing]), abs=1e-9)  # a count
    assert read_off(reading, plain_wedge(8.0)) < 0.1  # rad
    spread = reading.draws_rad.std(axis=0)
    at_hole = np.hypot(reading.points.u_mm - 10.0, reading.points.v_mm) < 10.0
    assert spread[at_hole].mean() > 1.05 * np.median(spread)  # not much more: a face that is smooth elsewhere is taken to be smooth there


def test_few_bands_are_flagged(picture_of):
    """A band and a half is read with a doubt, eight bands without."""
    few = read_phase(picture_of(FACE, lambda u, v: plain_wedge(1.6)(u, v) + 1.0, noise=0.005), clear=FACE)
    assert "few-bands" in few.flags
    assert read_phase(picture_of(FACE, plain_wedge(8.0)), clear=FACE).flags == ()


@pytest.mark.parametrize("bands", [2.0, 2.3, 2.6, 3.0])
@pytest.mark.parametrize("piston", [0.4, 1.2, 2.4, 2.8])
def test_a_few_bands_are_told_from_shadows_wherever_they_lie(picture_of, bands, piston):
    """Two to three bands can be mended into less than one by uneven light; the reading that needs no such light is taken, right to 3 %."""
    found = read_phase(picture_of(FACE, lambda u, v: plain_wedge(bands)(u, v) + piston, noise=0.005), clear=FACE)
    assert found.bands_across == pytest.approx(bands, rel=0.03)  # light and height stay hard to tell apart at so few


def test_much_dust_is_flagged(picture_of):
    """With an eighth of the face under dust and glare the reading stands, with a doubt."""
    face = round_face(diameter_mm=80.0)
    picture = picture_of(face, lambda u, v: 2.0 * math.pi * (6.0 * u + 2.0 * v) / 80.0, samples=128, noise=0.01)
    light = picture.light.copy()
    rows, columns = np.indices(light.shape)
    for k, (row, column) in enumerate(np.random.default_rng(3).uniform(0.05, 0.95, (150, 2)) * 128):
        light[np.hypot(rows - row, columns - column) < 2.2] += 0.4 if k % 2 else -0.4
    dusty = type(picture)(**{**{name: getattr(picture, name) for name in picture.__slots__}, "light": light})
    assert "much-dust-or-glare" in read_phase(dusty, clear=face).flags
