"""The drawing of tube and cone: its geometry, and that it is drawn to scale the right way up.

Source: the law of reflection; straight lines.
"""

import io
import math

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image

from straightband.plots import style, tube
from straightband.plots.tube import TubeScene, glass_outline, light_path, tube_png
from straightband.telescope.sizing import cut_of_cone
from straightband.telescope.telescope import Telescope

SCOPE = Telescope(aperture_mm=300.0, focal_length_mm=1500.0, intercept_mm=240.0)
CUT = cut_of_cone(SCOPE, full_field_mm=15.0)
SCENE = TubeScene(
    telescope=SCOPE,
    minor_mm=CUT.minor_axis_mm,
    thickness_mm=14.0,
    offset_mm=CUT.offset_mm,
    field_mm=15.0,
    tube_mm=340.0,
    tube_assumed=False,
)
CROSSING = np.array([1260.0, 0.0])


@pytest.mark.parametrize(("stop", "field"), [(150.0, 0.0), (-150.0, 0.0), (150.0, 7.5), (-80.0, -3.0)])
def test_light_is_reflected_as_a_mirror_does(stop, field):
    """At the glass the ray turns so that both its parts make the same angle with the normal, and it ends in the focuser."""
    start, meets, image = light_path(SCENE, stop_mm=stop, field_mm=field)
    normal = np.array([-1.0, 1.0]) / math.sqrt(2)  # toward the primary and the focuser
    into, out = ((b - a) / np.linalg.norm(b - a) for a, b in ((start, meets), (meets, image)))
    assert out == pytest.approx(into - 2 * (into @ normal) * normal, abs=1e-12)
    assert (meets - CROSSING)[0] == pytest.approx((meets - CROSSING)[1], abs=1e-9)
    assert image == pytest.approx([1260.0 + field, 240.0], abs=1e-9)
    unfolded = np.array([1500.0, field]) - start
    assert np.linalg.norm(meets - start) + np.linalg.norm(image - meets) == pytest.approx(np.linalg.norm(unfolded), rel=1e-12)


def test_the_glass_is_drawn_where_the_offset_puts_it():
    """The face lies at 45 degrees, its centre off the axis away from the focuser and toward the primary, its back behind it."""
    corners = glass_outline(SCENE)
    lower, upper = corners[:2]
    assert (lower + upper) / 2 == pytest.approx(CROSSING - CUT.offset_mm, abs=1e-9)
    assert np.linalg.norm(upper - lower) == pytest.approx(CUT.minor_axis_mm * math.sqrt(2), rel=1e-12)
    assert lower[0] < upper[0]  # the end away from the focuser is nearer the primary
    assert lower[1] < upper[1]
    behind = corners[3] - lower
    assert behind @ (upper - lower) == pytest.approx(0.0, abs=1e-9)
    assert np.linalg.norm(behind) == pytest.approx(14.0, rel=1e-12)
    assert behind[0] > 0 > behind[1]


def test_the_envelope_of_the_lit_field_ends_at_the_ends_of_the_glass():
    """The outermost light meets the very ends of a mirror of the exact size at its exact offset."""
    lower, upper = glass_outline(SCENE)[:2]
    assert light_path(SCENE, stop_mm=150.0, field_mm=7.5)[1] == pytest.approx(upper, abs=1e-9)
    assert light_path(SCENE, stop_mm=-150.0, field_mm=-7.5)[1] == pytest.approx(lower, abs=1e-9)


@pytest.mark.parametrize("ratio", [3.0, 5.0, 12.0])
def test_both_pictures_are_to_scale(ratio):
    """A millimetre along the tube is as long on paper as one across it, and the scale bar is as long as it says."""
    scope = Telescope(aperture_mm=300.0, focal_length_mm=300.0 * ratio, intercept_mm=240.0)
    scene = TubeScene(
        telescope=scope, minor_mm=90.0, thickness_mm=14.0, offset_mm=4.0, field_mm=15.0, tube_mm=340.0, tube_assumed=True, units="in"
    )
    with style.drawing():
        figure = tube._figure(scene, title="Diagonal")
        FigureCanvasAgg(figure).draw()
        for axes in figure.axes:
            origin, along, up = axes.transData.transform([(0.0, 0.0), (10.0, 0.0), (0.0, 10.0)])
            assert (along - origin)[0] == pytest.approx((up - origin)[1], rel=1e-9)
            bar = max(axes.lines, key=lambda line: line.get_linewidth())
            assert f"{np.ptp(bar.get_xdata()) / 25.4:g} in" in [text.get_text() for text in axes.texts]
    assert "(assumed)" in figure.texts[-1].get_text()


def test_the_drawing_is_a_picture_and_the_same_every_time():
    """The PNG opens and depends on nothing but the order."""
    png = tube_png(SCENE, title="A diagonal")
    assert tube_png(SCENE, title="A diagonal") == png
    with Image.open(io.BytesIO(png)) as image:
        assert image.format == "PNG"
        assert image.width == 2000
