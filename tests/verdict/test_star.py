"""Images of stars, against closed forms and against the Strehl ratio by the pupil integral.

Sources: M. Born, E. Wolf, Principles of Optics, 7th ed., 8.5.2 (from memory): the Airy pattern (2 J1(v)/v)^2 with dark rings at 1.220 and 2.233
wavelength x focal ratio; that of an annular aperture is the difference of two such amplitudes.
"""

import numpy as np
import pytest
from scipy.special import j1

from straightband.face.shapes import ellipse
from straightband.heightmap.map import HeightMap
from straightband.telescope.telescope import Mounting, Telescope, WideEnd
from straightband.verdict.star import ACROSS, _square, image_of_pupil, star_image
from straightband.verdict.strehl import strehl_ratio

TELESCOPE = Telescope(aperture_mm=300.0, focal_length_mm=1500.0, intercept_mm=300.0, full_field_mm=10.0)
MOUNTING = Mounting(offset_mm=3.0, wide_end=WideEnd.PLUS_V)
FINE_X, FINE_Y = _square()


def amplitude(q):
    """Airy's amplitude at q wavelength x focal ratio."""
    v = np.pi * np.where(q == 0.0, 1e-9, q)
    return 2.0 * j1(v) / v


def mirror(heights):
    u, v = np.linspace(-45, 45, 181), np.linspace(-64, 64, 257)
    face = ellipse(minor_mm=90.0)
    grid = np.where(face.contains(*np.meshgrid(u, v)), heights(*np.meshgrid(u, v)), np.nan)
    return HeightMap(heights_nm=grid, u_mm=u, v_mm=v, uncertainty_nm=0.0 * grid, face=face)


def image_of(heights, **more):
    return star_image(mirror(heights), telescope=TELESCOPE, mounting=MOUNTING, wavelength_nm=550.0, **more)


def test_a_perfect_pupil_gives_the_airy_pattern():
    """Along the axis the image is (2 J1(v)/v)^2, its first dark ring at 1.220 (closed form, Born & Wolf 8.5.2)."""
    image = image_of_pupil((np.hypot(FINE_X, FINE_Y) <= 1.0).astype(complex))
    middle = image.intensity[len(image.at) // 2]
    assert middle == pytest.approx(amplitude(image.at) ** 2, abs=2e-3)  # squares along a round rim: 1 / ACROSS of it, squared and more
    ring = image.at[(image.at > 0.8) & (image.at < 1.6)][np.argmin(middle[(image.at > 0.8) & (image.at < 1.6)])]
    assert ring == pytest.approx(1.22, abs=0.06)  # a step of the image is 0.1


def test_an_obstructed_pupil_gives_the_annular_pattern():
    """With a third of the diameter shaded, the difference of two Airy amplitudes over the area (closed form)."""
    shade = 1.0 / 3.0
    radius = np.hypot(FINE_X, FINE_Y)
    image = image_of_pupil(((radius <= 1.0) & (radius >= shade)).astype(complex))
    expected = ((amplitude(image.at) - shade**2 * amplitude(shade * image.at)) / (1.0 - shade**2)) ** 2
    assert image.intensity[len(image.at) // 2] == pytest.approx(expected, abs=4e-3)  # as above, with two rims


def test_the_middle_of_the_image_is_the_strehl_ratio():
    """At the middle stands |mean of exp(i phase)|^2 of the same light, whatever the phase (the pupil integral done otherwise)."""
    inside = np.hypot(FINE_X, FINE_Y) <= 1.0
    waves = 90.0 * FINE_X * FINE_Y + 40.0 * (FINE_X**3 - FINE_Y)
    image = image_of_pupil(np.where(inside, np.exp(2j * np.pi / 550.0 * waves), 0.0))
    wanted = strehl_ratio(waves[inside], weights=np.ones(inside.sum()), wavelength_nm=550.0)
    assert image.intensity[len(image.at) // 2, len(image.at) // 2] == pytest.approx(wanted, rel=1e-12)


def test_a_flat_mirror_leaves_a_star_perfect():
    """No height, no loss: the peak is one, in the middle and off it."""
    for radius in (0.0, 5.0):
        image = image_of(lambda u, v: 0.0 * u * v, field_radius_mm=radius, azimuth_deg=30.0)
        assert image.intensity.max() == pytest.approx(1.0, abs=1e-9)


def test_power_on_a_diagonal_draws_a_star_into_a_cross():
    """A sphere at 45 degrees is astigmatism after refocusing: the image keeps two planes of symmetry and loses its peak."""
    image = image_of(lambda u, v: 1200.0 * (1.0 - (u**2 + v**2) / 64.0**2))
    peak = image.intensity[len(image.at) // 2, len(image.at) // 2]
    assert 0.05 < peak < 0.9
    assert image.intensity == pytest.approx(image.intensity[:, ::-1], abs=0.02)  # left and right of the tube are alike
    along, across = image.intensity.sum(axis=0), image.intensity.sum(axis=1)
    assert along == pytest.approx(across, abs=0.25 * along.max())  # at its mean focus it is as long as wide


def test_a_mirror_the_other_way_round_turns_its_faults():
    """A slope error at one end of the glass moves to the other end of the beam when the mirror is turned."""

    def heights(u, v):
        return 1e-3 * v**3 - 0.5 * v + 0.0 * u

    one = image_of(heights)
    other = star_image(
        mirror(heights), telescope=TELESCOPE, mounting=Mounting(offset_mm=3.0, wide_end=WideEnd.MINUS_V), wavelength_nm=550.0
    )
    assert np.abs(one.intensity - other.intensity).max() > 0.01


def test_the_pupil_is_fine_enough():
    """Twice as many points along a side change a strongly aberrated image by less than a hundredth of the perfect peak."""

    def image(across):
        along = (np.arange(across) + 0.5) * 2.0 / across - 1.0
        x, y = np.meshgrid(along, along)
        return image_of_pupil(np.where(np.hypot(x, y) <= 1.0, np.exp(2j * np.pi * (x**2 - y**2)), 0.0)).intensity

    assert image(ACROSS) == pytest.approx(image(2 * ACROSS), abs=0.01)
