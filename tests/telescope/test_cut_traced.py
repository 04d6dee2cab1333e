"""The size and the place of a diagonal against a ray trace that shares nothing with the code: 200 random telescopes, f/3 to f/12.

Source: straight lines from the rim of the stop to the rim of the field, a plane at 45 degrees, and a search for the outermost crossing.
"""

import math

import numpy as np
import pytest

from straightband.telescope.sizing import cut_of_cone, full_field_of
from straightband.telescope.telescope import Telescope

TOLERANCE_MM = 1e-6  # what was asked for; the search itself ends within 1e-9


def random_telescopes(count=200):
    rng = np.random.default_rng(314)
    for _ in range(count):
        aperture = rng.uniform(80, 1000)
        focal = aperture * rng.uniform(3, 12)
        field = rng.uniform(0, 0.12) * aperture
        yield Telescope(aperture_mm=aperture, focal_length_mm=focal, intercept_mm=focal * rng.uniform(0.08, 0.35), full_field_mm=field)


def crossings(scope, start_angle, end_angle):
    """Where lines from the rim of the stop to the rim of the field meet the plane, from its crossing: across, toward the focuser."""
    start = scope.aperture_mm / 2 * np.array([np.sin(start_angle), np.cos(start_angle), 0 * start_angle])
    end = scope.full_field_mm / 2 * np.array([np.sin(end_angle), np.cos(end_angle), 0 * end_angle])
    end[2] = scope.focal_length_mm
    normal, point = np.array([0.0, 1.0, -1.0]), np.array([0.0, 0.0, scope.focal_length_mm - scope.intercept_mm])
    t = (normal @ (point[:, None] - start)) / (normal @ (end - start))
    meets = start + t * (end - start) - point[:, None]
    assert np.allclose(meets[1], meets[2], atol=1e-9)  # on the plane: as far up the tube as toward the focuser
    return meets[:2]


def outermost(scope, measure):
    """Largest `measure` of the crossings of all lines: both rim angles searched on ever finer grids."""
    middle, width = np.zeros(2), math.pi
    best = -math.inf
    for _ in range(14):
        steps = np.linspace(-width, width, 13)
        a, b = np.meshgrid(middle[0] + steps, middle[1] + steps)
        values = measure(crossings(scope, a.ravel(), b.ravel()))
        at = int(np.argmax(values))
        best, middle, width = float(values[at]), np.array([a.ravel()[at], b.ravel()[at]]), width / 4
    return best


@pytest.mark.parametrize(
    "scope", list(random_telescopes()), ids=lambda scope: f"{scope.aperture_mm:.0f} f/{scope.focal_length_mm / scope.aperture_mm:.1f}"
)
def test_the_cut_is_that_of_traced_rays(scope):
    """Width, length, offset and the 1 : sqrt(2) blank agree with the trace to a millionth of a millimetre."""
    cut = cut_of_cone(scope, full_field_mm=scope.full_field_mm)
    half_width = outermost(scope, lambda meets: meets[0])
    to_focuser, from_focuser = outermost(scope, lambda meets: meets[1]), outermost(scope, lambda meets: -meets[1])
    middle = (from_focuser - to_focuser) / 2
    blank = 2 * outermost(scope, lambda meets: np.hypot(meets[0], meets[1] + middle))  # the ellipse seen along the tube is round
    found = (cut.cut_minor_mm, cut.cut_major_mm, cut.offset_mm, cut.minor_axis_mm)
    traced = (2 * half_width, (to_focuser + from_focuser) * math.sqrt(2), middle, blank)
    assert found == pytest.approx(traced, abs=TOLERANCE_MM)
    assert full_field_of(scope, minor_axis_mm=cut.minor_axis_mm) == pytest.approx(scope.full_field_mm, abs=TOLERANCE_MM)
