"""Heat in a plate, and a plate on its air.

Sources: slowest modes of the heat equation (Carslaw and Jaeger, Conduction of Heat in Solids, chapter 3), bending by a gradient (Boley and Weiner, Theory of
Thermal Stresses), squeeze film between discs (Stefan 1874): derived, with a heat equation in finite differences and a numerical integration beside them.
Material values: borosilicate, soda-lime and fused silica partly from public data pages, the rest from memory, so that 6 % is allowed.
"""

import math

import numpy as np
import pytest

from straightband.glass import GLASSES, GRAVITY_M_S2, weight_kg
from straightband.glass.film import AIR_PA_S, settling_s
from straightband.glass.heat import (
    AIR_W_M2_K,
    bend_after_nm,
    cooling_s,
    difference_sag_nm,
    diffusivity_m2_s,
    equalising_s,
    fresh_bend_nm,
    hand_heat_j_m2,
    mean_rise_k,
    swelling_nm,
    wait_s,
)

BOROSILICATE = GLASSES["borosilicate"]


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("borosilicate", (3.3e-6, 1.14, 2230, 830, 6.4e10, 0.2, 1.473)),
        ("soda-lime", (9.0e-6, 1.0, 2520, 840, 7.2e10, 0.22, 1.518)),
        ("fused-silica", (5.5e-7, 1.38, 2203, 740, 7.27e10, 0.17, 1.459)),
        ("borosilicate-crown", (7.1e-6, 1.114, 2510, 858, 8.2e10, 0.206, 1.5168)),
        ("glass-ceramic", (5.0e-8, 1.46, 2530, 800, 9.03e10, 0.243, 1.542)),
    ],
)
def test_the_table_of_glasses(name, values):
    """Expansion, conductivity, density, heat capacity, modulus, Poisson's ratio and index of five glasses within 6 % (THERM-1)."""
    glass = GLASSES[name]
    found = (
        glass.expansion_per_k, glass.conductivity_w_m_k, glass.density_kg_m3, glass.heat_capacity_j_kg_k,
        glass.youngs_modulus_pa, glass.poisson_ratio, glass.index,
    )  # fmt: skip
    assert found == pytest.approx(values, rel=0.06)


def test_times_in_which_heat_spreads():
    """Borosilicate of 20 mm and fused silica of 40 mm (THERM-2)."""
    assert diffusivity_m2_s(BOROSILICATE) == pytest.approx(6.159165811e-7, rel=1e-9)
    assert math.pi**2 * equalising_s(BOROSILICATE, thickness_mm=20.0) == pytest.approx(649.4385965, rel=1e-9)
    assert equalising_s(BOROSILICATE, thickness_mm=20.0) == pytest.approx(65.8018873, rel=1e-3)
    assert 4.0 * equalising_s(BOROSILICATE, thickness_mm=20.0) == pytest.approx(263.2075492, rel=1e-3)
    assert equalising_s(GLASSES["fused-silica"], thickness_mm=40.0) == pytest.approx(191.5081971, rel=1e-3)
    assert cooling_s(BOROSILICATE, thickness_mm=20.0) / 2.0 == pytest.approx(1851.0, rel=1e-3)  # THERM-2 has both faces open


@pytest.mark.parametrize(
    ("name", "sag"), [("borosilicate", 66), ("soda-lime", 180), ("fused-silica", 11), ("borosilicate-crown", 142), ("glass-ceramic", 1)]
)
def test_a_tenth_of_a_degree_between_the_faces(name, sag):
    """A 200 mm plate, 25 mm thick, with 0.1 K from front to back (THERM-3)."""
    assert difference_sag_nm(GLASSES[name], width_mm=200.0, thickness_mm=25.0, difference_k=0.1) == pytest.approx(sag, rel=1e-9)


def test_the_difference_that_makes_a_twentieth_of_a_wave():
    """0.0414 K bend 200 mm of borosilicate, 25 mm thick, by 27.3 nm (THERM-3)."""
    sag = difference_sag_nm(BOROSILICATE, width_mm=200.0, thickness_mm=25.0, difference_k=0.04136363636)
    assert sag == pytest.approx(27.3, rel=1e-9)


def test_ten_seconds_of_a_hand():
    """Heat, swelling, mean rise and bend of borosilicate under 5 K for 10 s (THERM-4)."""
    heat = hand_heat_j_m2(BOROSILICATE, warmer_k=5.0, seconds=10.0)
    assert heat / 1000.0 == pytest.approx(25.91605942, rel=1e-9)
    assert swelling_nm(BOROSILICATE, heat_j_m2=heat) == pytest.approx(46.20616786, rel=1e-9)
    assert swelling_nm(BOROSILICATE, heat_j_m2=heat, held_sideways=True) == pytest.approx(69.30925179, rel=1e-9)
    assert mean_rise_k(BOROSILICATE, heat_j_m2=heat, thickness_mm=20.0) == pytest.approx(0.7000934524, rel=1e-9)
    assert fresh_bend_nm(BOROSILICATE, heat_j_m2=heat, width_mm=100.0, thickness_mm=20.0) == pytest.approx(866.3656473, rel=1e-9)


def test_how_long_the_first_bend_takes():
    """The bend of the spreading heat falls to 27.3 nm in 213.7 s (THERM-4)."""
    spreading, _ = bend_after_nm(BOROSILICATE, width_mm=100.0, thickness_mm=20.0, seconds=213.6851878)
    assert spreading == pytest.approx(27.3, rel=0.01)


def heat_equation(glass, *, thickness_mm, seconds, start):
    """Temperatures through a plate after a time, one face insulated, the other open to air at 0: implicit finite differences."""
    cells, steps = 200, 2000
    h = thickness_mm / 1000.0
    dz, dt = h / cells, seconds / steps
    rate = diffusivity_m2_s(glass) * dt / dz**2
    loss = AIR_W_M2_K * dt / (glass.density_kg_m3 * glass.heat_capacity_j_kg_k * dz)
    matrix = np.diag(np.full(cells, 1.0 + 2.0 * rate)) - rate * (np.eye(cells, k=1) + np.eye(cells, k=-1))
    matrix[0, 0] -= rate
    matrix[-1, -1] += loss - rate
    step = np.linalg.matrix_power(np.linalg.inv(matrix), steps)
    return step @ start


def bend_of(glass, temperature, *, width_mm, thickness_mm):
    """Sag from the thermal moment: curvature 12 alpha / h^3 times the integral of T z, z from the middle; convex toward the first cell."""
    h = thickness_mm / 1000.0
    z = (np.arange(temperature.size) + 0.5) / temperature.size * h - h / 2.0
    moment = -np.sum(temperature * z) * h / temperature.size
    return 1e9 * 12.0 * glass.expansion_per_k / h**3 * moment * (width_mm / 1000.0) ** 2 / 8.0


def test_the_slow_bend_of_a_plate_that_loses_heat_through_one_face():
    """An hour after a hand the bend is that of the heat equation in finite differences within a tenth, and so is its sense, toward the closed face."""
    thickness, seconds = 20.0, 3600.0
    start = np.full(200, mean_rise_k(BOROSILICATE, heat_j_m2=hand_heat_j_m2(BOROSILICATE), thickness_mm=thickness))
    after = heat_equation(BOROSILICATE, thickness_mm=thickness, seconds=seconds, start=start)
    expected = bend_of(BOROSILICATE, after, width_mm=100.0, thickness_mm=thickness)
    spreading, losing = bend_after_nm(BOROSILICATE, width_mm=100.0, thickness_mm=thickness, seconds=seconds)
    assert expected > 0.0
    assert losing == pytest.approx(expected, rel=0.1)
    assert spreading < 1e-6


def test_the_first_bend_by_finite_differences():
    """Three minutes after all heat lay at the open face, finite differences have the one bend less the other, which works against it; both add in the bound."""
    thickness, seconds = 20.0, 180.0
    start = np.zeros(200)
    start[-1] = 200 * mean_rise_k(BOROSILICATE, heat_j_m2=hand_heat_j_m2(BOROSILICATE), thickness_mm=thickness)
    after = heat_equation(BOROSILICATE, thickness_mm=thickness, seconds=seconds, start=start)
    found = abs(bend_of(BOROSILICATE, after, width_mm=100.0, thickness_mm=thickness))
    spreading, losing = bend_after_nm(BOROSILICATE, width_mm=100.0, thickness_mm=thickness, seconds=seconds)
    assert found == pytest.approx(spreading - losing, rel=0.15)  # while the heat lies at the open face more of it is lost
    assert found < spreading + losing


def test_waiting_ends_when_the_bend_is_small_enough():
    """After the stated wait the two bends together are the limit; glass-ceramic need not be waited for."""
    wait = wait_s(BOROSILICATE, width_mm=127.0, thickness_mm=15.0, limit_nm=5.0)
    assert sum(bend_after_nm(BOROSILICATE, width_mm=127.0, thickness_mm=15.0, seconds=wait)) == pytest.approx(5.0, rel=1e-6)
    assert wait_s(GLASSES["glass-ceramic"], width_mm=50.0, thickness_mm=25.0, limit_nm=5.0) == 0.0


@pytest.mark.parametrize(("to_um", "seconds"), [(5.0, 9.832625015), (2.0, 61.97533343), (1.0, 248.1992921)])
def test_a_plate_sinking_on_its_air(to_um, seconds):
    """A 200 mm borosilicate plate, 25 mm thick, from 50 um down (GRAV-3), and the law of force integrated in small steps."""
    load = weight_kg(BOROSILICATE, volume_mm3=math.pi * 100.0**2 * 25.0) * GRAVITY_M_S2
    assert load == pytest.approx(17.17573852, rel=1e-9)
    assert settling_s(load_n=load, radius_mm=100.0, from_um=50.0, to_um=to_um) == pytest.approx(seconds, rel=1e-9)
    gaps = np.geomspace(50e-6, to_um * 1e-6, 20001)
    middle = np.sqrt(gaps[1:] * gaps[:-1])
    speed = 2.0 * load * middle**3 / (3.0 * math.pi * AIR_PA_S * 0.1**4)
    assert np.sum(-np.diff(gaps) / speed) == pytest.approx(seconds, rel=1e-5)  # the steps
