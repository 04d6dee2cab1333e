"""An order: sizes, choice, light, tolerance and thickness.

Sources: the exact cut of a cone and the paraxial area of two circles (derived, other programs' values); the Strehl ratio of power at 45
degrees, derived from the closed form and held here against the pupil integral of the verdict; sizes that are usual for large apertures and
thickness: common practice, no source.
"""

import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from straightband.errors import BadInput
from straightband.telescope.light_cone import footprint, pupil_points
from straightband.telescope.telescope import Telescope
from straightband.verdict.iso10110 import parse_tolerance
from straightband.verdict.strehl import best_focus_strehl
from straightband.workflows.order import order_from_text, take_order
from straightband.workflows.order_report import SENTENCES, order_facts, order_lines
from straightband.workflows.order_tolerance import face_tolerance

MIDDLE = dict(aperture="300mm", focal_length="1500mm", intercept="240mm")
GIANT = dict(aperture="760mm", focal_length="3040mm", intercept="500mm")


def taken(telescope=None, **told):
    return take_order(
        order_from_text(**(MIDDLE if telescope is None else telescope) | ({"full_field": "15mm"} if "minor" not in told else {}) | told)
    )


@pytest.mark.parametrize(
    ("telescope", "field", "minor", "major", "offset", "blank"),
    [
        (MIDDLE, "15mm", 60.8753225, 86.48184049, 2.904715053, 61.15189586),
        (GIANT, "25mm", 146.9659868, 209.3768334, 8.9488534, 148.0517787),
    ],
)
def test_the_facts_hold_the_exact_cut(telescope, field, minor, major, offset, blank):
    """Size and offset of two telescopes, under the names of the contract (DIAG-1)."""
    facts = order_facts(taken(telescope, full_field=field))
    found = (facts["cut_minor_mm"], facts["cut_major_mm"], facts["offset_mm"], facts["minor_axis_mm"])
    assert found == pytest.approx((minor, major, offset, blank), rel=1e-9)
    assert facts["obstruction"] == pytest.approx(blank / float(telescope["aperture"].removesuffix("mm")), rel=1e-9)
    assert facts["offset_direction"] == ["away from the focuser", "toward the primary"]


def test_what_the_shadow_costs():
    """A shadow of 30 % of the aperture takes 9 % of the light, 0.102 magnitudes (DIAG-4; a tenth in common practice)."""
    facts = order_facts(taken(minor="90mm"))
    assert facts["obstruction"] == pytest.approx(0.3, rel=1e-12)
    assert facts["obstruction_loss_mag"] == pytest.approx(0.1023965192, rel=1e-9)


def test_the_handbook_formula_stands_beside_it():
    """On the giant the handbook is 2.16 mm short, and the rim of the primary asks for half a millimetre more (DIAG-2)."""
    order = taken(GIANT, full_field="25mm")
    assert order.cut.minor_axis_mm - order.classical_minor_mm == pytest.approx(2.163620806, rel=1e-6)
    assert order.rim_minor_mm == pytest.approx(148.5501938, rel=1e-9)


def test_inches_in_are_the_same_order():
    """A telescope given in inches is that telescope, and JSON stays in mm whatever the text says."""
    metric = taken({"aperture": "304.8mm", "focal_length": "1524mm", "intercept": "254mm"}, full_field="12.7mm")
    inches = taken({"aperture": "12in", "focal_ratio": "5", "intercept": "10in"}, full_field="1/2 in")
    for key in ("minor_axis_mm", "cut_major_mm", "offset_mm", "obstruction", "full_field_mm", "thickness_mm"):
        assert order_facts(inches)[key] == pytest.approx(order_facts(metric)[key], rel=1e-12), key
    text = "\n".join(order_lines(inches, units="in"))
    assert f"{metric.cut.minor_axis_mm / 25.4:.3f} in" in text
    assert " mm" not in text.replace("half millimetre", "").replace("in mm", "")


def test_the_offset_is_told_with_its_direction():
    """The offset says which way: away from the focuser and toward the primary, and sqrt(2) times as much along the glass."""
    assert "Offset: 2.90 mm away from the focuser and 2.90 mm toward the primary, which is 4.11 mm along the glass." in order_lines(taken())


def test_the_field_of_a_size():
    """A given minor axis lights the field i for which a (1 - k^2) = i + 2 k L, k = (D - i) / 2f: less than the handbook's 20.24 mm for 65 mm."""
    order = taken(minor="65mm")
    field = order.mirror.full_field_mm
    k = (300 - field) / 3000
    assert 65 * (1 - k * k) == pytest.approx(field + 2 * k * 240, rel=1e-12)
    assert 19.5 < field < 20.23809524
    assert order.request.telescope.full_field_mm == field
    assert order.choice == "asked"


def test_light_across_the_field_both_ways():
    """At 15 mm a 60 mm diagonal passes 86.4 % by two circles (DIAG-3), as the rays counted one by one but for the slope squared."""
    order = taken(minor="60mm", full_field="15mm")
    row = next(row for row in order.illumination if row.field_radius_mm == 15.0)
    assert row.paraxial == pytest.approx(0.8640911032, rel=1e-9)
    assert row.lit.fraction == pytest.approx(row.paraxial, abs=0.01)
    facts = next(row for row in order_facts(order)["illumination"] if row["field_radius_mm"] == 15.0)
    assert facts["loss_mag"] == pytest.approx(-2.5 * math.log10(facts["fraction"]), rel=1e-12)
    assert facts["fraction_least"] <= facts["fraction"]


def test_the_edge_of_the_field_is_among_the_radii():
    """Illumination is told at the very edge of the field asked for, where it is whole, and at every millimetre around."""
    rows = {row.field_radius_mm: row.lit for row in taken(full_field="15mm").illumination}
    assert rows[7.5].least == pytest.approx(1.0, abs=1e-12)
    assert rows[9.0].least < 1.0
    assert {0.0, 1.0, 22.0} <= set(rows)


def test_the_smallest_size_that_will_do_is_taken():
    """Of several at hand the smallest whose face inside the bevel covers the light is taken, whatever their order."""
    order = taken(have="75mm,50mm,63mm,65mm")
    assert (order.choice, order.mirror.minor_mm, order.glass_minor_mm) == ("at hand", 65.0, 65.0)
    assert [size.minor_mm for size in order.sizes] == [50.0, 63.0, 65.0, 75.0]
    assert 65.0 * 0.97 >= order.rim_minor_mm > 63.0 * 0.97
    assert "bevel-in-the-light" not in order.flags


def test_a_size_that_needs_its_bevel_is_taken_with_a_warning():
    """Where only a face with its bevel covers the light, it is taken and said."""
    order = taken(have="50mm,63mm")
    assert order.mirror.minor_mm == 63.0
    assert "bevel-in-the-light" in order.flags


def test_no_size_at_hand_means_making_one():
    """Where none will do one is to be made, with its bevel, to half a millimetre."""
    order = taken(have="50mm,60mm")
    assert order.choice == "to make"
    assert "none-at-hand-is-enough" in order.flags
    assert order.glass_minor_mm * 2 == int(order.glass_minor_mm * 2)
    assert 0.0 <= order.glass_minor_mm - order.rim_minor_mm / 0.97 < 0.5


def test_sizes_of_no_use_in_this_telescope_do_no_harm():
    """A list of stock may hold mirrors far too small, or larger than the telescope."""
    order = taken(have="6mm,700mm,65mm")
    assert order.mirror.minor_mm == 65.0
    assert [size.minor_mm for size in order.sizes] == [6.0, 65.0]


@pytest.mark.parametrize(
    ("aperture", "ratio", "intercept", "minor_in"),
    [("16in", "4.5", "12.5in", 3.5), ("21in", "3.8", "15in", 5.0), ("30in", "3.5", "19.5in", 6.5)],
)
def test_usual_sizes_of_large_telescopes(aperture, ratio, intercept, minor_in):
    """A 16-inch takes about 3.5 in, a 20 to 22-inch about 5 in, a 30-inch about 6.5 in (common practice, no source)."""
    order = taken({"aperture": aperture, "focal_ratio": ratio, "intercept": intercept}, full_field="1in")
    assert order.glass_minor_mm / 25.4 == pytest.approx(minor_in, abs=0.4)  # sizes of the trade stand half an inch apart


SLOW = Telescope(aperture_mm=10.0, focal_length_mm=10_000.0, intercept_mm=5_000.0)


def test_power_that_a_filled_face_may_have():
    """Where a slow beam fills the face, Strehl 0.95 at 550 nm allows 137.35 nm of power over the semi-major axis (F45-2)."""
    found = face_tolerance(SLOW, clear_semi_major_mm=2.5 * math.sqrt(2), offset_mm=0.0, strehl_wanted=0.95, wavelength_nm=550.0)
    assert found.power_nm == pytest.approx(137.3516043, rel=1e-5)  # the beam is f/1000: its cone is 5e-4 wide
    assert found.wavefront_rms_nm == pytest.approx(550 / (2 * math.pi) * math.sqrt(-math.log(0.95)), rel=1e-12)
    assert found.irregularity_rms_nm == pytest.approx(found.wavefront_rms_nm / math.sqrt(2), rel=1e-6)


def test_power_counts_by_the_beam_not_by_the_face():
    """A beam over 0.8 of the face allows 1 / 0.64 as much power over the whole face (F45-4)."""
    filled, part = (
        face_tolerance(SLOW, clear_semi_major_mm=2.5 * math.sqrt(2) / share, offset_mm=0.0, strehl_wanted=0.95, wavelength_nm=550.0)
        for share in (1.0, 0.8)
    )
    assert part.power_nm * 0.64 == pytest.approx(filled.power_nm, rel=1e-9)
    assert part.irregularity_rms_nm == filled.irregularity_rms_nm


def strehls(order, shapes_nm):
    """Strehl on the axis by the pupil integral, of heights from u and v in units of the clear semi-major axis: (k, n) from `shapes_nm`."""
    request, pupil = order.request, pupil_points(rings=12, spokes=48)
    rays = footprint(request.telescope, pupil=pupil, offset_mm=order.mirror.offset_mm)
    semi = order.glass_minor_mm / math.sqrt(2) * (1 - request.margin)
    waves = 2 * shapes_nm(rays.u_mm / semi, rays.v_mm / semi) * rays.cos_incidence
    return best_focus_strehl(waves, pupil=pupil, wavelength_nm=request.wavelength_nm)


@settings(max_examples=12)
@given(ratio=st.floats(3, 12), share=st.floats(0.1, 0.3), strehl=st.floats(0.8, 0.98))
def test_a_face_at_its_limit_gives_the_strehl_wanted(ratio, share, strehl):
    """Power at its limit gives the Strehl wanted; of astigmatism at its limit, turned all ways, the worst gives just that."""
    scope = {"aperture": "300mm", "focal_ratio": f"{ratio:.3f}", "intercept": f"{300 * round(ratio, 3) * share:.3f}mm"}
    order = taken(scope, full_field="10mm", strehl=f"{strehl:.4f}")
    wanted, tolerance = round(strehl, 4), order.tolerance
    bent = strehls(order, lambda x, y: np.array([[-1.0], [1.0]]) * tolerance.power_nm * (x * x + y * y))
    assert bent == pytest.approx([wanted, wanted], abs=4e-3)  # the exponential form of the Strehl ratio
    angle = np.radians(np.arange(0, 180, 10))[:, None]
    saddles = strehls(order, lambda x, y: tolerance.astigmatism_nm / 2 * ((x * x - y * y) * np.cos(angle) + 2 * x * y * np.sin(angle)))
    assert saddles.min() == pytest.approx(wanted, abs=5e-3)  # the same, and every 10 degrees


@settings(max_examples=12)
@given(seed=st.integers(0, 10_000), sign=st.sampled_from([-1.0, 1.0]))
def test_power_and_irregularity_together_keep_the_strehl(seed, sign):
    """Any face within the limits for both at once gives the Strehl wanted, also where one adds to the other."""
    semi = 2.5 * math.sqrt(2)
    tolerance = face_tolerance(SLOW, clear_semi_major_mm=semi, offset_mm=0.0, strehl_wanted=0.9, wavelength_nm=550.0)
    pupil = pupil_points(rings=12, spokes=48)
    rays = footprint(SLOW, pupil=pupil)
    x, y = rays.u_mm / semi, rays.v_mm / semi  # the beam fills the face, so the pupil's weights are shares of its area
    sphere = np.stack([np.ones_like(x), x, y, x * x + y * y])
    rough = np.random.default_rng(seed).normal(size=12) @ np.stack([x**i * y**j for i in range(5) for j in range(5) if 2 <= i + j <= 4])
    fit = np.linalg.solve((sphere * pupil.weights) @ sphere.T, (sphere * pupil.weights) @ rough)
    rough = rough - fit @ sphere
    rough *= tolerance.share * tolerance.irregularity_rms_nm / math.sqrt(pupil.weights @ rough**2)
    face = rough + sign * tolerance.share * tolerance.power_nm * (x * x + y * y)
    strehl = best_focus_strehl((2 * face * rays.cos_incidence)[None], pupil=pupil, wavelength_nm=550.0)[0]
    assert strehl >= 0.9 - 2e-3  # the exponential form of the Strehl ratio


def test_the_limits_read_as_a_drawing_would_have_them():
    """The indication after ISO 10110-5 holds the two limits, and the verdict reads it."""
    facts = order_facts(taken())["tolerance"]
    limits = parse_tolerance(facts["iso10110"]).limits
    assert limits.a_nm == pytest.approx(facts["together"]["power_nm"], abs=0.5)  # whole nanometres
    assert limits.rms_i_nm == pytest.approx(facts["together"]["irregularity_rms_nm"], abs=0.05)


def test_bands_are_those_of_the_lamp():
    """Tolerances in bands follow the lamp of the test: 294.65 nm for sodium."""
    facts = order_facts(taken(light="sodium"))["tolerance"]
    assert facts["band_nm"] == pytest.approx(294.647, abs=1e-3)
    assert facts["alone"]["power_bands"] == pytest.approx(facts["alone"]["power_nm"] / facts["band_nm"], rel=1e-12)


@pytest.mark.parametrize(("telescope", "field", "lowest", "highest"), [(MIDDLE, "15mm", 10, 16), (GIANT, "25mm", 28, 40)])
def test_thickness_is_of_the_usual_size(telescope, field, lowest, highest):
    """A 63 mm diagonal is about half an inch thick, a 150 mm one an inch and a quarter (common practice, no source)."""
    order = taken(telescope, full_field=field)
    assert lowest <= order.support.thickness_mm <= highest
    assert order.support.three_points_rms_nm <= 0.25 * order.tolerance.irregularity_rms_nm


def test_a_stricter_face_is_thicker():
    """Where its own weight would take too much of a strict tolerance, more thickness is suggested than the usual share."""
    usual, strict = (taken(GIANT, full_field="25mm", strehl=strehl).support for strehl in ("0.8", "0.995"))
    assert strict.thickness_mm > usual.thickness_mm


def test_thickness_asked_for_is_taken():
    """A given thickness is not argued with; its sag is told."""
    order = taken(thickness="8mm")
    assert order.support.thickness_mm == 8.0
    assert order.support.edge_sag_nm > taken(thickness="16mm").support.edge_sag_nm * 3.9


@pytest.mark.parametrize(
    ("flag", "told"),
    [
        ("axis-not-fully-lit", {"minor": "40mm"}),
        ("field-not-fully-lit", {"minor": "50mm", "full_field": "15mm"}),
        ("bevel-in-the-light", {"minor": "62mm", "full_field": "15mm"}),
        ("none-at-hand-is-enough", {"have": "50mm"}),
        ("focus-inside-the-tube", {"tube": "520mm"}),
        ("wide-shadow", {"full_field": "60mm"}),
        ("prices-are-not-the-shops-own", {}),
    ],
)
def test_doubts_are_flags_with_words(flag, told):
    """Each doubt of an order is a flag with its sentence."""
    order = taken(**told)
    assert flag in order.flags
    assert any(SENTENCES[flag] in line for line in order_lines(order))
    if flag != "prices-are-not-the-shops-own":
        assert flag not in taken().flags


def test_every_flag_has_words():
    """The flags of the test above are all there are."""
    assert len(SENTENCES) == 7


def test_a_mirror_looked_at_for_itself_is_not_blamed_for_its_bevel():
    """With no field asked for there is none that the bevel could darken."""
    assert "bevel-in-the-light" not in taken(minor="62mm").flags


def test_the_facts_are_plain_json():
    """Everything can be written as JSON, finite or null."""
    assert json.loads(json.dumps(order_facts(taken(minor="40mm", full_field="15mm"))))


@pytest.mark.parametrize(
    ("told", "message"),
    [
        (
            {"aperture": "300in", "focal_length": "1500in"},
            "the aperture comes to 7620 mm; a length from 40 mm to 3000 mm is needed; check number and unit.",
        ),
        (
            {"intercept": "240in"},
            ("the intercept (6096 mm) is not shorter than the focal length (1500 mm); the diagonal must stand between the primary and the focus; "
            "give the distance from the diagonal to the focus."),
        ),
        (
            {"full_field": "120mm", "intercept": "50mm"},
            ("the diagonal would have to be 126.5 mm wide; it must be narrower than the aperture (300 mm) and than twice the intercept (50 mm); "
            "check the intercept and the full field, with their units."),
        ),
        (
            {"full_field": None},
            ("neither a fully lit field nor a minor axis was given; what the mirror must light, or how large it is, must be known; "
            "add --full-field like 15mm, or --minor like 65mm."),
        ),
        (
            {"minor": "65mm", "have": "65mm"},
            ("both a minor axis and sizes at hand were given; either one size to look at or several to choose from are needed; "
            "leave --minor or --have out."),
        ),
        (
            {"minor": "65in"},
            ("a minor axis was given as '65in'; this telescope can use 24 mm, which loses most of the light, to less than 300 mm, where it shades "
            "all; check number and unit."),
        ),
        (
            {"have": "63mm,,75mm"},
            "the sizes at hand were given as '63mm,,75mm'; 1 to 50 lengths with commas between them are needed; write them like 63mm,75mm,2.6in.",
        ),
        ({"have": "63in,75in"}, "a size at hand comes to 1600.2 mm; a length from 5 mm to 1000 mm is needed; check number and unit."),
        (
            {"strehl": "1"},
            "the Strehl wanted is 1; a number from 0.5 to 0.999 is needed to tell what the face must hold to; write it like 0.95.",
        ),
        ({"margin": "3"}, "the margin was given as '3'; a percentage up to 20 % is needed; write it like 3%."),
        (
            {"tube": "12mm"},
            "the tube is 12 mm wide inside; the aperture (300 mm) to three times that is needed; check number and unit.",
        ),
        ({"thickness": "15in"}, "the thickness comes to 381 mm; a length from 2 mm to 200 mm is needed; check number and unit."),
    ],
    ids=lambda value: "-".join(map(str, value)) if isinstance(value, dict) else "",
)  # fmt: skip
def test_impossible_orders_are_refused(told, message):
    """Impossible telescopes and mixed-up units are refused in one sentence that says what to do."""
    with pytest.raises(BadInput) as refused:
        take_order(order_from_text(**MIDDLE | {"full_field": "15mm"} | told))
    assert str(refused.value) == message
