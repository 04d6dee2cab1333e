"""Flats by themselves, from files of pair maps to reference maps that age.

Truth: pairs made from chosen figures, one flat facing the other; sources of the method in tests/combine/test_flats.py.
"""

import math
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from straightband.combine.pairs import Pair, place_on_other
from straightband.errors import BadInput
from straightband.face.polynomials import face_polynomials
from straightband.face.shapes import rectangle, round_face
from straightband.heightmap.figures import figures, without_tilt
from straightband.heightmap.formats import map_bytes, read_map
from straightband.heightmap.map import HeightMap
from straightband.synthetic.render import render
from straightband.synthetic.scene import Scene, View
from straightband.synthetic.surfaces import added, saddle, sphere
from straightband.synthetic.truth import mark_hour, thicker_hour
from straightband.workflows.read import read_photo
from straightband.workflows.reference import ageing_flags, day_from_text, with_note
from straightband.workflows.setup import setup_from_text
from straightband.workflows.threeflat import know_flats, mean_uncertainty_nm, months_after
from straightband.workflows.threeflat_report import SENTENCES, flats_facts, flats_lines
from straightband.workflows.threeflat_text import request_from_text

FACE = round_face(diameter_mm=100.0)
CLEAR = FACE.clear_aperture()
SIZE = np.array([20.0] * 3 + [10.0] * 4 + [5.0] * 5)


def make_terms(seed=4):
    rng = np.random.default_rng(seed)
    return {name: rng.standard_normal(12) * SIZE for name in "ABC"}


def heights_of(terms, *, u, v):
    return np.tensordot(terms, face_polynomials(u, v, face=CLEAR, order=4)[3:], axes=1)


def pair_map(terms, names, *, turn_deg=0.0, stated=2.0, **meta):
    axis = np.linspace(-50.0, 50.0, 81)
    u, v = np.meshgrid(axis, axis)
    blank = HeightMap(heights_nm=0.0 * u, u_mm=axis, v_mm=axis, uncertainty_nm=0.0 * u, face=FACE)
    other = place_on_other(Pair(piece="A", other="B", height_map=blank, turn_rad=math.radians(turn_deg)), u_mm=u, v_mm=v)
    total = heights_of(terms[names[0]], u=u, v=v) + heights_of(terms[names[1]], u=other[0], v=other[1])
    inside = CLEAR.contains(u, v)
    told = {"sign": "known", "light_nm": 546.074, **meta}
    return replace(blank, heights_nm=np.where(inside, total, np.nan), uncertainty_nm=np.where(inside, stated, np.nan), meta=told)


def files_of(terms, *, turned=False, **more):
    made = [(f"{names}.npz", pair_map(terms, names, **more)) for names in ("AB", "BC", "CA")]
    if turned:
        made.append(("AB-54deg.npz", pair_map(terms, "AB", turn_deg=54.0, **more)))
    return [(name, map_bytes(each, name="m.npz")) for name, each in made]


def known_from(files, **options):
    return know_flats(request_from_text(files, told=options.pop("told", []), **options))


@pytest.fixture(scope="module")
def four():
    """Each flat from four pairs, measured on a day."""
    return known_from(files_of(make_terms(), turned=True), measured="2026-11-25", recheck="6months")


def miss(flat, terms):
    """The flat's map less its truth, tilt removed, with the figures of that."""
    found = flat.height_map
    u, v = np.meshgrid(found.u_mm, found.v_mm)
    return without_tilt(replace(found, heights_nm=found.heights_nm - heights_of(terms[flat.name], u=u, v=v)))


def test_four_pairs_give_each_flat(four):
    """With B turned once every flat comes out within a tenth of a nanometre, and nothing is undetermined."""
    terms = make_terms()
    assert [flat.name for flat in four.flats] == ["A", "B", "C"]
    assert flats_facts(four)["undetermined"] == "These maps determine all 75 terms."
    for flat in four.flats:
        assert figures(miss(flat, terms)).rms_nm < 0.1  # the map's own points between those of the grid


def test_three_pairs_say_what_they_cannot_see():
    """Without a turned pair the free part is named, and the stated uncertainty holds what is missed of it."""
    terms = make_terms()
    known = known_from(files_of(terms))
    facts = flats_facts(known)
    assert (facts["unknowns"], facts["rank"]) == (75, 64)
    assert facts["undetermined"].startswith(
        "These maps leave 11 of 75 combinations undetermined, all of them with opposite heights left and right"
    )
    assert facts["flats"][0]["undetermined"][0]["term"] == "astigmatism along the diagonals"
    assert "part-undetermined" in facts["flags"]
    for flat in known.flats:
        off = miss(flat, terms)
        assert np.mean(np.abs(off.heights_nm[off.valid]) <= flat.height_map.uncertainty_nm[off.valid]) > 0.9
        assert mean_uncertainty_nm(flat) > 5.0  # 20 nm of astigmatism may hide


def test_power_is_as_sure_as_the_maps_say(four):
    """Uncertainty of the power from maps that state 2 nm: sqrt(5/8) of what one map's power has (two maps, and the mean of two), within the noise of the draws."""
    share = next(effect for effect in four.flats[2].budget.effects if effect.name == "pair maps").expanded_nm["power_nm"]
    # a sixth of the variance is power; P = -2 sqrt(3) of the coefficient
    assert share == pytest.approx(math.sqrt(0.625) * 2.0 / math.sqrt(6.0) * 2.0 * math.sqrt(3.0), rel=0.12)  # 300 draws: 95 % point to 6 %


def test_the_map_of_a_flat_can_be_read_back_and_covers_its_own_clear_aperture(four):
    """The file holds all: heights over the whole clear aperture and a step beyond, when it was measured, what it rests on."""
    back = read_map(map_bytes(four.flats[0].height_map, name="A.npz"), "A.npz")
    record = back.meta["reference"]
    assert (record["flat"], record["measured"], record["recheck_due"]) == ("A", "2026-11-25", "2027-05-27")
    assert record["pairs"][3] == "A on B turned 54 deg"
    assert len(back.meta["maps"]) == 4
    u, v = np.meshgrid(back.u_mm, back.v_mm)
    assert np.isfinite(back.heights_nm[CLEAR.normalised_radius(u, v) < 1.02]).all()


def test_pairs_that_do_not_fit_each_other_are_flagged(four):
    """A fourth pair whose wedge was told the wrong way round, so that its hills are holes, does not fit the other three."""
    terms = make_terms()
    wrong = pair_map(terms, "AB", turn_deg=54.0)
    wrong = map_bytes(replace(wrong, heights_nm=-wrong.heights_nm), name="m.npz")
    known = known_from([*files_of(terms), ("AB-54deg.npz", wrong)])
    assert "pairs-disagree" in known.flags
    assert "pairs-disagree" not in four.flags


def test_every_doubt_has_its_sentence():
    """All that can be raised is in the table, and the lines for people hold it."""
    known = known_from(files_of(make_terms(), stated=0.0, flags=["turn-unknown"]))
    assert set(known.flags) == {"part-undetermined", "pair-uncertainty-not-stated", "pair-without-mark", "day-not-told"}
    text = "\n".join(flats_lines(known))
    assert all(SENTENCES[flag] in text for flag in known.flags)


@pytest.mark.parametrize(
    ("names", "told", "sentence"),
    [
        (("AB", "AB_2", "BA"), [], "3 maps show fewer than three flats; three flats, each on each of the others, are needed; give the maps of A on B, B on C and C on A."),
        (("AB", "BC", "CD"), [], "the pairs do not fix the power of A, B, C, D; pairs that close a ring of three (or another odd number of) flats are needed; measure the pair that is missing, like C on A."),
        (("AB", "BC", "AA"), [], "a map is said to be of A on itself; two flats make a pair; name both, like --pair MAP.npz=A,B."),
        (("AB", "BC", "flat3"), [], "the name 'flat3.npz' does not say which two flats it shows; two letters like AB.npz, or A-on-B.npz, and the turn like AB-54deg.npz, are needed; rename it or add --pair 'flat3.npz=A,B'."),
        (("AB", "BC", "CA"), ["AB.npz=A"], "a pair was told as 'AB.npz=A'; the file, the two flats, and if need be the turn and the shift are needed; write it like --pair MAP.npz=A,B,54deg or --pair MAP.npz=A,B,0deg,10mm,-5mm."),
        (("AB", "BC", "CA"), ["DE.npz=D,E"], "a pair was told of 'DE.npz', which is not among the maps; one of the maps is needed; check its name."),
        (("AB", "BC", "CA"), ["CA.npz=C,A,54"], "the turn was given as '54'; an angle up to 360 deg is needed; write it like 54deg."),
    ],
    ids=["two flats", "open chain", "itself", "name", "told short", "told of none", "bare angle"],
)  # fmt: skip
def test_what_cannot_be_solved_is_one_sentence(names, told, sentence):
    """Pairs that cannot tell the flats apart are refused with what to do."""
    files = [(f"{name}.npz", map_bytes(pair_map(make_terms(), "AB", stated=2.0 + k), name="m.npz")) for k, name in enumerate(names)]
    with pytest.raises(BadInput) as refused:
        known_from(files, told=told)
    assert str(refused.value) == sentence


@pytest.mark.parametrize(
    ("meta", "found"),
    [
        ({"sign": "unknown"}, "the map of A on B does not know hills from holes"),
        ({"minus": "A"}, "a reference was taken off the map of A on B"),
    ],
)
def test_maps_that_are_no_pairs_are_refused(meta, found):
    """A map of unknown sign, or one from which a flat was taken off already, can't take part."""
    with pytest.raises(BadInput) as refused:
        known_from(files_of(make_terms(), **meta))
    assert str(refused.value).startswith(found)


def test_a_rectangle_is_not_turned_by_54_degrees():
    """Two rectangles meet at half a turn only."""
    block = replace(pair_map(make_terms(), "AB"), face=rectangle(width_mm=60.0, length_mm=80.0))
    with pytest.raises(BadInput) as refused:
        known_from([("AB-54deg.npz", map_bytes(block, name="m.npz"))])
    assert str(refused.value).startswith("B was turned by 54 deg under a rectangle")


def test_pairs_can_be_told_beside_their_names():
    """What --pair says goes before the name: piece, other, turn and shift."""
    data = map_bytes(pair_map(make_terms(), "AB"), name="m.npz")
    pair = request_from_text([("x.npz", data)], told=["x.npz=E1,A,25deg,6mm,-4mm"]).pairs[0]
    assert (pair.piece, pair.other, pair.shift_mm) == ("E1", "A", (6.0, -4.0))
    assert math.degrees(pair.turn_rad) == pytest.approx(25.0)
    named = request_from_text([("E1-on-A-25.5deg_2.npz", data)], told=[]).pairs[0]
    assert (named.piece, named.other, round(math.degrees(named.turn_rad), 9)) == ("E1", "A", 25.5)


def test_a_reference_ages(four):
    """Fresh: no doubt; past its day: due; something done to it: due at once; without a day: undated."""
    flat = four.flats[0].height_map
    assert ageing_flags(flat, now=date(2027, 5, 27)) == ()
    assert ageing_flags(flat, now=date(2027, 5, 28)) == ("reference-recheck-due",)
    knocked = with_note(flat, day=date(2027, 1, 2), what="rim  knocked")
    assert knocked.meta["reference"]["handled"] == [{"day": "2027-01-02", "what": "rim knocked"}]
    assert ageing_flags(knocked, now=date(2027, 1, 3)) == ("reference-handled-since",)
    record = {**flat.meta["reference"], "recheck_due": None}
    assert ageing_flags(replace(flat, meta={**flat.meta, "reference": record}), now=date(2027, 1, 3)) == ("reference-undated",)
    assert ageing_flags(None, now=date(2027, 1, 3)) == ()
    assert ageing_flags(pair_map(make_terms(), "AB"), now=date(2027, 1, 3)) == ()


def test_a_year_is_365_days_and_a_quarter():
    """Twelve months after 25 November 2026 is 25 November 2027; two years, with a leap day, 25 November 2028."""
    assert months_after(date(2026, 11, 25), 12.0) == date(2027, 11, 25)
    assert months_after(date(2026, 11, 25), 24.0) == date(2028, 11, 24) or months_after(date(2026, 11, 25), 24.0) == date(2028, 11, 25)


def test_a_day_and_a_note_that_cannot_be_used():
    """A day in another form, and a note on a map that is no reference flat, are refused."""
    with pytest.raises(BadInput) as refused:
        day_from_text("3 March", what="the day")
    assert str(refused.value) == "the day was given as '3 March'; year, month and day are needed; write it like 2026-11-25."
    with pytest.raises(BadInput) as refused:
        with_note(pair_map(make_terms(), "AB"), day=date(2026, 1, 1), what="dropped")
    assert str(refused.value) == (
        "the map is not that of a reference flat; a map that threeflat has written is needed; give the flat's own map, like A.npz."
    )


def test_a_reading_says_that_its_reference_is_due(photograph, four):
    """`read --minus` with a flat past its day and with a note on it: both doubts stand on the result, and the map says what was taken off."""
    u = np.linspace(-70.0, 70.0, 29)
    blank = np.zeros((29, 29))
    meta = {**four.flats[0].height_map.meta, "flags": []}
    flat = HeightMap(heights_nm=blank, u_mm=u, v_mm=u, uncertainty_nm=blank + 1.0, face=round_face(diameter_mm=140.0), meta=meta)
    flat = with_note(flat, day=date(2027, 1, 2), what="rim knocked")
    setup = setup_from_text(light="mercury-green", minor="90mm", mark="3", thicker="2.5", today="2027-12-01")
    reading = read_photo(photograph, name="bands.jpg", setup=setup, reference=flat)
    assert {"reference-handled-since", "reference-recheck-due"} <= set(reading.flags)
    assert reading.height_map.meta["minus"] == "A"


def test_photographs_of_pairs_become_flats():
    """Three spheres with a saddle each, photographed in pairs through the back of the upper one: each comes out as it is, within what is stated."""
    face = round_face(diameter_mm=100.0)
    made = {"A": (60.0, 20.0), "B": (-25.0, 75.0), "C": (90.0, 130.0)}  # sag, and where its saddle stands high

    def surface(name, *, faced=False):
        sag, axis = made[name]
        return added(sphere(face, sag_nm=sag), saddle(face, rise_nm=15.0, axis_deg=180.0 - axis if faced else axis))

    files = []
    for k, (piece, other) in enumerate(("AB", "BC", "CA")):
        scene = Scene(
            surface=surface(piece),
            reference=surface(other, faced=True),
            bands_u=2.0,
            bands_v=5.0,
            gap_nm=2000.0,
            view=View(width_px=900, height_px=700, scale_px_per_mm=5.5, centre_x_px=449.5, centre_y_px=349.5, mirrored=1),
        )
        hours = {name: f"{(hour(scene) - 1.0) % 12.0 + 1.0:.2f}" for name, hour in (("mark", mark_hour), ("thicker", thicker_hour))}
        setup = setup_from_text(light="mercury-green", shape="round", diameter="100mm", mirrored="1", camera="5m", **hours)
        reading = read_photo(render(scene, rng=np.random.default_rng(k)).encode("jpeg"), name="p.jpg", setup=setup)
        files.append((f"{piece}{other}.npz", map_bytes(reading.height_map, name="m.npz")))
    for flat in known_from(files).flats:
        found = flat.height_map
        assert flat.figures.power_nm == pytest.approx(made[flat.name][0] * 0.97**2, abs=flat.budget.expanded_nm["power_nm"])
        u, v = np.meshgrid(found.u_mm, found.v_mm)
        off = without_tilt(replace(found, heights_nm=found.heights_nm - surface(flat.name).heights_nm(u, v)))
        assert np.mean(np.abs(off.heights_nm[off.valid]) <= found.uncertainty_nm[off.valid]) > 0.9
