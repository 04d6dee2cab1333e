"""A photograph under three lamps of different colour: the sign without being told.

Truth: the golden face rendered in each lamp's light, the channels leaking as in the sensor of the renderer.
"""

import io
import re
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from straightband.errors import BadInput
from straightband.heightmap.figures import figures
from straightband.light.lines import LAMPS
from straightband.synthetic.bands import smallest_gap_nm
from straightband.synthetic.golden import golden_scene
from straightband.synthetic.render import render
from straightband.synthetic.sensor import channel_response, expose, to_levels
from straightband.synthetic.truth import truth_map
from straightband.workflows.colours import channel_of
from straightband.workflows.read import read_photo
from straightband.workflows.setup import setup_from_text

NAMES = ("red-led", "green-led", "blue-led")
GAP_NM = 1500.0


def photograph_of(scene, *, seed=0):
    """One PNG of a scene in the light of all three lamps."""
    channels = [0.0, 0.0, 0.0]
    for name in NAMES:
        lamp = LAMPS[name]
        shrink = scene.light.wavelength_nm / lamp.wavelength_nm  # the same wedge in bands of this lamp
        light = replace(scene.light, wavelength_nm=lamp.wavelength_nm, fwhm_nm=lamp.fwhm_nm)
        made = replace(scene, bands_u=scene.bands_u * shrink, bands_v=scene.bands_v * shrink, light=light)
        picture = render(made, rng=np.random.default_rng(seed)).light
        channels = [sum_ + picture * response for sum_, response in zip(channels, channel_response(lamp.wavelength_nm), strict=True)]
    rng = np.random.default_rng(seed + 1)
    levels = [
        to_levels(expose(np.float32(0.6 * each), sensor=scene.sensor, response=1.0, rng=rng), sensor=scene.sensor, bits=8)
        for each in channels
    ]
    out = io.BytesIO()
    Image.fromarray(np.stack(levels, axis=-1)).save(out, "png")
    return out.getvalue()


@pytest.fixture(scope="module")
def lit():
    """The golden face with little noise, its gap 1.5 um in the middle."""
    made = golden_scene(width_px=1000, height_px=750)
    return replace(made, gap_nm=GAP_NM, sensor=replace(made.sensor, read_noise=0.005))


@pytest.mark.parametrize("opens", [1.0, -1.0], ids=["to the right", "to the left"])
def test_three_lamps_tell_hill_from_hole(lit, opens):
    """Whichever side the wedge opens to, the golden face comes out hollow, as it is, without a thicker side told (NEWTON-8 f)."""
    made = replace(lit, bands_u=opens * lit.bands_u, bands_v=opens * lit.bands_v)
    setup = setup_from_text(light=",".join(NAMES), minor="90mm", mark="3")
    reading = read_photo(photograph_of(made), name="three.png", setup=setup)
    truth = figures(truth_map(lit, u_mm=reading.height_map.u_mm, v_mm=reading.height_map.v_mm))
    assert reading.sign == "known"
    assert reading.figures.power_nm == pytest.approx(truth.power_nm, abs=6.0)  # nm: the other lamps leak into the red
    assert reading.height_map.meta["light"] == "red-led,green-led,blue-led"
    assert "several-lamps-on" in reading.flags
    least_um = smallest_gap_nm(made) / 1000.0  # over the whole face; the reading knows the clear aperture
    told = next(cause.origin for cause in reading.causes if cause.name == "near camera")
    assert float(re.match(r"least gap ([\d.]+) um by the colours", told)[1]) == pytest.approx(
        least_um, abs=0.1
    )  # 0.03 lie between the rims


def test_a_photograph_without_colours_is_refused(photograph):
    """A grey photograph can't be read in three colours."""
    out = io.BytesIO()
    Image.open(io.BytesIO(photograph)).convert("L").save(out, "jpeg")
    setup = setup_from_text(light="red-led,green-led,blue-led", minor="90mm")
    with pytest.raises(BadInput) as refused:
        read_photo(out.getvalue(), name="grey.jpg", setup=setup)
    assert str(refused.value) == "grey.jpg has no colours; a colour photograph is needed for lamps of several colours; name one lamp."


def test_each_lamp_needs_a_channel_to_itself():
    """Two red lamps can't be told apart; a decimal comma is no comma between lamps."""
    with pytest.raises(BadInput) as refused:
        setup_from_text(light="red-led,helium-neon,blue-led", minor="90mm")
    assert str(refused.value) == (
        "the lamps red-led, helium-neon, blue-led share a channel of the camera; one red, one green and one blue are needed; "
        "write them like red-led,green-led,blue-led, or give the one that was on."
    )
    with pytest.raises(BadInput) as refused:
        setup_from_text(light="red-led,blue-led", minor="90mm")
    assert str(refused.value).startswith("2 lamps were named; one, or three of different colour, are needed")
    assert setup_from_text(light="632,8nm", minor="90mm").lamp.wavelength_nm == pytest.approx(632.8)
    assert [channel_of(LAMPS[name]) for name in NAMES] == [0, 1, 2]
