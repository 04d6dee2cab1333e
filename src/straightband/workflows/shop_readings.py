"""Read photographs for the record, judge what was read, and compute an old reading anew."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path, PurePath
from typing import Any

from straightband import provenance
from straightband.errors import BadInput
from straightband.heightmap.map import HeightMap
from straightband.photo.position import without_position
from straightband.quantities import whole_number
from straightband.shop.entries import Exposure, FaceEntry, Flat, GridPhotograph, Ordered, Photograph, PieceEntry, ReadingEntry, VerdictEntry
from straightband.shop.folder import Shop
from straightband.shop.queries import photographs_of, readings_with
from straightband.shop.record import Form, Record, json_text
from straightband.workflows.certify import verdict_on
from straightband.workflows.judge import Verdict
from straightband.workflows.maps import map_file, map_from_file
from straightband.workflows.pictures import drawing_of, map_picture, preview_picture
from straightband.workflows.read import Reading, Setup, tell_nobody
from straightband.workflows.report_reading import reading_facts
from straightband.workflows.report_verdict import verdict_facts
from straightband.workflows.requirement import DEFAULT_LIGHT, DEFAULT_STREHL, Requirement, requirement_from_text
from straightband.workflows.setup import setup_from_text
from straightband.workflows.shop_orders import SIZES, TELESCOPE, given
from straightband.workflows.shop_work import face_of
from straightband.workflows.together import MOST_FRAMES, MOST_PHOTOGRAPHS, STACK, first_shown, read_together

TOGETHER = "together"
RESTING = ("support", "handled")  # for which glass and thickness must be known
SETTINGS = ("light", "outline", "thicker", "pressed", "mark", "mirrored", "camera", "lens_distortion", "margin", *RESTING, TOGETHER)
PREVIEW_PX = 1400


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """What is to be read: photographs of one face, the flat they were taken against, and the settings as typed."""

    photographs: tuple[int, ...]
    flat_id: int | None
    settings: dict[str, str]


def enter_photograph(shop: Shop, face_root: int, *, name: str, data: bytes, now: str) -> int:
    """Keep a photograph of a face, without where it was taken; the same file again is the same entry. Returns its number."""
    if not data:
        raise BadInput(
            found="no photograph came", needed="a file with a photograph in it is needed", remedy="take or choose one and send again"
        )
    sha256 = shop.photos.keep(without_position(data))
    shown = PurePath(name.replace("\\", "/")).name[:80] or "photograph"
    with shop.record() as record, record.transaction():
        there = record.listing(Photograph, face_id=face_root, sha256=sha256)
        if there:
            return there[0].id
        return record.add(Photograph(at=now, face_id=face_root, sha256=sha256, name=shown, bytes=len(data))).id


def task_from_texts(shop: Shop, photographs: tuple[int, ...], *, texts: Mapping[str, str]) -> Task:
    """The task, its settings checked before anything is begun; raises BadInput."""
    settings = given(texts, *SETTINGS)
    flat_id = whole_number(texts.get("flat", ""))
    bare = Task(photographs=photographs, flat_id=flat_id, settings=settings)
    with shop.record() as record:
        face_root = _face_root(record, bare)
        _, piece, _ = face_of(record, face_root)
        # Shape and sizes go with the reading: the piece may be corrected later, and an old reading stays what it was.
        task = replace(bare, settings=given(piece.told, "shape", *SIZES) | _rest(piece, texts=texts, settings=settings) | settings)
        _setup(record, task, face_root=face_root)
    return task


def _rest(piece: PieceEntry, *, texts: Mapping[str, str], settings: Mapping[str, str]) -> dict[str, str]:
    """Glass and thickness, as told with the photograph or else of the piece, where it is told how the piece lies or was handled."""
    if not any(name in settings for name in RESTING):
        return {}
    return given(piece.told, "glass", "thickness") | given(texts, "glass", "thickness")


def _face_root(record: Record, task: Task) -> int:
    faces = {record.get(Photograph, number).face_id for number in task.photographs}
    most = MOST_FRAMES if _is_stack(task.settings) else MOST_PHOTOGRAPHS
    if len(faces) != 1 or len(task.photographs) > most:
        raise BadInput(
            found="the photographs are not of one face, or too many",
            needed=f"1 to {most} photographs of one face are needed",
            remedy="choose again",
        )
    return faces.pop()


def _is_stack(settings: Mapping[str, str]) -> bool:
    return settings.get(TOGETHER) == STACK


def _setup(record: Record, task: Task, *, face_root: int) -> Setup:
    _, piece, _ = face_of(record, face_root)
    taken = record.get(Photograph, task.photographs[0])
    face = {} if "shape" in task.settings else given(piece.told, "shape", *SIZES)
    asked = {name: text for name, text in task.settings.items() if name != TOGETHER}
    return setup_from_text(**{"light": "", "today": day_of(taken)} | face | asked)


def day_of(photograph: Photograph) -> str:
    """The day it was entered, by which the age of a reference flat is told: the same whenever it is read again."""
    return photograph.at[:10]


def same_reading(shop: Shop, task: Task) -> int | None:
    """The reading that this version of the program made of the same photographs with the same settings, or None: it would be no other."""
    with shop.record() as record:
        for number in readings_with(record, task.photographs[0]):
            entry = record.get(ReadingEntry, number)
            photographs = tuple(each.id for each in photographs_of(record, number))
            told = (photographs, entry.flat_id, entry.told, entry.program)
            if told == (task.photographs, task.flat_id, task.settings, provenance.program()):
                return number
    return None


def read_for_the_record(shop: Shop, task: Task, *, now: str, stage: Callable[[str], None] = tell_nobody, form: Form | None = None) -> int:
    """Read, judge when the piece has an order, and enter both; returns the reading's number. Raises a StraightbandError, nothing entered."""
    with shop.record() as record:
        face_root = _face_root(record, task)
        setup = _setup(record, task, face_root=face_root)
        entries = tuple(record.get(Photograph, number) for number in task.photographs)
        requirement_told = telescope_of(record, face_root)
    first = shop.photos.read(entries[0].sha256)
    stage("opening the photograph")
    size_px = keep_preview(shop, entries[0], data=first)
    reading = _read(shop, entries, setup=setup, task=task, stage=stage)
    verdict = None
    if requirement_told:
        stage("judging it in the telescope")
        verdict = verdict_on(reading, requirement_of(requirement_told))
    stage("drawing the map and entering it")
    return enter_reading(shop, task, reading=reading, verdict=verdict, size_px=size_px, now=now, form=form)


def enter_reading(
    shop: Shop,
    task: Task,
    *,
    reading: Reading,
    verdict: Verdict | None,
    size_px: tuple[int, int],
    now: str,
    form: Form | None = None,
) -> int:
    """Enter what was read by a task, with the verdict on it where there is one; `size_px` is the first photograph's own width and height."""
    map_sha256 = shop.maps.keep(map_file(reading.height_map, name="map.npz"))
    shop.keep_view(f"map-{map_sha256}.png", map_picture(reading.height_map))
    with shop.record() as record:
        face_root = _face_root(record, task)
        entry = ReadingEntry(
            at=now,
            face_id=face_root,
            flat_id=task.flat_id,
            told=task.settings,
            found=reading_facts(reading),
            drawing=drawing_of(reading, size_px=size_px),
            map_sha256=map_sha256,
            program=provenance.program(),
        )
        judged = (telescope_of(record, face_root), verdict, reading)
        return record.once(form, lambda: _entered(record, entry, task=task, judged=judged))[1]


def _entered(record: Record, entry: ReadingEntry, *, task: Task, judged: tuple[dict[str, str], Verdict | None, Reading]) -> ReadingEntry:
    made = record.add(entry)
    for place, number in enumerate(task.photographs):
        record.add(Exposure(at=entry.at, reading_id=made.id, photograph_id=number, place=place))
    told, verdict, reading = judged
    if verdict is not None:
        found = verdict_facts(verdict, reading.height_map)
        record.add(VerdictEntry(at=entry.at, reading_id=made.id, told=told, found=found, program=entry.program))
    return made


def _read(shop: Shop, entries: tuple[Photograph, ...], *, setup: Setup, task: Task, stage: Callable[[str], None] = tell_nobody) -> Reading:
    named = own_names(entries)
    # The worker keeps to one core: the other serves the pages.
    return read_together(
        ((name, shop.photos.read(sha256)) for name, sha256 in named),
        names=tuple(name for name, _ in named),
        stacked=_is_stack(task.settings),
        setup=setup,
        reference=reference_map(shop, task.flat_id),
        stage=stage,
    )


def own_names(entries: tuple[Photograph, ...]) -> tuple[tuple[str, str], ...]:
    """Name and hash of each photograph; telephones call many the same, and names must tell them apart."""
    seen: set[str] = set()
    out = []
    for entry in entries:
        own = entry.name if entry.name not in seen else f"{entry.sha256[:8]}-{entry.name}"
        seen.add(own)
        out.append((own, entry.sha256))
    return tuple(out)


def reference_map(shop: Shop, flat_id: int | None) -> HeightMap | None:
    """The map of a reference flat of the shop, or None for none."""
    if flat_id is None:
        return None
    with shop.record() as record:
        flat = record.get(Flat, flat_id)
    return map_from_file(shop.maps.read(flat.map_sha256), flat.map_name)


def keep_preview(shop: Shop, entry: Photograph | GridPhotograph, *, data: bytes) -> tuple[int, int]:
    """Keep a small picture of a photograph, or of a film's first frame, for the screen; returns its own width and height."""
    name, shown = first_shown(entry.name, data)
    picture, size_px = preview_picture(shown, name=name, side_px=PREVIEW_PX)
    shop.keep_view(preview_place(shop, entry).name, picture)
    shop.keep_view(size_place(shop, entry).name, "{} {}".format(*size_px).encode("ascii"))
    return size_px


def size_place(shop: Shop, entry: Photograph | GridPhotograph) -> Path:
    """Where the photograph's own width and height are kept beside that picture."""
    return shop.view_place(f"photo-{entry.sha256}.size")


def photograph_size(shop: Shop, entry: Photograph | GridPhotograph) -> tuple[int, int]:
    """Width and height of a photograph in its own pixels; zeros while it was not opened."""
    place = size_place(shop, entry)
    if not (place.is_file() and preview_place(shop, entry).is_file()):
        return 0, 0
    width, height = place.read_text(encoding="ascii").split()
    return int(width), int(height)


def preview_place(shop: Shop, entry: Photograph | GridPhotograph) -> Path:
    """Where that picture lies."""
    return shop.view_place(f"photo-{entry.sha256}.jpg")


def telescope_of(record: Record, face_root: int) -> dict[str, str]:
    """What the piece of a face is judged by: the telescope of its order as typed; empty without an order."""
    _, piece, _ = face_of(record, face_root)
    return {} if piece.order_id is None else told_requirement(record.current(Ordered, piece.order_id))


def told_requirement(order: Ordered) -> dict[str, str]:
    """The part of an order that a verdict needs."""
    return given(order.told, *TELESCOPE, "strehl", "light_judged")


def requirement_of(told: dict[str, str]) -> Requirement:
    """The requirement from those texts."""
    texts: dict[str, Any] = {"strehl": DEFAULT_STREHL, "light_judged": DEFAULT_LIGHT} | told
    return requirement_from_text(aperture=texts.pop("aperture", None), intercept=texts.pop("intercept", None), **texts)


def read_again(shop: Shop, number: int, *, stage: Callable[[str], None] = tell_nobody) -> Reading:
    """A reading of the record, computed anew from its photographs and settings."""
    with shop.record() as record:
        entry = record.get(ReadingEntry, number)
        entries = photographs_of(record, number)
        task = Task(photographs=tuple(each.id for each in entries), flat_id=entry.flat_id, settings=entry.told)
        setup = _setup(record, task, face_root=entry.face_id)
    return _read(shop, entries, setup=setup, task=task, stage=stage)


def differences(new: dict[str, Any], old: dict[str, Any]) -> tuple[str, ...]:
    """A sentence for each fact that is not the same."""
    names = sorted((set(new) | set(old)) - {"program"})
    return tuple(f"'{name}' came out differently" for name in names if json_text(new.get(name)) != json_text(old.get(name)))


def piece_of_reading(record: Record, reading: ReadingEntry) -> PieceEntry:
    """The piece that a reading is of."""
    return record.current(PieceEntry, record.current(FaceEntry, reading.face_id).piece_id)


def reading_map(shop: Shop, reading: ReadingEntry) -> HeightMap:
    """The map of a reading, as it was kept."""
    return map_from_file(shop.maps.read(reading.map_sha256), "map.npz")


SETTING_NAMES = {
    "light": "Lamp",
    "outline": "Outline as told",
    "mark": "Pencil mark, clock hour",
    "thicker": "Gap thicker toward",
    "mirrored": "View reversed",
    "camera": "Camera",
    "lens_distortion": "Lens distortion",
    "margin": "Left to the bevel",
    "pressed": "Pressed between, clock hour",
    "support": "Lay on",
    "handled": "Time since it was handled",
    "glass": "Glass",
    "thickness": "Thickness",
    TOGETHER: "Read as",
}


def settings_shown(reading: ReadingEntry, *, flat: str) -> tuple[tuple[str, str], ...]:
    """What a reading was made with, as it was typed; `flat` is the name of the flat, or nothing."""
    told = tuple((SETTING_NAMES[key], reading.told[key]) for key in SETTING_NAMES if key in reading.told)
    return (*told, ("Lying on", flat or "a flat without a map"))
