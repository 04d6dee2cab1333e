"""Maps drawn for the verdict scatter as the reading says that it may be wrong."""

from dataclasses import replace

import numpy as np
import pytest

from straightband.fringes.budget import Cause
from straightband.heightmap.figures import without_tilt
from straightband.synthetic.render import render
from straightband.uncertainty import COVERAGE_95
from straightband.workflows.doubts import DRAWS, draws_of
from straightband.workflows.read import read_photo
from straightband.workflows.setup import setup_from_text


def departures(reading):
    """Draws less the map, less their planes, (DRAWS, v, u)."""
    height_map = reading.height_map
    return np.stack([without_tilt(replace(height_map, heights_nm=draw - height_map.heights_nm)).heights_nm for draw in draws_of(reading)])


def test_draws_scatter_as_the_map_states(reading):
    """Over the face, 1.96 times the scatter of the draws is the expanded uncertainty of the map."""
    scatter = COVERAGE_95 * np.sqrt(np.mean(departures(reading) ** 2, axis=0))
    valid = reading.height_map.valid
    ratio = np.sqrt(np.mean(scatter[valid] ** 2) / np.mean(reading.height_map.uncertainty_nm[valid] ** 2))
    assert ratio == pytest.approx(1.0, abs=0.2)  # of 60 draws of a few causes: 1 / sqrt(120) = 9 %, twice


def test_draws_are_the_same_each_time(reading):
    """The same photograph is judged the same each time."""
    assert draws_of(reading).shape == (DRAWS, *reading.height_map.heights_nm.shape)
    np.testing.assert_array_equal(draws_of(reading), draws_of(reading))


def test_draws_are_turned_with_the_map(scene, photograph, reading):
    """When one reversal is undone, the errors that go with places of the photograph go with them."""
    told = {"light": "mercury-green", "minor": "90mm", "mark": "3", "thicker": "2.5"}
    reversed_once = read_photo(photograph, name="bands.jpg", setup=setup_from_text(**told, mirrored="1"))
    assert render(scene, rng=np.random.default_rng(0)).truth.scene.view.mirrored == 0
    np.testing.assert_allclose(
        draws_of(reversed_once) - reversed_once.height_map.heights_nm,
        (draws_of(reading) - reading.height_map.heights_nm)[:, :, ::-1],
        atol=1e-9,  # nm, rounding
    )


def test_few_random_departures_are_drawn_again(reading):
    """A cause that comes as a handful of departures, like the scatter of a few photographs, is drawn from without running out."""
    none = np.zeros((0, reading.phase.points.u_mm.size))
    handful = Cause(name="repeat", origin="", modes_nm=none, draws_nm=np.stack([none.sum(axis=0) + 5.0, none.sum(axis=0) - 5.0]))
    drawn = draws_of(replace(reading, causes=(handful,))) - reading.height_map.heights_nm
    assert np.unique(drawn[np.isfinite(drawn)].round(9)).tolist() == [-5.0, 5.0]
