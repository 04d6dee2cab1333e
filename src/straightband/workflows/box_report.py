"""The test box in names for programs and in sentences for people, with its cautions.

Sources
-------
Low-voltage installations near water, protection against shock, luminaires: IEC 60364-4-41, IEC 61140, IEC 60598-1 (from memory).
Ultraviolet of bare low-pressure mercury lamps: limit of 60 J/m2 at 254 nm in eight hours, CIE 187:2010; risk groups: IEC 62471 (from memory).
Lasers: IEC 60825-1 (from memory).
"""

from __future__ import annotations

from typing import Any

from straightband.light.bands import height_per_band_nm
from straightband.workflows.box import GOOD_CONTRAST, LAST_CONTRAST, Box, bands_to

SENTENCES = {
    "gap-beyond-lamp": "this lamp leaves less than half the contrast at that gap: clean the glass until the gap is smaller, or take a narrower lamp",
    "camera-too-near": "the camera is so near that it makes more false power than was allowed",
    "camera-out-of-reach": "the camera stands out of reach: fold the way with a flat mirror, or allow a larger error",
    "mercury-lamp": "a mercury lamp needs its glass and its housing whole; see the cautions",
    "laser": "a laser's light must be spread before it reaches the box; see the cautions",
}
CAUTIONS = (
    "Water and mains do not meet: a lamp on extra-low voltage (24 V or less from a safety transformer) is the one to prefer at a wet bench.",
    (
        "A mains lamp stays outside the box, with no foil, metal tape, wet pad or conductive lining where it could touch a terminal or a ballast; exposed"
        " metal is earthed, and a residual-current device of 30 mA or less stands before it. Do not touch it with wet hands."
    ),
    (
        "A bare low-pressure mercury lamp gives ultraviolet (UV-C) that burns eyes and skin within minutes and cannot be seen: use one in its own glass and a"
        " closed housing, never one of fused silica. If it breaks, leave, air the room, and gather the mercury without a vacuum cleaner."
    ),
    "Lamps get hot and heat bends glass: let the box breathe, and keep the lamp outside it.",
    "The edges of the plate at 45 degrees are at eye height: grind them round, and hold the plate at both ends.",
    "Never look along a laser's beam or its reflection; class 2 at most, and only spread by a diffuser.",
    "These do not replace your local codes or the people licensed to work on electrical installations; where those say something else, they are right.",
)


def explain(flag: str) -> str:
    """The sentence for a flag."""
    return SENTENCES[flag]


def box_facts(box: Box) -> dict[str, Any]:
    """The box as plain JSON values; lengths in mm, heights from the board the flats lie on."""
    plate, request = box.plate, box.request
    return {
        "largest_mm": request.largest_mm,
        "eye_distance_mm": box.eye_mm,
        "eye_above_board_mm": box.eye_above_board_mm,
        "false_power_nm": box.false_power_nm,
        "plate_slot": {
            "length_mm": plate.length_mm,
            "width_mm": plate.width_mm,
            "thickness_mm": request.splitter_mm,
            "slot_mm": plate.slot_mm,
            "angle_deg": 45.0,
            "low_end_mm": plate.low_mm,
            "high_end_mm": plate.high_mm,
            "low_end_from_axis_mm": plate.low_at_mm,
            "high_end_from_axis_mm": plate.high_at_mm,
            "shift_mm": plate.shift_mm,
            "ghost_mm": plate.ghost_mm,
        },
        "heights_mm": {
            "faces": box.face_mm,
            "top_of_flats": box.stack_mm,
            "plate_crossing": box.crossing_mm,
            "lamp_middle": box.crossing_mm,
            "lid": box.inside_mm[2],
            "eye": box.eye_above_board_mm,
        },
        "inside_mm": {"length": box.inside_mm[0], "width": box.inside_mm[1], "height": box.inside_mm[2], "axis_from_back": box.axis_at_mm},
        "diffuser": {"side_mm": box.diffuser_mm, "from_axis_mm": box.diffuser_at_mm},
        "hole_mm": box.hole_mm,
        "lamp": request.lamp.name,
        "light_nm": request.lamp.wavelength_nm,
        "gap_um": request.gap_um,
        "lamp_gap_limit_um": box.gap_good_um,
        "lamp_gap_last_um": box.gap_last_um,
        "lamp_gap_limit_bands": bands_to(box.gap_good_um, lamp=request.lamp),
        "contrast": {
            "expected": box.contrast.expected,
            "pair": box.contrast.pair,
            "lamp": box.contrast.lamp,
            "pupil": box.contrast.pupil,
        },
        "flags": list(box.flags),
        "cautions": list(CAUTIONS),
    }


def box_lines(box: Box) -> tuple[str, ...]:
    """The box as a person at the bench wants it."""
    plate, request, contrast = box.plate, box.request, box.contrast
    band = height_per_band_nm(wavelength_nm=request.lamp.wavelength_nm)
    length, width, height = box.inside_mm
    return (
        f"Test box for pieces up to {request.largest_mm:.4g} mm, lit by {request.lamp.name} ({band:.1f} nm per band).",
        (
            f"Camera or eye {box.eye_mm:.0f} mm above the faces, {box.eye_above_board_mm:.0f} mm above the board:"
            f" it then makes {box.false_power_nm:.2g} nm of false hollow at a gap of {request.gap_um:g} um."
        ),
        (
            f"Plate at 45 degrees: {plate.length_mm:.0f} mm x {plate.width_mm:.0f} mm x {request.splitter_mm:g} mm in slots {plate.slot_mm:.1f} mm wide,"
            f" from {plate.low_mm:.0f} mm to {plate.high_mm:.0f} mm above the board, high end toward the lamp."
        ),
        f"  It shifts the picture by {plate.shift_mm:.2f} mm; its ghost lies {plate.ghost_mm:.2f} mm beside.",
        f"Diffuser: {box.diffuser_mm:.0f} mm square, its middle {box.crossing_mm:.0f} mm above the board, {box.diffuser_at_mm:.0f} mm from the axis.",
        (
            f"Inside: {length:.0f} mm toward the lamp, {width:.0f} mm wide, {height:.0f} mm high; axis {box.axis_at_mm:.0f} mm from the back;"
            f" hole in the lid {box.hole_mm:.0f} mm."
        ),
        (
            f"Lamp: {100 * GOOD_CONTRAST:.0f} % of the contrast is left at a gap of {box.gap_good_um:.3g} um"
            f" ({bands_to(box.gap_good_um, lamp=request.lamp):.3g} bands from contact), {100 * LAST_CONTRAST:.0f} % at {box.gap_last_um:.3g} um."
        ),
        (
            f"Contrast to expect: {100 * contrast.expected:.0f} % (faces {100 * contrast.pair:.0f} %, lamp {100 * contrast.lamp:.0f} %,"
            f" pupil {100 * contrast.pupil:.0f} %)."
        ),
        *(f"Note: {explain(flag)}." for flag in box.flags),
        "Cautions:",
        *(f"  {caution}" for caution in CAUTIONS),
    )
