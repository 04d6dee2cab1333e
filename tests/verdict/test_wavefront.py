"""Wavefront of a star by way of a mirror at 45 degrees, against closed forms of the filled footprint.

Sources: path saved by a reflector raised along its normal, 2 h cos(theta), derived; the golden surface is 25, 6, +-10, 4 and 7 nm rms of the
orthonormal ellipse polynomials E4, E5, E6, E8 and E11 (V. N. Mahajan, G.-m. Dai, J. Opt. Soc. Am. A 24, 2994, 2007), and its figures at 45 degrees
were computed by another program from W(X, Y) = sqrt(2) h(X, b Y) on the unit disc.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from straightband.face.polynomials import circle_polynomials, ellipse_polynomials
from straightband.face.shapes import ellipse
from straightband.heightmap.map import HeightMap
from straightband.telescope.light_cone import footprint, pupil_points
from straightband.telescope.telescope import Telescope
from straightband.verdict.strehl import exponential_strehl, refocused
from straightband.verdict.wavefront import continued, continued_heights, wavefront_nm

SLOW = Telescope(aperture_mm=100, focal_length_mm=1e8, intercept_mm=6e7)  # parallel light that fills a 60 mm diagonal
FACE = ellipse(minor_mm=60)
PUPIL = pupil_points(rings=24, spokes=64)
RAYS = footprint(SLOW, pupil=PUPIL)
# X of the beam lies along the tilt, which is v of the face.
NOLL = circle_polynomials(PUPIL.y, PUPIL.x, order=4)


def golden(u, v, *, e6=10.0):
    e = ellipse_polynomials(v / FACE.semi_major_mm, u / FACE.semi_major_mm, aspect=1 / math.sqrt(2))
    return 25 * e[3] + 6 * e[4] + e6 * e[5] + 4 * e[7] + 7 * e[10]


def sphere_less(u, v, *, e6=10.0):
    e = ellipse_polynomials(v / FACE.semi_major_mm, u / FACE.semi_major_mm, aspect=1 / math.sqrt(2))
    return golden(u, v, e6=e6) - 25 * e[3]


def map_of(height, *, cols=181, face=FACE):
    rows = round(cols * face.semi_v_mm / face.semi_u_mm)
    u, v = (s * (2 * np.arange(n) + 1 - n) / n for s, n in ((face.semi_u_mm, cols), (face.semi_v_mm, rows)))
    uu, vv = np.meshgrid(u, v)
    heights = np.where(face.contains(uu, vv), height(uu, vv), np.nan)
    return HeightMap(heights_nm=heights, u_mm=u, v_mm=v, uncertainty_nm=np.ones_like(heights), face=face, clear_margin=0.0)


def seen(height_map, rays=RAYS):
    grid = continued(height_map)
    return wavefront_nm(grid.heights_nm, grid=grid, rays=rays)


def rms(wave):
    return math.sqrt(wave**2 @ PUPIL.weights - (wave @ PUPIL.weights) ** 2)


def test_a_raised_mirror_shifts_the_wavefront_by_root_two():
    """100 nm of glass at 45 degrees are 141.42 nm of wavefront: 2 h cos 45."""
    np.testing.assert_allclose(seen(map_of(lambda u, v: 100.0 + 0 * u * v)), 141.4213562, rtol=1e-6)  # slope of 5e-7 of the beam


@pytest.mark.parametrize(
    ("e6", "focus", "figure", "value"),
    [
        (10, False, "rms", 40.64480287),
        (10, True, "rms", 31.28264213),
        (10, True, "strehl", 0.8801043535),
        (10, False, "astigmatism", 27.86761021),
        (10, False, "defocus", 25.94988056),
        (-10, True, "rms", 14.39494644),
    ],
)
def test_golden_diagonal_at_45_degrees(e6, focus, figure, value):
    """RMS as it stands and refocused, Strehl (exponential form), Noll astigmatism and defocus of the beam, for both signs of E6."""
    wave = 2 * golden(RAYS.u_mm, RAYS.v_mm, e6=e6) * RAYS.cos_incidence
    wave = refocused(wave, pupil=PUPIL) if focus else wave
    noll = NOLL @ (wave * PUPIL.weights)
    found = {"rms": rms(wave), "strehl": exponential_strehl(rms(wave), wavelength_nm=550), "astigmatism": noll[5], "defocus": noll[3]}
    assert found[figure] == pytest.approx(value, rel=2e-6)  # the beam is parallel to 5e-7


@pytest.mark.parametrize("e6", [10, -10])
def test_power_taken_off_before_the_45_degree_step_gives_the_wrong_answer(e6):
    """A sphere fitted on the glass and thrown away leaves 19.12 nm for both signs of E6, which is neither right answer."""
    wave = 2 * sphere_less(RAYS.u_mm, RAYS.v_mm, e6=e6) * RAYS.cos_incidence
    assert rms(refocused(wave, pupil=PUPIL)) == pytest.approx(19.12162032, rel=2e-6)
    right = seen(map_of(lambda u, v: golden(u, v, e6=e6)))
    assert abs(rms(refocused(right, pupil=PUPIL)) - 19.12162032) > 4.0


@pytest.mark.parametrize(("e6", "nm"), [(10, 31.28264213), (-10, 14.39494644)])
def test_golden_diagonal_by_way_of_a_map(e6, nm):
    """Read from a map of 181 columns, bilinearly and to the very rim, the refocused RMS is the same to the curvature inside a cell."""
    wave = seen(map_of(lambda u, v: golden(u, v, e6=e6)))
    assert np.all(np.isfinite(wave))
    assert rms(refocused(wave, pupil=PUPIL)) == pytest.approx(nm, rel=3e-4)


def test_one_band_of_power_costs_eighteen_percent():
    """One mercury band (273.037 nm) of sag along the major semi-axis turns partly into 39.41 nm of astigmatism: Strehl 0.8165 refocused."""
    wave = seen(map_of(lambda u, v: -273.037 * (u**2 + v**2) / FACE.semi_major_mm**2))
    assert abs(NOLL[5] @ (wave * PUPIL.weights)) == pytest.approx(39.40949636, rel=3e-4)  # bilinear
    left = rms(refocused(wave, pupil=PUPIL))
    assert exponential_strehl(left, wavelength_nm=550) == pytest.approx(0.816529877, rel=2e-4)


def test_defocus_and_astigmatism_of_a_power():
    """A sag s over the semi-minor axis is 0.612372 s of Noll defocus and 0.288675 s of Noll astigmatism (from W = sqrt2 s (1.5 + 0.5 cos 2phi) r^2)."""
    wave = 2 * (RAYS.u_mm**2 + RAYS.v_mm**2) / FACE.semi_u_mm**2 * RAYS.cos_incidence
    noll = NOLL @ (wave * PUPIL.weights)
    assert (noll[3], noll[5]) == pytest.approx((0.6123724357, 0.2886751346), rel=2e-6)  # the beam is parallel to 5e-7


def test_power_that_a_strehl_of_095_allows():
    """137.35 nm of sag along the major semi-axis leave a Strehl of 0.95 (exponential form) at best focus in green light."""
    wave = 2 * 137.3516043 * (RAYS.u_mm**2 + RAYS.v_mm**2) / FACE.semi_major_mm**2 * RAYS.cos_incidence
    assert exponential_strehl(rms(refocused(wave, pupil=PUPIL)), wavelength_nm=550) == pytest.approx(0.95, abs=1e-6)


def test_astigmatic_difference_of_a_bent_flat():
    """A radius of 5 km, 200 mm from the focus of a 40 mm beam, parts the focal lines by sqrt2 L^2 / R = 11.31 um (thin-mirror power)."""
    scope = replace(SLOW, aperture_mm=2 * 20 / 0.6)
    rays = footprint(scope, pupil=PUPIL)
    wave_nm = 2 * (rays.u_mm**2 + rays.v_mm**2) / (2 * 5e6) * 1e6 * rays.cos_incidence
    along, across = np.linalg.lstsq(np.stack([PUPIL.y**2, PUPIL.x**2], axis=1), wave_nm, rcond=None)[0]
    assert along - across == pytest.approx(56.56854249, rel=1e-5)  # nm, W222
    focal_ratio = 200 / 40
    assert 8 * focal_ratio**2 * (along - across) * 1e-3 == pytest.approx(math.sqrt(2) * 200**2 / 5e6 * 1e3, rel=1e-5)


def test_only_the_footprint_counts():
    """A 48 mm beam on a 60 mm diagonal sees (48 / 60)^2 of the power: 64 of 100 nm of sag over the semi-minor axis."""
    scope = replace(SLOW, aperture_mm=80.0)
    wave = seen(map_of(lambda u, v: 100.0 * (u**2 + v**2) / 30**2), footprint(scope, pupil=PUPIL))
    c = np.linalg.lstsq(np.stack([np.ones_like(PUPIL.x), PUPIL.x**2, PUPIL.y**2], axis=1), wave, rcond=None)[0]
    assert c[1] / math.sqrt(2) == pytest.approx(64.0, rel=1e-3)  # bilinear
    assert c[2] / c[1] == pytest.approx(2.0, rel=1e-3)  # along the tilt the beam is sqrt2 longer on the glass


def test_each_ray_counts_with_its_own_angle():
    """At f/5 a mirror raised by 100 nm gives 2 h cos(45 -+ 5.71 degrees) at the two ends: 10 % more and less than sqrt2 h."""
    scope = Telescope(aperture_mm=300, focal_length_mm=1500, intercept_mm=150)
    pupil = replace(PUPIL, x=np.zeros(3), y=np.array([1.0, 0.0, -1.0]), weights=np.full(3, 1 / 3))
    wave = seen(map_of(lambda u, v: 100.0 + 0 * u * v), footprint(scope, pupil=pupil))
    angle = math.pi / 4 - math.atan(0.1) * np.array([1, 0, -1])
    np.testing.assert_allclose(wave, 200 * np.cos(angle), rtol=1e-9)


def test_rays_that_miss_the_clear_aperture_are_missing():
    """Light that falls on the bevel or past the glass has no wavefront."""
    fits = map_of(lambda u, v: 0 * u * v)
    assert np.isnan(seen(replace(fits, clear_margin=0.1))).mean() == pytest.approx(np.mean(PUPIL.x**2 + PUPIL.y**2 > 0.81), abs=1e-9)


def test_rays_on_unknown_glass_are_missing():
    """A hole of 5 mm in the map takes its rays with it, and its neighbours stay."""
    whole = map_of(lambda u, v: 3.0 * u + 0 * v)
    hole = np.hypot(whole.u_mm[None, :] - 10, whole.v_mm[:, None]) < 2.5
    wave = seen(replace(whole, heights_nm=np.where(hole, np.nan, whole.heights_nm)))
    distance = np.hypot(RAYS.u_mm - 10, RAYS.v_mm)
    assert np.all(np.isnan(wave[distance < 1.5]))
    assert np.all(np.isfinite(wave[distance > 3.5]))
    np.testing.assert_allclose(wave[np.isfinite(wave)], math.sqrt(2) * 3 * RAYS.u_mm[np.isfinite(wave)], atol=1e-3)


def test_heights_are_carried_on_in_a_straight_line():
    """A tilted map is continued over its rim without a step, also where the grid ends at the rim."""
    tilted = map_of(lambda u, v: 5.0 * u - 2.0 * v + 7.0)
    grid = continued(tilted)
    uu, vv = np.meshgrid(grid.u_mm, grid.v_mm)
    known = np.isfinite(grid.heights_nm)
    np.testing.assert_allclose(grid.heights_nm[known], (5 * uu - 2 * vv + 7)[known], atol=1e-9)
    assert known.sum() > np.isfinite(tilted.heights_nm).sum() + 400  # about the number of cells along the rim


def test_alternative_maps_are_carried_on_alike():
    """A stack of maps is continued map by map."""
    one = map_of(golden)
    both = continued_heights(np.stack([one.heights_nm, -2 * one.heights_nm]), height_map=one)
    np.testing.assert_allclose(both[1], -2 * both[0])
    np.testing.assert_array_equal(both[0], continued(one).heights_nm)
