"""The template and the picture of a plate of pads."""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from straightband.face.shapes import Face, Shape
from straightband.plots.pads import PadPicture, pads_png
from straightband.report.pad_template import CutPad, PadTemplateContent, TemplatePiece, pad_template_pdf
from straightband.wear.pads.layout import Piece
from straightband.wear.pads.outlines import Cut, Pad, cut_pieces
from straightband.workflows.pads import PadPlan
from straightband.workflows.pads_report import CAUTIONS, explain

RIM_POINTS = 73
BAR = "Both bars must measure 100 mm; if not, the printer has scaled the sheet."
STEPS = (
    "1. Print all sheets at 100 %, never 'fit to page', and measure both bars on each.",
    "2. Cut along one joint of each pair of sheets, stick crosses over crosses, and lay the template on the plate, its edge on the dashed circle.",
    "3. Cut the pads that are to be cut along the lines of the last sheet. Mark each piece with its number.",
    "4. Prick the corners or trace the outlines through onto the plate, take the template off, and stick each piece within its outline.",
    "5. Keep the gaps open for water and polish. Turn the mirror in your hands often: the pattern is irregular so that it prints no rings.",
)


def pad_template(plan: PadPlan, *, paper: str = "a4") -> bytes:
    """The template at 1:1 as PDF; raises BadInput for an unknown paper."""
    layout = plan.evened.layout
    return pad_template_pdf(
        PadTemplateContent(
            paper=paper,
            title=f"Pads on a plate of {2.0 * plan.plate.radius_mm:.4g} mm",
            plate_radius_mm=plan.plate.radius_mm,
            pieces=tuple(
                TemplatePiece(label=_label(piece), corners_mm=_corners(piece.outline), middle_mm=_middle(piece.outline))
                for piece in layout.pieces
            ),
            cut_pads=tuple(_cut_pad(plan.plate.pad, group) for group in _cut_groups(layout.pieces)),
            mirrors_mm=tuple([(float(x), float(y)) for x, y in outline] for outline in stroke_ends(plan)),
            told=_told(plan),
            steps=(*STEPS, *(f"Note: {explain(flag)}." for flag in plan.flags)),
            cautions=CAUTIONS,
            bar=BAR,
        )
    )


def _label(piece: Piece) -> str:
    return piece_label(cut=str(piece.cut), pad=piece.pad + 1, part=piece.part + 1)


def piece_label(*, cut: str, pad: int, part: int) -> str:
    """Number of the pad, with a letter for a part of it; both counted from 1, as in `--json`."""
    return f"{pad}" if cut == Cut.WHOLE else f"{pad}{'abcdef'[part - 1]}"


def _corners(outline: Polygon) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in shapely.get_coordinates(outline)[:-1]]


def _middle(outline: Polygon) -> tuple[float, float]:
    x, y = outline.centroid.coords[0]
    return float(x), float(y)


def _cut_groups(pieces: tuple[Piece, ...]) -> list[list[Piece]]:
    """Pieces of pads that are cut, by pad."""
    numbers = sorted({piece.pad for piece in pieces if piece.cut is not Cut.WHOLE})
    return [[piece for piece in pieces if piece.pad == number] for number in numbers]


def _cut_pad(pad: Pad, pieces: list[Piece]) -> CutPad:
    outlines = cut_pieces(pad, pieces[0].cut)
    plural = {Cut.HALF: "halves", Cut.PETAL: "petals"}[pieces[0].cut]
    parts = tuple(
        TemplatePiece(label=_label(piece), corners_mm=_corners(outlines[piece.part]), middle_mm=_middle(outlines[piece.part]))
        for piece in pieces
    )
    return CutPad(label=f"Pad {pieces[0].pad + 1}: {len(parts)} {plural}", corners_mm=_corners(pad.outline), parts=parts)


def stroke_ends(plan: PadPlan) -> list[NDArray]:
    """Outlines of the mirror, its longer axis along the stroke, at both ends of the stroke; (n, 2) in mm from the middle of the plate."""
    motion = plan.plate.motion
    return mirror_ends(plan.plate.face, stroke_mm=motion.stroke_mm, side_mm=motion.side_mm)


def mirror_ends(face: Face, *, stroke_mm: float, side_mm: float) -> list[NDArray]:
    """The same from face and stroke."""
    rim = _rim(face)
    return [rim + np.array([end * stroke_mm / 2.0, side_mm]) for end in (-1.0, 1.0)]


def _rim(face: Face) -> NDArray:
    longer, shorter = face.semi_major_mm, min(face.semi_u_mm, face.semi_v_mm)
    if face.shape is Shape.RECTANGLE:
        return np.array([(-longer, -shorter), (longer, -shorter), (longer, shorter), (-longer, shorter)])
    turn = np.linspace(0.0, 2.0 * math.pi, RIM_POINTS)
    return np.column_stack([longer * np.cos(turn), shorter * np.sin(turn)])


def _told(plan: PadPlan) -> tuple[tuple[str, str], ...]:
    layout, motion = plan.evened.layout, plan.plate.motion
    cut = ", ".join(f"{count} {name}" for name, count in plan.pieces_by_cut.items() if count)
    return (
        ("Pads", f"{layout.pads_used} ({cut})"),
        ("Covered", f"{100.0 * layout.coverage:.0f} %"),
        ("Stroke", f"{motion.stroke_mm:.0f} mm"),
        ("Rim gets to", f"{plan.reach_mm:.0f} mm of {plan.plate.radius_mm:.0f} mm"),
        ("Evenness", f"{plan.uneven:.2f} ± {plan.uneven_uncertainty:.2f} to 1"),
        ("Pads in rows", f"{plan.uneven_naive:.2f} to 1"),
        ("Clears last", f"{plan.last_radius_mm:.0f} mm from the middle"),
        ("Dashed here", "mirror at the ends of its stroke"),
    )


def pads_picture(plan: PadPlan) -> bytes:
    """The plate and the rates on it, as PNG."""
    layout, evened = plan.evened.layout, plan.evened
    return pads_png(
        PadPicture(
            plate_radius_mm=plan.plate.radius_mm,
            pieces=[shapely.get_coordinates(piece.outline) for piece in layout.pieces],
            labels=[_label(piece) for piece in layout.pieces],
            middles=[_middle(piece.outline) for piece in layout.pieces],
            mirrors=stroke_ends(plan),
            radius_mm=evened.pressed.radius_mm,
            rate=evened.pressed.rate,
            uncertainty=evened.pressed.uncertainty,
            rate_naive=evened.naive_pressed.rate,
            note="Dashed on the plate: the mirror at the ends of its stroke, as it comes by with its longer axis along the stroke.",
        )
    )
