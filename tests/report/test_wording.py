"""Numbers into words: nothing is claimed that the uncertainty or the unknown sign does not allow."""

import math
from dataclasses import replace

import pytest

from straightband.heightmap.figures import Figures
from straightband.report.wording import budget_rows, number_rows, strehl_rows, verdict_sentence
from straightband.uncertainty import Term, budget_of
from straightband.verdict.decision import Decision
from straightband.verdict.field import FieldStrehl

FIGURES = Figures(
    pv_nm=57.23, rms_nm=9.314, power_nm=-12.14, astigmatism_nm=8.41, astigmatism_axis_deg=121.6,
    irregularity_pv_nm=30.2, irregularity_rms_nm=4.43, edge_nm=6.24, edge_zone_mm=5.0,
)  # fmt: skip
DOUBT = Figures(
    pv_nm=4.1, rms_nm=0.62, power_nm=2.2, astigmatism_nm=1.7, astigmatism_axis_deg=5.2,
    irregularity_pv_nm=3.0, irregularity_rms_nm=0.5, edge_nm=2.5, edge_zone_mm=math.nan,
)  # fmt: skip


def star(strehl=0.961, uncertainty=0.006):
    rest = dict.fromkeys((name for name in FieldStrehl.__slots__), 0.0)
    return FieldStrehl(**rest | {"field_radius_mm": 15.0, "strehl": strehl, "uncertainty": uncertainty})


def test_figures_with_a_known_sign_say_hill_or_hole():
    """Value to the place of its uncertainty (GUM 7.2.6), and the direction in words."""
    assert number_rows(FIGURES, uncertainty=DOUBT, sign_known=True) == (
        ("Peak to valley", "57 ± 4 nm", ""),
        ("RMS", "9.3 ± 0.6 nm", ""),
        ("Power", "-12.1 ± 2.2 nm", "concave, a hole"),
        ("Astigmatism", "8.4 ± 1.7 nm", "highest at the rim along 122° ± 6° from u toward v"),
        ("Irregularity", "30.2 ± 3.0 nm", "peak to valley without power"),
        ("", "4.4 ± 0.5 nm", "RMS without power"),
        ("Edge, 5.0 mm", "6.2 ± 2.5 nm", "turned up"),
    )


def test_without_the_sign_no_hill_is_told_from_a_hole():
    """The sizes stay, the directions go: power and edge lose their sign, the axis may be either of two."""
    rows = {name: (value, remark) for name, value, remark in number_rows(FIGURES, uncertainty=DOUBT, sign_known=False)}
    assert rows["Power"] == ("12.1 ± 2.2 nm", "convex, a hill or concave, a hole: not known")
    assert rows["Edge, 5.0 mm"] == ("6.2 ± 2.5 nm", "turned up or turned down: not known")
    assert rows["Astigmatism"] == ("8.4 ± 1.7 nm", "highest at the rim along 122° or 32° ± 6° from u: not known which")


def test_what_drowns_in_its_uncertainty_is_given_no_direction():
    """A power of 2 ± 2.2 nm is neither hill nor hole, an astigmatism below its doubt has no axis."""
    small = replace(FIGURES, power_nm=2.0, astigmatism_nm=1.0, edge_nm=-2.4)
    remarks = {name: remark for name, _, remark in number_rows(small, uncertainty=DOUBT, sign_known=True)}
    assert [remarks[name] for name in ("Power", "Astigmatism", "Edge, 5.0 mm")] == ["no more than its uncertainty"] * 3


def test_the_budget_ends_in_its_total():
    """Terms in their order, and the root of the sum of their squares: 3 and 4 make 5 (GUM 5.1.2)."""
    budget = budget_of([Term(name="fit", nm=3.0, origin=""), Term(name="flat", nm=4.0, origin="")])
    assert budget_rows(budget) == (("fit", "3 nm"), ("flat", "4 nm"), ("Together", "5 nm"))


def test_a_strehl_has_no_unit():
    """Ratio and uncertainty with single spaces, or the plain words that it is not known."""
    assert strehl_rows([star(), star(uncertainty=math.nan)]) == (
        ("15 mm", "0.961 ± 0.006"),
        ("15 mm", "0.961 (uncertainty not known)"),
    )


@pytest.mark.parametrize(
    ("strehl", "uncertainty", "ending"),
    [
        (0.961, 0.006, "Standing off the limit by a guard band of 0.005, as ISO 14253-1 asks, this meets it."),
        (0.940, 0.006, "Standing off the limit by a guard band of 0.005, as ISO 14253-1 asks, this fails it."),
        (0.952, 0.006, "as ISO 14253-1 asks, neither can be said: a measurement with less uncertainty is needed."),
        (0.961, math.nan, "With no uncertainty known, neither can be said: a measurement with less uncertainty is needed."),
    ],
)
def test_the_verdict_says_limit_value_and_guard_band(strehl, uncertainty, ending):
    """The guard band of one limit is 1.645 / 1.960 of the expanded uncertainty: 0.006 gives 0.0050 (ISO 14253-1, rule from memory)."""
    decision = {"meets it.": Decision.MEETS, "fails it.": Decision.FAILS}.get(ending[-9:], Decision.CANNOT_TELL)
    sentence = verdict_sentence(star(strehl, uncertainty), strehl_wanted=0.95, wavelength_nm=550.0, decision=decision)
    assert sentence.startswith("The Strehl ratio is to reach 0.95 all over the field, in light of 550 nm. The least is 0.9")
    assert sentence.endswith(ending)


def test_a_verdict_on_more_than_the_strehl_is_told_apart():
    """When something else that was asked decides otherwise, the sentence says so."""
    sentence = verdict_sentence(star(), strehl_wanted=0.95, wavelength_nm=550.0, decision=Decision.FAILS)
    assert sentence.endswith("this meets it. Taken with everything else that was asked: fails.")


def test_a_strehl_wanted_close_to_one_is_not_rounded_to_it():
    """0.9999 was asked, and that is what is said to be asked."""
    sentence = verdict_sentence(star(), strehl_wanted=0.9999, wavelength_nm=550.0, decision=Decision.FAILS)
    assert sentence.startswith("The Strehl ratio is to reach 0.9999 all over")
