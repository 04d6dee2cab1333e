"""Units of wear against worked conversions."""

import math

import pytest

from straightband.wear.preston import PER_PA_OF_CM2_PER_DYNE, cap_volume_mm3, depth_from_mass_um, removal_rate_um_min


def test_the_older_unit_of_the_coefficient():
    """1 cm2/dyne is 10 per Pa: the published 16e-14 cm2/dyne of ceria on pitch is 1.6e-12 per Pa (SPIE abstract, about 1990)."""
    published_per_pa = 16e-14 * PER_PA_OF_CM2_PER_DYNE
    assert published_per_pa == pytest.approx(1.6e-12, rel=1e-12)


@pytest.mark.parametrize(("coefficient", "um_per_hour"), [(5e-13, 0.72), (1.6e-12, 2.304)])
def test_rate_is_pressure_times_speed(coefficient, um_per_hour):
    """At 2 kPa and 0.2 m/s (Preston 1927, closed form)."""
    rate = removal_rate_um_min(preston_per_pa=coefficient, pressure_kpa=2.0, speed_mm_s=200.0)
    assert 60.0 * rate == pytest.approx(um_per_hour, rel=1e-12)


def test_time_for_a_depth():
    """50 nm at 1e-13 per Pa, 3 kPa and 0.1 m/s take 27.8 minutes (closed form)."""
    rate = removal_rate_um_min(preston_per_pa=1e-13, pressure_kpa=3.0, speed_mm_s=100.0)
    assert 0.05 / rate == pytest.approx(27.77777778, rel=1e-9)


def test_depth_from_weight():
    """1 g off a borosilicate disc 200 mm across is 14.274 um (mass balance)."""
    depth = depth_from_mass_um(mass_g=1.0, area_mm2=math.pi * 100.0**2, density_kg_m3=2230.0)
    assert depth == pytest.approx(14.27398593, rel=1e-9)


def test_glass_in_a_cap():
    """A cap 5 um high on a disc 200 mm across holds 78.54 mm3 (integral of a paraboloid)."""
    assert cap_volume_mm3(sag_um=5.0, radius_mm=100.0) == pytest.approx(78.53981634, rel=1e-9)
