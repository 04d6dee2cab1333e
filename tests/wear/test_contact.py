"""Pressure against statics worked out by hand, and against the overhanging discs of elementary beam theory."""

import numpy as np
import pytest
from scipy.optimize import minimize

from straightband.errors import BadInput
from straightband.face.shapes import round_face
from straightband.wear.contact import Places, places_of, press
from straightband.wear.kinematics import Poses
from straightband.wear.surface import flat_surface
from straightband.wear.whole import Grit, wear_rates


def _strip(*, points=2000, load_mm=0.0):
    x = (np.arange(points) + 0.5) / points * 2.0 - 1.0  # a strip from -1 to 1, 1 mm wide
    return x, Places(arms_mm=np.stack([np.ones(points), x]), areas_mm2=np.full(points, 2.0 / points), load_arms_mm=np.array([1.0, load_mm]))


def test_flat_faces_press_evenly():
    """Under a central load flat faces press with load over area everywhere (definition): 2 N on 2 mm2 is 1000 kPa."""
    x, places = _strip()
    contact = press(np.zeros_like(x), places=places, stiffness_kpa_um=50.0, force_n=2.0)
    assert contact.pressure_kpa == pytest.approx(1000.0, rel=1e-9)
    assert contact.settling_um == pytest.approx([20.0, 0.0], abs=1e-6)


def test_an_eccentric_load_presses_as_a_wedge():
    """Within the middle third a strip stays pressed: p = W/A (1 + 3 e x) for half-length 1 (Navier's rule, closed form)."""
    x, places = _strip(load_mm=0.25)
    contact = press(np.zeros_like(x), places=places, stiffness_kpa_um=50.0, force_n=2.0)
    assert contact.pressure_kpa == pytest.approx(1000.0 * (1.0 + 0.75 * x), rel=1e-5)  # second moment of 2000 points


def test_beyond_the_middle_third_the_far_side_lifts():
    """A load at 0.6 of the half-length presses a triangle three times 0.4 long, twice W over its area at the rim (closed form)."""
    x, places = _strip(load_mm=0.6)
    pressure = press(np.zeros_like(x), places=places, stiffness_kpa_um=50.0, force_n=2.0).pressure_kpa
    assert np.sum(pressure > 0.0) * 1e-3 == pytest.approx(1.2, abs=0.002)  # a point or two of 2000
    assert pressure[-1] == pytest.approx(2.0 * 2.0 / 1.2 * 1000.0, rel=0.002)


def test_a_proud_place_carries_more():
    """A step of 4 um on half the strip with a stiff layer adds 50 kPa per um there, less what the tilt takes up (balance checked)."""
    x, places = _strip()
    contact = press(np.where(x > 0.0, 4.0, 0.0), places=places, stiffness_kpa_um=50.0, force_n=2.0)
    for arm, load in zip(places.arms_mm, (2.0, 0.0), strict=True):
        assert np.sum(contact.pressure_kpa * places.areas_mm2 * arm) * 1e-3 == pytest.approx(load, abs=1e-6)
    expected = 1000.0 + 50.0 * (np.where(x > 0.0, 2.0, -2.0) - 3.0 * x)  # least-squares line through a step of +-2 is 3x
    assert contact.pressure_kpa == pytest.approx(expected, rel=1e-4)


def test_against_a_general_minimiser():
    """The balance of a bumpy face on 60 places agrees with scipy's minimiser of the same energy (independent implementation)."""
    rng = np.random.default_rng(3)
    x, y = rng.uniform(-30.0, 30.0, (2, 60))
    proud, areas = rng.normal(0.0, 5.0, 60), rng.uniform(5.0, 15.0, 60)
    places = places_of(x_mm=x, y_mm=y, areas_mm2=areas, load_x_mm=4.0, load_y_mm=-3.0)
    contact = press(proud, places=places, stiffness_kpa_um=3.0, force_n=1.5)

    def energy(settling):
        squeeze = np.maximum(proud + settling @ places.arms_mm, 0.0)
        return 0.5 * np.sum(3e-3 * areas * squeeze**2) - 1.5 * (settling @ places.load_arms_mm)

    found = minimize(energy, np.zeros(3), method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-14, "maxiter": 20000, "maxfev": 20000})
    assert 0 < np.sum(contact.pressure_kpa > 0.0) < 60
    assert contact.settling_um == pytest.approx(found.x, rel=1e-4, abs=1e-5)  # what a simplex reaches


def test_many_poses_at_once_are_the_poses_one_by_one():
    """A batch gives each pose what it gets alone, at any of several stiffnesses and loads."""
    rng = np.random.default_rng(4)
    x, y = rng.uniform(-30.0, 30.0, (2, 5, 40))
    proud, areas = rng.normal(0.0, 3.0, (5, 40)), rng.uniform(0.0, 15.0, (5, 40))
    stiffness, force, load = rng.uniform(1.0, 5.0, 5), rng.uniform(1.0, 9.0, 5), rng.uniform(-6.0, 6.0, 5)
    together = press(
        proud,
        places=places_of(x_mm=x, y_mm=y, areas_mm2=areas, load_x_mm=load, load_y_mm=0.0 * load),
        stiffness_kpa_um=stiffness,
        force_n=force,
    )
    for k in range(5):
        places = places_of(x_mm=x[k], y_mm=y[k], areas_mm2=areas[k], load_x_mm=load[k], load_y_mm=0.0)
        alone = press(proud[k], places=places, stiffness_kpa_um=stiffness[k], force_n=force[k])
        assert together.pressure_kpa[k] == pytest.approx(alone.pressure_kpa, rel=1e-5, abs=1e-5)


def test_a_load_outside_the_contact_is_refused():
    """A plate whose centre hangs over the rim falls; that is one sentence, not a number."""
    x, places = _strip(load_mm=1.2)
    with pytest.raises(
        BadInput,
        match=r"^the upper plate's load stands outside the contact; its line must pass through where the plates meet; shorten the stroke\.$",
    ):
        press(np.zeros_like(x), places=places, stiffness_kpa_um=50.0, force_n=2.0)


def _overhanging(offset_mm):
    """Wear over mean pressure of two discs of radius 1 mm, `offset_mm` apart, moved by translation: every place as fast as another."""
    disc = flat_surface(round_face(diameter_mm=2.0), cells=161)
    still = np.zeros(1)
    poses = Poses(
        centre_x_mm=np.array([offset_mm]), centre_y_mm=still, velocity_x_mm_s=np.ones(1), bottom_rad=still, top_rad=still, bottom_rad_s=0.0,
        top_rad_s=0.0,
    )  # fmt: skip
    wear = wear_rates(disc, disc, poses=poses, grit=Grit(stiffness_kpa_um=1e-3, top_per_pa=1.0, bottom_per_pa=1.0), force_n=1.0)
    per_pressure = 6e7 * 1e3 / np.pi  # k v in um/min, times W over the area of a whole disc in kPa
    radius = np.hypot(disc.u_mm[None, :], disc.v_mm[:, None])
    weight = np.sqrt(disc.areas_mm2)
    columns = np.stack([weight, weight * radius**2], axis=-1).reshape(-1, 2)
    curves = [
        np.linalg.lstsq(columns, (weight * rate).ravel() / per_pressure, rcond=None)[0][1] for rate in (wear.top_um_min, wear.bottom_um_min)
    ]
    rim = np.abs(radius - 0.95) < 0.01
    return curves, [rate[80, 80] / per_pressure for rate in (wear.top_um_min, wear.bottom_um_min)], [
        rate[rim].mean() / per_pressure for rate in (wear.top_um_min, wear.bottom_um_min)
    ]  # fmt: skip


def test_overhang_hollows_the_upper_plate():
    """Discs 0.3 radii apart: more pressure at the upper one's centre, more at the lower one's rim (rigid plates, linear pressure)."""
    _, (top_middle, bottom_middle), (top_rim, bottom_rim) = _overhanging(0.3)
    assert top_middle == pytest.approx(1.391488849, rel=0.005)
    assert bottom_middle == pytest.approx(1.078444249, rel=0.005)
    assert top_rim == pytest.approx(0.3857921561, rel=0.02)
    assert bottom_rim == pytest.approx(0.8590541252, rel=0.02)


def test_overhang_bends_the_pair_as_its_square():
    """What a mated pair keeps is top concave, bottom convex, and grows as the offset squared, as the linear rigid model has it."""
    kept = {}
    for offset in (0.1, 0.3, 0.5):
        (top, bottom), _, _ = _overhanging(offset)
        kept[offset] = (top - bottom) / 2.0
    assert kept[0.1] == pytest.approx(-0.06004271475, rel=0.03)
    assert kept[0.3] == pytest.approx(-0.5399973925, rel=0.03)
    assert kept[0.5] == pytest.approx(-1.499914234, rel=0.03)  # though a tenth of the contact lifts, where the linear model pulls
    assert kept[0.5] / kept[0.1] == pytest.approx(25.0, rel=0.03)


def test_plates_that_do_not_meet_are_refused():
    """Where no place of a pose is touched there is no balance to seek: a sentence, not a fault of linear algebra."""
    _, places = _strip()
    apart = Places(arms_mm=places.arms_mm, areas_mm2=0.0 * places.areas_mm2, load_arms_mm=places.load_arms_mm)
    with pytest.raises(BadInput, match="nothing of the plates meets"):
        press(np.zeros(2000), places=apart, stiffness_kpa_um=5.0, force_n=1.0)
