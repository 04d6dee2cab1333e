"""Seeded photographs of every pattern and difficulty, read from their JPEG bytes and held against the surface they were made from."""

from __future__ import annotations

import functools
import math
import multiprocessing
import statistics
import time
from collections import Counter
from pathlib import Path

import numpy as np

from benchmarks.exact import exact_reading
from benchmarks.photographs import Photograph, miss_of_reading, photograph, pv_within, setup_of, true_outline, with_true_plate
from benchmarks.run import Options
from benchmarks.tables import Row, markdown, write_table
from straightband.errors import StraightbandError
from straightband.photo.outline import Outline
from straightband.synthetic.campaign import Difficulty, describe
from straightband.workflows.read import Reading, read_photo

LARGEST_RMS_NM = 3.0
OUTLINE_MARGIN = 0.01  # of the semi-major axis: farther off, the search found something else


def run(options: Options) -> None:
    """Read the photographs, print and write the tables and the picture."""
    difficulties = [d for d in Difficulty if not options.only or d.value in options.only]
    cases = [(options.seed + k, difficulty) for k in range(options.count or 40) for difficulty in difficulties]
    one = functools.partial(_tried, with_true_outline=options.true_outline)
    if options.workers > 1:
        with multiprocessing.get_context("spawn").Pool(options.workers) as pool:
            rows = [_progress(row) for row in pool.imap(one, cases)]
    else:
        rows = [_progress(one(case)) for case in cases]
    write_table([row | {"failing": _failing(row)} for row in rows], stem=options.out / "accuracy-photographs")
    print(write_table([_summary(rows, name) for name in (*[d.value for d in difficulties], "all")], stem=options.out / "accuracy"))
    for line in verdict_lines(rows):
        print(line)
    _list_failures(rows, out=options.out)
    _draw(rows, path=options.out / "accuracy.png")


def _progress(row: Row) -> Row:
    print(
        f"{row['seed']:>4} {row['difficulty']:<9}{row['pattern']:<9}{row['shape']:<10}{row['rms_error_nm']:>9.2f} nm  {_failing(row)}",
        flush=True,
    )
    return row


def _tried(case: tuple[int, Difficulty], *, with_true_outline: bool) -> Row:
    shot = photograph(case[0], difficulty=case[1])
    return tried(shot, with_true_outline=with_true_outline)


def tried(shot: Photograph, *, with_true_outline: bool) -> Row:
    """What came of reading one photograph, as a row of the table."""
    data = shot.rendered.encode()
    setup = setup_of(shot, outline=true_outline(shot.rendered.truth) if with_true_outline else None)
    row: Row = {"seed": shot.seed, "difficulty": shot.difficulty.value, "pattern": shot.pattern.value, "shape": shot.scene.face.shape.value}
    began, busy = time.perf_counter(), time.process_time()
    reading, refused = None, ""
    try:
        reading = read_photo(data, name=f"{shot.seed}.jpg", setup=setup)
    except StraightbandError as error:
        refused = str(error)
    except Exception as error:  # noqa: BLE001  a crash is a result of the benchmark, not its end
        refused = f"CRASH {error!r}"
    row |= {"seconds": time.perf_counter() - began, "cpu_seconds": time.process_time() - busy, "view_rms_nm": view_rms_nm(shot)}
    return row | _outcome(reading, shot=shot) | {"refused": refused} | describe(shot.scene)


def view_rms_nm(shot: Photograph) -> float:
    """Map error of a reader that knows phase, outline and rim of the flat exactly: what a view off normal, a near camera and the lens leave unknown."""
    truth = shot.rendered.truth
    setup = setup_of(shot, outline=with_true_plate(true_outline(truth), truth))
    return miss_of_reading(exact_reading(shot.scene, setup=setup), scene=shot.scene).rms_nm


def _outcome(reading: Reading | None, *, shot: Photograph) -> Row:
    if reading is None:
        return dict.fromkeys(("outline_px", "rms_error_nm", "true_rms_nm", "pv_error_nm", "true_pv_nm", "pv_expanded_nm"), math.nan) | {
            "outline_found": False,
            "pv_ok": False,
            "sign": "",
            "flags": "",
        }
    miss = miss_of_reading(reading, scene=shot.scene)
    away = outline_miss_px(reading.outline, true_outline(shot.rendered.truth))
    return {
        "outline_px": away,
        "outline_found": away <= OUTLINE_MARGIN * reading.outline.semi_major,
        "rms_error_nm": miss.rms_nm,
        "true_rms_nm": miss.true_rms_nm,
        "pv_error_nm": miss.pv_nm - miss.true_pv_nm,
        "true_pv_nm": miss.true_pv_nm,
        "pv_expanded_nm": reading.budget.expanded_nm["pv_nm"],
        "pv_ok": pv_within(miss),
        "sign": "wrong" if miss.turned else ("right" if reading.sign == "known" else "unknown"),
        "flags": " ".join(reading.flags),
    }


def outline_miss_px(found: Outline, true: Outline) -> float:
    """Largest distance between points of the same direction on two outlines, px."""
    angle = np.linspace(0.0, 2.0 * math.pi, 72, endpoint=False)
    if found.corners is not None and true.corners is not None:
        return float(max(np.linalg.norm(true.corners - corner, axis=1).min() for corner in found.corners))
    # Points of the found outline are judged by how far out they lie on the true one.
    x, y = _points(found, angle=angle)
    turn = math.radians(true.angle_deg)
    along = (x - true.cx) * math.cos(turn) + (y - true.cy) * math.sin(turn)
    across = (y - true.cy) * math.cos(turn) - (x - true.cx) * math.sin(turn)
    return float(np.abs(np.hypot(along / true.semi_major, across / true.semi_minor) - 1.0).max() * true.semi_minor)


def _points(outline: Outline, *, angle: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    turn = math.radians(outline.angle_deg)
    along, across = outline.semi_major * np.cos(angle), outline.semi_minor * np.sin(angle)
    return outline.cx + along * math.cos(turn) - across * math.sin(turn), outline.cy + along * math.sin(turn) + across * math.cos(turn)


def _failing(row: Row) -> str:
    """Why a row does not meet the acceptance, empty if it does."""
    if row["refused"]:
        return "crashed" if row["refused"].startswith("CRASH") else "refused"
    reasons = [
        "outline" if not row["outline_found"] else "",
        ("rms (by the view)" if row["view_rms_nm"] > LARGEST_RMS_NM else "rms") if row["rms_error_nm"] > LARGEST_RMS_NM else "",
        "pv" if not row["pv_ok"] else "",
        "sign" if row["sign"] == "wrong" else "",
    ]
    return " ".join(reason for reason in reasons if reason)


def _summary(rows: list[Row], name: str) -> Row:
    part = [row for row in rows if name in ("all", row["difficulty"])]
    read = [row for row in part if not row["refused"]]
    rms = [row["rms_error_nm"] for row in read] or [math.nan]
    return {
        "difficulty": name,
        "photographs": len(part),
        "refused": len(part) - len(read),
        "outline found": sum(row["outline_found"] for row in read),
        "median rms error, nm": statistics.median(rms),
        "90 % below, nm": float(np.quantile(rms, 0.9)),
        "worst, nm": max(rms),
        "rms of an exact reader > 3 nm": sum(row["view_rms_nm"] > LARGEST_RMS_NM for row in part),
        "rms <= 3 nm": sum(value <= LARGEST_RMS_NM for value in rms),
        "PV within 10 nm or 5 %": sum(row["pv_ok"] for row in read),
        "PV within its uncertainty": sum(abs(row["pv_error_nm"]) <= row["pv_expanded_nm"] for row in read),
        "sign right": sum(row["sign"] == "right" for row in read),
        "wrong": sum(row["sign"] == "wrong" for row in read),
        "unknown": sum(row["sign"] == "unknown" for row in read),
        "median seconds": statistics.median(row["seconds"] for row in part),
        "median CPU seconds": statistics.median(row["cpu_seconds"] for row in part),
    }


def verdict_lines(rows: list[Row]) -> list[str]:
    """The acceptance, a line for each part of it."""
    read = [row for row in rows if not row["refused"]]
    meant = {
        f"rms error <= {LARGEST_RMS_NM:g} nm": sum(row["rms_error_nm"] <= LARGEST_RMS_NM for row in read),
        f"rms error <= {LARGEST_RMS_NM:g} nm or the unknown view leaves an exact reader more": sum(
            row["rms_error_nm"] <= LARGEST_RMS_NM or row["view_rms_nm"] > LARGEST_RMS_NM for row in read
        ),
        "PV error <= 10 nm or 5 %": sum(row["pv_ok"] for row in read),
        "sign never wrong": sum(row["sign"] != "wrong" for row in read),
    }
    lines = [f"ACCEPTANCE {what}: {kept} of {len(read)} read ({len(rows) - len(read)} refused)" for what, kept in meant.items()]
    return lines + [f"refused {count} x: {why}" for why, count in Counter(row["refused"] for row in rows if row["refused"]).most_common()]


def _list_failures(rows: list[Row], *, out: Path) -> None:
    failures = [row for row in rows if _failing(row)]
    blocks = []
    for row in failures:
        facts = ", ".join(f"{name} {value:.4g}" if isinstance(value, float) else f"{name} {value}" for name, value in row.items())
        blocks.append(f"## seed {row['seed']}, {row['difficulty']}, {row['pattern']}: {_failing(row)}\n\n{facts}\n")
    (out / "accuracy-failures.md").write_text("\n".join(blocks), encoding="utf-8")
    columns = (
        "seed",
        "difficulty",
        "pattern",
        "shape",
        "rms_error_nm",
        "view_rms_nm",
        "pv_error_nm",
        "true_pv_nm",
        "outline_px",
        "sign",
        "flags",
    )
    if failures:
        print(markdown([{"failing": _failing(row)} | {name: row[name] for name in columns} for row in failures]))


def _draw(rows: list[Row], *, path: Path) -> None:
    import matplotlib as mpl

    mpl.use("Agg")
    import matplotlib.pyplot as plt

    figure, (left, right) = plt.subplots(1, 2, figsize=(11, 4.5), constrained_layout=True)
    for mark, difficulty in zip("o^s", Difficulty, strict=True):
        part = sorted(
            (row for row in rows if row["difficulty"] == difficulty.value and not row["refused"]), key=lambda row: row["rms_error_nm"]
        )
        if not part:
            continue
        left.step([row["rms_error_nm"] for row in part], np.arange(1, len(part) + 1) / len(part), where="post", label=difficulty.value)
        right.plot(
            [row["true_pv_nm"] for row in part],
            [max(abs(row["pv_error_nm"]), 0.01) for row in part],
            mark,
            alpha=0.6,
            label=difficulty.value,
        )
    left.axvline(LARGEST_RMS_NM, color="0.5", linestyle="--")
    left.set(xscale="log", xlabel="rms error of the map, nm", ylabel="share of the photographs read", title="Map error")
    limits = np.geomspace(10.0, 10_000.0, 50)
    right.plot(limits, np.maximum(10.0, 0.05 * limits), color="0.5", linestyle="--")
    right.set(xscale="log", yscale="log", xlabel="true peak to valley, nm", ylabel="error of peak to valley, nm", title="PV error")
    left.legend()
    right.legend()
    figure.savefig(path, dpi=120)
    plt.close(figure)
