"""Heights along any line: a closed form read back along a slant, its uncertainty, its ends, and what is refused."""

import numpy as np
import pytest

from straightband.errors import BadInput
from straightband.face.shapes import ellipse
from straightband.heightmap.map import HeightMap
from straightband.workflows.profiles import POINTS, Line, along, line_from_text, profile_facts, profile_lines

FACE = ellipse(minor_mm=90.0)


def saddle_map(*, sign="known", uncertainty_nm=2.0):
    """50 u v / 1000 nm on a grid of half a millimetre, uncertain by 2 nm, and by as much more as u counts; with a tilt that is no height."""
    u, v = np.linspace(-45.0, 45.0, 181), np.linspace(-64.0, 64.0, 257)
    uu, vv = np.meshgrid(u, v)
    inside = FACE.clear_aperture(0.03).contains(uu, vv)
    heights = np.where(inside, 0.05 * uu * vv + 3.0 * uu - 2.0 * vv + 7.0, np.nan)
    doubt = np.where(inside, uncertainty_nm + np.abs(uu), np.nan)
    return HeightMap(heights_nm=heights, u_mm=u, v_mm=v, uncertainty_nm=doubt, face=FACE, meta={"sign": sign})


def test_a_slanting_line_reads_the_closed_form():
    """Along u = 20 s, v = 30 s the saddle 0.05 u v is 30 s^2, whatever the tilt, with the uncertainty of each place."""
    found = along(saddle_map(), line_from_text("-20mm,-3cm,20mm,30mm"))
    s = np.linspace(-1.0, 1.0, POINTS)
    assert found.distance_mm[-1] == pytest.approx(2.0 * np.hypot(20.0, 30.0), rel=1e-12)  # rounding
    assert found.heights_nm == pytest.approx(30.0 * s**2, abs=0.05)  # the grid's symmetry and a bilinear reading of it
    assert found.uncertainty_nm == pytest.approx(2.0 + 20.0 * np.abs(s), abs=1e-6)  # linear, so read exactly


def test_what_lies_outside_is_no_number():
    """A line longer than the face is told on the face only: None in JSON, a word for people, and no NaN in either."""
    found = along(saddle_map(), Line(start_mm=(0.0, -80.0), end_mm=(0.0, 80.0)))
    facts = profile_facts(found)
    assert (facts["from_mm"], facts["to_mm"]) == ([0.0, -80.0], [0.0, 80.0])
    assert facts["height_nm"][0] is facts["uncertainty_nm"][0] is None
    assert sum(height is not None for height in facts["height_nm"]) == pytest.approx(POINTS * 0.97 * FACE.semi_v_mm / 80.0, abs=3)
    assert len(facts["distance_mm"]) == len(facts["height_nm"]) == POINTS
    lines = profile_lines(found)
    assert lines[0] == "Heights from u 0 mm, v -80 mm to u 0 mm, v 80 mm, tilt of the face removed, 95 %:"
    assert (lines[1].split(), lines[-1].split()) == (["0.00", "mm", "outside"], ["160.00", "mm", "outside"])
    assert "80.00 mm" in lines[6]
    assert "± 2.0 nm" in lines[6]


def test_without_a_sign_the_profile_may_be_the_other_way():
    """Hill or hole not known: said where the heights are told."""
    line = Line(start_mm=(0.0, 0.0), end_mm=(10.0, 0.0))
    assert "or all of them the other way, for hill or hole is not known" in profile_lines(along(saddle_map(sign="unknown"), line))[0]
    assert "other way" not in profile_lines(along(saddle_map(), line))[0]


def test_a_map_without_uncertainty_claims_none():
    """Another program's map: heights without a made-up doubt."""
    found = along(saddle_map(uncertainty_nm=np.nan), Line(start_mm=(0.0, 0.0), end_mm=(10.0, 0.0)))
    assert set(profile_facts(found)["uncertainty_nm"]) == {None}
    assert "nan" not in " ".join(profile_lines(found))


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("0mm,1mm,2mm", "the profile was given as '0mm,1mm,2mm'; u and v of both ends of the line are needed, each with its unit; write them"),
        ("0,-30mm,0mm,30mm", "an end of the profile was given as '0' without a unit;"),
        ("0mm,nan,0mm,30mm", "an end of the profile was given as 'nan'; a number with its unit is needed; write it like -30mm."),
        ("1mm,2mm,0.1cm,2mm", "both ends of the profile are the same place; two places are needed; write them like 0mm,-30mm,0mm,30mm."),
    ],
    ids=["three", "no unit", "no number", "one place"],
)  # fmt: skip
def test_a_line_that_cannot_be_used_is_refused(text, sentence):
    """One sentence: what was found, what is needed, what to do."""
    with pytest.raises(BadInput) as refused:
        line_from_text(text)
    assert str(refused.value).startswith(sentence)


def test_a_line_beside_the_face_is_refused():
    """A line that never crosses the clear aperture has no heights: how far u and v go is said."""
    with pytest.raises(BadInput) as refused:
        along(saddle_map(), line_from_text("50mm,-30mm,50mm,30mm"))
    assert str(refused.value).startswith(
        "the line of the profile does not cross the clear aperture; places with u up to 43.65 mm and v up to 61.73 mm either way are needed;"
    )
