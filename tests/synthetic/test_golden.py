import io
import math

import numpy as np
import pytest
from PIL import Image

from straightband.synthetic.bands import gap_nm
from straightband.synthetic.golden import (
    ASPECT,
    WAVELENGTH_NM,
    golden_gap_nm,
    golden_heights_nm,
    golden_light,
    golden_photograph,
    golden_scene,
)
from straightband.synthetic.projection import projection_of
from straightband.synthetic.render import render


def test_rms_of_the_golden_face_is_the_root_of_the_squares_of_its_terms():
    """END-1: area rms sqrt(25^2 + 6^2 + 10^2 + 4^2 + 7^2) = 28.74021573 nm, terms orthonormal on the ellipse (Mahajan and Dai 2007)."""
    share = np.linspace(-1.0, 1.0, 801)
    x, y = np.meshgrid(share, ASPECT * share)
    inside = x**2 + (y / ASPECT) ** 2 <= 1.0
    heights = golden_heights_nm(x, y)[inside]
    assert heights.std() == pytest.approx(28.74021573, rel=1e-3)  # grid of 801 points: steps at the rim
    assert abs(heights.mean()) < 0.05  # the same


def test_golden_bands_have_the_values_worked_out_by_hand():
    """END-2: gap 1726.271978 nm and light 0.6539464863 at (0.3, -0.2), light 0.7806223814 at (-0.5, 0.4), from the definition."""
    x, y = np.array([0.3, -0.5]), np.array([-0.2, 0.4])
    assert golden_gap_nm(x, y)[0] == pytest.approx(1726.271978, rel=1e-9)  # figures given
    assert golden_light(x, y) == pytest.approx([0.6539464863, 0.7806223814], abs=1e-9)  # figures given


def test_golden_wedge_shows_six_and_a_half_bands_along_the_major_axis():
    """END-2: the gap changes by 6.483695418 bands of half a wavelength from end to end of the major axis, figure included."""
    ends = golden_gap_nm(np.array([-1.0, 1.0]), np.zeros(2))
    assert (ends[1] - ends[0]) / (WAVELENGTH_NM / 2.0) == pytest.approx(6.483695418, rel=1e-9)  # figures given


def test_golden_photograph_has_the_pixels_and_noise_asked_for():
    """About 100000 pixels lie inside, and what differs from the light without noise has the standard deviation asked for."""
    photograph = golden_photograph(rng=np.random.default_rng(1), pixels_inside=100_000, noise=0.02)
    assert photograph.inside.sum() == pytest.approx(100_000, rel=1e-3)  # whole pixels along the rim
    x, y = np.meshgrid(photograph.x, photograph.y)
    noise = (photograph.light - golden_light(x, y))[photograph.inside]
    assert noise.std() == pytest.approx(0.02, rel=0.01)  # 4 standard errors: 4 / sqrt(2 x 100000)
    assert photograph.light[~photograph.inside].mean() == pytest.approx(0.02, abs=5e-4)  # the surround; 4 standard errors of 80000


def test_golden_scene_has_the_gap_of_the_golden_face():
    """The scene to be photographed has the same gap everywhere, x along the major axis and y along -u."""
    scene = golden_scene()
    unit = scene.face.semi_v_mm
    x, y = np.array([0.3, -0.5, 0.0]), np.array([-0.2, 0.4, 0.0])
    assert gap_nm(scene, u_mm=-y * unit, v_mm=x * unit) == pytest.approx(golden_gap_nm(x, y), abs=1e-9)  # rounding


def test_photographed_golden_face_shows_the_golden_light():
    """At (0.3, -0.2) the rendered picture has the light worked out by hand; x points right and y up."""
    scene = golden_scene(width_px=800, height_px=600)
    photograph = render(scene, rng=np.random.default_rng(0))
    unit = scene.face.semi_v_mm
    x_px, y_px = projection_of(scene.view, face=scene.face).to_pixels(np.array(0.2 * unit), np.array(0.3 * unit))
    assert (x_px, y_px) == (pytest.approx(399.5 + 0.3 * 320.0), pytest.approx(299.5 + 0.2 * 320.0))
    columns, rows = np.meshgrid(np.arange(480, 512) - float(x_px), np.arange(350, 378) - float(y_px))
    design = np.stack([columns**i * rows**j for i in range(5) for j in range(5 - i)], axis=-1).reshape(-1, 15)
    at_point = np.linalg.lstsq(design, photograph.light[350:378, 480:512].ravel(), rcond=None)[0][0]
    assert 0.5 * at_point == pytest.approx(0.6539464863, abs=2e-4)  # a polynomial of order 4 over a quarter of a band
    size = Image.open(io.BytesIO(photograph.encode("png"))).size
    assert size == (800, 600)
    assert photograph.truth.outline_px.semi_minor == pytest.approx(320.0 / math.sqrt(2.0), rel=1e-9)  # rounding
