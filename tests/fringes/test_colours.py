"""Hill or hole from the bands of several lamps in one photograph.

Truth: bands computed from known gaps, 1 - V cos(4 pi t / lambda), dark at contact (Born and Wolf, section 7.6), with the colours leaking into each other as in
common sensors (common practice, no source).
"""

import numpy as np
import pytest

from straightband.face.shapes import round_face
from straightband.fringes.colours import Colour, gap_sense_from_colours
from straightband.fringes.reading import PhaseReading
from straightband.heightmap.figures import Points
from straightband.light.bands import led_contrast

FACE = round_face(diameter_mm=100.0)
LAMPS = ((630.0, 20.0), (525.0, 35.0), (465.0, 25.0))
LEAKS = np.array([[1.0, 0.06, 0.03], [0.09, 1.0, 0.31], [0.02, 0.25, 1.0]])  # [channel, lamp]


def _cells():
    axis = np.linspace(-50.0, 50.0, 61)
    u, v = (each.ravel() for each in np.meshgrid(axis, axis))
    inside = FACE.contains(u, v)
    return u[inside], v[inside]


U, V = _cells()


def seen(gap_nm, *, sense=1, off_nm=(0.0, 0.0, 0.0), leaks=LEAKS, noise=0.005, rng):
    """Phase of the first colour as a reader gives it, and the light of all three; `off_nm` is what the lamps are off their labels."""
    lit = []
    for (label, fwhm), off in zip(LAMPS, off_nm, strict=True):
        contrast = [0.7 * led_contrast(gap_um=t / 1000.0, wavelength_nm=label, fwhm_nm=fwhm) for t in gap_nm]
        lit.append((1.0 + 0.002 * U) * (1.0 - np.array(contrast) * np.cos(4.0 * np.pi * gap_nm / (label + off))))
    lights = leaks @ np.stack(lit) + noise * rng.standard_normal((3, U.size))
    turns = 2.0 * np.pi * int(rng.integers(-4, 5))
    phase = sense * (4.0 * np.pi * gap_nm / (LAMPS[0][0] + off_nm[0]) + np.pi) + turns
    reading = PhaseReading(
        u_mm=np.zeros(2),
        v_mm=np.zeros(2),
        phase_rad=np.zeros((2, 2)),
        label=np.zeros((2, 2), dtype=int),
        points=Points(u_mm=U, v_mm=V, area=np.ones_like(U), clear=FACE),
        cell_phase_rad=phase,
        draws_rad=np.zeros((1, U.size)),
        cell_seen=np.ones(U.size, dtype=bool),
        bands_across=float(np.ptp(phase)) / (2.0 * np.pi),
        explained=1.0,
        contrast=0.7,
        seen=1.0,
        flags=(),
    )
    return reading, [Colour(light=light, wavelength_nm=label) for light, (label, _) in zip(lights, LAMPS, strict=True)]


def wedge(least_nm, bands, *, bow=0.3):
    """A gap from `least_nm` up that opens toward +u by so many red bands, with some bow."""
    shape = U / 100.0 + 0.5
    gap = 315.0 * (bands * shape + bow * (V / 50.0) ** 2)
    return gap - gap.min() + least_nm


@pytest.mark.parametrize("sense", [1, -1])
def test_sign_and_gap_come_out(sense):
    """A wedge of six bands from 0.8 um up: the sense of the phase and the gap itself, to a fiftieth of a band."""
    gap = wedge(800.0, 6.0)
    phase, lights = seen(gap, sense=sense, rng=np.random.default_rng(1))
    found = gap_sense_from_colours(phase, lights[0], others=lights[1:])
    assert found.sense == sense
    assert found.gap_um == pytest.approx((gap.min() / 1000.0, gap.max() / 1000.0), abs=0.006)


def test_never_the_wrong_sign():
    """Forty wedges of 4 to 9 bands from 0.3 to 1.5 um, lamps up to 5 nm off their labels, colours leaking: never the wrong sign, and seldom none."""
    rng = np.random.default_rng(7)
    found = []
    for _ in range(40):
        sense = int(rng.choice([1, -1]))
        gap = wedge(float(rng.uniform(300.0, 1500.0)), float(rng.uniform(4.0, 9.0)), bow=float(rng.uniform(-0.5, 0.5)))
        off = tuple(float(each) for each in rng.uniform(-5.0, 5.0, 3))
        phase, lights = seen(gap, sense=sense, off_nm=off, rng=rng)
        found.append(sense * gap_sense_from_colours(phase, lights[0], others=lights[1:]).sense)
    assert min(found) >= 0
    assert sum(found) >= 28


def test_bands_far_from_contact_leave_it_open():
    """Beyond twelve bands from contact nothing is said, rather than a coincidence taken for the truth."""
    phase, lights = seen(wedge(6000.0, 5.0), rng=np.random.default_rng(3))
    assert gap_sense_from_colours(phase, lights[0], others=lights[1:]).sense == 0


def test_noise_instead_of_a_colour_leaves_it_open():
    """A lamp that was off fills its channel with noise: nothing is said."""
    rng = np.random.default_rng(4)
    phase, lights = seen(wedge(800.0, 6.0), rng=rng)
    off = [Colour(light=rng.standard_normal(U.size), wavelength_nm=each.wavelength_nm) for each in lights[1:]]
    assert gap_sense_from_colours(phase, lights[0], others=off).sense == 0


def test_two_lamps_say_nothing():
    """With red and green only, coincidences come every five bands: nothing is said of the sign, however well they fit."""
    phase, lights = seen(wedge(800.0, 6.0), rng=np.random.default_rng(12))
    assert gap_sense_from_colours(phase, lights[0], others=lights[1:2]).sense == 0


def test_a_poor_fit_of_whole_bands_says_nothing():
    """A lamp 15 nm off its label and far from contact, where whole bands are missed by more than reading errors allow: rather nothing than a guess."""
    rng = np.random.default_rng(13)
    found = []
    for _ in range(20):
        sense = int(rng.choice([1, -1]))
        gap = wedge(float(rng.uniform(1200.0, 2200.0)), float(rng.uniform(3.0, 8.0)))
        phase, lights = seen(gap, sense=sense, off_nm=tuple(float(each) for each in rng.uniform(-15.0, 15.0, 3)), noise=0.02, rng=rng)
        found.append(sense * gap_sense_from_colours(phase, lights[0], others=lights[1:]).sense)
    assert min(found) >= 0
