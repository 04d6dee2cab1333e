"""Whether two plates can run together, which way up, with how long a stroke, and how the time is shared between both ways.

With the upper plate overhanging, its centre and the lower one's rim press harder: the upper goes hollow, the lower proud, whatever their sizes.
Where sizes differ, the smaller covers only the middle of the larger: the larger goes hollow, the smaller proud, whichever is on top. A long
stroke of the smaller on top undoes this; but an upper plate that overhangs too far lifts on the far side and rocks, and with its centre past the
rim of the lower it tips. So for each pair the strokes are tried on flat faces, and the time is shared so that what either way bends is undone
by the other. Where the sizes are so unlike that no stroke does, the larger would go hollow for good: that pair can't run together.

Sources
-------
Bending by overhang: force and moment balance of a rigid plate on an elastic layer (`wear.contact`). A stroke of a third of the diameter for
equal plates, centre over centre: common practice, no source. The limits below are our own choice.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from straightband.errors import BadInput
from straightband.face.shapes import Face
from straightband.wear.kinematics import Motion
from straightband.wear.radial import Grind, Meeting, grind_rings, meeting_of, wear_of_rings
from straightband.wear.rings import Rings, rings_of, sag_of_rings_um

USUAL_STROKE = 1.0 / 3.0  # of the smaller plate's diameter
_STROKES = (0.1, 0.2, USUAL_STROKE, *(0.45 + 0.075 * step for step in range(12)))  # of it, that are tried until the upper plate rocks
LIFTS_LITTLE = 0.05  # of the contact, at the end of the stroke: what a stroke that is wanted for its bending may lift
LIFTS_AT_MOST = 0.15  # of the contact, at the end of the stroke, before the plate is said to rock
SMALLEST_RATIO = 0.6  # of diameters; below, a plate works one zone of the other at a time
BENDS_AT_MOST = 0.03  # for each um of wear, that may be left undone: beyond, rings of three were seen to stay hollow in simulation
_LEAST_SHARE = 0.1  # of the time, for a way to be worth a change of plates
_COEFFICIENT, _STIFFNESS_KPA_UM = 1e-10, 1.0  # per Pa; with which strokes are tried: rates go as the first, and don't hang on the second
_CELLS = 32
_SQUEEZES = 3.0  # of the layer, worn off, after which two faces fit


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate:
    """A plate to be worked.

    Attributes
    ----------
    name
        What the shop calls it.
    face
        Its outline.
    weight_n
        Its weight.
    sag_um
        What its face begins with, plus for a hill; None where it was not measured.
    """

    name: str
    face: Face
    weight_n: float
    sag_um: float | None

    @property
    def diameter_mm(self) -> float:
        """Diameter of a round plate of its area."""
        return 2.0 * math.sqrt(self.face.area_mm2 / math.pi)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """What moves and presses the plates.

    Attributes
    ----------
    spindle_rpm
        Turns of the lower plate.
    top_rpm
        Turns of the upper plate by the hands.
    strokes_per_min
        To and fro.
    load_n
        Push of the hand, on top of the upper plate's weight.
    """

    spindle_rpm: float
    top_rpm: float
    strokes_per_min: float
    load_n: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One plate on top of another, with its stroke; rates are those of flat faces for a Preston coefficient of 1 per Pa.

    Attributes
    ----------
    top, bottom
        Numbers of the plates.
    stroke_mm
        From end to end.
    share
        Of the pair's time.
    top_um_min, bottom_um_min
        Mean wear of the two faces.
    bends_um_min
        How fast the smaller plate turns proud and the larger hollow, as half the difference of their sags over one radius.
    """

    top: int
    bottom: int
    stroke_mm: float
    share: float
    top_um_min: float
    bottom_um_min: float
    bends_um_min: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Pairing:
    """Two plates that can run together.

    Attributes
    ----------
    link
        Their numbers.
    ratio
        Diameter of the smaller over that of the larger.
    ways
        Both ways up, or only the smaller on top.
    bends_um_min
        What is left undone: how fast the smaller turns proud and the larger hollow for a Preston coefficient of 1 per Pa; 0 for sizes near enough.
    """

    link: tuple[int, int]
    ratio: float
    ways: tuple[Way, ...]
    bends_um_min: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Misfit:
    """Two plates that can't run together, and why.

    Attributes
    ----------
    link
        Their numbers.
    ratio
        Diameter of the smaller over that of the larger.
    reason
        A clause for people, beginning with what goes wrong.
    """

    link: tuple[int, int]
    ratio: float
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Tried:
    stroke_mm: float
    top_um_min: float
    bottom_um_min: float
    bends_um_min: float
    lifts: float


def motion_of(bench: Bench, *, stroke_mm: float) -> Motion:
    """How the bench moves two plates with that stroke."""
    return Motion(spindle_rpm=bench.spindle_rpm, top_rpm=bench.top_rpm, stroke_mm=stroke_mm, strokes_per_min=bench.strokes_per_min)


def pair_up(link: tuple[int, int], *, plates: tuple[Plate, ...], bench: Bench) -> Pairing | Misfit:
    """Whether two plates can run together, and how."""
    small, large = sorted(link, key=lambda number: (plates[number].diameter_mm, -number))
    ratio = plates[small].diameter_mm / plates[large].diameter_mm
    if ratio < SMALLEST_RATIO:
        return Misfit(link=link, ratio=ratio, reason=_too_small(plates[small], plates[large], ratio=ratio))
    turned = _steadiest(plates[large], plates[small], bench=bench)
    wanted = 0.0 if turned is None else -turned.bends_um_min
    above = _up_to_rocking(plates[small], plates[large], bench=bench, wanted_um_min=wanted)
    if not above:
        return Misfit(link=link, ratio=ratio, reason=_rocks(plates[small], plates[large], ratio=ratio))
    steady = [each for each in above if each.lifts <= LIFTS_LITTLE] or above[:1]
    chosen = _undoing(steady, wanted)
    share = 0.0 if turned is None else -chosen.bends_um_min / max(turned.bends_um_min - chosen.bends_um_min, 1e-300)
    if turned is None or share < _LEAST_SHARE:
        even = _undoing(above, 0.0)
        if even.bends_um_min > BENDS_AT_MOST * (even.top_um_min + even.bottom_um_min) / 2.0:
            return Misfit(link=link, ratio=ratio, reason=_hollows(plates[small], plates[large], ratio=ratio))
        return Pairing(
            link=link, ratio=ratio, ways=(_way(even, top=small, bottom=large, share=1.0),), bends_um_min=max(even.bends_um_min, 0.0)
        )
    # Where the larger on top bends the same way as the smaller, nothing is undone; equal time is then the best there is.
    share = share if turned.bends_um_min > 0.0 else 0.5
    ways = (_way(chosen, top=small, bottom=large, share=1.0 - share), _way(turned, top=large, bottom=small, share=share))
    return Pairing(link=link, ratio=ratio, ways=ways, bends_um_min=0.0)


def _way(tried: _Tried, *, top: int, bottom: int, share: float) -> Way:
    return Way(
        top=top,
        bottom=bottom,
        stroke_mm=tried.stroke_mm,
        share=share,
        top_um_min=tried.top_um_min,
        bottom_um_min=tried.bottom_um_min,
        bends_um_min=tried.bends_um_min,
    )


def _steadiest(top: Plate, bottom: Plate, *, bench: Bench) -> _Tried | None:
    """The larger plate on top with the usual stroke, or the longest shorter one that does not rock; None where each does."""
    for share in (share for share in reversed(_STROKES) if share <= USUAL_STROKE):
        tried = _tried(top, bottom, bench=bench, stroke_mm=share * bottom.diameter_mm, sign=-1.0)
        if tried is not None and tried.lifts <= LIFTS_LITTLE:
            return tried
    return None


def _up_to_rocking(top: Plate, bottom: Plate, *, bench: Bench, wanted_um_min: float) -> list[_Tried]:
    """The smaller plate on top with longer and longer strokes, up to where it bends as wanted and no longer the wrong way, or rocks."""
    found: list[_Tried] = []
    for share in _STROKES:
        tried = _tried(top, bottom, bench=bench, stroke_mm=share * top.diameter_mm, sign=1.0)
        if tried is None or tried.lifts > LIFTS_AT_MOST:
            break
        found.append(tried)
        if tried.bends_um_min <= min(wanted_um_min, 0.0) or (tried.bends_um_min <= 0.0 and tried.lifts > LIFTS_LITTLE):
            break
    return found


def _tried(top: Plate, bottom: Plate, *, bench: Bench, stroke_mm: float, sign: float) -> _Tried | None:
    """One stroke on flat faces; None where the upper plate falls over. `sign` is 1 where that is the smaller."""
    faces = (rings_of(plate.face, cells=_CELLS) for plate in (top, bottom))
    meeting = meeting_of(*faces, motion=motion_of(bench, stroke_mm=stroke_mm))
    try:
        return _of_flat(meeting, force_n=top.weight_n + bench.load_n, stroke_mm=stroke_mm, sign=sign)
    except BadInput:
        return None


def _of_flat(meeting: Meeting, *, force_n: float, stroke_mm: float, sign: float) -> _Tried:
    """How flat faces begin to wear, and how they go on bending once they have worn until they fit."""
    grind = Grind(stiffness_kpa_um=_STIFFNESS_KPA_UM, top_per_pa=_COEFFICIENT, bottom_per_pa=_COEFFICIENT, force_n=force_n)
    flat = np.zeros((len(meeting.top.share), 1)), np.zeros((len(meeting.bottom.share), 1))
    first = wear_of_rings(*flat, meeting=meeting, grind=grind)
    last = meeting.places.areas_mm2[-1]
    carried = np.sum(last * (first.contact.pressure_kpa[0, -1] > 0.0)) / np.sum(last)
    slower = min(_mean(first.top_um_min, meeting.top), _mean(first.bottom_um_min, meeting.bottom))
    squeeze_um = float(np.max(first.contact.pressure_kpa)) / _STIFFNESS_KPA_UM
    fitted = grind_rings(*flat, meeting=meeting, grind=grind, minutes=_SQUEEZES * squeeze_um / slower)
    then = wear_of_rings(*fitted, meeting=meeting, grind=grind)
    span = min(meeting.top.span_mm, meeting.bottom.span_mm)
    top, bottom = (
        -float(sag_of_rings_um(rate, face)[0]) * (span / face.span_mm) ** 2 / _COEFFICIENT
        for rate, face in ((then.top_um_min, meeting.top), (then.bottom_um_min, meeting.bottom))
    )
    return _Tried(
        stroke_mm=stroke_mm,
        top_um_min=_mean(first.top_um_min, meeting.top) / _COEFFICIENT,
        bottom_um_min=_mean(first.bottom_um_min, meeting.bottom) / _COEFFICIENT,
        bends_um_min=sign * (top - bottom) / 2.0,
        lifts=float(1.0 - carried),
    )


def _mean(rate: np.ndarray, face: Rings) -> float:
    return float(rate[:, 0] @ face.areas_mm2 / np.sum(face.areas_mm2))


def _undoing(tried: list[_Tried], wanted_um_min: float) -> _Tried:
    """The stroke among those tried, or between two of them, that bends as much as wanted; the nearest where none does."""
    for shorter, longer in itertools.pairwise(tried):
        if longer.bends_um_min <= wanted_um_min <= shorter.bends_um_min:
            step = (wanted_um_min - shorter.bends_um_min) / (longer.bends_um_min - shorter.bends_um_min)
            fields = ("stroke_mm", "top_um_min", "bottom_um_min", "bends_um_min", "lifts")
            between = {name: getattr(shorter, name) + step * (getattr(longer, name) - getattr(shorter, name)) for name in fields}
            return _Tried(**between)
    return min(tried, key=lambda each: abs(each.bends_um_min - wanted_um_min))


def _too_small(small: Plate, large: Plate, *, ratio: float) -> str:
    return (
        f"{small.name} is {ratio:.2f} of {large.name} across: it would tip on the rim of the larger, the larger would tip on it, and it wears "
        "one zone at a time"
    )


def _hollows(small: Plate, large: Plate, *, ratio: float) -> str:
    return (
        f"{small.name} is {ratio:.2f} of {large.name} across: it works the middle and hollows the larger, and with a stroke long enough to undo "
        "that it overhangs so far that it lifts on the far side and rocks"
    )


def _rocks(small: Plate, large: Plate, *, ratio: float) -> str:
    return (
        f"{small.name} is {ratio:.2f} of {large.name} across and so long and narrow, or the other is, that even with the shortest stroke it "
        "lifts on the far side and rocks"
    )
