"""The record of the invented shop, filled with what the demonstration made: orders, pieces on their way, photographs, readings."""

from __future__ import annotations

from straightband.shop.entries import Photograph
from straightband.shop.folder import Shop
from straightband.workflows.demo import NUMBER, SHOP, Demo
from straightband.workflows.demo_plan import BATCH_FILE, demo_plan
from straightband.workflows.demo_scene import CAMERA_MM
from straightband.workflows.shop_batches import enter_batch
from straightband.workflows.shop_clock import later
from straightband.workflows.shop_laps import enter_lap
from straightband.workflows.shop_orders import enter_order, enter_piece
from straightband.workflows.shop_readings import enter_photograph, enter_reading, keep_preview, task_from_texts
from straightband.workflows.shop_setup import enter_abrasive, enter_flat, enter_lamp, enter_pad, enter_shopkeeper
from straightband.workflows.shop_work import enter_gauging, enter_run

BEGAN = "2026-03-02T08:00:00Z"  # the demonstration looks at no clock
ORDERS = (
    {"name": NUMBER, "customer": "order 31 (invented)", "aperture": "250mm", "focal_ratio": "5", "intercept": "205mm", "full_field": "12mm", "strehl": "0.95"},
    {"name": "2026-32", "customer": "order 32 (invented)", "aperture": "12in", "focal_ratio": "4.5", "intercept": "10in", "full_field": "0.6in"},
    {"name": "2026-33", "customer": "order 33 (invented)", "aperture": "150mm", "focal_length": "900mm", "intercept": "140mm", "full_field": "10mm"},
)  # fmt: skip
SIZES = ("", "71mm", "58mm")  # of the pieces; the first has the size the demonstration found
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
    flat = enter_flat(shop, "Flat A", map_name=name, data=data, note="from three flats against each other", now=BEGAN)
    pieces = _pieces(shop, minor=f"{demo.facts['minor_axis_mm']:g}mm")
    _grind(shop, pieces[1])
    told = {"batch_file": BATCH_FILE.decode(), "pieces": [pieces[0], pieces[2]]}
    enter_batch(shop, demo_plan(), name="2026, spring", told=told, now=later(BEGAN, minutes=5.0))
    _photographs(shop, demo, flat=flat)


def _pieces(shop: Shop, *, minor: str) -> list[int]:
    out = []
    for told, size in zip(ORDERS, SIZES, strict=True):
        order = enter_order(shop, told, now=BEGAN)
        texts = {"name": told["name"], "shape": "ellipse", "minor": size or minor, "glass": "borosilicate", "thickness": "12mm"}
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
