"""A camera that stands near: what is taken back of it and what is not, against the closed form of a film seen obliquely."""

import math
from dataclasses import replace

import numpy as np
import pytest

from straightband.face.shapes import round_face
from straightband.fringes import near
from straightband.light.bands import false_sag_nm, height_per_band_nm

NM_PER_RAD = 43.0
CAMERA = near.Camera(
    distance_mm=700.0, distance_origin="at 700 mm as told", distance_known=True, distortion_share=0.01, size_px=(4000, 3000)
)
ASSUMED = replace(CAMERA, distance_origin="assumed no nearer than 700 mm", distance_known=False)
CLEAR = round_face(diameter_mm=200.0)


@pytest.fixture(scope="module")
def reading(reading_of):
    """A wedge of 16 bands under a round face of 200 mm."""
    return reading_of(CLEAR, lambda u, _v: 0.1 * u, samples=64, bands_across=16.0)


@pytest.mark.parametrize("sense", [1, -1])
def test_a_gap_seen_from_nearby_is_given_back(sense):
    """A gap t seen from L shows 2 t cos(theta), tan(theta) = r / L: a wedge whose least gap colours have told is read as the wedge it is."""
    u, v = np.meshgrid(np.linspace(-100.0, 100.0, 41), np.linspace(-80.0, 80.0, 33))
    true = 20.0 * (u + 100.0) + 5.0 * (v + 80.0)
    shown = true * np.cos(np.arctan(np.hypot(u, v) / CAMERA.distance_mm))
    phase = sense * shown / NM_PER_RAD + 3.0  # which order a band has is not known
    told = replace(CAMERA, least_gap_nm=0.0)
    found = near.gap_nm(phase, u_mm=u, v_mm=v, depth=1.0, camera=told, nm_per_rad=NM_PER_RAD, sense=sense)
    assert found == pytest.approx(true, abs=1e-9 * true.max())  # rounding
    assert np.abs(sense * NM_PER_RAD * (phase - 3.0) - true).max() > 40.0  # what was taken off: 5 um at 100 mm from 700 mm


@pytest.mark.parametrize("tilt_deg", [4.0, 12.0])
def test_a_wedge_seen_from_nearby_and_the_side_is_given_back(tilt_deg):
    """By vectors: a camera 800 mm off along a tilted axis sees a point of the face under the cosine of height over distance, and at a depth along its axis."""
    u, v = np.meshgrid(np.linspace(-30.0, 30.0, 31), np.linspace(-46.0, 46.0, 47))
    tilt, distance = math.radians(tilt_deg), 800.0
    camera = distance * np.array([math.sin(tilt) * 0.6, math.sin(tilt) * 0.8, math.cos(tilt)])
    away = np.stack([u, v, 0.0 * u], axis=-1) - camera
    cosine, depth = camera[2] / np.linalg.norm(away, axis=-1), away @ -camera / distance**2
    true = 60.0 * (u + 30.0) + 50.0 * (v + 46.0)
    told = replace(CAMERA, distance_mm=distance, least_gap_nm=0.0)

    def read(depth):
        phase, per_rad = true * cosine / NM_PER_RAD, NM_PER_RAD / math.cos(tilt)
        return near.gap_nm(phase, u_mm=u, v_mm=v, depth=depth, camera=told, nm_per_rad=per_rad, sense=1) - true

    assert np.abs(read(depth)).max() < 0.6  # nm of 8200: terms of the fourth order
    assert np.ptp(read(1.0)) > 20.0 * tilt_deg / 4.0


@pytest.mark.parametrize(
    ("gap_um", "radius_mm", "camera_mm", "false_nm"),
    [(5.0, 100.0, 1000.0, 24.81404895), (5.0, 100.0, 2000.0, 6.238305611), (20.0, 75.0, 600.0, 154.4424657)],
)
def test_the_false_sag_of_a_uniform_gap_is_taken_back(gap_um, radius_mm, camera_mm, false_nm):
    """By t (1 - cos atan(r / L)) an even gap reads too small at the rim by the figures given; once colours told the gap, nothing of it is left."""
    assert false_sag_nm(gap_um=gap_um, radius_mm=radius_mm, camera_mm=camera_mm) == pytest.approx(false_nm, rel=1e-6)  # figures given
    radius = np.array([[0.0, radius_mm]])
    shown = 1000.0 * gap_um * np.cos(np.arctan(radius / camera_mm)) / NM_PER_RAD
    told = replace(CAMERA, distance_mm=camera_mm, least_gap_nm=1000.0 * gap_um - false_nm)  # as the bands at the rim show it
    found = near.gap_nm(shown, u_mm=radius, v_mm=0.0 * radius, depth=1.0, camera=told, nm_per_rad=NM_PER_RAD, sense=1)
    assert np.ptp(found) == pytest.approx(0.0, abs=1e-6 * false_nm)


@pytest.mark.parametrize(("degrees", "nm"), [(5.0, 274.079957), (15.0, 282.6687025), (30.0, 315.2759709), (45.0, 386.1326284)])
def test_a_band_seen_obliquely_is_worth_more(degrees, nm):
    """A band at lambda / (2 cos theta) in mercury's green line, and a gap of one such band is read as one at the radius seen at that angle."""
    angle = math.radians(degrees)
    assert height_per_band_nm(wavelength_nm=546.074, incidence_rad=angle) == pytest.approx(nm, rel=1e-8)  # figures given
    u = np.array([[0.0, CAMERA.distance_mm * math.tan(angle)]])
    phase = np.array([[0.0, 2.0 * math.pi]])  # a whole band more at the rim than in the middle, where the plates touch
    told = replace(CAMERA, least_gap_nm=0.0)
    found = near.gap_nm(phase, u_mm=u, v_mm=0.0 * u, depth=1.0, camera=told, nm_per_rad=546.074 / (4.0 * math.pi), sense=1)
    assert found[0, 1] == pytest.approx(nm, rel=1e-8)  # figures given


def test_nearness_that_is_only_assumed_takes_nothing_back(reading):
    """A distance that is only assumed corrects nothing, and the gap times all of 1 / (2 L^2), L the nearest, is in doubt."""
    u = np.linspace(-100.0, 100.0, 21)[None, :]
    found = near.gap_nm(u, u_mm=u, v_mm=0.0 * u, depth=1.0, camera=ASSUMED, nm_per_rad=NM_PER_RAD, sense=1)
    assert found - found[0, 0] == pytest.approx(NM_PER_RAD * (u + 100.0), rel=1e-12)  # one formula
    parabola = (reading.points.u_mm**2 + reading.points.v_mm**2) / (2.0 * 700.0**2)
    least, spread = near._least_gap_nm(ASSUMED)
    modes = near.near_camera(reading, camera=ASSUMED, nm_per_rad=10.0, sense=1).modes_nm
    assert modes[0] == pytest.approx((least + 10.0 * (reading.cell_phase_rad - reading.cell_phase_rad.min())) * parabola, rel=1e-9)
    assert modes[1] == pytest.approx(spread / 1.959964 * parabola, rel=1e-9)  # one formula


def test_the_nearness_that_makes_keystone_is_that_of_distances_possible():
    """Root mean square of 1 / L over 100 000 distances whose logarithm is uniform between 7 and 20 lengths of the face."""
    drawn = np.exp(-np.random.default_rng(0).uniform(math.log(700.0), math.log(2000.0), 100_000))
    assert near.rms_nearness(ASSUMED) == pytest.approx(np.sqrt(np.mean(drawn**2)), rel=0.01)  # 3 standard deviations of the drawn
    assert near.rms_nearness(CAMERA) == pytest.approx(1.0 / 700.0)


def test_the_least_gap_is_half_of_a_normal_distribution(reading):
    """Mean and 95 % of what stays unknown are those of 100 000 drawn gaps whose 95 % limit is 3 um, times t r^2 / (2 L^2)."""
    drawn = 3000.0 / 1.959964 * np.abs(np.random.default_rng(1).standard_normal(100_000))
    mean, expanded = near._least_gap_nm(CAMERA)
    assert np.mean(drawn <= 3000.0) == pytest.approx(0.95, abs=0.003)
    assert (mean, expanded) == (pytest.approx(drawn.mean(), rel=0.01), pytest.approx(1.959964 * drawn.std(), rel=0.01))
    assert np.mean(np.abs(drawn - mean) <= expanded) == pytest.approx(0.95, abs=0.01)
    parabola = (reading.points.u_mm**2 + reading.points.v_mm**2) / (2.0 * CAMERA.distance_mm**2)
    for sense in (1, -1):
        gap = near.near_camera(reading, camera=CAMERA, nm_per_rad=10.0, sense=sense).modes_nm[1]
        assert gap == pytest.approx(expanded * parabola, rel=0.002)  # the distance is known to 5 %, a square beside it


def test_what_is_not_known_of_the_distance_counts_the_whole_gap(reading):
    """A distance told to 5 % leaves a tenth of t r^2 / (2 L^2), t counted from the least gap expected, on the side where the plates are nearest."""
    parabola = (reading.points.u_mm**2 + reading.points.v_mm**2) / (2.0 * CAMERA.distance_mm**2)
    cause = near.near_camera(reading, camera=CAMERA, nm_per_rad=10.0, sense=-1)
    gap = near._least_gap_nm(CAMERA)[0] + 10.0 * (reading.cell_phase_rad.max() - reading.cell_phase_rad)
    assert cause.modes_nm[0] == pytest.approx(0.1 * gap * parabola, rel=1e-9)  # one formula
    assert (cause.name, cause.origin) == ("near camera", "least gap up to 3 um, camera at 700 mm as told")


def test_colours_leave_next_to_nothing_of_the_least_gap(reading):
    """A least gap told by three colours is known to a tenth of a micrometre, and the origin says so."""
    cause = near.near_camera(reading, camera=replace(CAMERA, least_gap_nm=1840.0), nm_per_rad=10.0, sense=1)
    untold = near.near_camera(reading, camera=CAMERA, nm_per_rad=10.0, sense=1)
    assert np.abs(cause.modes_nm[1]).max() < 0.06 * np.abs(untold.modes_nm[1]).max()
    assert cause.origin == "least gap 1.84 um by the colours, camera at 700 mm as told"


def test_an_unknown_sign_leaves_the_gap_in_the_middle(reading):
    """Where the smallest gap can't be told from the largest, the change is corrected about the middle, whose gap up to its limit stays as doubt."""
    half = 5.0 * np.ptp(reading.cell_phase_rad)
    parabola = (reading.points.u_mm**2 + reading.points.v_mm**2) / (2.0 * CAMERA.distance_mm**2)
    cause = near.near_camera(reading, camera=CAMERA, nm_per_rad=10.0, sense=0)
    assert cause.modes_nm[1] == pytest.approx((3000.0 + half) * parabola, rel=0.006)  # a tenth for the distance, a square beside it
    phase, u = np.linspace(-5.0, 5.0, 11)[None, :], np.linspace(-100.0, 100.0, 11)[None, :]
    found = near.gap_nm(phase, u_mm=u, v_mm=0.0 * u, depth=1.0, camera=CAMERA, nm_per_rad=NM_PER_RAD, sense=0)
    assert found == pytest.approx(NM_PER_RAD * phase * np.hypot(1.0, u / 700.0), rel=1e-12)  # one formula
