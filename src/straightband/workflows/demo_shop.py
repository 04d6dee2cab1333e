"""The record of the invented shop, filled with what the demonstration made: orders, pieces on their way, photographs, readings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from straightband.shop.entries import GridPhotograph, Photograph
from straightband.shop.folder import Shop
from straightband.workflows.demo import NUMBER, SHOP, Demo
from straightband.workflows.demo_back import MINUTES, PACK, PAD, PLATE, BackChapter
from straightband.workflows.demo_flats import three_flats
from straightband.workflows.demo_plan import BATCH_FILE, demo_plan
from straightband.workflows.demo_scene import CAMERA_MM
from straightband.workflows.shop_backs import back_for, back_task, enter_clearing, enter_grid_photograph
from straightband.workflows.shop_batches import enter_batch, tick_runs
from straightband.workflows.shop_clock import later
from straightband.workflows.shop_flats import enter_flat_test, use_flats
from straightband.workflows.shop_laps import enter_lap
from straightband.workflows.shop_orders import enter_order, enter_piece
from straightband.workflows.shop_pads import enter_plate, told_of_texts
from straightband.workflows.shop_readings import enter_photograph, enter_reading, keep_preview, task_from_texts
from straightband.workflows.shop_setup import enter_abrasive, enter_flat, enter_lamp, enter_pad, enter_shopkeeper
from straightband.workflows.shop_work import enter_gauging, enter_run

BEGAN = "2026-03-02T08:00:00Z"  # the demonstration looks at no clock
ORDERS = (
    {"name": NUMBER, "customer": "order 31 (invented)", "aperture": "250mm", "focal_ratio": "5", "intercept": "205mm", "full_field": "12mm", "strehl": "0.95"},
    {"name": "2026-32", "customer": "order 32 (invented)", "aperture": "12in", "focal_ratio": "4.5", "intercept": "10in", "full_field": "0.6in"},
    {"name": "2026-33", "customer": "order 33 (invented)", "aperture": "150mm", "focal_length": "900mm", "intercept": "140mm", "full_field": "10mm"},
    {"name": "2026-34", "customer": "order 34 (invented)", "aperture": "250mm", "focal_ratio": "5", "intercept": "205mm", "full_field": "12mm", "strehl": "0.95"},
    {"name": "2026-35", "customer": "order 35 (invented)", "aperture": "250mm", "focal_ratio": "5", "intercept": "205mm", "full_field": "12mm", "strehl": "0.95"},
)  # fmt: skip
ON_PADS, IN_BATCH = "2026-34", "2026-35"
TICKED = (1, 2, 3)
SIZES = ("", "71mm", "58mm", "", "")  # of the pieces, as a rule that which the demonstration found
GAUGINGS = (
    ("40um", "9min", "18.4um,18.6um,18.5um", "11.0um,11.1um"),
    ("20um", "12min", "14.2um,14.3um,14.1um", "11.1um,11.0um"),
    ("10um", "15min", "12.0um,12.1um,11.9um", "11.0um,11.0um"),
)
LAPS = (
    {"name": "large lap", "diameter": "80mm"},
    {"name": "small lap", "diameter": "30mm", "weight": "2", "ways": "still"},
)


def fill_shop(shop: Shop, demo: Demo) -> None:
    """Enter the demonstration into a new shop."""
    enter_shopkeeper(shop, {"name": SHOP}, now=BEGAN)
    enter_lamp(shop, {"name": "sodium lamp", "light": "sodium"}, now=BEGAN)
    enter_pad(shop, {"name": "pitch lap", "diameter": "120mm"}, now=BEGAN)
    for lap in LAPS:
        enter_lap(shop, lap, now=BEGAN)
    for grain in ("40um", "20um", "10um", "5um"):
        enter_abrasive(shop, {"name": f"silicon carbide {grain}", "grain": grain}, now=BEGAN)
    name, data = demo.flat
    flat = enter_flat(shop, "A", map_name=name, data=data, note="from three flats against each other", now=BEGAN)
    pieces = _pieces(shop, minor=f"{demo.facts['minor_axis_mm']:g}mm")
    _grind(shop, pieces[1])
    _begin_batch(shop, [pieces[4], pieces[2]])
    _photographs(shop, demo, flat=flat)
    _clear(shop, pieces[3], demo.back)
    test = enter_flat_test(shop, {}, known=three_flats(), now=later(BEGAN, minutes=720.0))
    use_flats(shop, test, now=later(BEGAN, minutes=725.0))


def _clear(shop: Shop, piece: int, chapter: BackChapter) -> None:
    """The back of the last piece on its pads: the plate, and the grid photographed through it before and after a run."""
    told = told_of_texts(shop, {"piece": str(piece), "plate": PLATE, "pads": "round", "pad_size": PAD, "pack": PACK})
    enter_plate(shop, told, plan=chapter.pads, now=later(BEGAN, minutes=80.0))
    now = later(BEGAN, minutes=90.0)
    for (name, data), spell in zip(chapter.photographs, (0.0, *np.diff(MINUTES)), strict=True):
        with shop.record() as record:
            back = back_for(record, piece, now=now).root
        if spell:
            enter_run(shop, back, texts={"work": "polishing", "minutes": f"{spell:g}min"}, now=now)
        number = enter_grid_photograph(shop, piece, name=name, data=data, texts={}, now=now)
        now = later(now, minutes=40.0)
    task = back_task(shop, back, texts={"mark": "12"})
    with shop.record() as record:
        newest = record.get(GridPhotograph, number)
    size_px = keep_preview(shop, newest, data=data)
    minutes = (0.0, *(float(each) for each in np.diff(MINUTES)))
    enter_clearing(shop, task, progress=chapter.progress, minutes=minutes, size_px=size_px, now=now)


def _begin_batch(shop: Shop, pieces: list[int]) -> None:
    """The plan of the demonstration with the last piece in the place of the first, which has the same size; its first runs are done."""
    plan = demo_plan()
    plan = replace(plan, plates=tuple(replace(plate, name=_renamed(plate.name)) for plate in plan.plates))
    told = {"batch_file": _renamed(BATCH_FILE.decode()), "pieces": pieces, "companion": ""}
    batch = enter_batch(shop, plan, name="2026, spring", told=told, now=later(BEGAN, minutes=5.0))
    tick_runs(shop, batch, numbers=TICKED, now=later(BEGAN, minutes=30.0))


def _renamed(words: str) -> str:
    return words.replace(NUMBER, IN_BATCH)


def _pieces(shop: Shop, *, minor: str) -> list[int]:
    out = []
    for told, size in zip(ORDERS, SIZES, strict=True):
        order = enter_order(shop, told, now=BEGAN)
        texts = {"name": told["name"], "shape": "ellipse", "minor": size or minor, "thickness": "12mm"}
        if told["name"] != ON_PADS:  # whose back was looked at without its glass being told
            texts["glass"] = "borosilicate"
        out.append(enter_piece(shop, texts, now=BEGAN, order_id=order))
    return out


def _grind(shop: Shop, face: int) -> None:
    """Runs and gaugings of the second piece; in a shop this new its face has the number of the piece."""
    now = later(BEGAN, minutes=60.0)
    for abrasive, (grain, minutes, reading, zero) in enumerate(GAUGINGS, start=1):
        texts = {"work": "grinding", "minutes": minutes, "position": "top", "abrasive": str(abrasive)}
        enter_run(shop, face, texts=texts, now=now)
        now = later(now, minutes=20.0)
        told = {"leg_circle": "50mm", "reading": reading, "zero": zero, "after_abrasive": grain}
        enter_gauging(shop, face, texts=told, now=now)
        now = later(now, minutes=30.0)


def _photographs(shop: Shop, demo: Demo, *, flat: int) -> None:
    now = later(BEGAN, minutes=240.0)
    for shot, chapter in demo.exposures:
        number = enter_photograph(shop, 1, name=shot.name, data=shot.data, now=now)
        texts = {"light": "sodium", "mark": f"{shot.mark:g}", "thicker": f"{shot.thicker:g}", "mirrored": "1", "camera": f"{CAMERA_MM:g}mm"}
        task = task_from_texts(shop, (number,), texts=texts | {"flat": str(flat)})
        with shop.record() as record:
            entry = record.get(Photograph, number)
        size_px = keep_preview(shop, entry, data=shot.data)
        enter_reading(shop, task, reading=chapter.reading, verdict=chapter.verdict, size_px=size_px, now=now)
        if shot is demo.exposures[0][0]:
            enter_run(shop, 1, texts={"work": "figuring", "minutes": "14min", "position": "top", "pad": "1"}, now=later(now, minutes=45.0))
        now = later(now, minutes=150.0)
