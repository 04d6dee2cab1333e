"""The record of a shop as a person fills it: the same numbers as the commands, kept with everything that is needed to compute them anew."""

import json
import shutil

import numpy as np
import pytest

from straightband.cli import main
from straightband.errors import BadInput, StraightbandError
from straightband.face.shapes import round_face
from straightband.heightmap.formats import read_map
from straightband.heightmap.map import HeightMap
from straightband.shop import jobs
from straightband.shop.entries import Batch, CertificateEntry, Flat, GaugingEntry, Ordered, PieceEntry, ReadingEntry, Run, VerdictEntry
from straightband.shop.queries import newest_verdict, open_pieces
from straightband.shop.record import Form, json_text
from straightband.workflows import shop_readings
from straightband.workflows.certify import verdict_on
from straightband.workflows.maps import map_file
from straightband.workflows.report_reading import reading_facts
from straightband.workflows.report_verdict import verdict_facts
from straightband.workflows.shop_certificates import certify_for_the_record, piece_file_of
from straightband.workflows.shop_clock import later
from straightband.workflows.shop_folder import open_shop, vouch
from straightband.workflows.shop_jobs import ask_certificate, ask_plan, ask_reading, do
from straightband.workflows.shop_orders import enter_order, enter_piece, piece_suggested
from straightband.workflows.shop_readings import (
    differences,
    enter_photograph,
    read_for_the_record,
    same_reading,
    task_from_texts,
)
from straightband.workflows.shop_recompute import reading_again
from straightband.workflows.shop_setup import enter_flat
from straightband.workflows.shop_work import enter_gauging, going, start_timer, stop_timer

NOW = "2026-03-03T09:41:07Z"
ORDER = {"name": "G-1", "aperture": "300mm", "focal_length": "1500mm", "intercept": "300mm", "full_field": "10mm", "strehl": "0.8"}
SETTINGS = {"light": "mercury-green", "mark": "3", "thicker": "2.5"}


@pytest.fixture(scope="module")
def shop(tmp_path_factory, photograph):
    """A shop with one order, one piece of 90 mm, one photograph, and what was read of it."""
    shop = open_shop(tmp_path_factory.mktemp("bench") / "shop", make=True)
    order = enter_order(shop, ORDER, now=NOW)
    enter_piece(shop, {"name": "G-1", "minor": "90mm", "glass": "borosilicate"}, now=NOW, order_id=order)
    number = enter_photograph(shop, 1, name="bands.jpg", data=photograph, now=NOW)
    read_for_the_record(shop, task_from_texts(shop, (number,), texts=SETTINGS), now=NOW)
    return shop


def test_the_record_holds_what_the_reading_says(shop, reading):
    """Facts in the record are those of the same reading made by itself, to the last figure; so is the map."""
    with shop.record() as record:
        entry = record.get(ReadingEntry, 1)
    assert json_text(entry.found) == json_text(reading_facts(reading))
    kept = read_map(shop.maps.read(entry.map_sha256), "map.npz")
    assert (kept.heights_nm[kept.valid] == reading.height_map.heights_nm[reading.height_map.valid]).all()


def test_the_verdict_in_the_record_is_that_of_the_order(shop, reading):
    """A piece with an order is judged with the reading, for that order's telescope, with the same draws of its errors."""
    with shop.record() as record:
        entry = newest_verdict(record, 1)
    verdict = verdict_on(reading, shop_readings.requirement_of({key: value for key, value in ORDER.items() if key != "name"}))
    assert json_text(entry.found) == json_text(verdict_facts(verdict, reading.height_map))
    assert entry.told["aperture"] == "300mm"


def test_the_age_of_a_flat_is_told_by_the_day_of_the_photograph(shop, tmp_path):
    """A flat whose recheck was due when the photograph was entered is doubted, and is so again whenever the reading is computed anew."""
    shutil.copytree(shop.folder, tmp_path / "copy")
    shop = open_shop(tmp_path / "copy")
    axis = np.linspace(-70.0, 70.0, 71)
    face = round_face(diameter_mm=140.0)
    level = np.where(face.contains(*np.meshgrid(axis, axis)), 0.0, np.nan)
    meta = {"sign": "known", "reference": {"measured": "2025-01-05", "recheck_due": "2026-01-05"}}
    old = HeightMap(heights_nm=level, u_mm=axis, v_mm=axis.copy(), uncertainty_nm=level + 4.0, face=face, clear_margin=0.0, meta=meta)
    flat = enter_flat(shop, "old flat", map_name="old.npz", data=map_file(old, name="old.npz"), now=NOW)
    task = task_from_texts(shop, (1,), texts=SETTINGS | {"flat": str(flat)})
    number = read_for_the_record(shop, task, now=NOW)
    with shop.record() as record:
        assert "reference-recheck-due" in record.get(ReadingEntry, number).found["flags"]
    assert reading_again(shop, number) == ()
    assert 'photographed = "2026-03-03"' in piece_file_of(shop, number)


def test_an_old_reading_is_computed_anew_to_the_same_numbers(shop):
    """From photograph and settings of the record alone every fact comes out the same, to the last figure."""
    assert reading_again(shop, 1) == ()
    found = vouch(shop, recompute=True)
    assert found.whole
    assert found.recomputed.counts == {"readings": 1, "verdicts": 1, "orders": 1}
    assert found.recomputed.same == 3


def test_a_number_that_came_out_differently_is_named(shop):
    """The comparison bites: the last figure of one number changed is a difference with a name."""
    with shop.record() as record:
        found = record.get(ReadingEntry, 1).found
    changed = json.loads(json_text(found))
    changed["surface"]["pv_nm"] += 1e-9
    assert differences(changed, found) == ("'surface' came out differently",)
    assert differences(found | {"program": "another"}, found) == ()


def test_the_same_photograph_again_is_the_same_entry(shop, photograph):
    """An upload that was repeated after a lost connection makes nothing new."""
    assert enter_photograph(shop, 1, name="other-name.jpg", data=photograph, now=NOW) == 1


def test_the_same_reading_is_not_made_twice(shop):
    """The same photograph with the same settings leads to the reading that is there; other settings are another task."""
    task = task_from_texts(shop, (1,), texts=SETTINGS)
    assert same_reading(shop, task) == 1
    assert same_reading(shop, task_from_texts(shop, (1,), texts=SETTINGS | {"thicker": "9"})) is None
    job = ask_reading(shop, (1,), texts=SETTINGS, now=NOW)
    with shop.record() as record:
        do(shop, jobs.take_next(record))
        assert jobs.job_of(record, job).leads_to == "/readings/1"
        assert record.count(ReadingEntry) == 1


def test_the_certificate_is_that_of_the_command(shop, photograph, tmp_path, capsys):
    """The paper of the record and `straightband certify` on the piece file that the record writes are the same bytes."""
    number = certify_for_the_record(shop, 1, now=NOW)
    with shop.record() as record:
        entry = record.get(CertificateEntry, number)
    (tmp_path / "bands.jpg").write_bytes(photograph)
    (tmp_path / "piece.toml").write_text(entry.told["piece_file"], encoding="utf-8")
    assert main(["certify", str(tmp_path / "piece.toml"), "--out", str(tmp_path / "again.pdf"), "--json"]) == 0
    assert (tmp_path / "again.pdf").read_bytes() == shop.papers.read(entry.pdf_sha256)
    told = json.loads(capsys.readouterr().out)
    assert {key: told[key] for key in entry.found} == entry.found
    assert certify_for_the_record(shop, 1, now=NOW) == number  # once more is the same paper
    assert piece_file_of(shop, 1, day="3 March 2026") == entry.told["piece_file"]


def test_no_paper_is_written_on_numbers_that_no_longer_come_out(shop, monkeypatch):
    """A certificate is refused where the photographs read otherwise than in the record."""
    monkeypatch.setattr("straightband.workflows.shop_certificates.differences", lambda *_: ("'surface' came out differently",))
    with pytest.raises(BadInput, match="no longer read as in the record"):
        certify_for_the_record(shop, 1, now=NOW)


@pytest.fixture
def empty(tmp_path):
    return open_shop(tmp_path / "shop", make=True)


def test_an_order_is_what_the_command_says(empty, capsys):
    """What the record finds for an order is what `straightband order --json` prints."""
    number = enter_order(empty, ORDER, now=NOW)
    options = [word for key, value in ORDER.items() if key != "name" for word in (f"--{key.replace('_', '-')}", value)]
    assert main(["order", *options, "--json"]) == 0
    with empty.record() as record:
        assert record.get(Ordered, number).found == json.loads(capsys.readouterr().out)


def test_an_order_is_corrected_by_a_new_entry(empty):
    """The correction holds under the first one's number, and the first one stays as it was."""
    number = enter_order(empty, ORDER, now=NOW)
    assert enter_order(empty, ORDER | {"customer": "order 31"}, now=NOW, corrects=number) == number
    with empty.record() as record:
        assert record.current(Ordered, number).customer == "order 31"
        assert record.get(Ordered, number).customer == ""


def test_a_name_stands_for_one_order(empty):
    """A second order of the same name is refused; a correction may keep its name."""
    enter_order(empty, ORDER, now=NOW)
    with pytest.raises(BadInput, match="there is an order called 'G-1' already"):
        enter_order(empty, ORDER | {"aperture": "310mm"}, now=NOW)
    with empty.record() as record:
        assert record.count(Ordered) == 1


def test_the_piece_of_an_order_is_suggested_with_its_glass(empty):
    """The form begins with what the order found; a name that is taken is refused."""
    number = enter_order(empty, ORDER, now=NOW)
    with empty.record() as record:
        texts = piece_suggested(record.get(Ordered, number))
    enter_piece(empty, texts, now=NOW, order_id=number)
    with empty.record() as record:
        (piece,) = open_pieces(record, limit=5)
    assert piece.told == {"shape": "ellipse", "minor": texts["minor"], "glass": "borosilicate", "thickness": texts["thickness"]}
    with pytest.raises(BadInput, match="there is a piece called 'G-1' already"):
        enter_piece(empty, texts, now=NOW, order_id=number)


@pytest.mark.parametrize(
    "texts", [{"name": "a"}, {"name": "a", "minor": "90"}, {"name": "", "minor": "90mm"}, {"name": "a", "shape": "star", "minor": "9mm"}]
)
def test_a_piece_that_can_not_be_leaves_nothing(empty, texts):
    """Refused in a sentence, and nothing entered."""
    with pytest.raises(StraightbandError):
        enter_piece(empty, texts, now=NOW)
    with empty.record() as record:
        assert record.count(PieceEntry) == 0


def test_a_timer_outlives_the_program_and_ends_once(empty):
    """Twelve minutes by the clock are a run of twelve minutes, however often the stop is sent."""
    enter_piece(empty, {"name": "a", "minor": "50mm"}, now=NOW)
    number = start_timer(empty, 1, texts={"work": "grinding", "minutes": "10min"}, now=NOW)
    with pytest.raises(BadInput, match="a timer is going for this face already"):
        start_timer(empty, 1, texts={"work": "grinding", "minutes": "5min"}, now=NOW)
    with open_shop(empty.folder).record() as record:
        assert going(record, 1).id == number
    run = stop_timer(empty, number, texts={"position": "top"}, now=later(NOW, minutes=12.0))
    assert stop_timer(empty, number, texts={"position": "top"}, now=later(NOW, minutes=13.0)) == run
    with empty.record() as record:
        entry = record.get(Run, run)
        assert (entry.minutes, entry.position, entry.work) == (12.0, "top", "grinding")
        assert going(record, 1) is None


def test_a_gauging_is_what_the_command_says_and_knows_the_one_before(empty, capsys):
    """Sag and uncertainty are those of `straightband gauge --json`; the trend is told against the last one within the same feet."""
    enter_piece(empty, {"name": "a", "minor": "53.5mm"}, now=NOW)
    texts = {"leg_circle": "40mm", "reading": "12.4um,12.6um,12.5um", "zero": "11.0um,11.1um", "after_abrasive": "40um"}
    first = enter_gauging(empty, 1, texts=texts, now=NOW)
    second = enter_gauging(empty, 1, texts=texts | {"reading": "11.6um,11.5um"}, now=NOW)
    command = ["gauge", "--minor", "53.5mm", "--leg-circle", "40mm", "--reading", texts["reading"], "--zero", texts["zero"], "--json"]
    assert main(command) == 0
    with empty.record() as record:
        entries = [record.get(GaugingEntry, number) for number in (first, second)]
    assert entries[0].found == json.loads(capsys.readouterr().out)
    assert entries[1].found["earlier"] == [{"abrasive_um": 40.0, "sag_um": entries[0].found["sag_um"]}]


def test_a_plan_of_the_record_is_that_of_the_command(empty, tmp_path, capsys):
    """The batch file that the record writes, with the sag gauged last, gives `straightband plan --json` the same plan, to the last figure."""
    for name in ("R-1", "R-2"):
        enter_piece(empty, {"name": name, "shape": "round", "diameter": "60mm", "thickness": "12mm"}, now=NOW)
    enter_gauging(empty, 1, texts={"leg_circle": "40mm", "reading": "12.4um", "zero": "11.0um"}, now=NOW)
    job = ask_plan(empty, {"name": "spring", "pieces": "1,2", "abrasives": "5um"}, now=NOW)
    with empty.record() as record:
        do(empty, jobs.take_next(record))
        assert jobs.job_of(record, job).leads_to == "/batches/1"
        batch = record.get(Batch, 1)
        sag = record.get(GaugingEntry, 1).found["edge_sag_um"]
    (tmp_path / "batch.toml").write_text(batch.told["batch_file"], encoding="utf-8")
    assert f"sag_um = {sag:.4g}" in batch.told["batch_file"]
    assert main(["plan", str(tmp_path / "batch.toml"), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert {key: batch.found[key] for key in told} == told
    assert vouch(empty).whole


def test_a_photograph_that_can_not_be_read_fails_its_job_in_a_sentence(empty):
    """The job says why, the photograph stays in the record, and no reading is entered."""
    enter_piece(empty, {"name": "a", "minor": "53.5mm"}, now=NOW)
    number = enter_photograph(empty, 1, name="note.jpg", data=b"no photograph at all", now=NOW)
    job = ask_reading(empty, (number,), texts={"light": "sodium"}, now=NOW, form=Form(token="t", digest="d"))
    with empty.record() as record:
        do(empty, jobs.take_next(record))
        ended = jobs.job_of(record, job)
        assert ended.state == "failed"
        assert "note.jpg" in ended.sentence
        assert record.count(ReadingEntry) == record.count(VerdictEntry) == 0


def test_settings_are_refused_before_any_work(empty):
    """A lamp that is none is refused when it is typed, not minutes later."""
    enter_piece(empty, {"name": "a", "minor": "53.5mm"}, now=NOW)
    number = enter_photograph(empty, 1, name="a.jpg", data=b"x", now=NOW)
    with pytest.raises(BadInput, match="candle"):
        ask_reading(empty, (number,), texts={"light": "candle"}, now=NOW)


def test_a_fault_of_ours_fails_the_job_and_not_the_worker(empty):
    """A job that names a reading that was never made ends in a sentence."""
    job = ask_certificate(empty, 99, now=NOW)
    with empty.record() as record:
        do(empty, jobs.take_next(record))
        assert jobs.job_of(record, job).sentence.startswith("there is no reading of number 99")


def test_the_commands_keep_and_vouch(shop, tmp_path, capsys):
    """`keep` writes a copy that `vouch` finds whole, and a byte changed in it is found with exit code 0 and a plain word."""
    copy = tmp_path / "copy"
    assert main(["keep", "--shop", str(shop.folder), "--out", str(copy), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["faults"] == []
    with shop.record() as record:
        assert record.listing(Flat) == ()
        sha256 = record.get(ReadingEntry, 1).map_sha256
    open_shop(copy).maps.place(sha256).write_bytes(b"x")
    assert main(["vouch", "--shop", str(copy)]) == 0
    said = capsys.readouterr().out
    assert said.startswith("NOT WHOLE")
    assert f"the map {sha256[:12]} no longer has the bytes it was kept with" in said
    assert main(["vouch", "--shop", str(tmp_path / "nowhere")]) == 2
