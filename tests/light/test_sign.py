"""Hill or hole: each rule against bands found numerically where 2 t(x) cos(theta) = m lambda.

Source: derived from that equation alone; the directions agree with common practice of contact testing, no source.
"""

import math

import pytest
from scipy.optimize import brentq, minimize_scalar

from straightband.light.sign import (
    clock_direction,
    oblique_shift_mm,
    ring_centre_shift_mm,
    shift_toward_open_side_mm,
    two_colour_shift_mm,
)

WEDGE = 30.0  # nm per mm, opening toward +x


def band_at(gap_nm, *, order, wavelength_nm, cosine=1.0):
    """Where the band of an order lies: 2 t(x) cos(theta) = m lambda solved for x in mm."""
    return brentq(lambda x: 2 * gap_nm(x) * cosine - order * wavelength_nm, -1e4, 1e4)


def test_a_hill_pushes_its_band_toward_the_open_side():
    """Over a place 50 nm high the gap is less, so the band lies 5 mm further where the gap opens by 10 nm/mm."""
    wavelength, order, wedge, height = 500.0, 4, 10.0, 50.0
    plain = band_at(lambda x: wedge * x, order=order, wavelength_nm=wavelength)
    raised = band_at(lambda x: wedge * x - height, order=order, wavelength_nm=wavelength)
    assert raised - plain == pytest.approx(5.0, abs=1e-9)
    assert shift_toward_open_side_mm(height_nm=height, wedge_nm_per_mm=wedge) == pytest.approx(raised - plain, abs=1e-9)


@pytest.mark.parametrize(("convex", "mm"), [(True, 10.0), (False, -10.0)])
def test_pressing_the_rim_moves_the_rings(convex, mm):
    """Closing the gap by 2 urad toward a finger at +x moves the rings toward it on a convex pair, away on a concave one, by g R."""
    radius_mm, tilt = 5e6, 2e-6
    sign = 1.0 if convex else -1.0
    centre = minimize_scalar(lambda x: sign * (sign * x**2 / (2 * radius_mm) - tilt * x), bracket=(-30, 0, 30)).x
    assert centre == pytest.approx(mm, abs=1e-4)  # of a numeric minimum
    assert ring_centre_shift_mm(radius_m=5000, edge_tilt_urad=2, convex=convex) == pytest.approx(mm, abs=1e-9)


def test_lowering_the_eye_moves_bands_toward_larger_gap():
    """Seen at 20 degrees instead of squarely the band at 5 um of gap moves 10.7 mm toward the open side of a 30 nm/mm wedge."""
    order = 2 * 5000 / 500.0
    squarely = band_at(lambda x: WEDGE * x, order=order, wavelength_nm=500.0)
    lowered = band_at(lambda x: WEDGE * x, order=order, wavelength_nm=500.0, cosine=math.cos(math.radians(20)))
    assert lowered - squarely == pytest.approx(10.69629541, rel=1e-6)
    assert oblique_shift_mm(gap_um=5, view_rad=math.radians(20), wedge_nm_per_mm=WEDGE) == pytest.approx(lowered - squarely, rel=1e-9)


def test_pressing_moves_bands_the_same_way_as_lowering_the_eye():
    """Taking 300 nm off the gap everywhere also moves a band toward the open side, so one sign rule serves both."""
    before = band_at(lambda x: WEDGE * x, order=20, wavelength_nm=500.0)
    pressed = band_at(lambda x: WEDGE * x - 300.0, order=20, wavelength_nm=500.0)
    assert pressed > before
    assert oblique_shift_mm(gap_um=5, view_rad=0.2, wedge_nm_per_mm=WEDGE) > 0


@pytest.mark.parametrize("convex", [True, False], ids=["touching in the middle", "touching at the rim"])
def test_rings_open_on_a_convex_pair_and_close_on_a_concave_one(convex):
    """When the gap shrinks everywhere a ring grows if the gap widens outward, and shrinks if it narrows."""
    sign = 1.0 if convex else -1.0

    def ring(lowered_nm):
        return brentq(lambda r: 2 * (2000 + sign * 0.1 * r**2 - lowered_nm) - (2000 + sign * 50) * 2, 0, 140)

    assert (ring(20.0) > ring(0.0)) is convex


def test_blue_lies_on_the_thin_side_of_red():
    """In the fourth order red (630 nm) lies 10.7 mm on the thick side of blue (470 nm) over a 30 nm/mm wedge."""
    red = band_at(lambda x: WEDGE * x, order=4, wavelength_nm=630.0)
    blue = band_at(lambda x: WEDGE * x, order=4, wavelength_nm=470.0)
    assert red - blue == pytest.approx(10.66666667, abs=1e-8)
    assert two_colour_shift_mm(order=4, longer_nm=630, shorter_nm=470, wedge_nm_per_mm=WEDGE) == pytest.approx(red - blue, abs=1e-9)


@pytest.mark.parametrize(("hour", "right", "up"), [(12, 0, 1), (3, 1, 0), (6, 0, -1), (9, -1, 0), (1.5, math.sqrt(0.5), math.sqrt(0.5))])
def test_clock_hours_are_directions_in_the_upright_photograph(hour, right, up):
    """12 is up, 3 right, 6 down, 9 left, and halves lie between, as on a clock face."""
    assert clock_direction(hour) == pytest.approx((right, up), abs=1e-12)
