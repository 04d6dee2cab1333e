"""From what a person writes of plate, pads and stroke to what laying them out needs."""

from __future__ import annotations

import math
import re

import numpy as np
from numpy.typing import NDArray

from straightband.errors import BadInput
from straightband.face.shapes import CLEAR_MARGIN, Face
from straightband.quantities import MM_PER_UNIT, parse_length_mm
from straightband.wear.kinematics import Motion
from straightband.wear.pads.evened import Plate
from straightband.wear.pads.outlines import Pad, given_pad, petalled_pad, round_pad, square_pad
from straightband.workflows.pads import Pack
from straightband.workflows.setup import margin_from_text

PLATE_RANGE_MM = (20.0, 1000.0)
PAD_RANGE_MM = (5.0, 300.0)
DEFAULT_GAP_MM, DEFAULT_RIM_MM = 2.0, 1.0  # room for water and charge, and for the scissors: common practice, no source
LARGEST_GAP_MM = 50.0
HAND_RPM = (3.0, 2.0)  # by hand: walking round the plate, and the mirror turned in the hands; common practice, no source
HAND_STROKES_PER_MIN = 60.0
STROKE_SHARE = 2.0 / 3.0  # of the longer half axis: a third of the mirror, common practice, no source
MOST_PADS = 60  # that are laid out in sensible time
USUAL_COVERAGE = 0.7  # of rows of pads
MOST_COVERAGE = 0.75


def pad_from_text(*, diameter: str | None, side: str | None, outline: str | None, petalled: bool) -> Pad:
    """The pad from its diameter, the side of a square, or its corners; raises BadInput."""
    given = [name for name, text in (("--pad-diameter", diameter), ("--pad-side", side), ("--pad-outline", outline)) if text is not None]
    if len(given) != 1:
        raise BadInput(
            found="no pad was described" if not given else f"the pad was described by {' and '.join(given)}",
            needed="one of its diameter, the side of a square or its corners is needed",
            remedy="give --pad-diameter like 50mm, or --pad-side, or --pad-outline",
        )
    if petalled and diameter is None:
        raise BadInput(
            found="--petalled was given without a diameter",
            needed="the diameter over the petals is needed",
            remedy="give --pad-diameter like 50mm with it",
        )
    if outline is not None:
        return given_pad(_corners(outline))
    if side is not None:
        return square_pad(side_mm=_within(side, what="the side of the pad", limits=PAD_RANGE_MM))
    size = _within(str(diameter), what="the diameter of the pad", limits=PAD_RANGE_MM)
    return petalled_pad(diameter_mm=size) if petalled else round_pad(diameter_mm=size)


def _corners(text: str) -> NDArray:
    number = r"-?\d{1,4}(?:\.\d{1,25})?"
    match = re.fullmatch(rf"((?:{number},{number}\s+){{2,500}}{number},{number})\s*(mm|cm|in)", text.strip())
    if match is None:
        raise BadInput(
            found=f"the outline of the pad was given as '{text[:40]}'",
            needed="its corners in order, each as x,y, and one unit at the end are needed",
            remedy='write it like "0,0 40,0 40,25 0,25 mm"',
        )
    points = [[float(coordinate) for coordinate in pair.split(",")] for pair in match[1].split()]
    return np.array(points) * MM_PER_UNIT[match[2]]


def plate_from_text(
    *,
    plate: str,
    pad: Pad,
    face: Face,
    gap: str | None = None,
    rim: str | None = None,
    coverage: str | None = None,
    margin: str | None = None,
    **motion: str | None,
) -> Plate:
    """Plate, pads and stroke from their texts, those of the motion as `motion_from_text` takes them; raises BadInput."""
    radius = _within(plate, what="the plate", limits=PLATE_RANGE_MM) / 2.0
    if math.pi * radius**2 / pad.outline.area > MOST_PADS / USUAL_COVERAGE:
        raise BadInput(
            found=f"the plate has room for more than {MOST_PADS} such pads",
            needed="larger pads are needed",
            remedy="check both sizes with their units",
        )
    return Plate(
        radius_mm=radius,
        gap_mm=DEFAULT_GAP_MM if gap is None else _small(gap, what="the gap between pads"),
        rim_mm=DEFAULT_RIM_MM if rim is None else _small(rim, what="the rim kept free"),
        least_coverage=0.0 if coverage is None else _share(coverage, what="the coverage", largest=MOST_COVERAGE),
        pad=pad,
        face=face,
        motion=motion_from_text(usual_stroke_mm=usual_stroke_mm(face, plate_radius_mm=radius), **motion),
        clear_share=1.0 - (CLEAR_MARGIN if margin is None else margin_from_text(margin)),
    )


def motion_from_text(
    *,
    usual_stroke_mm: float,
    stroke: str | None = None,
    side: str | None = None,
    strokes_per_min: str | None = None,
    spindle_rpm: str | None = None,
    top_rpm: str | None = None,
) -> Motion:
    """How the mirror is moved; by hand where nothing is told. Raises BadInput."""
    return Motion(
        spindle_rpm=HAND_RPM[0] if spindle_rpm is None else _number(spindle_rpm, what="the spindle's turning", least=-500.0, largest=500.0),
        top_rpm=HAND_RPM[1] if top_rpm is None else _number(top_rpm, what="the mirror's turning", least=-500.0, largest=500.0),
        stroke_mm=usual_stroke_mm if stroke is None else _none_or_length(stroke, what="the stroke"),
        strokes_per_min=HAND_STROKES_PER_MIN
        if strokes_per_min is None
        else _number(strokes_per_min, what="the number of strokes a minute", least=0.0, largest=300.0),
        side_mm=0.0 if side is None else _none_or_length(side, what="the side of the stroke"),
    )


def usual_stroke_mm(face: Face, *, plate_radius_mm: float) -> float:
    """A third of the mirror, less where its rim would leave the plate."""
    usual = STROKE_SHARE * face.semi_major_mm
    room = 2.0 * (plate_radius_mm - face.semi_major_mm)
    return min(usual, room) if room > 0.2 * usual else 0.5 * usual


def pack_from_text(*, pack: str | None, price: str | None) -> Pack | None:
    """How pads are sold, from a count and a price such as `8.50` or `8.50 EUR`; raises BadInput."""
    if pack is None:
        if price is not None:
            raise BadInput(found="--pack-price was given alone", needed="how many pads it buys is needed", remedy="add --pack like 10")
        return None
    if not re.fullmatch(r"[1-9]\d{0,3}", pack.strip()):
        raise BadInput(
            found=f"the pack was given as '{pack[:40]}'", needed="a whole number of pads is needed", remedy="write it like --pack 10"
        )
    match = re.fullmatch(r"(\d{1,7}(?:\.\d{1,2})?)\s*([^\W\d_]{0,5})", (price or "0").strip())
    if match is None:
        raise BadInput(
            found=f"the price of a pack was given as '{str(price)[:40]}'",
            needed="a number is needed, with a currency if you like",
            remedy='write it like "8.50 EUR"',
        )
    return Pack(count=int(pack), price=None if price is None else float(match[1]), currency=match[2])


def _share(text: str, *, what: str, largest: float) -> float:
    match = re.fullmatch(r"(\d{1,3}(?:\.\d{1,25})?)\s*%", text.strip())
    if match is None or float(match[1]) / 100.0 > largest:
        raise BadInput(
            found=f"{what} was given as '{text[:40]}'",
            needed=f"a percentage up to {100.0 * largest:g} % is needed",
            remedy="write it like 55%",
        )
    return float(match[1]) / 100.0


def _within(text: str, *, what: str, limits: tuple[float, float]) -> float:
    value = parse_length_mm(text, what=what)
    if not limits[0] <= value <= limits[1]:
        raise BadInput(
            found=f"{what} was given as '{text}'",
            needed=f"{limits[0]:g} mm to {limits[1]:g} mm is needed",
            remedy="check number and unit",
        )
    return value


def _small(text: str, *, what: str) -> float:
    value = _none_or_length(text, what=what)
    if value > LARGEST_GAP_MM:
        raise BadInput(found=f"{what} was given as '{text}'", needed=f"at most {LARGEST_GAP_MM:g} mm is needed", remedy="check the unit")
    return value


def _none_or_length(text: str, *, what: str) -> float:
    return 0.0 if re.fullmatch(r"0(?:\.0+)?\s*(?:mm|cm|in)", text.strip()) else parse_length_mm(text, what=what)


def _number(text: str, *, what: str, least: float, largest: float) -> float:
    if not re.fullmatch(r"[+-]?\d{1,4}(?:\.\d{1,25})?", text.strip()) or not least <= float(text) <= largest:
        raise BadInput(
            found=f"{what} was given as '{text[:40]}'",
            needed=f"a number from {least:g} to {largest:g} is needed",
            remedy="write it like 30",
        )
    return float(text)
