"""Figuring in the record: laps, advice as the command gives it, strokes begun one by one, and what counts as a run that was done."""

import json

import numpy as np
import pytest

from straightband.cli import main
from straightband.errors import BadInput
from straightband.face.shapes import ellipse
from straightband.heightmap.map import HeightMap
from straightband.shop import jobs
from straightband.shop.entries import Exposure, LapEntry, Photograph, ReadingEntry, StrokePlanEntry, StrokeStart
from straightband.shop.record import Form, json_text
from straightband.workflows.maps import map_file
from straightband.workflows.shop_clock import later
from straightband.workflows.shop_folder import open_shop, vouch
from straightband.workflows.shop_jobs import ask_strokes, do
from straightband.workflows.shop_laps import enter_lap, enter_table, lap_rows, laps_file, shelf_of_file
from straightband.workflows.shop_orders import enter_piece
from straightband.workflows.shop_strokes import OWN_FACTS, minutes_done, reading_after, runs_done, start_stroke
from straightband.workflows.shop_work import enter_run, stop_timer
from straightband.workflows.stroke_rows import stroke_lines

NOW = "2026-03-03T09:41:07Z"
LAP = {"name": "pitch lap", "diameter": "45mm", "weight": "5", "ways": "turning"}
STROKE = "pitch lap: lap on top, table turning, table 20 rpm, travel 20 mm, swing 5 mm, 10 mm beside the middle"


@pytest.fixture
def shop(tmp_path):
    """A shop with a piece of 60 mm, one lap, and a reading of a hill of 200 nm."""
    shop = open_shop(tmp_path / "shop", make=True)
    enter_piece(shop, {"name": "G-1", "minor": "60mm"}, now=NOW)
    enter_lap(shop, LAP, now=NOW)
    enter_reading(shop, 200.0, at=NOW)
    return shop


def enter_reading(shop, power_nm, *, at, sign="known"):
    """A reading of a hill, with its photograph."""
    face = ellipse(minor_mm=60.0)
    u, v = np.linspace(-30.0, 30.0, 41), np.linspace(-42.5, 42.5, 57)
    uu, vv = np.meshgrid(u, v)
    heights = np.where(face.contains(uu, vv), power_nm * (1.0 - (uu**2 + vv**2) / face.semi_v_mm**2), np.nan)
    meta = {"sign": sign, "flags": [], "light_nm": 589.3, "mark": 12.0}
    height_map = HeightMap(heights_nm=heights, u_mm=u, v_mm=v, uncertainty_nm=heights * 0.0 + 4.0, face=face, clear_margin=0.03, meta=meta)
    kept = shop.maps.keep(map_file(height_map, name="map.npz"))
    found = {"sign": sign, "surface": {"pv_nm": power_nm}, "uncertainty": {"pv_nm": 4.0}, "flags": []}
    with shop.record() as record:
        taken = record.add(Photograph(at=at, face_id=1, sha256=shop.photos.keep(at.encode()), name="a.jpg", bytes=1))
        reading = record.add(ReadingEntry(at=at, face_id=1, told={}, found=found, map_sha256=kept, program="test"))
        record.add(Exposure(at=at, reading_id=reading.id, photograph_id=taken.id, place=0))
    return reading.id


def enter_plan(shop, *, strokes=(STROKE, STROKE)):
    """A plan as the advice would enter it, with two strokes."""
    run = {"lap": "pitch lap", "minutes": 10.0, "removed_nm": 50.0, "removed_mean_nm": 40.0, "rim_ratio": 1.0, "ends_ratio": 1.0}
    found = {"runs": [run | {"stroke": stroke} for stroke in strokes], "minutes": 20.0}
    with shop.record() as record:
        entry = StrokePlanEntry(
            at=NOW, face_id=1, reading_id=1, told={"reading": 1, "laps": laps_file(record), "past": []}, found=found, program="test"
        )
        return record.add(entry).id


def do_stroke(shop, plan, number, *, begin, minutes):
    """Begin a stroke and stop it after so many minutes."""
    start_stroke(shop, plan, number=number, now=begin)
    with shop.record() as record:
        start = record.listing(StrokeStart, plan_id=plan)[-1]
    stop_timer(shop, start.timer_id, texts={}, now=later(begin, minutes=minutes))


def test_the_laps_of_the_record_are_the_file_of_the_command(shop):
    """A lap is corrected by its name, taken out of use, and refused as the command refuses it; table and polish go with all."""
    enter_table(shop, {"table_rpm": "12", "polish": "iron oxide"}, now=NOW)
    enter_lap(shop, {"name": "small lap", "diameter": "20mm"}, now=NOW)
    enter_lap(shop, LAP | {"diameter": "50mm"}, now=NOW)
    with shop.record() as record:
        shelf = shelf_of_file(laps_file(record))
        assert record.get(LapEntry, 1).told["diameter"] == "45mm"
    assert [(lap.name, lap.diameter_mm) for lap in shelf.laps] == [("pitch lap", 50.0), ("small lap", 20.0)]
    assert (shelf.polish, shelf.table_rpm, shelf.laps[0].force_n) == ("iron oxide", 12.0, 5.0)
    enter_lap(shop, {"name": "small lap", "diameter": "20mm", "used": "no"}, now=NOW)
    with shop.record() as record:
        assert [lap.name for lap in shelf_of_file(laps_file(record)).laps] == ["pitch lap"]
        assert dict(lap_rows(record))["small lap"] == "20mm, no longer in use"
    with pytest.raises(BadInput, match="is not a list of ways to work"):
        enter_lap(shop, LAP | {"ways": "sideways"}, now=NOW)
    with pytest.raises(BadInput, match="without colon or comma"):
        enter_lap(shop, LAP | {"name": "a: b"}, now=NOW)


def test_strokes_are_begun_one_by_one(shop):
    """Each has a timer of its minutes, entered once; another waits while it goes; minutes that were done are added up."""
    plan = enter_plan(shop)
    form = Form(token="t" * 20, digest="d")
    assert start_stroke(shop, plan, number=1, now=NOW, form=form) == start_stroke(shop, plan, number=1, now=NOW, form=form)
    with pytest.raises(BadInput, match="a timer is going"):
        start_stroke(shop, plan, number=2, now=NOW)
    with pytest.raises(BadInput, match="has no stroke 3"):
        start_stroke(shop, plan, number=3, now=NOW)
    with shop.record() as record:
        lines = stroke_lines(record, record.get(StrokePlanEntry, plan), busy=True)
    assert lines[0].words.startswith("10 min: pitch lap on top, table at 20 rpm, ")
    assert [line.clock is not None for line in lines] == [True, False]
    stop_timer(shop, 1, texts={}, now=later(NOW, minutes=4.0))
    do_stroke(shop, plan, 1, begin=later(NOW, minutes=5.0), minutes=5.0)
    do_stroke(shop, plan, 2, begin=later(NOW, minutes=20.0), minutes=0.0)
    with shop.record() as record:
        assert minutes_done(record, record.get(StrokePlanEntry, plan)) == {1: 9.0}


def test_a_run_counts_by_the_first_photograph_after_it(shop):
    """A photograph from before its end, one of unknown sign, or one after other work tells nothing of a run."""
    plan = enter_plan(shop)
    with shop.record() as record:
        assert reading_after(record, record.get(StrokePlanEntry, plan)) is None  # nothing was done
    do_stroke(shop, plan, 1, begin=later(NOW, minutes=10.0), minutes=8.0)
    enter_reading(shop, 190.0, at=later(NOW, minutes=12.0))  # while it went on
    enter_reading(shop, 160.0, at=later(NOW, minutes=60.0), sign="unknown")
    wanted = enter_reading(shop, 150.0, at=later(NOW, minutes=90.0))
    enter_reading(shop, 140.0, at=later(NOW, minutes=95.0))
    with shop.record() as record:
        assert reading_after(record, record.get(StrokePlanEntry, plan)).id == wanted
        (done,) = runs_done(record, face_root=1, laps={"pitch lap"})
        assert (done.after, done.minutes) == (wanted, {1: 8.0})
        assert runs_done(record, face_root=1, laps={"another lap"}) == ()
    enter_run(shop, 1, texts={"work": "polishing", "minutes": "5min"}, now=later(NOW, minutes=80.0))
    with shop.record() as record:
        assert reading_after(record, record.get(StrokePlanEntry, plan)) is None


def test_the_advice_is_that_of_the_command_and_learns(shop, tmp_path, capsys):
    """With the laps and a run of the record the facts are those of `straightband strokes --json`; the run before is judged in them."""
    plan = enter_plan(shop)
    do_stroke(shop, plan, 1, begin=later(NOW, minutes=10.0), minutes=8.0)
    after = enter_reading(shop, 150.0, at=later(NOW, minutes=90.0))
    ask_strokes(shop, 1, texts={"reading": str(after), "tolerance": "30nm"}, now=later(NOW, minutes=95.0))
    with shop.record() as record:
        job = jobs.take_next(record)
        text, maps = laps_file(record), [record.get(ReadingEntry, number).map_sha256 for number in (1, after)]
    do(shop, job)
    with shop.record() as record:
        ended = jobs.job_of(record, job.id)
        assert (ended.state, ended.leads_to) == ("done", "/strokes/2"), ended.sentence
        entry = record.get(StrokePlanEntry, 2)
    for name, sha256 in zip(("before.npz", "after.npz"), maps, strict=True):
        (tmp_path / name).write_bytes(shop.maps.read(sha256))
    (tmp_path / "laps.toml").write_text(text, encoding="utf-8")
    run = f'[[run]]\nbefore = "before.npz"\n\n[[run.stroke]]\nstroke = "{STROKE}"\nminutes = 8\n'
    (tmp_path / "run.toml").write_text(run, encoding="utf-8")
    command = ["strokes", str(tmp_path / "after.npz"), "--laps", str(tmp_path / "laps.toml"), "--past", str(tmp_path / "run.toml")]
    assert main([*command, "--tolerance", "30nm", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    found = {key: value for key, value in entry.found.items() if key not in OWN_FACTS}
    assert json_text({key: told[key] for key in found}) == json_text(found)
    assert told["last_run"] is not None
    assert sorted(entry.found["papers"]) == ["card", "picture", "wear"] if told["runs"] else ["picture"]
    assert vouch(shop).checked.faults == ()


def test_what_can_not_be_advised_is_refused(shop):
    """No reading, a reading of another piece, or no lap: each in its sentence."""
    with pytest.raises(BadInput, match="no reading was chosen"):
        ask_strokes(shop, 1, texts={}, now=NOW)
    enter_piece(shop, {"name": "G-2", "minor": "60mm"}, now=NOW)
    with pytest.raises(BadInput, match="reading 1 is of another piece"):
        ask_strokes(shop, 2, texts={"reading": "1"}, now=NOW)
    enter_lap(shop, LAP | {"used": "no"}, now=NOW)
    with pytest.raises(BadInput, match="the shop has no laps"):
        ask_strokes(shop, 1, texts={"reading": "1"}, now=NOW)
