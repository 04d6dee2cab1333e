"""Surface form after ISO 10110-5.

Sources: ISO 10110-5:2007 and :2015, ISO 14999-4, from public summaries of the optics trade (the texts were not seen), where `3/ - (1); RMSa < 0.1;
lambda = 546 nm` is worked as B = 273 nm and `3/ 2(1/0.5)` at 632.8 nm as 316.4 nm a fringe; Noll's polynomials give the closed forms.
"""

import math
from dataclasses import asdict, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from straightband.errors import BadInput
from straightband.face.polynomials import circle_polynomials, ellipse_polynomials
from straightband.face.shapes import ellipse, rectangle, round_face
from straightband.verdict.decision import Decision
from straightband.verdict.iso10110 import FormQuantities, compare, form_quantities, form_table, form_text, parse_tolerance

ROUND = round_face(diameter_mm=100)
NOTHING = dict.fromkeys(("a_nm", "b_nm", "c_nm", "rms_t_nm", "rms_i_nm", "rms_a_nm"), math.inf)
ADVICE = "write it like 3/0.5(0.2) or 3/140nm(55nm); RMSi < 15nm"


def even_points(face, *, rings=300, spokes=240):
    """Points of equal area each on a round or elliptical face."""
    r = np.sqrt((np.arange(rings) + 0.5) / rings)[:, None]
    angle = 2 * np.pi * np.arange(spokes)[None, :] / spokes
    return (face.semi_u_mm * r * np.cos(angle)).ravel(), (face.semi_v_mm * r * np.sin(angle)).ravel()


@pytest.fixture(scope="module")
def composed():
    """A round surface of 30, 12, 5 and 8 nm rms of Noll's terms 4, 6, 8 and 11."""
    u, v = even_points(ROUND)
    z = circle_polynomials(u / 50, v / 50, order=4)
    return form_quantities(30 * z[3] + 12 * z[5] + 5 * z[7] + 8 * z[10], u_mm=u, v_mm=v, area=ROUND)


@pytest.mark.parametrize(
    ("name", "nm", "within"),
    [
        ("a_nm", 103.9230485, 1e-4),
        ("b_nm", 87.08543506, 5e-3),
        ("c_nm", 26.83281573, 1e-4),
        ("rms_t_nm", 33.66006536, 1e-4),
        ("rms_i_nm", 15.26433752, 1e-4),
        ("rms_a_nm", 13.0, 1e-4),
    ],
)
def test_quantities_of_a_composed_surface(composed, name, nm, within):
    """A = 2 sqrt3 x 30, C = 1.5 sqrt5 x 8, the rms values are roots of sums of squares; tolerances are those of the sampling."""
    assert getattr(composed, name) == pytest.approx(nm, rel=within)


def test_the_sphere_in_fringes(composed):
    """The same sphere is 0.3806 fringe spacings of 546.07 nm."""
    assert composed.a_nm / 273.035 == pytest.approx(0.3806217095, rel=1e-4)  # sampling


def test_rms_values_add_as_squares_on_a_round_area(composed):
    """There the sphere, the symmetric rest and the asymmetric rest are orthogonal."""
    sphere = composed.a_nm / (2 * math.sqrt(3))
    assert composed.rms_t_nm**2 == pytest.approx(sphere**2 + composed.rms_i_nm**2, rel=1e-3)  # sampling
    assert composed.rms_i_nm**2 == pytest.approx(8.0**2 + composed.rms_a_nm**2, rel=1e-3)


def test_on_an_ellipse_the_sphere_is_fitted_on_the_ellipse():
    """The golden diagonal (25, 6, 10, 4, 7 nm of E4, E5, E6, E8, E11) has A = 104.45 nm, RMSt 28.74 and RMSi 14.18 nm by orthonormality."""
    face = ellipse(minor_mm=60)
    u, v = even_points(face)
    e = ellipse_polynomials(v / face.semi_major_mm, u / face.semi_major_mm, aspect=1 / math.sqrt(2))
    found = form_quantities(25 * e[3] + 6 * e[4] + 10 * e[5] + 4 * e[7] + 7 * e[10], u_mm=u, v_mm=v, area=face)
    assert found.a_nm == pytest.approx(104.4465936, rel=1e-4)  # sampling
    assert found.rms_t_nm == pytest.approx(28.74021573, rel=1e-4)
    assert found.rms_i_nm == pytest.approx(14.17744688, rel=1e-4)
    assert found.b_nm == pytest.approx(90.40022408, rel=1e-2)


def test_the_sphere_of_a_rectangle_counts_to_its_corners():
    """On a rectangle the PV of a sphere is its height between the middle and the corners."""
    face = rectangle(width_mm=30, length_mm=40)
    u, v = (a.ravel() for a in np.meshgrid(np.linspace(-14.9, 14.9, 80), np.linspace(-19.9, 19.9, 100)))
    assert form_quantities(0.2 * (u**2 + v**2), u_mm=u, v_mm=v, area=face).a_nm == pytest.approx(0.2 * 25**2, rel=1e-9)


def test_a_turned_edge_is_rotationally_symmetric():
    """An edge that falls over its last tenth all round is in C, and leaves nothing much for RMSa."""
    u, v = even_points(ROUND)
    turned = -80 * np.clip((np.hypot(u, v) - 45) / 5, 0, None) ** 2
    found = form_quantities(turned, u_mm=u, v_mm=v, area=ROUND)
    assert found.c_nm == pytest.approx(found.b_nm, rel=0.05)  # what even powers to the 16th follow
    assert found.rms_a_nm < 0.1 * found.rms_i_nm


@given(piston=st.floats(-1e3, 1e3), tilt=st.floats(-50, 50))
def test_piston_and_tilt_are_no_form(piston, tilt):
    """How the piece lay under the camera changes no quantity."""
    u, v = even_points(ROUND, rings=12, spokes=24)
    h = 3 * np.sin(u / 9) + 0.01 * v**2
    both = form_table(np.stack([h, h + piston + tilt * u - 2 * tilt * v]), u_mm=u, v_mm=v, area=ROUND)
    np.testing.assert_allclose(both[1], both[0], atol=1e-7)  # 5000 nm times rounding


@pytest.mark.parametrize(
    ("text", "limits", "wavelength", "assumed"),
    [
        ("3/0.5(0.2)", {"a_nm": 136.5175, "b_nm": 54.607}, 546.07, True),
        ("3/0.5(0.2/0.1)", {"a_nm": 136.5175, "b_nm": 54.607, "c_nm": 27.3035}, 546.07, True),
        ("3/ - (1); RMSa < 0.1; lambda = 546 nm", {"b_nm": 273.0, "rms_a_nm": 27.3}, 546.0, False),
        ("3/ 2(1/0.5); λ = 632.8 nm", {"a_nm": 632.8, "b_nm": 316.4, "c_nm": 158.2}, 632.8, False),
        ("3/–(0,04); lambda=546nm", {"b_nm": 10.92}, 546.0, False),
        ("3/140 nm (55 nm/27 nm)", {"a_nm": 140.0, "b_nm": 55.0, "c_nm": 27.0}, 546.07, False),
        ("3/140(55/27) nm", {"a_nm": 140.0, "b_nm": 55.0, "c_nm": 27.0}, 546.07, False),
        ("3/- RMSt<0.05; RMSi<12nm; RMSa≤0.02", {"rms_t_nm": 13.65175, "rms_i_nm": 12.0, "rms_a_nm": 5.4607}, 546.07, True),
        ("3/-(-/0.2)", {"c_nm": 54.607}, 546.07, True),
        (" 3 / 1 ", {"a_nm": 273.035}, 546.07, True),
    ],
)
def test_indications_are_read(text, limits, wavelength, assumed):
    """Fringe spacings are half the wavelength named, or half of 546.07 nm; a dash asks for nothing; nanometres are taken as they are."""
    tolerance = parse_tolerance(text)
    assert asdict(tolerance.limits) == pytest.approx(NOTHING | limits, rel=1e-9)
    assert (tolerance.wavelength_nm, tolerance.wavelength_assumed) == (wavelength, assumed)


@pytest.mark.parametrize("pv_waves", [(10, 0.2317651583), (4, 0.5794128958)])
def test_parts_of_a_laser_wave_in_green_fringes(pv_waves):
    """A tenth of a 632.8 nm wave of surface is 0.23177 fringes of 546.07 nm, a quarter 0.57941."""
    part, fringes = pv_waves
    assert parse_tolerance(f"3/{fringes:.6f}").limits.a_nm == pytest.approx(632.8 / part, rel=1e-5)  # six decimals typed


@pytest.mark.parametrize(
    "text", ["", "4/0.5(0.2)", "3/", "3/-", "3/-(-)", "3/0.5(0.2", "3/0.5 0.2", "3/0.5(0.2); please", "3/a(b)", "3/0.5(0.2/0.1/0.1)"]
)
def test_what_is_no_indication_is_refused(text):
    """The whole message shows what was typed and how it is written."""
    with pytest.raises(BadInput) as refused:
        parse_tolerance(text)
    assert str(refused.value) == (
        f"the ISO 10110-5 tolerance was given as '{text}'; an indication 3/A(B/C) with at least one limit is needed; {ADVICE}."
    )


def test_a_long_text_is_cut_in_the_message():
    """Nobody has to read four hundred characters back."""
    with pytest.raises(BadInput) as refused:
        parse_tolerance("3/" * 200)
    assert "'" + "3/" * 20 + "...'" in str(refused.value)


@given(text=st.text(alphabet="3/0.52(),-; nmRSMtialbd=<", max_size=40))
def test_no_text_breaks_the_reader(text):
    """Anything typed gives at least one limit or is refused."""
    try:
        tolerance = parse_tolerance(text)
    except BadInput:
        return
    assert any(math.isfinite(limit) for limit in asdict(tolerance.limits).values())


def test_each_limit_is_decided_by_itself():
    """Only what is limited is judged: A keeps clear of its limit, B is too near to tell, C passes it."""
    measured = FormQuantities(a_nm=100.0, b_nm=50.0, c_nm=40.0, rms_t_nm=30.0, rms_i_nm=9.0, rms_a_nm=1.0)
    doubt = replace(measured, a_nm=10.0, b_nm=10.0, c_nm=10.0)
    checks = compare(measured, uncertainties=doubt, tolerance=parse_tolerance("3/140(55/27) nm"))
    assert [(check.name, check.decision) for check in checks] == [("A", Decision.MEETS), ("B", Decision.CANNOT_TELL), ("C", Decision.FAILS)]
    assert [check.margin_nm for check in checks] == [40.0, 5.0, -13.0]


def test_the_line_names_edition_unit_and_area(composed):
    """What goes on the certificate says by which edition, in what unit and over which area."""
    assert form_text(composed, area=ROUND) == (
        "3/104 nm (87 nm/27 nm); RMSt 33.7 nm; RMSi 15.3 nm; RMSa 13.0 nm; ISO 10110-5:2015, heights of the surface over the round 100.0 x 100.0 mm, "
        "fits over that area"
    )
