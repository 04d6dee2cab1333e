"""Plates of pads of the record: asked for a piece's back, laid out, and kept with their template."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from straightband import provenance
from straightband.errors import BadInput
from straightband.quantities import whole_number
from straightband.report.true_size import paper_size_mm
from straightband.shop.entries import PieceEntry, PlateEntry
from straightband.shop.folder import Shop
from straightband.shop.record import Form
from straightband.wear.pads.evened import Plate
from straightband.wear.pads.outlines import Pad
from straightband.workflows.pads import Pack, PadPlan, plan_pads
from straightband.workflows.pads_report import plan_facts
from straightband.workflows.pads_sheets import pad_template
from straightband.workflows.pads_text import pack_from_text, pad_from_text, plate_from_text
from straightband.workflows.setup import face_from_text
from straightband.workflows.shop_orders import SIZES, given

PAD = ("pad_diameter", "pad_side", "pad_outline", "petalled")
PLATE = ("plate", "stroke", "side", "strokes_per_min", "spindle_rpm", "top_rpm", "gap", "rim", "coverage", "margin")
PACK = ("pack", "pack_price")
PAPER = "a4"
SHAPES = ("round", "petalled", "square", "corners")


def told_of_texts(shop: Shop, texts: Mapping[str, str]) -> dict[str, Any]:
    """What is asked for, under the names of the command's options, checked; raises BadInput."""
    number = whole_number(texts.get("piece", ""))
    if number is None:
        raise BadInput(found="no piece was chosen", needed="the back to be polished must be known", remedy="choose a piece")
    with shop.record() as record:
        piece = record.current(PieceEntry, number)
    told: dict[str, Any] = {"piece": piece.root, **given(piece.told, "shape", *SIZES), **_pad_told(texts), **given(texts, *PLATE, *PACK)}
    told["paper"] = texts.get("paper", "").strip() or PAPER
    paper_size_mm(told["paper"])
    if "plate" not in told:
        raise BadInput(found="the plate was left empty", needed="its diameter is needed", remedy="write it like 200mm")
    plate_of(told)
    return told


def _pad_told(texts: Mapping[str, str]) -> dict[str, str]:
    kind, size = texts.get("pads", "").strip() or SHAPES[0], texts.get("pad_size", "").strip()
    if kind not in SHAPES:
        raise BadInput(found=f"the pads were given as '{kind[:40]}'", needed=f"one of {', '.join(SHAPES)} is needed", remedy="choose one")
    if not size:
        raise BadInput(found="the size of the pads was left empty", needed="it is needed", remedy="write it like 50mm")
    name = {"square": "pad_side", "corners": "pad_outline"}.get(kind, "pad_diameter")
    return {name: size} | ({"petalled": "yes"} if kind == "petalled" else {})


def pad_of(told: Mapping[str, Any]) -> Pad:
    """One pad as it is bought."""
    return pad_from_text(
        diameter=told.get("pad_diameter"), side=told.get("pad_side"), outline=told.get("pad_outline"), petalled="petalled" in told
    )


def plate_of(told: Mapping[str, Any]) -> tuple[Plate, Pack | None]:
    """The plate and how its pads are sold; raises BadInput."""
    face = face_from_text(shape=told["shape"], **{size: told.get(size) for size in SIZES})
    plate = plate_from_text(plate=told["plate"], pad=pad_of(told), face=face, **{name: told.get(name) for name in PLATE if name != "plate"})
    return plate, pack_from_text(pack=told.get("pack"), price=told.get("pack_price"))


def lay_for_the_record(shop: Shop, told: Mapping[str, Any], *, now: str, form: Form | None = None) -> int:
    """Lay the pads out and enter the plate with its template; returns its number. Raises BadInput, nothing entered."""
    plate, pack = plate_of(told)
    return enter_plate(shop, told, plan=plan_pads(plate, pack=pack), now=now, form=form)


def enter_plate(shop: Shop, told: Mapping[str, Any], *, plan: PadPlan, now: str, form: Form | None = None) -> int:
    """Enter a plate that was laid out as told, with its template; returns its number."""
    entry = PlateEntry(
        at=now,
        piece_id=told["piece"],
        told=dict(told),
        found=plan_facts(plan),
        template_sha256=shop.papers.keep(pad_template(plan, paper=told["paper"])),
        program=provenance.program(),
    )
    with shop.record() as record:
        return record.once(form, lambda: record.add(entry))[1]


def form_texts(told: Mapping[str, Any]) -> dict[str, str]:
    """What was told of a plate, to begin another with."""
    kind = "square" if "pad_side" in told else "corners" if "pad_outline" in told else "petalled" if "petalled" in told else "round"
    size = next(str(told[name]) for name in ("pad_side", "pad_outline", "pad_diameter") if name in told)
    kept = {name: str(told[name]) for name in (*PLATE, *PACK, "paper") if name in told}
    return {"piece": str(told["piece"]), "pads": kind, "pad_size": size, **kept}
