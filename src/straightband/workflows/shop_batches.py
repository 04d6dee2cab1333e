"""Plan the grinding of pieces of the record, and tick its runs off."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from straightband import provenance
from straightband.errors import BadInput
from straightband.face.shapes import Face, Shape
from straightband.quantities import parse_length_mm
from straightband.shop.entries import Batch, GaugingEntry, PieceEntry, Run, Tick
from straightband.shop.folder import Shop
from straightband.shop.queries import faces_of
from straightband.shop.record import Form, Record
from straightband.workflows.batch import MOST_PIECES, batch_from_toml
from straightband.workflows.plan import Plan, make_plan
from straightband.workflows.plan_cards import plan_cards, plan_plot
from straightband.workflows.plan_report import plan_facts
from straightband.workflows.read import tell_nobody
from straightband.workflows.shop_orders import name_from_text
from straightband.workflows.shop_setup import shopkeeper
from straightband.workflows.shop_work import face_of

DEFAULT_GLASS = "borosilicate"
# What a refusal of a batch file says, in words for somebody who wrote none.
_FILE_WORDS = {
    " in [grinding] in the batch file 'batch.toml'": "",
    " in the batch file 'batch.toml'": "",
    "'abrasives_um' names": "the list of abrasives names",
    "'abrasives_um' is": "one of the abrasives, in um, is",
    "'abrasives_um'": "the list of abrasives",
    "write it like abrasives_um = [40, 20, 10, 5]": "write it like 40um,20um,10um,5um",
}


def batch_file(shop: Shop, pieces: tuple[int, ...], *, abrasives: str) -> bytes:
    """The batch file of some pieces, with the sag that was gauged last, as `straightband plan` takes it; raises BadInput."""
    sizes = [1000.0 * parse_length_mm(each, what="an abrasive") for each in abrasives.split(",") if each.strip()]
    if not 2 <= len(pieces) <= MOST_PIECES:
        raise BadInput(
            found=f"{len(pieces) or 'no'} piece{'' if len(pieces) == 1 else 's'} {'was' if len(pieces) == 1 else 'were'} ticked",
            needed=f"2 to {MOST_PIECES} are needed, since a face is ground on another",
            remedy="enter a round plate of about the same size as a piece and tick it too"
            if len(pieces) < 2
            else "plan them in smaller batches",
        )
    with shop.record() as record:
        parts = [_piece_table(record, record.current(PieceEntry, number)) for number in pieces]
    listed = ", ".join(f"{round(size, 6):g}" for size in sizes)
    data = "\n".join([*parts, f"[grinding]\nabrasives_um = [{listed}]\n"]).encode()
    try:
        batch_from_toml(data, name="batch.toml")
    except BadInput as fault:
        raise BadInput(found=_as_asked(fault.found), needed=_as_asked(fault.needed), remedy=_as_asked(fault.remedy)) from fault
    return data


def _as_asked(words: str) -> str:
    for in_file, on_page in _FILE_WORDS.items():
        words = words.replace(in_file, on_page)
    return words


def _piece_table(record: Record, piece: PieceEntry) -> str:
    root = faces_of(record, piece.root)[0].root
    _, _, face = face_of(record, root)
    if "thickness" not in piece.told:
        raise BadInput(
            found=f"the piece '{piece.name}' has no thickness",
            needed="what it weighs must be known to plan",
            remedy="leave it out, or enter it anew",
        )
    lines = ["[[piece]]", f"name = {_quoted(piece.name)}", f'shape = "{face.shape}"', *_sizes(face)]
    lines.append(f"thickness_mm = {parse_length_mm(piece.told['thickness'], what='the thickness'):g}")
    lines.append(f"glass = {_quoted(piece.told.get('glass', DEFAULT_GLASS))}")
    gauged = record.listing(GaugingEntry, newest_first=True, limit=1, face_id=root)
    lines += [f"sag_um = {gauged[0].found['edge_sag_um']:.4g}"] if gauged else []
    return "\n".join(lines) + "\n"


def _sizes(face: Face) -> list[str]:
    names = {Shape.ELLIPSE: ("minor_mm", "major_mm"), Shape.ROUND: ("diameter_mm",), Shape.RECTANGLE: ("width_mm", "length_mm")}
    return [f"{name} = {2.0 * semi:.6g}" for name, semi in zip(names[face.shape], (face.semi_u_mm, face.semi_v_mm), strict=False)]


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def plan_for_the_record(
    shop: Shop, told: Mapping[str, Any], *, now: str, stage: Callable[[str], None] = tell_nobody, form: Form | None = None
) -> int:
    """Plan the pieces that were asked for and enter the batch; returns its number. Raises BadInput."""
    pieces = tuple(told["pieces"])
    data = batch_file(shop, pieces, abrasives=told["abrasives"])
    plan = make_plan(
        batch_from_toml(data, name="batch.toml"),
        with_companion=bool(told["companion"]),
        told=lambda what, share: stage(f"{what}, {share:.0%}"),
    )
    stage("setting the job cards")
    return enter_batch(
        shop,
        plan,
        name=told["name"],
        told={"batch_file": data.decode(), "pieces": list(pieces), "companion": told["companion"]},
        now=now,
        form=form,
    )


def enter_batch(shop: Shop, plan: Plan, *, name: str, told: dict[str, Any], now: str, form: Form | None = None) -> int:
    """Enter a batch with its plan, its job cards and its plot; returns its number."""
    called = name_from_text(name, what="the name of the batch")
    with shop.record() as record:
        keeper = shopkeeper(record).name
    papers = {"cards": shop.papers.keep(plan_cards(plan, batch_name=called, shop=keeper)), "plot": shop.papers.keep(plan_plot(plan))}
    entry = Batch(at=now, name=called, told=told, found=plan_facts(plan) | {"papers": papers}, program=provenance.program())
    with shop.record() as record:
        return record.once(form, lambda: record.add(entry))[1]


def tick_runs(shop: Shop, batch_id: int, *, numbers: tuple[int, ...], now: str, form: Form | None = None) -> None:
    """Tick runs of a plan off by their numbers, from 1; each is entered as a run of both faces, as far as they are the shop's own."""
    with shop.record() as record, record.transaction():
        if record.sent_before(form) is not None:
            return
        batch = record.get(Batch, batch_id)
        done = {tick.number for tick in record.listing(Tick, batch_id=batch_id)}
        wanted = [number for number in numbers if 1 <= number <= len(batch.found["runs"]) and number not in done]
        if not wanted:
            raise BadInput(found="no run was ticked", needed="at least one that was done is needed", remedy="tick it and send again")
        for number in wanted:
            run = batch.found["runs"][number - 1]
            tick = record.add(Tick(at=now, batch_id=batch_id, number=number, minutes=run["minutes"]))
            for place in ("top", "bottom"):
                _enter_run(record, batch, run=run, place=place, now=now)
        record.note_form(form, tick)


def _enter_run(record: Record, batch: Batch, *, run: dict[str, Any], place: str, now: str) -> None:
    for root in batch.told["pieces"]:
        if record.current(PieceEntry, root).name == run[place]:
            other = run["bottom" if place == "top" else "top"]
            note = (
                f"{batch.name}, {run['abrasive_um']:g} um, on {other}"
                if place == "top"
                else f"{batch.name}, {run['abrasive_um']:g} um, under {other}"
            )
            face = faces_of(record, root)[0].root
            record.add(Run(at=now, face_id=face, work="grinding", position=place, minutes=round(run["minutes"], 1), note=note))
