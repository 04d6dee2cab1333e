"""Backs of the record: polished by the timer, photographed over the printed grid, looked at, and how long past backs of this shop took."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import PurePath
from typing import Any

from straightband import provenance
from straightband.errors import BadInput
from straightband.gauges.clearing_time import PastBack
from straightband.photo.position import without_position
from straightband.quantities import parse_duration_s
from straightband.shop.entries import Clearing, FaceEntry, GridPhotograph, PieceEntry, Run, Timer
from straightband.shop.folder import Shop
from straightband.shop.queries import BACK, back_of, backs, grid_photographs_of, newest_clearing
from straightband.shop.record import Form, Record
from straightband.workflows.clear import GridSetup, Progress, look_at_back
from straightband.workflows.clear_pictures import clearness_picture
from straightband.workflows.clear_report import progress_facts
from straightband.workflows.clear_text import MOST_PHOTOGRAPHS, grid_setup_from_text, past_backs_from_toml, polished_from_text
from straightband.workflows.read import tell_nobody
from straightband.workflows.shop_orders import SIZES, given
from straightband.workflows.shop_readings import keep_preview
from straightband.workflows.shop_work import LONGEST_RUN_MINUTES, begun, face_of, run_minutes

SETTINGS = ("mark", "camera", "margin")
POLISHING = "polishing"
FEWEST_MINUTES = 1.0  # of a past back: less was no polishing from fine ground


@dataclass(frozen=True, slots=True, kw_only=True)
class BackTask:
    """What is to be looked at: a back, its photographs in their order, and what was said of them."""

    back: int
    photographs: tuple[int, ...]
    settings: dict[str, str]


def back_for(record: Record, piece_root: int, *, now: str) -> FaceEntry:
    """The back of a piece, entered when it is first spoken of."""
    record.current(PieceEntry, piece_root)
    with record.transaction():
        there = back_of(record, piece_root)
        return there if there is not None else record.add(FaceEntry(at=now, piece_id=piece_root, name=BACK))


def start_back_timer(shop: Shop, piece_root: int, *, texts: Mapping[str, str], now: str, form: Form | None = None) -> int:
    """Begin to polish a back for so many minutes; returns the timer's number. Raises BadInput."""
    minutes = run_minutes(texts.get("minutes", ""))

    def start(record: Record) -> Timer:
        return begun(record, Timer(at=now, face_id=back_for(record, piece_root, now=now).root, work=POLISHING, minutes=minutes))

    with shop.record() as record:
        return record.once(form, lambda: start(record))[1]


def enter_grid_photograph(shop: Shop, piece_root: int, *, name: str, data: bytes, texts: Mapping[str, str], now: str) -> int:
    """Keep a photograph of the grid through a mirror; the same file again is the same entry. Returns its number. Raises BadInput."""
    if not data:
        raise BadInput(
            found="no photograph came",
            needed="a photograph of the grid through the dry mirror is needed",
            remedy="take or choose one and send again",
        )
    typed = texts.get("polished", "").strip()
    minutes = None if not typed else _typed_minutes(typed)
    sha256 = shop.photos.keep(without_position(data))
    shown = PurePath(name.replace("\\", "/")).name[:80] or "photograph"
    with shop.record() as record, record.transaction():
        back = back_for(record, piece_root, now=now)
        there = record.listing(GridPhotograph, face_id=back.root, sha256=sha256)
        if there:
            return there[0].id
        entry = GridPhotograph(
            at=now,
            face_id=back.root,
            sha256=sha256,
            name=shown,
            bytes=len(data),
            minutes=minutes_since_photograph(record, back.root) if minutes is None else minutes,
            begins=int(texts.get("begins") == "1"),
        )
        return record.add(entry).id


def _typed_minutes(text: str) -> float:
    minutes = parse_duration_s(text, what="the time polished") / 60.0
    if minutes > LONGEST_RUN_MINUTES:
        raise BadInput(
            found=f"the time polished was given as '{text[:40]}'", needed="at most a day is needed", remedy="write it like 12min"
        )
    return minutes


def minutes_since_photograph(record: Record, back_root: int) -> float:
    """Minutes of the runs on a back since it was photographed last, or since it was begun."""
    photographs = record.listing(GridPhotograph, newest_first=True, limit=1, face_id=back_root)
    since = photographs[0].at if photographs else ""
    return round(sum(run.minutes for run in record.listing(Run, face_id=back_root) if _done_at(record, run) > since), 1)


def _done_at(record: Record, run: Run) -> str:
    """When a run was entered first, whatever was corrected in it since."""
    return run.at if run.corrects is None else record.get(Run, run.corrects).at


def back_task(shop: Shop, back_root: int, *, texts: Mapping[str, str]) -> BackTask:
    """What is to be looked at on a back, its settings checked; raises BadInput."""
    with shop.record() as record:
        photographs = grid_photographs_of(record, back_root)[-MOST_PHOTOGRAPHS:]
        if not photographs:
            raise BadInput(
                found="no photograph of the grid is kept of this back", needed="one is needed", remedy="photograph the grid through it"
            )
        _, piece, _ = face_of(record, back_root)
        told = given(piece.told, "shape", *SIZES, "glass") | given(texts, *SETTINGS)
        numbers = tuple(each.id for each in photographs)
        outlines = _outlines(record, back_root, numbers=numbers, newest=texts.get("outline", "").strip())
        task = BackTask(
            back=back_root, photographs=numbers, settings=told | {"outlines": outlines, "past": past_backs_file(record, back_root)}
        )
    _setup(task)
    return task


def _outlines(record: Record, back_root: int, *, numbers: tuple[int, ...], newest: str) -> str:
    """Outlines as told, one for each photograph with semicolons between, empty where it is found: the newest as said now, others as before."""
    last = newest_clearing(record, back_root)
    told = {} if last is None else dict(zip(last.told["photographs"], last.told["outlines"].split(";"), strict=True))
    return ";".join([*(told.get(number, "") for number in numbers[:-1]), newest])


def _setup(task: BackTask) -> GridSetup:
    told: dict[str, Any] = {name: text for name, text in task.settings.items() if name not in ("past", "outlines")}
    return grid_setup_from_text(outline=task.settings["outlines"].split(";"), **told)


def past_backs_file(record: Record, but: int = 0) -> str:
    """The shop's past backs less one, as `straightband clear --past` takes them; empty where there are none."""
    found = [back for face in backs(record) if face.root != but for back in past_backs_of(record, face)]
    return "\n".join(f'[[back]]\nminor = "{2.0 * back.semi_mm:.6g}mm"\nminutes = {back.minutes:.4g}\n' for back in found)


def past_backs_of(record: Record, back: FaceEntry) -> tuple[PastBack, ...]:
    """What a back tells of the shop's pace: minutes from fine ground to clear, one for each time that both were seen.

    It became clear between the last photograph that was not and the first that was; the middle of the two is taken. A back that was
    clear already when it was first photographed, or whose minutes before that are not known, tells nothing.
    """
    _, _, shape = face_of(record, back.root)
    found, grey_min = [], 0.0
    for clearing in record.listing(Clearing, face_id=back.root):
        first = record.get(GridPhotograph, clearing.told["photographs"][0])
        minutes = first.minutes + float(clearing.found["photographs"][-1]["minutes"])
        if clearing.found["unclear_places"]:
            grey_min = minutes if first.minutes > 0.0 else 0.0
        elif grey_min > 0.0:
            found.append(PastBack(semi_mm=min(shape.semi_u_mm, shape.semi_v_mm), minutes=max(0.5 * (grey_min + minutes), FEWEST_MINUTES)))
            grey_min = 0.0
    return tuple(found)


def look_for_the_record(
    shop: Shop, task: BackTask, *, now: str, stage: Callable[[str], None] = tell_nobody, form: Form | None = None
) -> int:
    """Look at a back and enter how far it has cleared; returns the entry's number. Raises a StraightbandError, nothing entered."""
    with shop.record() as record:
        newest = record.get(GridPhotograph, task.photographs[-1])
    stage("opening the photograph")
    size_px = keep_preview(shop, newest, data=shop.photos.read(newest.sha256))
    stage(f"looking for the mirror and comparing the grid, {_counted(len(task.photographs))}")
    progress, minutes = look_again(shop, task)
    stage("drawing it and entering it")
    return enter_clearing(shop, task, progress=progress, minutes=minutes, size_px=size_px, now=now, form=form)


def enter_clearing(
    shop: Shop,
    task: BackTask,
    *,
    progress: Progress,
    minutes: tuple[float, ...],
    size_px: tuple[int, int],
    now: str,
    form: Form | None = None,
) -> int:
    """Enter what was seen of a back; `minutes` were polished before each photograph, `size_px` is the newest one's own width and height."""
    entry = Clearing(
        at=now,
        face_id=task.back,
        told=task.settings | {"photographs": list(task.photographs), "minutes": list(minutes), "size_px": list(size_px)},
        found=progress_facts(progress),
        picture_sha256=shop.papers.keep(clearness_picture(replace(progress, backs=progress.backs[-1:], minutes=progress.minutes[-1:]))),
        program=provenance.program(),
    )
    with shop.record() as record:
        return record.once(form, lambda: record.add(entry))[1]


def _counted(count: int) -> str:
    return "one photograph" if count == 1 else f"{count} photographs"


def look_again(shop: Shop, task: BackTask) -> tuple[Progress, tuple[float, ...]]:
    """A back looked at from what the record keeps, and minutes polished before the first photograph and between them."""
    with shop.record() as record:
        entries = [record.get(GridPhotograph, number) for number in task.photographs]
    since, minutes = 0.0, [0.0]
    for entry in entries[1:]:
        since += entry.minutes
        minutes.append(since)
    past = task.settings.get("past", "")
    progress = look_at_back(
        [(entry.name, shop.photos.read(entry.sha256)) for entry in entries],
        minutes=tuple(minutes),
        setup=_setup(task),
        past=past_backs_from_toml(past.encode(), name="past.toml") if past else (),
        polished_min=polished_from_text(f"{entries[0].minutes:g}min") if entries[0].minutes else None,
    )
    return progress, tuple(entry.minutes for entry in entries)
