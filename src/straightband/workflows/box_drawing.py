"""The drawing of the test box: a cut through camera, plate and lamp, to scale, with its measures."""

from __future__ import annotations

from straightband import provenance
from straightband.plots.sketch import area, line, svg, word
from straightband.quantities import MM_PER_UNIT
from straightband.report.sheet import HEIGHT_MM, WIDTH_MM, Label, Sheet, Stroke, sheet_pdf
from straightband.workflows.box import Box
from straightband.workflows.box_report import CAUTIONS, explain
from straightband.workflows.shown import DECIMALS

SCALES = (1, 2, 2.5, 4, 5, 6, 7.5, 10, 15, 20, 25, 40, 50)
BESIDE_MM, BELOW_MM, ABOVE_MM = 26.0, 14.0, 26.0  # room for measures and camera around the box, on paper
TICK_MM = 1.2
ROOM = 20.0  # around it on the screen
SCREEN = 5.0  # units of the screen's drawing to a millimetre of paper
LOOKS = {"edge": "ink thick", "glass": "glass ink", "light": "accent", "measure": "ink thin", "axis": "pale dashed"}


def box_drawing(box: Box) -> bytes:
    """The drawing as PDF."""
    return sheet_pdf(box_sheet(box))


def box_sketch(box: Box) -> str:
    """The same for the screen, as SVG text, without rows and cautions."""
    sheet = box_sheet(box)
    parts = []
    for stroke in sheet.strokes:
        points = [_on_screen(*point) for point in stroke.points_mm]
        parts.append((area if stroke.closed else line)(points, look=LOOKS[stroke.kind]))
    for label in sheet.labels:
        x, y = _on_screen(label.x_mm, label.y_mm)
        parts.append(word(label.words, (x, y + 6.0), anchor="middle", upright=label.upright))
    corners = [_on_screen(*point) for stroke in sheet.strokes for point in stroke.points_mm]
    corners += [_on_screen(label.x_mm, label.y_mm) for label in sheet.labels]
    xs, ys = zip(*corners, strict=True)
    window = (min(xs) - ROOM, min(ys) - ROOM, max(xs) - min(xs) + 2.0 * ROOM, max(ys) - min(ys) + 2.0 * ROOM)
    return svg(parts, box=window, words=sheet.described, kind="sketch box")


def _on_screen(x_mm: float, y_mm: float) -> tuple[float, float]:
    return x_mm * SCREEN, (HEIGHT_MM - y_mm) * SCREEN


def box_sheet(box: Box) -> Sheet:
    """The page before it is set."""
    length, _, height = box.inside_mm
    scale = next(
        (each for each in SCALES if length / each <= WIDTH_MM - 2.0 * BESIDE_MM and height / each <= HEIGHT_MM - BELOW_MM - ABOVE_MM),
        max(length, height) / 90.0,
    )
    strokes, labels = _cut(_Paper(box=box, scale=scale))
    return Sheet(
        title=f"Test box for pieces up to {box.request.largest_mm:.4g} mm",
        subtitle=f"Cut through camera and lamp, 1 : {scale:.3g}; inner measures in mm; lamp: {box.request.lamp.name}.",
        described=(
            f"A box {length:.0f} mm long and {height:.0f} mm high. Two flats lie on its floor, a plate of glass stands over them at 45 degrees, "
            f"a lamp with a diffuser stands at the right, the camera looks down through a hole in the lid from {box.eye_above_board_mm:.0f} mm."
        ),
        strokes=tuple(strokes),
        labels=tuple(labels),
        rows=box_rows(box),
        notes=tuple(f"{explain(flag).capitalize()}." for flag in box.flags),
        cautions=CAUTIONS,
        program=provenance.program(),
    )


class _Paper:
    """Where places of the box fall on paper."""

    def __init__(self, *, box: Box, scale: float) -> None:
        self.box, self.scale = box, scale
        self._left_mm = (WIDTH_MM - box.inside_mm[0] / scale) / 2.0

    def at(self, across_mm: float, height_mm: float) -> tuple[float, float]:
        """A place given from the axis toward the lamp, and from the board."""
        return self._left_mm + (across_mm + self.box.axis_at_mm) / self.scale, BELOW_MM + height_mm / self.scale

    def line(self, *places: tuple[float, float], kind: str, closed: bool = False) -> Stroke:
        """A line through places of the box."""
        return Stroke(points_mm=tuple(self.at(*place) for place in places), kind=kind, closed=closed)


def _cut(paper: _Paper) -> tuple[list[Stroke], list[Label]]:
    box, plate = paper.box, paper.box.plate
    length, _, height = box.inside_mm
    left, right = -box.axis_at_mm, length - box.axis_at_mm
    half, hole, side = box.request.largest_mm / 2.0, box.hole_mm / 2.0, box.diffuser_mm / 2.0
    low, high = box.crossing_mm - side, box.crossing_mm + side
    beam = box.diffuser_mm / 2.0 / (1.0 + (box.crossing_mm - box.face_mm + box.diffuser_at_mm) / box.eye_mm)
    top = height + 13.0 * paper.scale
    near = beam * (1.0 - (top - box.face_mm) / box.eye_mm)
    strokes = [
        paper.line((-hole, height), (left, height), (left, 0.0), (right, 0.0), (right, height), (hole, height), kind="edge"),
        paper.line((-half, 0.0), (half, 0.0), (half, box.face_mm), (-half, box.face_mm), kind="glass", closed=True),
        paper.line((-half, box.face_mm), (half, box.face_mm), (half, box.stack_mm), (-half, box.stack_mm), kind="glass", closed=True),
        paper.line((-plate.low_at_mm, plate.low_mm), (plate.high_at_mm, plate.high_mm), kind="glass"),
        paper.line((box.diffuser_at_mm, low), (box.diffuser_at_mm, high), kind="edge"),
        paper.line((0.0, 0.0), (0.0, top), kind="axis"),
        paper.line((0.0, box.crossing_mm), (box.diffuser_at_mm, box.crossing_mm), kind="axis"),
        *(paper.line((sign * beam, box.face_mm), (sign * near, top), kind="light") for sign in (-1.0, 1.0)),
        *_lamp_rays(paper, beam=beam),
    ]
    labels = [
        _label(paper, 0.0, top + 4.0 * paper.scale, f"camera {box.eye_above_board_mm:.0f} above the board"),
        _label(paper, 0.0, box.stack_mm + 4.0 * paper.scale, "flats"),
        _label(paper, (box.diffuser_at_mm + right) / 2.0, box.crossing_mm, "lamp"),
        _label(paper, box.diffuser_at_mm, low - 4.0 * paper.scale, "diffuser"),
        _label(paper, -plate.low_at_mm * 0.55, box.crossing_mm - plate.low_at_mm * 0.55 + 7.0 * paper.scale, "plate, 45°"),
    ]
    for more_strokes, label in _measures(paper):
        strokes += more_strokes
        labels.append(label)
    return strokes, labels


def _lamp_rays(paper: _Paper, *, beam: float) -> list[Stroke]:
    """From the rim of the flats up to the plate and over to the diffuser."""
    box = paper.box
    gain = beam / box.eye_mm
    rays = []
    for sign in (-1.0, 1.0):
        radius = beam * (1.0 + (box.crossing_mm - box.face_mm) / box.eye_mm) / (1.0 - sign * gain)
        height = box.crossing_mm + sign * radius
        rays.append(
            paper.line(
                (sign * beam, box.face_mm),
                (sign * radius, height),
                (box.diffuser_at_mm, box.crossing_mm + sign * box.diffuser_mm / 2.0),
                kind="light",
            )
        )
    return rays


def _label(paper: _Paper, across_mm: float, height_mm: float, words: str) -> Label:
    x, y = paper.at(across_mm, height_mm)
    return Label(x_mm=x, y_mm=y, words=words)


def _measures(paper: _Paper) -> list[tuple[list[Stroke], Label]]:
    box, plate = paper.box, paper.box.plate
    length, _, height = box.inside_mm
    left, right = -box.axis_at_mm, length - box.axis_at_mm
    below, beside = -5.0 * paper.scale, 6.0 * paper.scale
    return [
        _across(paper, left, 0.0, at=below),
        _across(paper, 0.0, box.diffuser_at_mm, at=below),
        _across(paper, left, right, at=2.0 * below),
        _up(paper, 0.0, height, at=left - 2.6 * beside),
        _up(paper, 0.0, plate.low_mm, at=left - beside),
        _up(paper, 0.0, plate.high_mm, at=right + beside),
        _up(paper, 0.0, box.crossing_mm, at=right + 2.6 * beside),
    ]


def _across(paper: _Paper, start: float, end: float, *, at: float) -> tuple[list[Stroke], Label]:
    (x1, y), (x2, _) = paper.at(start, at), paper.at(end, at)
    ends = [Stroke(points_mm=((x, y - TICK_MM), (x, y + TICK_MM)), kind="measure") for x in (x1, x2)]
    return [Stroke(points_mm=((x1, y), (x2, y)), kind="measure"), *ends], Label(x_mm=(x1 + x2) / 2.0, y_mm=y, words=f"{end - start:.0f}")


def _up(paper: _Paper, start: float, end: float, *, at: float) -> tuple[list[Stroke], Label]:
    (x, y1), (_, y2) = paper.at(at, start), paper.at(at, end)
    ends = [Stroke(points_mm=((x - TICK_MM, y), (x + TICK_MM, y)), kind="measure") for y in (y1, y2)]
    label = Label(x_mm=x, y_mm=(y1 + y2) / 2.0, words=f"{end - start:.0f}", upright=True)
    return [Stroke(points_mm=((x, y1), (x, y2)), kind="measure"), *ends], label


def box_rows(box: Box, *, units: str = "mm") -> tuple[tuple[str, str], ...]:
    """The measures, in whole millimetres as the saw needs them, or in inches."""
    plate = box.plate
    return (
        ("Inside: length, width, height", _lengths(*box.inside_mm, units=units, between=" × ")),
        ("Axis from the back wall", _lengths(box.axis_at_mm, units=units)),
        ("Hole in the lid, diameter", _lengths(box.hole_mm, units=units)),
        ("Plate at 45°: length, width", _lengths(plate.length_mm, plate.width_mm, units=units, between=" × ")),
        ("Its thickness", _lengths(box.request.splitter_mm, units=units, decimals=1)),
        ("Slot width", _lengths(plate.slot_mm, units=units, decimals=1)),
        ("Plate's ends above the board", _lengths(plate.low_mm, plate.high_mm, units=units)),
        ("Shift and ghost of the picture", _lengths(plate.shift_mm, plate.ghost_mm, units=units, decimals=2)),
        ("Diffuser, square", _lengths(box.diffuser_mm, units=units)),
        ("Camera above the faces", _lengths(box.eye_mm, units=units)),
        ("False hollow it makes", f"{box.false_power_nm:.2g} nm at {box.request.gap_um:g} um"),
        ("Gap with half the contrast", f"{box.gap_good_um:.3g} um"),
        ("Contrast to expect", f"{100.0 * box.contrast.expected:.0f} %"),
    )


def _lengths(*lengths_mm: float, units: str, between: str = " and ", decimals: int = 0) -> str:
    """Lengths with their unit once; an inch wants three decimals for a tenth of a millimetre."""
    places = decimals if units == "mm" else DECIMALS[units]
    return f"{between.join(f'{each / MM_PER_UNIT[units]:.{places}f}' for each in lengths_mm)} {units}"
