"""The papers of a run: zones to copy, what each stroke takes off, the job card, and the file from which the next advice learns."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from straightband import __version__
from straightband.errors import BadInput
from straightband.face.shapes import Face, Shape
from straightband.heightmap.figures import without_tilt
from straightband.heightmap.map import HeightMap
from straightband.plots.strokes import FacePicture, Wear, ZonePicture, wear_png, zones_png
from straightband.report.strokecard import CardStroke, StrokeCard, stroke_card_pdf
from straightband.uncertainty import round_with_uncertainty
from straightband.workflows.cautions import DEFER, GRINDING
from straightband.workflows.maps import band_of, note_of
from straightband.workflows.strokes import Next, StrokePlan, Way, written, zone_of
from straightband.workflows.strokes_report import IN_WORDS, explain, how_to
from straightband.workflows.strokes_view import View, before_the_eye, in_words

SIDE = 160  # places across a picture
_BEYOND = 1.12  # of the outline: where the hours stand


def zones_picture(plan: StrokePlan, *, view: View | None = None) -> bytes:
    """The zones of the run on the face as it lies before the worker, and map and bands as they are to be afterwards, as PNG."""
    view = view or View()
    step = max(1, math.ceil(max(plan.height_map.heights_nm.shape) / SIDE))
    return zones_png(
        ZonePicture(
            face=_face_picture(plan, view=view, step=step),
            now_nm=_level(plan.height_map)[::step, ::step],
            after_nm=_level(plan.predicted)[::step, ::step],
            zones=[(str(number), _turned(zone, view)) for number, zone in _zones(plan)],
            band_nm=band_of(plan.height_map),
            note=f"{in_words(view)}; the hours are those of the face, its mark at 12. Keep the middle of the lap inside the line of its zone. {note_of(plan.height_map)} {_doubts(plan)}",
        )
    )


def wear_picture(plan: StrokePlan) -> bytes:
    """What each stroke of the run takes off, all over the clear aperture, as PNG; raises BadInput where there is none."""
    if not plan.runs:
        raise BadInput(
            found="no stroke is advised",
            needed="a stroke is needed before there is wear to draw",
            remedy="leave the picture of the wear out",
        )
    step = max(1, math.ceil(max(plan.height_map.heights_nm.shape) / SIDE))
    u, v = np.meshgrid(plan.height_map.u_mm[::step], plan.height_map.v_mm[::step])
    clear = plan.height_map.clear.contains(u, v)
    wears = [
        Wear(title=f"{number}. {run.stroke.lap.name}, {run.minutes:g} min\n{run.stroke.way}", depth_nm=np.where(clear, depth, np.nan))
        for number, (run, depth) in enumerate(zip(plan.runs, plan.wear_of_runs(u_mm=u, v_mm=v), strict=True), start=1)
    ]
    return wear_png(
        _face_picture(plan, view=View(), step=step),
        wears,
        note="Depth taken off, in nm. As seen looking at the face, with the mark at 12 o'clock.",
    )


def stroke_card(plan: StrokePlan, *, piece: str, shop: str = "", view: View | None = None) -> bytes:
    """The job card of the run as a PDF of one page."""
    after, before = plan.advice.after, plan.advice.before
    card = StrokeCard(
        shop=shop,
        piece=piece,
        advice=IN_WORDS[plan.advice.next],
        facts=(
            ("Now, PV", round_with_uncertainty(before.pv, before.pv_uncertainty, unit="nm")),
            ("Wanted, PV", f"{plan.limits.tolerance_nm:.0f} nm"),
            ("Afterwards, PV", round_with_uncertainty(after.pv, after.pv_uncertainty, unit="nm")),
            ("Time", f"{sum(run.minutes for run in plan.runs):.4g} min"),
            ("Polish", plan.shelf.polish),
        ),
        strokes=tuple(CardStroke(number=str(k), words=how_to(run, face=plan.height_map.face)) for k, run in enumerate(plan.runs, start=1)),
        stop="Then wash it, let it come to the room's temperature, photograph it and ask again." if plan.advice.next is Next.WORK else "",
        notes=tuple(f"{_sentence(explain(flag))}." for flag in plan.flags),
        cautions=(*GRINDING, DEFER),
        described=f"The face with {len(_zones(plan))} zones to copy, and its map and bands as they are to be afterwards.",
        program=f"straightband {__version__}",
    )
    return stroke_card_pdf(card, picture=zones_picture(plan, view=view))


def run_toml(plan: StrokePlan, *, before: str) -> bytes:
    """The run as a file for `--past`; `before` is the name of the map that it began from. Raises BadInput where there is no run."""
    if not plan.runs:
        raise BadInput(found="no stroke is advised", needed="a run is needed before it can be kept", remedy="leave --keep out")
    lines = [
        "# A run that was advised. Correct the minutes to what was really done, and take out what was left out.",
        "# The map after it may be told as after = ...; left out, it is the map that the next advice is asked on.",
        "[[run]]",
        f"before = {_quoted(before)}",
        f"polish = {_quoted(plan.shelf.polish)}",
    ]
    if plan.shelf.new_pitch:
        lines += [f"new_pitch = [{', '.join(map(_quoted, plan.shelf.new_pitch))}]  # before this run"]
    for run in plan.runs:
        lines += ["", "[[run.stroke]]", f"stroke = {_quoted(written(run.stroke))}", f"minutes = {run.minutes:g}"]
    return ("\n".join(lines) + "\n").encode()


def _quoted(text: str) -> str:
    return (
        '"'
        + "".join(f"\\u{ord(letter):04x}" if letter in '"\\' or ord(letter) < 32 or ord(letter) == 127 else letter for letter in text)
        + '"'
    )


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def _doubts(plan: StrokePlan) -> str:
    return "" if plan.height_map.meta.get("mark") is not None else "The map has no mark: make sure which way round the face lies."


def _zones(plan: StrokePlan) -> list[tuple[int, NDArray]]:
    return [(number, zone_of(run.stroke)) for number, run in enumerate(plan.runs, start=1) if run.stroke.way is Way.STILL]


def _turned(places: NDArray, view: View) -> NDArray:
    return np.column_stack(before_the_eye(view, u_mm=places[:, 0], v_mm=places[:, 1]))


def _level(height_map: HeightMap) -> NDArray:
    level = without_tilt(height_map)
    return np.where(level.valid, level.heights_nm, np.nan)


def _face_picture(plan: StrokePlan, *, view: View, step: int) -> FacePicture:
    u, v = np.meshgrid(plan.height_map.u_mm[::step], plan.height_map.v_mm[::step])
    x, y = before_the_eye(view, u_mm=u, v_mm=v)
    face = plan.height_map.face
    hours = np.radians(30.0 * np.arange(1, 13))
    around = np.column_stack([np.sin(hours), np.cos(hours)])
    around *= _BEYOND / face.normalised_radius(around[:, 0], around[:, 1])[:, None]
    mark = _turned(np.array([[0.0, face.semi_v_mm]]), view)[0]
    return FacePicture(x_mm=x, y_mm=y, rim=_turned(_rim(face), view), hours=_turned(around, view), mark=mark)


def _rim(face: Face) -> NDArray:
    if face.shape is Shape.RECTANGLE:
        return np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]]) * [face.semi_u_mm, face.semi_v_mm]
    turn = np.linspace(0.0, 2.0 * np.pi, 181)
    return np.column_stack([face.semi_u_mm * np.cos(turn), face.semi_v_mm * np.sin(turn)])
