"""The benchmarks still execute: each on as little as it takes. What they measure is read by people, never asserted here."""

import json
import math
import shutil
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from benchmarks import (
    accuracy,
    coverage,
    drawn_setups,
    general_way,
    load,
    pages,
    photographs,
    run,
    scatter,
    setups,
    speed,
    tables,
    together,
    wear,
)
from straightband.synthetic.bands import smallest_gap_nm
from straightband.synthetic.campaign import Difficulty, Pattern


@pytest.fixture(scope="module")
def shot():
    return photographs.photograph(4, difficulty=Difficulty.PLAIN, pattern=Pattern.STRAIGHT, megapixels=0.6)


def test_accuracy_tells_what_came_of_a_photograph(shot):
    """A row of the accuracy table holds the error of the map, in nm, and no refusal for a plain photograph."""
    row = accuracy.tried(shot, with_true_outline=True)
    assert row["refused"] == ""
    assert row["rms_error_nm"] < accuracy.LARGEST_RMS_NM
    assert row["outline_px"] == pytest.approx(0.0, abs=1e-6)  # the outline given is the true one, to rounding


def test_a_wrong_outline_is_measured_in_pixels(shot):
    """An outline shifted by three pixels along the minor axis is said to be three pixels off."""
    true = photographs.true_outline(shot.rendered.truth)
    turn = math.radians(true.angle_deg + 90.0)
    shifted = replace(true, cx=true.cx + 3.0 * math.cos(turn), cy=true.cy + 3.0 * math.sin(turn))
    assert accuracy.outline_miss_px(shifted, true) == pytest.approx(3.0, rel=0.01)  # second order of 3 px over 150 px


def test_the_general_way_reads_straight_bands(shot):
    """Carrier isolation and unwrapping get within a tenth of a wave on straight bands, so that the comparison is with something that works."""
    found = general_way.compared(shot)
    assert found["fourier rms, nm"] < 60.0  # a tenth of 589 nm; typically 2
    assert found["qpretrieve rms, nm"] < 60.0


def test_the_bound_is_that_of_rife_and_boorstyn():
    """With many bands Fisher's information of the whole model gives sqrt(2/N) sigma/B again (Rife & Boorstyn 1974)."""
    bound = scatter.bound_of(scatter.carrier_scene())
    assert bound.full_nm == pytest.approx(bound.simple_nm, rel=0.03)  # 14 bands leave the light almost separate from the phase


def test_scatter_gives_coefficients_of_a_noisy_rendering():
    """A noisy rendering of the golden face read from 16-bit TIFF gives its coefficients to the noise."""
    rendered = scatter.render(scatter.golden_scene(width_px=640, height_px=480), rng=np.random.default_rng(0))
    found = scatter.coefficients_of_reading(rendered)
    truth = photographs.true_map_like(rendered.scene, points=257)
    assert found == pytest.approx(
        scatter.coefficients_of_map(truth), abs=0.3
    )  # 30 times the least scatter of 0.01 nm: systematic parts stay below


def test_coverage_records_what_was_stated_and_what_was_true(tmp_path):
    """A seed of the coverage run is kept with figures read, true and stated, and counted from the file again."""
    row = coverage.record(3, name="wavelength", exact=False)
    assert set(row["read"]) == set(row["true"]) == set(coverage.NAMES)
    (tmp_path / "coverage-wavelength.jsonl").write_text(json.dumps(row) + "\n", encoding="utf-8")
    records = coverage._records(run.Options(out=tmp_path, photographs=True))
    rows = coverage.counted("wavelength", records=records, count=10)
    assert {line["photographs"] for line in rows} == {1}


def test_setups_are_read_counted_and_taken_up_again(tmp_path, monkeypatch, capsys):
    """Two set-ups are read and counted; what a record already holds is not read again, so that a long run can be cut short."""
    options = run.Options(out=tmp_path, count=2, seed=2)
    setups.run(options)
    lines = (tmp_path / "setups.jsonl").read_text(encoding="utf-8").splitlines()
    rows = [json.loads(line) for line in lines]
    assert [row["seed"] for row in rows] == [2, 3]
    assert set(setups.ASKED) <= set(rows[0]["read"]) & set(rows[0]["true"]) & set(rows[0]["total"])
    assert "2 set-ups, 0 of them refused" in capsys.readouterr().out
    monkeypatch.setattr(setups, "record", None)
    setups.run(options)
    assert (tmp_path / "setups.jsonl").read_text(encoding="utf-8").splitlines() == lines


def test_set_ups_are_drawn_from_what_the_budget_says():
    """Of 16 set-ups the wedge shows 2 to 30 bands, no plates pass through each other, the least gap is below 3 um in nearly all, and kinds change."""
    drawn = [drawn_setups.drawn_setup(np.random.default_rng([seed, 5])) for seed in range(16)]
    scenes = [scene for each in drawn for scene in each.scenes]
    smaller = [min(scene.face.semi_u_mm, scene.face.semi_v_mm) for scene in scenes]
    bands = np.array(
        [
            size * math.hypot(scene.bands_u / scene.face.semi_u_mm, scene.bands_v / scene.face.semi_v_mm)
            for size, scene in zip(smaller, scenes, strict=True)
        ]
    )
    first = bands[np.cumsum([0, *(len(each.scenes) for each in drawn[:-1])])]
    assert 2.0 <= first.min() < 6.0
    assert 10.0 < first.max() <= 30.0
    least = np.array([smallest_gap_nm(each.scenes[0]) for each in drawn])
    assert least.min() > -100.0  # a bend that came after
    assert np.sum(least < 3000.0) >= 12  # binomial, 16 at 95 %: fewer in one case in 1000
    told = [setups.described(each) for each in drawn]
    for kind in ("photographs", "shape", "lamp", "camera_told", "rest", "reference"):
        assert len({row[kind] for row in told}) > 1


def test_the_exact_reader_makes_no_error_of_its_own():
    """On a round face seen square-on through a perfect lens the phase from the geometry gives the true figures back."""
    seed = next(k for k in range(50) if coverage.base_scene(k).face.shape.value == "round")
    row = coverage.record(seed, name="nothing", exact=True)
    assert row["read"] == pytest.approx(row["true"], rel=2e-3)  # an outline known to 0.02 px leaves a tilt, and 1/cos of it, in doubt


@pytest.mark.parametrize("name", [name for name, term in coverage.TERMS.items() if term.draw])
def test_every_term_of_coverage_draws_photographs(name):
    """Each term draws at least one scene whose plates do not pass through each other."""
    scene = coverage.base_scene(5)
    shots = coverage.TERMS[name].draw(scene, np.random.default_rng(1))
    assert all(coverage.smallest_gap_nm(each.scene) > -20.0 for each in shots)  # a drawn reference may reach 15 nm into the least gap


def test_speed_watches_every_stage(shot):
    """The stages whose times are told are met on the way of a reading, so that renaming one shows here."""
    setup = photographs.setup_of(shot, outline=photographs.true_outline(shot.rendered.truth))
    data = shot.rendered.encode()
    stages, _ = speed._staged(lambda: speed_read(data, setup), repeats=1)
    assert set(stages) == {label for _, name, label in speed.STAGES if name != "find_outline"}


def speed_read(data, setup):
    from straightband.workflows import read

    return read.read_photo(data, name="s.jpg", setup=setup)


def test_an_unknown_benchmark_is_refused(capsys):
    """A name that no benchmark has is answered with those there are."""
    with pytest.raises(SystemExit):
        run.main(["quickness"])
    assert f"there are {', '.join(run.NAMES)}" in capsys.readouterr().err


def test_tables_keep_every_row(tmp_path):
    """A table written is there as CSV and as markdown, bars in a text not breaking it."""
    text = tables.write_table([{"a": 1.23456, "b": "x|y"}, {"a": 2.0, "b": True}], stem=tmp_path / "t")
    assert text.splitlines()[2:] == ["| 1.23 | x/y |", "| 2 | yes |"]
    assert (tmp_path / "t.csv").read_text(encoding="utf-8").count("\n") == 3


def test_wear_runs_the_plan_by_rings_and_beside_whole_faces():
    """A few runs of the plan are carried out, and one of them on whole faces with sags close by."""
    steps = wear.plan()
    assert len(wear.followed(steps, 3)) == len(wear.PLATES)
    _, _, apart_um = wear.beside_whole(steps[0][2], abrasive=steps[0][1])
    assert apart_um < 3.0  # of 20: coarse cells, and corners that rings average


def test_pages_are_weighed_and_timed(tmp_path):
    """Every page answers with a small and a larger record, each gets its row, and the larger record holds what it was to hold."""
    small = pages.shop_with_one(tmp_path / "small")
    shutil.copytree(small.folder, tmp_path / "large")
    large = pages.open_shop(tmp_path / "large")
    pages.fill(large, count=12)
    with large.record() as record:
        assert record.count(pages.ReadingEntry) == 13
    rows = pages.measured(small, large, asked=1)
    assert [row["page"] for row in rows] == list(pages.PAGES)
    assert all(row["kB packed"] > 0.2 for row in rows)
    assert pages.first_page_bytes(small) > 1000


def test_several_photographs_are_measured_beside_one():
    """One pair of small photographs for each second wedge: errors in nm, and the lens told but where the wedge was the same."""
    rows = together.several(pairs=1, seed=0, width_px=800)
    assert [row["second wedge"] for row in rows] == list(together.WEDGES)
    assert all(row["together, nm rms"] > 0.0 for row in rows)
    assert rows[3]["its uncertainty, %"] == pytest.approx(1.0, rel=0.05)  # two equal wedges tell nothing beyond the 1 % thought before


def test_a_stack_is_timed_beside_its_frames():
    """Three small frames on one core: seconds of one and of all, and their ratio."""
    row = together.stack(frames=3, workers=1, size_px=(800, 600))
    assert row["stack, s"] > row["one, s"] > 0.0
    assert row["ratio"] == pytest.approx(row["stack, s"] / (3.0 * row["one, s"]))


def test_a_bench_under_load_is_measured(tmp_path):
    """Two seconds of pages and telephones against a bench of its own: every figure is there, and no answer was an error."""
    filled = pages.shop_with_one(tmp_path / "shop")
    for telephone in range(load.TELEPHONES):
        load.enter_piece(filled, {"name": f"L-{telephone}", "minor": "90mm"}, now=pages.NOW, order_id=1)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(load, "IDLE_S", 1.0)
        patch.setattr(load, "PAGES_PER_S", 20)
        # in a thread: a browser driven in this process before has left its event loop running here
        with load.opened(filled.folder) as (address, pid), ThreadPoolExecutor(1) as thread:
            row = thread.submit(load.measured, address, pid=pid, seconds=2.0).result()
    assert (row["errors"], row["first error"]) == (0, "")
    assert row["photographs sent"] >= 1
    assert row["p99 over idle median"] > 0.0
