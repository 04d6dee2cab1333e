"""Spectral lines, lamps and air.

Sources: standard spectral lines of optical glass (e, g, h, d, C') and the sodium doublet, as in ISO 7944 and university tables; CIPM
Recommendation 2 (2007) for the red helium-neon laser; P. E. Ciddor, Appl. Opt. 35, 1566-1573 (1996), for air.
"""

import pytest

from straightband.errors import BadInput
from straightband.light.lines import LAMPS, LINES_AIR_NM, air_index, lamp_from_text, sodium_mean_nm, wavelength_in_air_nm

LIGHT_SPEED = 299792458.0  # m/s, exact


@pytest.mark.parametrize(
    ("line", "nm", "within"),
    [
        ("mercury e", 546.074, 0.005),
        ("mercury g", 435.8343, 0.001),
        ("mercury h", 404.6561, 0.001),
        ("sodium D2", 588.9950, 0.001),
        ("sodium D1", 589.5924, 0.001),
        ("helium d", 587.5618, 0.001),
        ("cadmium C'", 643.8469, 0.001),
        ("helium-neon", 632.816, 0.05),
    ],
)
def test_lines_are_the_published_ones(line, nm, within):
    """Each line in air is the published value, to the figures shops quote it with."""
    assert LINES_AIR_NM[line] == pytest.approx(nm, abs=within)


@pytest.mark.parametrize(("weight", "nm"), [(1.0, 589.2937), (2.0, 589.1941333)])
def test_mean_of_the_sodium_doublet(weight, nm):
    """Plain mean, and the mean with D2 twice as bright, of the published doublet."""
    assert sodium_mean_nm(d2_weight=weight) == pytest.approx(nm, abs=1e-6)  # arithmetic on seven figures


def test_the_sodium_lamp_covers_both_means():
    """What is not known of the doublet's ratio lies inside the lamp's stated uncertainty."""
    lamp = LAMPS["sodium"]
    assert abs(lamp.wavelength_nm - sodium_mean_nm(d2_weight=2.0)) < lamp.wavelength_uncertainty_nm


@pytest.mark.parametrize(("vacuum", "air", "within"), [(633.0, 632.8250048, 1e-6), (632.9908, 632.8158072, 1e-5)])
def test_wavelength_in_air(vacuum, air, within):
    """Vacuum to standard air as CIDDOR 1996 eq. 1 gives it; 633.0 nm is worked in public documentation of that equation."""
    assert wavelength_in_air_nm(vacuum) == pytest.approx(air, abs=within)


def test_index_of_air_at_the_mercury_line():
    """The index less one of standard air at 546.2256 nm in vacuum is 277.912e-6 (CIDDOR 1996 eq. 1)."""
    assert (air_index(546.2256) - 1) * 1e6 == pytest.approx(277.9122106, abs=0.01)  # ten times better than weather


def test_the_red_laser_line_follows_from_its_frequency():
    """473.6127 THz (CIPM 2007) is 632.99075 nm in vacuum and, in air, the 632.8 nm of the table."""
    vacuum_nm = LIGHT_SPEED / 473.6127e12 * 1e9
    assert vacuum_nm == pytest.approx(632.9907496, rel=2e-7)  # its standard uncertainty is 1.5e-6
    assert wavelength_in_air_nm(vacuum_nm) == pytest.approx(LINES_AIR_NM["helium-neon"], abs=LAMPS["helium-neon"].wavelength_uncertainty_nm)


@pytest.mark.parametrize("name", sorted(LAMPS))
def test_lamps_are_found_by_their_trade_names(name):
    """A lamp's name is understood with stray spaces and capitals."""
    assert lamp_from_text(f" {name.upper()} ") is LAMPS[name]


@pytest.mark.parametrize(
    ("text", "nm", "uncertainty"),
    [("632.8nm", 632.8, 0.05), ("633nm", 633.0, 0.5), ("0.6328um", 632.8, 0.05), ("589,29 nm", 589.29, 0.005)],
)
def test_a_typed_wavelength_is_as_good_as_its_last_figure(text, nm, uncertainty):
    """Half a unit of the last figure typed is the uncertainty that goes into the budget."""
    lamp = lamp_from_text(text)
    assert lamp.wavelength_nm == pytest.approx(nm, rel=1e-12)
    assert lamp.wavelength_uncertainty_nm == pytest.approx(uncertainty, rel=1e-9)


def test_an_unknown_lamp_is_refused_with_the_list():
    """A name that is no lamp is refused with what could have been written."""
    with pytest.raises(BadInput) as refused:
        lamp_from_text("candle")
    assert str(refused.value) == (
        "the light was given as 'candle'; a wavelength or one of sodium, mercury-green, helium-neon, red-led, green-led, blue-led is needed; write it like 632.8nm."
    )
