"""Depth of damage and the usual rates against the formula remembered, as arithmetic and as bands of plausibility."""

import pytest

from straightband.wear.abrasive import abrasive_of, damage_depth


@pytest.mark.parametrize(("size", "lower", "upper"), [(30.0, 3.030844869, 36.02326411), (9.0, 1.336614478, 12.94601568)])
def test_depth_of_damage(size, lower, upper):
    """0.3 L^0.68 to 2 L^0.85 (Lambropoulos 2000, formula from memory: this tests the arithmetic)."""
    depth = damage_depth(size)
    assert (depth.lower_um, depth.upper_um) == (pytest.approx(lower, rel=1e-9), pytest.approx(upper, rel=1e-9))


@pytest.mark.parametrize(("before", "least"), [(29.2, 35.2050868), (17.3, 22.56156302), (5.0, 7.855150302)])
def test_least_removal_after_common_grades(before, least):
    """What must come off after F320, F400 and 5 um alumina, by the same formula (trade practice, from memory)."""
    assert damage_depth(before).upper_um == pytest.approx(least, rel=1e-9)


@pytest.mark.parametrize("size", [5.0, 10.0, 20.0, 30.0])
def test_usual_rates_lie_in_the_usual_range(size):
    """Loose grains of 5 to 30 um have 1e-11 to 2e-10 per Pa (from memory: a band of plausibility)."""
    assert 1e-11 <= abrasive_of(size).preston_per_pa <= 2e-10


def test_a_finer_layer_is_stiffer():
    """Half the grain gives half as much under the same pressure (our own estimate, held to itself)."""
    assert abrasive_of(10.0).stiffness_kpa_um == pytest.approx(2.0 * abrasive_of(20.0).stiffness_kpa_um)
