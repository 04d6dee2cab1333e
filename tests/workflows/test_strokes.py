"""From a map, laps and earlier runs to the next strokes, with faces whose truth is known."""

import re
from dataclasses import replace

import numpy as np
import pytest

from straightband.errors import BadInput
from straightband.face.shapes import ellipse
from straightband.heightmap.map import HeightMap
from straightband.synthetic.surfaces import added, saddle, sphere
from straightband.workflows.strokes import Limits, Next, PastRun, plan_strokes
from straightband.workflows.strokes_pictures import run_toml, stroke_card, wear_picture, zones_picture
from straightband.workflows.strokes_report import SENTENCES, strokes_facts, strokes_lines
from straightband.workflows.strokes_shelf import runs_from_toml, shelf_from_diameters, shelf_from_toml, with_new_pitch
from straightband.workflows.strokes_view import View

FACE = ellipse(minor_mm=80.0)
U, V = np.linspace(-40.0, 40.0, 41), np.linspace(-57.0, 57.0, 57)
LIMITS = Limits(tolerance_nm=79.1, most_strokes=5)
LAPS = b"""\
polish = "cerium oxide"
table_rpm = 18
[[lap]]
name = "full"
diameter_mm = 110
weight_n = 25
ways = ["mirror-turned", "mirror-held"]
[[lap]]
name = "half"
diameter_mm = 45
strokes_per_min = 60
ways = ["still"]
"""
SHELF = shelf_from_toml(LAPS, name="laps.toml")


def map_of(surface, *, doubt_nm=6.0, **meta):
    uu, vv = np.meshgrid(U, V)
    heights = np.where(FACE.clear_aperture().contains(uu, vv), surface.heights_nm(uu, vv), np.nan)
    return HeightMap(
        heights_nm=heights,
        u_mm=U.copy(),
        v_mm=V.copy(),
        uncertainty_nm=np.where(np.isfinite(heights), doubt_nm, np.nan),
        face=FACE,
        meta={"sign": "known", "mark": 12} | meta,
    )


HILL = map_of(added(sphere(FACE, sag_nm=250.0), saddle(FACE, rise_nm=60.0, axis_deg=30.0)))


@pytest.fixture(scope="module")
def plan():
    return plan_strokes(HILL, shelf=SHELF, limits=LIMITS)


def worked(plan, *, factor, seed=1, share=1.0):
    """The map after the run when every lap cuts `factor` times as fast as the default, measured with its own error."""
    told = dict(zip(plan.rates.names, plan.rates.factors, strict=True))
    uu, vv = np.meshgrid(U, V)
    depth = sum(
        share * factor / told[f"{run.stroke.lap.name} with {plan.shelf.polish}"] * wear
        for run, wear in zip(plan.runs, plan.wear_of_runs(u_mm=uu, v_mm=vv), strict=True)
    )
    noise = 2.0 * np.random.default_rng(seed).standard_normal(uu.shape)
    return replace(plan.height_map, heights_nm=plan.height_map.heights_nm - depth + noise)


def past_of(plan, after):
    strokes, minutes = zip(*((run.stroke, run.minutes) for run in plan.runs), strict=True)
    return PastRun(before=plan.height_map, after=after, strokes=strokes, minutes=minutes, polish=plan.shelf.polish)


def test_a_hill_gets_strokes_that_lower_it(plan):
    """A convex face is advised a run that is expected to leave less rms, and the parts add up to the whole."""
    assert plan.advice.next is Next.WORK
    assert 1 <= len(plan.runs) <= 5
    assert plan.advice.after.rms < plan.advice.before.rms
    uu, vv = np.meshgrid(U, V)
    assert np.sum(plan.wear_of_runs(u_mm=uu, v_mm=vv), axis=0) == pytest.approx(plan.removed, abs=1e-6)
    assert plan.predicted.heights_nm[28, 20] == pytest.approx(HILL.heights_nm[28, 20] - plan.removed[28, 20])


def test_the_facts_hold_the_contract(plan):
    """Names for programs: runs with stroke and minutes, the foretold rms, what is removed."""
    facts = strokes_facts(plan)
    assert {"stroke", "minutes"} <= set(facts["runs"][0])
    assert facts["predicted_rms_nm"] == plan.advice.after.rms
    assert facts["removed_nm"] == plan.removed_nm > 0.0
    assert sum(run["minutes"] for run in facts["runs"]) == facts["minutes"]
    assert any("do not pry" in line.lower() for line in facts["cautions"])


def test_every_doubt_has_its_sentence(plan):
    """Each short name is told in words, and a first run says that its rates are a guess."""
    assert "rates-not-learnt" in plan.flags
    lines = strokes_lines(plan)
    assert all(f"Note: {SENTENCES[flag]}." in lines for flag in plan.flags)
    assert all(sentence[0].islower() for sentence in SENTENCES.values())


def test_without_the_sign_no_stroke_is_advised():
    """Where hill or hole is not known the advice is withheld, and says why."""
    unknown = plan_strokes(replace(HILL, meta={"sign": "unknown"}), shelf=SHELF, limits=LIMITS)
    assert (unknown.advice.next, unknown.runs, unknown.removed_nm) == (Next.WITHHELD, (), 0.0)
    assert "sign-unknown" in unknown.flags
    assert strokes_facts(unknown)["advice"] == "withheld"


def test_a_face_within_its_tolerance_is_left_alone():
    """A flat face is not worked, and nothing is removed."""
    flat = plan_strokes(map_of(sphere(FACE, sag_nm=30.0)), shelf=SHELF, limits=LIMITS)
    assert (flat.advice.next, flat.runs, flat.removed_nm) == (Next.STOP_WITHIN, (), 0.0)
    with pytest.raises(BadInput, match="no stroke is advised"):
        run_toml(flat, before="m.npz")


def test_the_next_advice_knows_what_the_last_run_showed(plan):
    """Laps that cut at 0.5 times the default are found out by one run, and the next run foretells with that; how right the first was is said."""
    after = worked(plan, factor=0.5)
    following = plan_strokes(after, shelf=SHELF, limits=LIMITS, past=(past_of(plan, after),))
    factors = dict(zip(following.rates.names, np.exp(following.rates.log_mean), strict=True))
    used = {f"{run.stroke.lap.name} with {SHELF.polish}" for run in plan.runs}
    assert all(factors[name] == pytest.approx(0.5, rel=0.35) for name in used)
    assert following.outcome.factor == pytest.approx(0.5 / np.exp(0.55**2 / 2 + 0.25**2 / 2), rel=0.1)
    assert any(line.startswith("Last run:") for line in strokes_lines(following))


def test_a_run_that_went_as_foretold_is_told_so(plan):
    """When the laps cut as expected, all but a few per cent of the change was foretold, within its uncertainty; else doubt is raised."""
    mean = float(plan.rates.factors[0])
    right = plan_strokes(worked(plan, factor=mean), shelf=SHELF, limits=LIMITS, past=(past_of(plan, worked(plan, factor=mean)),))
    assert right.outcome.foretold_share > 0.95
    assert abs(right.outcome.factor - 1.0) < right.outcome.factor_uncertainty + 0.05
    assert "last-run-not-as-foretold" not in right.flags
    wrong_way = worked(plan, factor=mean, share=-1.0)
    wrong = plan_strokes(wrong_way, shelf=SHELF, limits=LIMITS, past=(past_of(plan, wrong_way),))
    assert wrong.outcome.foretold_share < 0.0
    assert "last-run-not-as-foretold" in wrong.flags


def test_maps_of_different_faces_are_no_run(plan):
    """A run whose two maps are of faces of different size is refused."""
    other = replace(HILL, face=ellipse(minor_mm=70.0))
    with pytest.raises(BadInput, match="different outlines"):
        plan_strokes(HILL, shelf=SHELF, limits=LIMITS, past=(past_of(plan, other),))


def test_a_kept_run_is_read_again(plan):
    """The file that keeps a run holds strokes and minutes as advised; without `after` it ends in the map of now."""
    now = worked(plan, factor=1.0)
    (run,) = runs_from_toml(
        run_toml(plan, before='a "b".npz'), name="run.toml", shelf=SHELF, now=now, map_of={'a "b".npz': HILL}.__getitem__
    )
    assert (run.before, run.after) == (HILL, now)
    assert list(zip(run.strokes, run.minutes, strict=True)) == [(one.stroke, one.minutes) for one in plan.runs]


def test_a_lap_pitched_anew_begins_anew(plan):
    """New pitch has done no run and is known less well than the old one was, but takes over what laps of the shop share; the other laps keep what they have."""
    after = worked(plan, factor=0.5)
    used = plan.runs[0].stroke.lap.name
    learnt_, anew = (
        plan_strokes(after, shelf=with_new_pitch(SHELF, names), limits=LIMITS, past=(past_of(plan, after),)).rates
        for names in ((), (used,))
    )
    number = learnt_.names.index(f"{used} with {SHELF.polish}")
    assert anew.names == learnt_.names
    assert (learnt_.runs[number], anew.runs[number]) == (1, 0)
    before = plan.rates
    assert learnt_.log_uncertainty[number] < anew.log_uncertainty[number] < before.log_uncertainty[number]
    assert learnt_.log_mean[number] < anew.log_mean[number] < before.log_mean[number]
    others = [k for k in range(len(learnt_.names)) if k != number]
    assert anew.log_mean[others] == pytest.approx(learnt_.log_mean[others], abs=1e-6)


def test_a_run_before_new_pitch_says_nothing_of_a_run_after_it(plan):
    """After three runs that showed 0.6 and one with new pitch that showed 1, the lap is told to a fifth; without the new pitch it is mistaken."""
    slow, fast = worked(plan, factor=0.6), worked(plan, factor=1.0)
    used = tuple({run.stroke.lap.name for run in plan.runs})
    known = [
        plan_strokes(
            fast, shelf=SHELF, limits=LIMITS, past=(*[past_of(plan, slow)] * 3, replace(past_of(plan, fast), new_pitch=names))
        ).rates
        for names in ((), used)
    ]
    number = known[0].names.index(f"{used[0]} with {SHELF.polish}")
    without, with_ = (float(np.exp(rates.log_mean[number])) for rates in known)
    assert without < 0.8 < with_
    assert with_ == pytest.approx(1.0, rel=0.2)
    assert known[1].runs[number] == 1


def test_new_pitch_is_kept_with_the_run(plan):
    """The run that is kept says which laps had new pitch before it; a lap the shop does not have is refused."""
    kept = run_toml(replace(plan, shelf=with_new_pitch(SHELF, ("half",))), before="m.npz")
    (run,) = runs_from_toml(kept, name="run.toml", shelf=SHELF, now=HILL, map_of={"m.npz": HILL}.__getitem__)
    assert run.new_pitch == ("half",)
    with pytest.raises(BadInput, match="new pitch names 'third'"):
        with_new_pitch(SHELF, ("third",))
    with pytest.raises(BadInput, match=r"'new_pitch' of run 1 in the file of runs 'r\.toml' names '7'"):
        runs_from_toml(kept.replace(b'["half"]', b"7"), name="r.toml", shelf=SHELF, now=HILL, map_of={"m.npz": HILL}.__getitem__)


def test_laps_may_be_told_by_their_diameters():
    """From diameters alone come laps called by them, with the usual weight and all ways of working."""
    shelf = shelf_from_diameters(("110mm", "2in"))
    assert [(lap.name, lap.diameter_mm) for lap in shelf.laps] == [("110 mm lap", 110.0), ("50.8 mm lap", 50.8)]
    assert all(len(lap.ways) == 4 for lap in shelf.laps)


def test_the_file_of_laps_is_read():
    """Names, sizes and ways of the laps, and what is left out has its usual value: 3 kPa under a lap."""
    shelf = shelf_from_toml(LAPS, name="laps.toml")
    assert [lap.name for lap in shelf.laps] == ["full", "half"]
    assert (shelf.table_rpm, shelf.laps[0].force_n) == (18.0, 25.0)
    assert shelf.laps[1].force_n == pytest.approx(3e-3 * np.pi / 4 * 45.0**2, abs=0.01)
    assert [str(way) for way in shelf.laps[1].ways] == ["lap on top, table still"]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        (b"", "no list of laps"),
        (b"lap = 3", "no list of laps"),
        (b"[[lap]]\nname = 'x'", "'diameter_mm' in lap 1 in the file of laps 'l.toml' is missing"),
        (b"[[lap]]\nname = 'x'\ndiameter_mm = nan", "no usable number"),
        (b"[[lap]]\nname = 'x: y'\ndiameter_mm = 40", "without colon"),
        (b"[[lap]]\nname = 'x'\ndiameter_mm = 40\nways = ['sideways']", "ways to work"),
        (b"[[lap]]\nname = 'x'\ndiameter_mm = 40\n[[lap]]\nname = 'X'\ndiameter_mm = 50", "two laps are called 'X'"),
        (b"[[lap]]\nname = 'x'\ndiameter_mm = 40\nsize = 1", "'size', which is not known"),
        (b"\xff\xfe", "not plain text"),
    ],
)
def test_what_is_wrong_with_a_file_of_laps_is_said(text, found):
    """One sentence with what was found and what is needed."""
    with pytest.raises(BadInput, match=re.escape(found)):
        shelf_from_toml(text, name="l.toml")


@pytest.mark.parametrize(
    "text", [b"", b"run = 1", b"[[run]]", b"[[run]]\nbefore='a'\nstroke=[]", b"[[run]]\nbefore='a'\n[[run.stroke]]\nstroke='x'\nminutes=1"]
)
def test_what_is_wrong_with_a_file_of_runs_is_said(text):
    """A run without maps, without strokes or with strokes that nobody has laps for is refused."""
    with pytest.raises(BadInput, match="needed"):
        runs_from_toml(text, name="r.toml", shelf=SHELF, now=HILL, map_of={}.get)


def test_the_papers_are_made_alike_each_time(plan):
    """Pictures and card depend on nothing but the plan, and the view changes them."""
    assert zones_picture(plan) == zones_picture(plan)
    assert zones_picture(plan) != zones_picture(plan, view=View(mirrored=True, mark_hour=3.0))
    assert wear_picture(plan).startswith(b"\x89PNG")
    card = stroke_card(plan, piece="2026-31", shop="An invented shop")
    assert card == stroke_card(plan, piece="2026-31", shop="An invented shop")
    assert card.startswith(b"%PDF")
