"""Backs, pads, flats and prices of the record: the numbers of the commands, and what the shop learns from its own past."""

import json

import numpy as np
import pytest

from straightband.cli import main
from straightband.errors import BadInput
from straightband.face.shapes import round_face
from straightband.gauges.clearing_time import pace_of_shop
from straightband.heightmap.map import HeightMap
from straightband.shop import jobs
from straightband.shop.entries import Clearing, Cost, Flat, FlatTest, GridPhotograph, Ordered, PieceEntry, PlateEntry, ReadingEntry, Run
from straightband.shop.queries import back_of, faces_of, grid_photographs_of
from straightband.shop.record import Form, json_text
from straightband.wear.pads import evened
from straightband.workflows.clear_text import past_backs_from_toml
from straightband.workflows.maps import map_file, map_from_file
from straightband.workflows.shop_backs import (
    back_for,
    back_task,
    enter_grid_photograph,
    minutes_since_photograph,
    past_backs_file,
    start_back_timer,
)
from straightband.workflows.shop_clock import later
from straightband.workflows.shop_flats import flat_states, note_on_flat, use_flats
from straightband.workflows.shop_folder import open_shop, vouch
from straightband.workflows.shop_jobs import ask_clearing, ask_flats, ask_pads, do
from straightband.workflows.shop_orders import enter_order, enter_piece, order_of_texts, piece_texts
from straightband.workflows.shop_prices import enter_prices, prices_file, shop_prices
from straightband.workflows.shop_today import in_hand
from straightband.workflows.shop_work import enter_cost, enter_run, going, run_texts, start_timer, stop_timer

NOW = "2026-03-03T09:41:07Z"
TELESCOPE = {"aperture": "300mm", "focal_length": "1500mm", "intercept": "300mm", "full_field": "10mm"}


@pytest.fixture
def shop(tmp_path):
    """A shop with one piece of 90 mm."""
    shop = open_shop(tmp_path / "shop", make=True)
    enter_piece(shop, {"name": "G-1", "minor": "90mm", "glass": "borosilicate", "thickness": "12mm"}, now=NOW)
    return shop


def done(shop):
    """The next job, done by the worker's own function."""
    with shop.record() as record:
        job = jobs.take_next(record)
    do(shop, job)
    with shop.record() as record:
        return jobs.job_of(record, job.id)


def same(found, told):
    """Facts of the record against the JSON of a command, which also says what it wrote."""
    return json_text({key: told[key] for key in told if key != "written"}) == json_text(
        {key: value for key, value in found.items() if key != "maps"}
    )


def enter_past_back(shop, name, *, minor, minutes):
    """A back of the past that was grey at the first of two moments and clear at the second."""
    piece = enter_piece(shop, {"name": name, "minor": minor}, now=NOW)
    with shop.record() as record:
        back = back_for(record, piece, now=NOW)
        first = record.add(GridPhotograph(at=NOW, face_id=back.root, sha256=name, name=name, bytes=1, minutes=minutes[0]))
        spell = minutes[1] - minutes[0]
        for since, grey in ((0.0, [{}]), (spell, [])):
            found = {"photographs": [{"minutes": 0.0}, {"minutes": since}], "unclear_places": grey}
            record.add(
                Clearing(at=NOW, face_id=back.root, told={"photographs": [first.id]}, found=found, picture_sha256="", program="test")
            )


def test_a_back_is_what_the_command_says(shop, grid_photographs, tmp_path, capsys):
    """Two photographs, the minutes between them and the shop's past backs give the facts of `straightband clear --json` to the last figure."""
    enter_past_back(shop, "P-1", minor="60mm", minutes=(24.0, 30.0))
    enter_past_back(shop, "P-2", minor="45mm", minutes=(16.0, 20.0))
    words = ["clear"]
    for name, data, polished in zip(("a.jpg", "b.jpg"), grid_photographs, ("8min", "12min"), strict=True):
        enter_grid_photograph(shop, 1, name=name, data=data, texts={"polished": polished}, now=NOW)
        (tmp_path / name).write_bytes(data)
    ask_clearing(shop, 1, texts={"mark": "12"}, now=NOW)
    job = done(shop)
    assert (job.state, job.leads_to) == ("done", "/pieces/1/back"), job.sentence
    with shop.record() as record:
        back = back_of(record, 1)
        entry = record.listing(Clearing, face_id=back.root)[0]
        (tmp_path / "past.toml").write_text(past_backs_file(record, back.root), encoding="utf-8")
        piece = in_hand(record, record.get(PieceEntry, 1), units="mm")
    words += [str(tmp_path / "a.jpg"), "--minor", "90mm", "--glass", "borosilicate", "--mark", "12", "--polished", "8min"]
    words += ["--after", "12min", str(tmp_path / "b.jpg"), "--past", str(tmp_path / "past.toml"), "--json"]
    assert main(words) == 0
    assert same(entry.found, json.loads(capsys.readouterr().out))
    assert shop.papers.read(entry.picture_sha256).startswith(b"\x89PNG")
    assert piece.state.startswith("Not clear yet: ")
    assert piece.step.link == "/pieces/1/back"


def test_the_shop_learns_from_its_past_backs(shop):
    """The middle between grey and clear is taken for each past back, this one is left out, and the pace expected of another size follows them."""
    assert past_backs_file_of(shop) == ""
    enter_past_back(shop, "P-1", minor="60mm", minutes=(44.0, 56.0))
    enter_past_back(shop, "P-2", minor="80mm", minutes=(50.0, 70.0))
    enter_past_back(shop, "P-3", minor="70mm", minutes=(0.0, 60.0))  # minutes before the first photograph not known: tells nothing
    past = past_backs_from_toml(past_backs_file_of(shop).encode(), name="past.toml")
    assert [(back.semi_mm, back.minutes) for back in past] == [(30.0, 50.0), (40.0, 60.0)]
    # half an hour is what a back of 60 mm takes elsewhere (common practice, no source): here it takes 50 minutes
    slower = pace_of_shop(past, semi_mm=45.0).mean - pace_of_shop((), semi_mm=45.0).mean
    assert slower == pytest.approx(np.log(30.0 / 50.0), abs=0.15)
    assert pace_of_shop(past, semi_mm=45.0).standard < pace_of_shop((), semi_mm=45.0).standard


def past_backs_file_of(shop):
    with shop.record() as record:
        back = back_of(record, 1)
        return past_backs_file(record, 0 if back is None else back.root)


def test_minutes_between_photographs_are_those_of_the_timer(shop, grid_photographs):
    """Runs on the back since the photograph before are added up; what is typed holds instead; a back ground anew begins again."""
    timer = start_back_timer(shop, 1, texts={"minutes": "10min"}, now=NOW)
    with pytest.raises(BadInput, match="a timer is going"):
        start_back_timer(shop, 1, texts={"minutes": "10min"}, now=NOW)
    stop_timer(shop, timer, texts={}, now=later(NOW, minutes=11.0))
    with shop.record() as record:
        back = back_of(record, 1)
        assert minutes_since_photograph(record, back.root) == 11.0
        assert [face.name for face in faces_of(record, 1)] == ["face", "back"]
    enter_grid_photograph(shop, 1, name="a.jpg", data=grid_photographs[0], texts={}, now=later(NOW, minutes=12.0))
    enter_run(shop, back.root, texts={"work": "polishing", "minutes": "5min"}, now=later(NOW, minutes=20.0))
    enter_grid_photograph(shop, 1, name="b.jpg", data=grid_photographs[1], texts={}, now=later(NOW, minutes=21.0))
    again = enter_grid_photograph(shop, 1, name="c.jpg", data=grid_photographs[1], texts={}, now=later(NOW, minutes=30.0))
    with shop.record() as record:
        assert [each.minutes for each in grid_photographs_of(record, back.root)] == [11.0, 5.0]
        assert again == 2  # the same file is the same entry
    enter_grid_photograph(shop, 1, name="d.jpg", data=b"other", texts={"polished": "3min", "begins": "1"}, now=later(NOW, minutes=40.0))
    with shop.record() as record:
        assert [each.minutes for each in grid_photographs_of(record, back.root)] == [3.0]


def test_an_outline_that_was_told_stays_with_its_photograph(shop):
    """The outline told with one photograph is kept for it when the next is looked at, and the next is found."""
    told = "480,360,300,212,90"
    with shop.record() as record:
        back = back_for(record, 1, now=NOW)
        for name in "ab":
            record.add(GridPhotograph(at=NOW, face_id=back.root, sha256=name, name=name, bytes=1, minutes=5.0))
        settings = {"photographs": [1], "outlines": told}
        record.add(Clearing(at=NOW, face_id=back.root, told=settings, found={}, picture_sha256="", program="test"))
    assert back_task(shop, back.root, texts={}).settings["outlines"] == f"{told};"
    with pytest.raises(BadInput, match="the outline is given as '1,2'"):
        back_task(shop, back.root, texts={"outline": "1,2"})


def test_a_plate_of_pads_is_what_the_command_says(shop, monkeypatch, capsys):
    """Pads laid for a piece's back give the facts of `straightband pads --json`; the template is kept."""
    monkeypatch.setattr(evened, "ROUNDS", 0)  # pads in rows: how they are laid evenly is tested with the command
    asked = {"piece": "1", "plate": "160mm", "pads": "square", "pad_size": "30mm", "pack": "6", "pack_price": "8.50 EUR"}
    ask_pads(shop, asked, now=NOW)
    assert done(shop).leads_to == "/pads/1"
    command = ["pads", "--plate", "160mm", "--pad-side", "30mm", "--minor", "90mm", "--pack", "6", "--pack-price", "8.50 EUR", "--json"]
    assert main(command) == 0
    with shop.record() as record:
        entry = record.get(PlateEntry, 1)
    assert same(entry.found, json.loads(capsys.readouterr().out))
    assert shop.papers.read(entry.template_sha256).startswith(b"%PDF")
    with pytest.raises(BadInput, match="no piece was chosen"):
        ask_pads(shop, asked | {"piece": ""}, now=NOW)


def flat_map(power_nm):
    """A map of a pair of flats 60 mm across."""
    axis, face = np.linspace(-30.0, 30.0, 31), round_face(diameter_mm=60.0)
    u, v = np.meshgrid(axis, axis)
    heights = np.where(face.contains(u, v), power_nm * (u**2 + v**2) / 900.0, np.nan)
    meta = {"sign": "known", "flags": [], "light_nm": 589.3}
    return HeightMap(heights_nm=heights, u_mm=axis, v_mm=axis, uncertainty_nm=heights * 0.0 + 4.0, face=face, clear_margin=0.03, meta=meta)


@pytest.fixture
def shop_with_pairs(shop):
    """Three flats as pieces, and a reading of each on the next."""
    for name, power_nm in (("A", 30.0), ("B", 10.0), ("C", -5.0)):
        piece = enter_piece(shop, {"name": name, "shape": "round", "diameter": "60mm"}, now=NOW)
        found = {"sign": "known", "surface": {"pv_nm": power_nm}, "uncertainty": {"pv_nm": 4.0}, "flags": []}
        with shop.record() as record:
            kept = shop.maps.keep(map_file(flat_map(power_nm), name="map.npz"))
            record.add(ReadingEntry(at=NOW, face_id=faces_of(record, piece)[0].root, told={}, found=found, map_sha256=kept, program="test"))
    return shop


PAIRS = {"reading1": "1", "on1": "b", "reading2": "2", "on2": "C", "reading3": "3", "on3": "A", "order": "2"}


def test_flats_are_what_the_command_says_and_age(shop_with_pairs, tmp_path, capsys):
    """Readings of pairs give the facts of `straightband threeflat --json`; the flats can be used, are noted on, and fall due."""
    shop = shop_with_pairs
    with pytest.raises(BadInput, match="fewer than three flats"):
        ask_flats(shop, {"reading1": "1", "on1": "B"}, now=NOW)
    with pytest.raises(BadInput, match="pair 1 does not say which flat"):
        ask_flats(shop, {"reading1": "1"}, now=NOW)
    ask_flats(shop, PAIRS, now=NOW)
    assert done(shop).leads_to == "/flats/tests/1"
    with shop.record() as record:
        test = record.get(FlatTest, 1)
        for number in (1, 2, 3):
            (tmp_path / f"reading-{number}.npz").write_bytes(shop.maps.read(record.get(ReadingEntry, number).map_sha256))
    pairs = [f"--pair=reading-{k}.npz={two}" for k, two in ((1, "A,B"), (2, "B,C"), (3, "C,A"))]
    maps = [str(tmp_path / f"reading-{k}.npz") for k in (1, 2, 3)]
    assert main(["threeflat", *maps, *pairs, "--order", "2", "--measured", "2026-03-03", "--json"]) == 0
    assert same(test.found, json.loads(capsys.readouterr().out))

    form = Form(token="t" * 20, digest="d")
    for _ in range(2):
        use_flats(shop, 1, now=NOW, form=form)
    with shop.record() as record:
        assert [flat.name for flat in record.listing(Flat)] == ["A", "B", "C"]
        assert record.count(Flat) == 3
        first = record.get(Flat, 1)
    # the power of A alone is (30 - 10 - 5) / 2 = 7.5 nm to the rim, less the bevel of 3 %; hollow: closed form
    assert test.found["flats"][0]["power_nm"] == pytest.approx(-7.5 * 0.97**2, abs=0.01)
    assert map_from_file(shop.maps.read(first.map_sha256), "A.npz").meta["reference"]["flat"] == "A"
    states = {day: flat_states(shop, today=day)[0] for day in ("2026-04-01", "2027-04-01")}
    assert states["2026-04-01"].state == "In order."
    assert states["2026-04-01"].due == "3 March 2027"
    assert states["2027-04-01"].state == "It is due to be measured again."
    note_on_flat(shop, 1, texts={"what": "rim knocked"}, now=NOW)
    noted = flat_states(shop, today="2026-04-01")[0]
    assert (noted.state, noted.handled) == ("It was handled since it was measured: measure it again.", ("3 March 2026: rim knocked",))
    with shop.record() as record:
        assert record.get(Flat, 1).map_sha256 == first.map_sha256  # what was entered first stays
    assert vouch(shop).checked.faults == ()


def test_the_quote_is_at_the_shops_own_prices(shop, tmp_path, capsys):
    """Prices that were entered, and hours of a mirror that was made, give the quote of `straightband order --prices` with the same file."""
    order = enter_order(shop, {"name": "O-1"} | TELESCOPE, now=NOW)
    enter_prices(shop, {"per_hour": "42", "glass_per_kg": "61.5", "currency": "USD"}, now=NOW)
    with pytest.raises(BadInput, match="'one hour of work' was given as 'much'"):
        enter_prices(shop, {"per_hour": "much"}, now=NOW)
    with shop.record() as record:
        (tmp_path / "prices.toml").write_text(prices_file(record), encoding="utf-8")
    found = order_of_texts(TELESCOPE, prices=shop_prices(shop))
    second = enter_order(shop, {"name": "O-2"} | TELESCOPE, now=NOW)
    options = [part for name, text in TELESCOPE.items() for part in (f"--{name.replace('_', '-')}", text)]
    assert main(["order", *options, "--prices", str(tmp_path / "prices.toml"), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    with shop.record() as record:
        assert same(record.get(Ordered, second).found, told)
        assert record.get(Ordered, order).found["quote"]["currency"] == "EUR"  # an order stays at the prices it was taken with
    assert found.quote.currency == told["quote"]["currency"] == "USD"


def test_a_run_is_corrected_and_taken_back(shop):
    """The correction holds, the first stays, and a timer that was stopped does not go again when its run is corrected."""
    timer = start_timer(shop, 1, texts={"work": "grinding", "minutes": "10min"}, now=NOW)
    number = stop_timer(shop, timer, texts={"position": "top"}, now=later(NOW, minutes=10.0))
    with shop.record() as record:
        texts = run_texts(record.get(Run, number))
    assert texts == {"work": "grinding", "minutes": "10min", "position": "top", "abrasive": "", "pad": "", "note": ""}
    enter_run(shop, 1, texts=texts | {"minutes": "12min"}, now=NOW, corrects=number)
    with shop.record() as record:
        assert going(record, 1) is None
        assert [run.minutes for run in record.listing(Run)] == [12.0]
        assert record.get(Run, number).minutes == 10.0
    assert stop_timer(shop, timer, texts={}, now=later(NOW, minutes=20.0)) == 2  # stopped once more: what holds of it
    enter_run(shop, 1, texts=texts | {"minutes": "0min"}, now=NOW, corrects=number)
    with shop.record() as record:
        assert [run.minutes for run in record.listing(Run)] == [0.0]
    with pytest.raises(BadInput, match="more than none"):
        enter_run(shop, 1, texts=texts | {"minutes": "0min"}, now=NOW)


def test_a_piece_and_a_cost_are_corrected(shop):
    """The correction of a piece keeps order and faces; its name stays its own; a cost of nothing takes one back."""
    with shop.record() as record:
        texts = piece_texts(record.get(PieceEntry, 1))
    assert enter_piece(shop, texts | {"minor": "91mm"}, now=NOW, corrects=1) == 1
    enter_piece(shop, {"name": "G-2", "minor": "60mm"}, now=NOW)
    with pytest.raises(BadInput, match="there is a piece called 'G-2' already"):
        enter_piece(shop, texts | {"name": "G-2"}, now=NOW, corrects=1)
    with shop.record() as record:
        assert record.current(PieceEntry, 1).told["minor"] == "91mm"
        assert record.get(PieceEntry, 1).told["minor"] == "90mm"
        assert len(faces_of(record, 1)) == 1
    cost = enter_cost(shop, 1, texts={"what": "glass", "amount": "12.50"}, now=NOW)
    enter_cost(shop, 1, texts={"what": "glass", "amount": "0", "hours": "0"}, now=NOW, corrects=cost)
    with shop.record() as record:
        assert [each.amount for each in record.listing(Cost)] == [0.0]
