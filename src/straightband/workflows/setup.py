"""From what a person writes about a photograph to the set-up the reading needs."""

from __future__ import annotations

import re

from straightband.errors import BadInput
from straightband.face.shapes import CLEAR_MARGIN, Face, Shape, ellipse, rectangle, round_face
from straightband.fringes.rest import Rest, Support
from straightband.glass import glass_from_text
from straightband.light.lines import Lamp, lamp_from_text
from straightband.photo.outline import outline_from_text
from straightband.quantities import parse_duration_s, parse_length_mm
from straightband.workflows.colours import check_channels
from straightband.workflows.read import DISTORTION_SHARE, Setup
from straightband.workflows.reference import day_from_text

SIZES = {Shape.ELLIPSE: ("minor",), Shape.ROUND: ("diameter",), Shape.RECTANGLE: ("width", "length")}
NEEDED = {
    Shape.ELLIPSE: "an ellipse's minor axis is needed",
    Shape.ROUND: "a round face's diameter is needed",
    Shape.RECTANGLE: "a rectangle's width and length are needed",
}
NOT_KNOWN = "?"  # for one of several photographs
BESIDE = "pressed"  # told beside the rest
RESTING = ("glass", "thickness", "support", "handled")
LARGEST_MM = 2000.0
SMALLEST_MM = 1.0
MOST_REVERSALS = 4
LARGEST_MARGIN = 0.3


def face_from_text(*, shape: str, **sizes: str | None) -> Face:
    """The face from its shape and the lengths that go with it (`minor`, `major`, `diameter`, `width`, `length`); raises BadInput."""
    if shape not in list(Shape):
        raise BadInput(
            found=f"the shape was given as '{shape[:40]}'", needed="ellipse, round or rectangle is needed", remedy="write one of the three"
        )
    kind = Shape(shape)
    for name in SIZES[kind]:
        if sizes.get(name) is None:
            raise BadInput(
                found=f"the {'minor axis' if name == 'minor' else name} is missing", needed=NEEDED[kind], remedy=f"add --{name} like 90mm"
            )
    allowed = {*SIZES[kind], *(("major",) if kind is Shape.ELLIPSE else ())}
    for name, text in sizes.items():
        if text is not None and name not in allowed:
            raise BadInput(
                found=f"a {name} was given for a face that is {kind.value}",
                needed=f"{_listed(SIZES[kind])} is what such a face has",
                remedy=f"leave --{name} out or change --shape",
            )
    lengths = {name: _size(text, name) for name, text in sizes.items() if text is not None}
    if kind is Shape.ELLIPSE:
        return ellipse(minor_mm=lengths["minor"], major_mm=lengths.get("major"))
    if kind is Shape.ROUND:
        return round_face(diameter_mm=lengths["diameter"])
    return rectangle(width_mm=lengths["width"], length_mm=lengths["length"])


def _listed(names: tuple[str, ...]) -> str:
    return " and ".join(f"the {name}" for name in names)


def _size(text: str, name: str) -> float:
    value = parse_length_mm(text, what=f"the {name}")
    if not SMALLEST_MM <= value <= LARGEST_MM:
        raise BadInput(
            found=f"the {name} was given as '{text}'",
            needed=f"a length between {SMALLEST_MM:g} mm and {LARGEST_MM:g} mm is needed",
            remedy="check number and unit",
        )
    return value


def setup_from_text(
    *,
    light: str,
    outline: str | None = None,
    thicker: str | None = None,
    mark: str | None = None,
    mirrored: str | None = None,
    camera: str | None = None,
    lens_distortion: str | None = None,
    margin: str | None = None,
    today: str | None = None,
    **face_and_rest: str | None,
) -> Setup:
    """The set-up from its texts; raises BadInput with the first that can't be used.

    `face_and_rest` are `shape` and its sizes, and what is told of how the piece lies: `glass`, `thickness`, `support`,
    `handled`, and where it was `pressed`.
    """
    rest = {name: face_and_rest.get(name) for name in RESTING}
    face = {name: text for name, text in face_and_rest.items() if name not in (*RESTING, BESIDE)}
    pressed = face_and_rest.get(BESIDE)
    shape = face.pop("shape", None) or "ellipse"
    the_face = face_from_text(shape=shape, **face)
    lamps = _lamps(light)
    return Setup(
        face=the_face,
        lamp=lamps[0],
        more_lamps=lamps[1:],
        outline=None if outline is None else outline_from_text(outline, face=the_face),
        mark_hour=None if mark is None else clock_hour(mark, what="the mark"),
        thicker=_thicker(thicker),
        mirrored=None if mirrored is None else _reversals(mirrored),
        camera_mm=None if camera is None else camera_from_text(camera, face=the_face),
        distortion_share=DISTORTION_SHARE if lens_distortion is None else _share(lens_distortion, what="the lens distortion", largest=0.2),
        clear_margin=CLEAR_MARGIN if margin is None else margin_from_text(margin),
        margin_told=margin is not None,
        today=None if today is None else day_from_text(today, what="the day"),
        rest=_rest(the_face, **rest),
        pressed_hour=None if pressed is None else clock_hour(pressed, what="where it was pressed"),
    )


def _lamps(text: str) -> tuple[Lamp, ...]:
    """The lamps that were on, the one to be read first; a comma within a number is no comma between lamps."""
    parts = [part.strip() for part in text.split(",")]
    lamps = tuple(lamp_from_text(part) for part in (parts if all(any(c.isalpha() for c in part) for part in parts) else [text]))
    check_channels(lamps)
    return lamps


def _rest(face: Face, *, glass: str | None, thickness: str | None, support: str | None, handled: str | None) -> Rest | None:
    """How the piece lies; None where neither glass nor thickness was told."""
    told = {"glass": glass, "thickness": thickness}
    if all(value is None for value in (*told.values(), support, handled)):
        return None
    for name, value in told.items():
        if value is None:
            raise BadInput(
                found=f"the {name} is missing beside {'the handling' if handled else 'the support' if support else 'the rest'}",
                needed="glass and thickness are needed to say how the piece bends",
                remedy="add --glass like borosilicate and --thickness like 15mm",
            )
    if support is not None and support not in list(Support):
        raise BadInput(
            found=f"the support was given as '{support[:40]}'",
            needed=f"one of {', '.join(Support)} is needed",
            remedy="leave it out for three points at the rim, as a shim gives",
        )
    return Rest(
        glass=glass_from_text(str(glass)),
        thickness_mm=_thickness(str(thickness), face=face),
        support=Support.THREE_AT_RIM if support is None else Support(support),
        handled_s=None if handled is None else parse_duration_s(handled, what="the time since handling"),
    )


def _thickness(text: str, *, face: Face) -> float:
    value = parse_length_mm(text, what="the thickness")
    if not SMALLEST_MM <= value <= 2.0 * face.semi_major_mm:
        raise BadInput(
            found=f"the thickness was given as '{text[:40]}'",
            needed=f"a length between {SMALLEST_MM:g} mm and {2.0 * face.semi_major_mm:.4g} mm is needed",
            remedy="check number and unit",
        )
    return value


def margin_from_text(text: str) -> float:
    """Share of each semi-axis left to the bevel, from text such as `3%`; raises BadInput."""
    return _share(text, what="the margin", largest=LARGEST_MARGIN)


def camera_from_text(text: str, *, face: Face) -> float:
    """Distance of the camera in mm; raises BadInput where it could not take in the whole face, being nearer than that is long."""
    distance_mm = parse_length_mm(text, what="the camera's distance")
    longest_mm = 2.0 * face.semi_major_mm
    if distance_mm < longest_mm:
        raise BadInput(
            found=f"the camera's distance was given as '{text[:40]}', nearer than the face is long ({longest_mm:.4g} mm)",
            needed="a distance from which the whole face shows is needed",
            remedy="measure it from the lens to the face",
        )
    return distance_mm


def clock_hour(text: str, *, what: str) -> float:
    """A clock hour of the upright photograph; raises BadInput."""
    if not re.fullmatch(r"\d{1,2}(\.\d{1,25})?", text.strip()) or not 1.0 <= float(text) < 13.0:
        raise BadInput(
            found=f"{what} was given as '{text[:40]}'",
            needed="a clock hour from 1 to 12 in the upright photograph is needed",
            remedy="write it like 3 for the right side",
        )
    return float(text)


def _thicker(text: str | None) -> float | str | tuple[float | str | None, ...] | None:
    if text is None:
        return None
    sides = tuple(None if each.strip() == NOT_KNOWN else _side(each.strip()) for each in text.split(","))
    return sides[0] if len(sides) == 1 else sides


def _side(text: str) -> float | str:
    return text if text in {"in", "out"} else clock_hour(text, what="the thicker side")


def _reversals(text: str) -> int:
    if not re.fullmatch(r"\d", text.strip()) or int(text) > MOST_REVERSALS:
        raise BadInput(
            found=f"the number of reversals was given as '{text[:40]}'",
            needed=f"a whole number from 0 to {MOST_REVERSALS} is needed",
            remedy="count the back and the beam splitter",
        )
    return int(text)


def _share(text: str, *, what: str, largest: float) -> float:
    match = re.fullmatch(r"(\d{1,3}(?:\.\d{1,25})?)\s*%", text.strip())
    if match is None or float(match[1]) / 100.0 > largest:
        raise BadInput(
            found=f"{what} was given as '{text[:40]}'",
            needed=f"a percentage up to {100 * largest:g} % is needed",
            remedy="write it like 1%",
        )
    return float(match[1]) / 100.0
