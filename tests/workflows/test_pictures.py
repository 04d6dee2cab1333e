"""What is drawn over a photograph lies where it belongs, and pictures say what is not known."""

import io
import math

import numpy as np
import pytest
from PIL import Image

from straightband.synthetic.bands import gap_nm
from straightband.synthetic.golden import WAVELENGTH_NM
from straightband.synthetic.render import render
from straightband.workflows import pictures
from straightband.workflows.pictures import budget_of_figure, budget_picture, dark_lines, map_picture, overlay_picture, profile_picture


def opened(data):
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))


def test_dark_lines_lie_where_the_gap_makes_darkness(scene, reading):
    """Truth by the known scene: along every line the gap is a whole number of half wavelengths, which is dark between bare glass faces."""
    to_face = np.linalg.inv(render(scene, rng=np.random.default_rng(0)).truth.homography)
    for line in dark_lines(reading):
        x, y, w = to_face @ np.column_stack([line, np.ones(len(line))]).T
        gap = gap_nm(scene, u_mm=x / w * scene.face.semi_u_mm, v_mm=y / w * scene.face.semi_v_mm)
        orders = 2.0 * gap / WAVELENGTH_NM
        assert np.ptp(np.round(orders)) == 0
        assert orders == pytest.approx(np.round(orders), abs=0.03)  # bands; the scene is noisy (0.02 of full scale on every pixel)


def test_every_dark_band_of_the_face_is_drawn(scene, reading):
    """By the known gap: every order of darkness that crosses the clear aperture has its lines, and they lie on it to a twentieth of a band."""
    clear = scene.face.clear_aperture()
    u, v = np.meshgrid(np.linspace(-1, 1, 301) * clear.semi_u_mm, np.linspace(-1, 1, 301) * clear.semi_v_mm)
    orders = 2.0 * gap_nm(scene, u_mm=u, v_mm=v)[clear.contains(u, v)] / WAVELENGTH_NM
    to_face = np.linalg.inv(reading.picture.face_to_pixels)
    drawn = []
    for line in dark_lines(reading):  # one order can cross the rim and come back, as lines of its own
        x, y, w = to_face @ np.column_stack([line, np.ones(len(line))]).T
        along = 2.0 * gap_nm(scene, u_mm=x / w * scene.face.semi_u_mm, v_mm=y / w * scene.face.semi_v_mm) / WAVELENGTH_NM
        assert np.std(along) < 0.05
        assert abs(np.mean(along) - np.round(np.mean(along))) < 0.05
        drawn.append(int(np.round(np.mean(along))))
    assert set(drawn) == set(range(math.ceil(orders.min()), math.floor(orders.max()) + 1))


@pytest.mark.parametrize("side_px", [1000, 400])
def test_the_outline_is_drawn_where_it_was_found(photograph, reading, monkeypatch, side_px):
    """Shown at its own scale or shrunk, the drawn line runs along the outline: its box is that of the ellipse, shrunk alike."""
    monkeypatch.setattr(pictures, "SIDE_PX", side_px)
    picture = opened(overlay_picture(reading, photograph)).astype(int)
    scale = side_px / 1000.0  # the face fills the frame but for 100 px, so the whole of it is shown
    drawn = np.abs(picture - [0xA3, 0x35, 0x0F]).max(axis=2) < 40  # the accent colour
    rows, cols = np.nonzero(drawn[: round(750 * scale)])
    found = [cols.min(), cols.max(), rows.min(), rows.max()]
    outline = reading.outline  # lies along the rows
    edges = [
        outline.cx - outline.semi_major,
        outline.cx + outline.semi_major,
        outline.cy - outline.semi_minor,
        outline.cy + outline.semi_minor,
    ]
    middle = [(edges[0] + edges[1]) / 2.0, (edges[2] + edges[3]) / 2.0]
    assert (np.array(found[::2]) + found[1::2]) / 2.0 == pytest.approx((np.array(middle) + 0.5) * scale - 0.5, abs=1.0)  # px; whole pixels
    assert found == pytest.approx((np.array(edges) + 0.5) * scale - 0.5, abs=4.0)  # px, the width of the line


def test_the_overlay_is_the_same_each_time(photograph, reading):
    """The same reading gives the same bytes."""
    assert overlay_picture(reading, photograph) == overlay_picture(reading, photograph)


@pytest.mark.parametrize(("kind", "bits"), [("png", 16), ("tiff", 16), ("tiff", 8)])
def test_files_of_any_depth_look_alike(scene, reading, kind, bits):
    """The same light with the same noise, stored with 8 or 16 bits, is shown the same."""
    rendered = render(scene, rng=np.random.default_rng(11))
    one, other = (opened(overlay_picture(reading, data)).astype(int) for data in (rendered.encode("png"), rendered.encode(kind, bits=bits)))
    assert np.abs(one - other).max() <= 1  # levels of 255: rounding


def test_a_face_small_in_a_large_photograph_is_shown_large():
    """Only the part around the face is shown, so that bands can be told apart on paper."""
    rim = np.array([[2000.0, 1500.0], [2400.0, 1900.0]])
    assert pictures._window(rim, size_px=(4000, 3000)) == (1940, 1440, 2461, 1961)


def test_a_cause_of_unknown_size_does_not_read_as_harmless(reading):
    """A reference flat that was not told and a repeat that was not made say so by name instead of standing as a bare zero."""
    names = [term.name for term in budget_of_figure(reading).terms]
    assert "reference flat: not told" in names
    assert "repeat: not known" in names


def test_the_budget_is_that_of_the_figure(reading):
    """The terms add up to the expanded uncertainty that is reported beside the figure."""
    for figure in ("pv_nm", "rms_nm", "power_nm"):
        assert budget_of_figure(reading, figure).total_nm == pytest.approx(reading.budget.expanded_nm[figure])


def test_map_profile_and_budget_are_pictures(reading):
    """Each is a PNG, the same each time."""
    for draw, what in ((map_picture, reading.height_map), (profile_picture, reading.height_map), (budget_picture, reading)):
        assert draw(what, title="G-1") == draw(what, title="G-1")
        assert opened(draw(what)).shape[1] > 1000
