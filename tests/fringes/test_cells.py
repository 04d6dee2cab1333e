"""Cells of pixels: nothing lost, nothing counted twice, and the sums are the plain sums."""

import numpy as np
import pytest

from straightband.face.shapes import Shape, ellipse, rectangle, round_face
from straightband.fringes.cells import CELL_PIXELS, CHANNELS, RIM_DEPTH, divide, gather
from straightband.fringes.fields import distance_from_rim

FACES = [ellipse(minor_mm=90.0), round_face(diameter_mm=80.0), rectangle(width_mm=40.0, length_mm=70.0)]


def axes(clear, *, samples=80):
    pitch = 2.0 * min(clear.semi_u_mm, clear.semi_v_mm) / samples
    columns, rows = round(2.0 * clear.semi_u_mm / pitch), round(2.0 * clear.semi_v_mm / pitch)
    return (np.arange(columns) + 0.5) / columns * 2.0 - 1.0, (np.arange(rows) + 0.5) / rows * 2.0 - 1.0


@pytest.mark.parametrize("clear", FACES, ids=lambda face: face.shape.value)
def test_every_pixel_of_the_face_belongs_to_one_cell(clear):
    """Pixels off the face have no cell, the others one of the numbers 0 .. c - 1, and no cell is empty."""
    x, y = axes(clear)
    cells = divide(x, y, clear=clear)
    xx, yy = np.meshgrid(x, y)
    inside = clear.contains(xx * clear.semi_u_mm, yy * clear.semi_v_mm)
    assert np.array_equal(cells.label >= 0, inside)
    assert np.array_equal(np.unique(cells.label[inside]), np.arange(cells.x.size))


@pytest.mark.parametrize("clear", FACES, ids=lambda face: face.shape.value)
def test_a_cell_stands_at_the_mean_of_its_pixels(clear):
    """Positions of cells against a slow loop."""
    x, y = axes(clear, samples=24)
    cells = divide(x, y, clear=clear)
    xx, yy = np.meshgrid(x, y)
    for number in range(cells.x.size):
        members = cells.label == number
        assert cells.x[number] == pytest.approx(xx[members].mean(), abs=1e-12)  # rounding
        assert cells.y[number] == pytest.approx(yy[members].mean(), abs=1e-12)  # rounding


@pytest.mark.parametrize("clear", FACES, ids=lambda face: face.shape.value)
def test_cells_are_small_squares_inside_and_slivers_along_the_rim(clear):
    """Inside a cell spans at most four pixels either way; near the rim its pixels lie within one pixel of the same depth."""
    x, y = axes(clear)
    cells = divide(x, y, clear=clear)
    xx, yy = np.meshgrid(x, y)
    depth = distance_from_rim(xx, yy, clear=clear)
    pixel = (x[1] - x[0]) * clear.semi_u_mm / min(clear.semi_u_mm, clear.semi_v_mm)
    rows, columns = np.indices(xx.shape)
    for number in range(0, cells.x.size, 7):  # every seventh says as much as all
        members = cells.label == number
        if depth[members].min() >= RIM_DEPTH:
            assert np.ptp(rows[members]) < CELL_PIXELS
            assert np.ptp(columns[members]) < CELL_PIXELS
        else:
            assert depth[members].max() < RIM_DEPTH
            assert np.ptp(depth[members]) <= pixel * (1.0 + 1e-9)  # rounding


def test_moments_are_the_direct_sums():
    """The sums of products over the pixels of each cell against a slow loop."""
    clear = ellipse(minor_mm=60.0)
    x, y = axes(clear, samples=20)
    cells = divide(x, y, clear=clear)
    label = cells.label[cells.label >= 0]
    rng = np.random.default_rng(4)
    channels, residual, weight = rng.standard_normal((CHANNELS, label.size)), rng.standard_normal(label.size), rng.uniform(size=label.size)
    moments = gather(cells, channels=channels, residual=residual, weight=weight)
    for number in range(cells.x.size):
        members = label == number
        c, w = channels[:, members], weight[members]
        assert moments.products[:, :, number] == pytest.approx((c * w) @ c.T, abs=1e-12)  # rounding
        assert moments.with_residual[:, number] == pytest.approx((c * w) @ residual[members], abs=1e-12)  # rounding


def test_a_sharp_corner_of_a_rectangle_keeps_its_pixels():
    """The pixels in the corners of a rectangle are on the face: no cell along a curved rim swallows or drops them."""
    clear = rectangle(width_mm=40.0, length_mm=70.0)
    assert clear.shape is Shape.RECTANGLE
    assert (divide(*axes(clear), clear=clear).label[[0, 0, -1, -1], [0, -1, 0, -1]] >= 0).all()


def test_the_corners_of_a_rectangle_are_cut_into_squares_of_two_pixels():
    """Where two turned edges meet the light changes from pixel to pixel: no cell there holds more than four, while along the sides slivers hold more."""
    clear = rectangle(width_mm=60.0, length_mm=90.0).clear_aperture()
    x, y = (np.arange(200) - 99.5) / 100.0, (np.arange(300) - 149.5) / 150.0
    label = divide(x, y, clear=clear).label
    size = np.bincount(label[label >= 0])
    assert all(size[corner].max() <= 4 for corner in (label[:12, :12], label[:12, -12:], label[-12:, :12], label[-12:, -12:]))
    assert np.median(size[label[0, 50:150]]) > 4
