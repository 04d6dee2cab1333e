"""Lines of a reading's budget against figures worked out by hand: a wide lamp's contrast, the height of a band seen obliquely."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from benchmarks.exact import exact_reading
from benchmarks.photographs import seen_mark_hour, true_outline
from straightband.face.shapes import round_face
from straightband.heightmap.figures import figures
from straightband.light.lines import Lamp
from straightband.synthetic.golden import golden_scene
from straightband.synthetic.render import render
from straightband.synthetic.scene import BandLight
from straightband.synthetic.surfaces import Surface, saddle
from straightband.synthetic.truth import thicker_hour, truth_map, truth_of
from straightband.workflows.read import Setup, read_photo


def setup_of(scene, *, lamp):
    truth = truth_of(scene)
    return Setup(face=scene.face, lamp=lamp, outline=true_outline(truth), mark_hour=seen_mark_hour(truth), thicker=thicker_hour(scene))


def test_a_wide_lamp_fades_with_the_gap_and_its_noise_grows_as_much():
    """An LED of 630 nm, 20 nm wide, has half its contrast at 4.3785 um (Fourier transform of a Gaussian line): read so, and up to twice the fit noise."""
    lamp = Lamp(name="red-led", wavelength_nm=630.0, wavelength_uncertainty_nm=10.0, fwhm_nm=20.0)
    scene = golden_scene(width_px=800, height_px=600)
    flat = replace(scene, surface=Surface(face=scene.face), bands_u=1.0, bands_v=5.0, sensor=replace(scene.sensor, read_noise=0.01))
    found = {}
    for fwhm_nm in (0.0, 20.0):
        lit = replace(flat, gap_nm=4378.5, light=BandLight(wavelength_nm=630.0, fwhm_nm=fwhm_nm, contrast=0.8))
        data = render(lit, rng=np.random.default_rng(5)).encode("png", bits=16)
        found[fwhm_nm] = read_photo(data, name="led.png", setup=setup_of(lit, lamp=lamp))
    narrow, wide = found.values()
    # The gap runs 0.8 um to either side of the middle: the mean contrast over the face is within 2 % of that in the middle.
    assert wide.contrast / narrow.contrast == pytest.approx(0.5, rel=0.03)
    noise = [next(cause for cause in each.causes if cause.name == "fit noise").draws_nm.std() for each in (wide, narrow)]
    assert 1.3 < noise[0] / noise[1] < 2.3  # twice for plain noise; what stiffness holds down of it grows less


@pytest.mark.parametrize(("degrees", "nm"), [(5.0, 274.079957), (15.0, 282.6687025)])
def test_heights_seen_obliquely_are_those_of_a_band_worth_more(degrees, nm):
    """A round face shows how far off square it is seen: heights come out by lambda / (2 cos), the figures given, within the line of the budget."""
    lamp = Lamp(name="mercury-green", wavelength_nm=546.074, wavelength_uncertainty_nm=1e-6, fwhm_nm=0.1)
    face = round_face(diameter_mm=90.0)
    base = golden_scene(width_px=1200, height_px=900)
    view = replace(base.view, tilt_deg=degrees, tilt_azimuth_deg=30.0)
    scene = replace(base, surface=saddle(face, rise_nm=200.0, axis_deg=20.0), bands_u=4.0, bands_v=5.0, view=view)
    reading = exact_reading(scene, setup=setup_of(scene, lamp=lamp))
    true = figures(truth_map(scene, u_mm=reading.height_map.u_mm, v_mm=reading.height_map.v_mm)).astigmatism_nm
    line = next(effect for effect in reading.budget.effects if effect.name == "obliquity").expanded_nm["astigmatism_nm"]
    assert reading.figures.astigmatism_nm == pytest.approx(true, abs=max(line, 0.002 * true))  # the outline known to 0.3 px
    square_on = reading.figures.astigmatism_nm * 273.037 / nm
    assert abs(square_on - true) > 0.9 * true * (1.0 - 273.037 / nm)  # what leaving the angle out would cost
    assert line < 0.5 * true * (1.0 - 273.037 / nm) or degrees < 10.0
