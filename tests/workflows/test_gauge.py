"""Gauging a face: form, whole face, what goes on top next, and what cannot be seen.

Sources: as tests/gauges. That the plate on top goes concave and the one below convex under an overhanging stroke: force and moment balance
of two discs, and common practice.
"""

import math

import pytest

from straightband.errors import BadInput
from straightband.face.shapes import ellipse, round_face
from straightband.light.lines import lamp_from_text
from straightband.workflows.gauge import gauge_face
from straightband.workflows.gauge_report import SENTENCES, gauging_facts, gauging_lines
from straightband.workflows.gauge_text import earlier_from_text, readings_from_text, signed_um, spherometer_from_text

MERCURY = lamp_from_text("mercury-green")
PLATE = round_face(diameter_mm=200.0)


def gauged(reading, zero="0.00um", *, face=PLATE, feet=None, earlier=(), **more):
    return gauge_face(
        readings_from_text(reading=reading, zero=zero, **more),
        gauge=spherometer_from_text(**({"leg_circle": "100mm"} if feet is None else feet)),
        face=face,
        lamp=MERCURY,
        earlier=earlier,
    )


def test_one_micrometre_on_a_200_mm_plate():
    """1 um within a circle 100 mm across is 4 um, 14.65 bands and 1250 m (SPH-3): the circle was given by its diameter."""
    found = gauged("1.00um,1.00um,1.00um", "0.00um,0.00um")
    facts = gauging_facts(found)
    assert facts["edge_sag_um"] == pytest.approx(4.0, rel=1e-9)
    assert facts["bands"] == pytest.approx(14.65002912, rel=1e-9)
    assert facts["radius_m"] == pytest.approx(1250.0, rel=1e-6)  # less half a micrometre
    assert facts["leg_circle_mm"] == 100.0
    assert (facts["form"], facts["next_on"]) == ("convex", "top")


def test_a_concave_face_goes_to_the_bottom():
    """A hollow is taken out where plates go convex, at the bottom; a hill on top."""
    hollow = gauged("-3.00um,-3.01um")
    assert (hollow.form, hollow.next_on) == ("concave", "bottom")
    assert hollow.edge_sag_um < 0
    assert hollow.radius_mm > 0


def test_a_dial_that_falls_on_hills():
    """With a dial that falls when pushed in, the same readings are the other form."""
    assert gauged("3.00um,3.01um").form == "convex"
    assert gauged("3.00um,3.01um", falls_on_hills=True).form == "concave"


def test_flat_within_uncertainty_says_where_the_gauge_ends():
    """A sag below its uncertainty is neither form, goes either way, and sends the person on to bands."""
    found = gauged("10.2um,10.0um,10.1um", "10.1um,10.0um")
    assert (found.form, found.next_on) == ("flat within uncertainty", "either")
    assert "gauge-ends-here" in found.flags
    assert found.radius_at_least_mm < found.radius_mm
    assert "more than" in gauging_lines(found)[1]


def test_no_sag_at_all_has_no_radius():
    """The very same reading and zero give an infinite radius, and a least one that is finite."""
    found = gauged("10um", "10um")
    assert found.radius_mm == math.inf
    assert math.isfinite(found.radius_at_least_mm)


def test_three_feet_always_warn_of_astigmatism_and_rings_of_high_places():
    """What a gauge cannot see is said each time (SPH-4)."""
    assert "astigmatism-not-seen" in gauged("1um").flags
    assert "ring-rides-on-high-places" in gauged("1um", feet={"ring": "100mm"}).flags


def test_a_ring_with_two_edges():
    """A convex face is told from the inner edge, a concave one from the outer."""
    ring = {"ring": "104mm,100mm"}
    assert gauged("3.00um,3.01um", feet=ring).circle_mm == 50.0
    assert gauged("-3.00um,-3.01um", feet=ring).circle_mm == 52.0


def test_the_triangle_of_feet():
    """Feet 60 mm from each other stand on a circle of 34.64 mm radius: 0.5 mm of sag is 1200.25 mm (SPH-1)."""
    found = gauged("500um", "0um", feet={"leg_side": "60mm"})
    assert found.radius_mm == pytest.approx(1200.25, rel=1e-12)


def test_ball_feet_change_a_sphere_but_no_flat():
    """Balls of 6 mm diameter shorten a convex 2 m to 1997.2 mm (SPH-2) and leave the sag and a flat's radius as they were."""
    feet = {"leg_circle": "80mm", "ball": "6mm"}
    assert gauged("400um", "0um", feet=feet).radius_mm == pytest.approx(1997.2, rel=1e-12)
    plain, balls = (gauged("0.80um", feet=kind) for kind in ({"leg_circle": "80mm"}, feet))
    assert balls.sag.sag_um == plain.sag.sag_um
    assert balls.radius_mm == pytest.approx(plain.radius_mm, rel=1e-5)


def test_an_ellipse_is_told_to_the_end_of_its_major_axis():
    """On a 90 mm diagonal the sag is told at 63.6 mm from the middle."""
    found = gauged("1.00um", face=ellipse(minor_mm=90.0), feet={"leg_circle": "60mm"})
    assert found.edge_sag_um == pytest.approx((45 * math.sqrt(2) / 30) ** 2, rel=1e-12)


def test_doubts_of_the_readings_are_flags():
    """Single readings, a moved zero, a three-lobed face and wild scatter are each said."""
    assert "not-repeated" in gauged("1um").flags
    assert "zero-drifted" in gauged("1.00um,1.01um", "0.00um,0.01um", zero_after="0.50um,0.51um").flags
    assert "zero-drifted" not in gauged("1.00um,1.01um", "0.00um,0.01um", zero_after="0.01um,0.00um").flags
    assert "three-lobed" in gauged("1.00um,1.01um", turned="2.00um,2.01um").flags
    assert "three-lobed" not in gauged("1.00um,1.01um", turned="1.01um,1.00um").flags
    assert "readings-scatter" in gauged("1.0um,9.0um,4.0um").flags
    assert "reference-taken-as-flat" in gauged("1um").flags
    assert "reference-taken-as-flat" not in gauged("1um", reference_doubt="0.1um").flags


def test_the_trend_over_the_abrasives():
    """The last of the earlier sags, the finest abrasive's, is what the new one is held against."""
    earlier = earlier_from_text("20um:2.0um,40um:-30um")
    assert [each.abrasive_um for each in earlier] == [40.0, 20.0]
    away = gauged("6.00um,6.01um", earlier=earlier)
    assert away.trend == "away from flat"
    assert "away-from-flat" in away.flags
    assert "+2 um after 20 um; now +6.005 um: away from flat" in "\n".join(gauging_lines(away))
    assert gauged("0.50um,0.51um", earlier=earlier).trend == "toward flat"


def test_every_flag_has_its_sentence():
    """Each flag that can be raised has words, and there are no words for flags that cannot."""
    found = [
        gauged("1um"),
        gauged("1um", feet={"ring": "100mm"}),
        gauged("1.00um,1.01um", "0.00um,0.01um", zero_after="0.50um,0.51um", turned="2.00um,2.01um"),
        gauged("1.0um,9.0um,4.0um"),
        gauged("90.00um,90.01um", earlier=earlier_from_text("9um:1um")),
    ]
    assert {flag for each in found for flag in each.flags} == set(SENTENCES)


def test_the_step_is_that_of_the_last_figure():
    """Readings typed to 0.1 um are taken to be read to 0.1 um, whatever their unit, unless the step is told."""
    assert readings_from_text(reading="0.0124mm", zero="10um").step_um == pytest.approx(0.1)
    assert readings_from_text(reading="12.4um", zero="10um", step="2um").step_um == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("text", "value"), [("0um", 0.0), ("-0.0mm", 0.0), ("-3.2um", -3.2), ("+0.0005in", 12.7), ("−1um", -1.0), ("0,5um", 0.5)]
)
def test_readings_may_be_none_or_below(text, value):
    """Zero and negative readings are taken with their unit."""
    assert signed_um(text, what="the reading") == pytest.approx(value, abs=1e-12)


@pytest.mark.parametrize("text", ["0", "-0", "--1um", "+-1um", "3.2e", "um", "nan um", "1e3um"])
def test_unclear_readings_are_refused(text):
    """A reading without unit, with two signs or that is no plain number is refused."""
    with pytest.raises(BadInput):
        signed_um(text, what="the reading")


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (
            {"reading": ""},
            "the reading holds no number; 1 to 100 are needed, each with its unit; write them like --reading 12.4um,12.6um.",
        ),
        ({"zero": ","}, "the zero holds no number; 1 to 100 are needed, each with its unit; write them like --zero 12.4um,12.6um."),
        (
            {"reading": "12.4um,12.4mm"},
            "the reading goes from 12.4 um to 12400 um; repeated readings of one place within 100 um are needed; check the units, or measure again.",
        ),
        (
            {"reading": "12.4mm"},
            ("reading and zero are 12.4 mm apart within feet 100 mm across; less than 5 mm is what a face on its way to flat has; "
            "check the units of reading and zero."),
        ),
        (
            {"feet": {}},
            ("no feet of the spherometer were given; one of the circle through the feet, the side of their triangle or the ring is needed; "
            "give --leg-circle like 60mm (its diameter), or --leg-side, or --ring."),
        ),
        (
            {"feet": {"leg_circle": "60mm", "ring": "60mm"}},
            ("the feet of the spherometer were given in more than one way; one of the circle through the feet, the side of their triangle or the "
            "ring is needed; give --leg-circle like 60mm (its diameter), or --leg-side, or --ring."),
        ),
        (
            {"feet": {"leg_circle": "60in"}},
            "the feet stand on a circle 1524 mm across; a diameter from 4 mm to 1000 mm is needed; check number and unit.",
        ),
        (
            {"feet": {"leg_circle": "300mm"}},
            ("the feet stand on a circle 300 mm across; it must find room on a face of 200 mm x 200 mm; check both sizes with their units, or take a "
            "smaller gauge."),
        ),
        ({"feet": {"ring": "80mm", "ball": "3mm"}}, "ball feet were given for a ring; a ring has none; leave --ball out."),
        (
            {"feet": {"leg_circle": "60mm", "ball": "40mm"}},
            "the ball feet are 40 mm across; balls much smaller than the circle they stand on (60 mm) are needed; give the diameter of one ball.",
        ),
    ],
    ids=lambda value: str(next(iter(value.values()))) if isinstance(value, dict) else "",
)  # fmt: skip
def test_what_cannot_be_is_refused(change, message):
    """Readings, feet and faces that cannot belong together are refused in one sentence."""
    told = {"reading": "1um", "zero": "0um"} | change
    with pytest.raises(BadInput) as refused:
        gauged(told.pop("reading"), told.pop("zero"), **told)
    assert str(refused.value) == message


@pytest.mark.parametrize("text", ["40um", "40um:", "40um:1um,40um:2um", "grit:3um", ""])
def test_unclear_earlier_sags_are_refused(text):
    """A list of earlier sags that is not pairs of abrasive and sag, each once, is refused."""
    with pytest.raises(BadInput):
        earlier_from_text(text)
