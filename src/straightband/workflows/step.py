"""Read the step between two faces in one photograph: a gauge block wrung on a platen."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from straightband import provenance
from straightband.errors import BadInput
from straightband.fringes.step import MARGINS, StepReading, read_step
from straightband.fringes.step_cells import BlockFace, face_from_corners
from straightband.fringes.step_find import FOUND_MARGINS, find_block
from straightband.light.bands import height_per_band_nm
from straightband.light.lines import Lamp, lamp_from_text
from straightband.photo.load import load_photo
from straightband.photo.plane import Plane, light_plane
from straightband.uncertainty import round_with_uncertainty
from straightband.workflows.flags import explain

FOUND = "block-face-found-unaided"
CORNER_NAMES = ("top_left", "bottom_left", "bottom_right", "top_right")


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """The step in a photograph.

    Attributes
    ----------
    reading
        The band fraction and what it rests on, in pixels of the plane of light.
    corners_px
        (4, 2) corners of the block's face in pixels of the upright photograph: top-left, bottom-left, bottom-right, top-right.
    lamp
        The light.
    flags
        Short names of doubts.
    source
        The photograph.
    """

    reading: StepReading
    corners_px: NDArray
    lamp: Lamp
    flags: tuple[str, ...]
    source: provenance.Source

    @property
    def modulo_nm(self) -> float:
        """Height of one band, which the step is known modulo."""
        return height_per_band_nm(wavelength_nm=self.lamp.wavelength_nm)


def step_of_photo(data: bytes, *, name: str, light: str, corners: str | None = None) -> Step:
    """The step in one photograph; raises a StraightbandError that says why where it can't be read.

    Parameters
    ----------
    data, name
        The file's bytes and its name without folder.
    light
        The lamp or wavelength as typed.
    corners
        The corners as typed, `x1,y1,x2,y2,x3,y3`, or None to find the block's face.
    """
    lamp = lamp_from_text(light)
    told = None if corners is None else corners_from_text(corners)
    photo = load_photo(data, name=name)
    plane = light_plane(photo, wavelength_nm=lamp.wavelength_nm)
    if told is None:
        reading = read_step(plane.light, plane.clipped, face=find_block(plane.light), margins=FOUND_MARGINS)
    else:
        reading = read_step(plane.light, plane.clipped, face=_told_face(told, plane), margins=MARGINS)
    return Step(
        reading=reading,
        corners_px=(reading.face.corners + 0.5) * plane.scale - 0.5,
        lamp=lamp,
        flags=plane.flags + reading.flags + (() if told is not None else (FOUND,)),
        source=provenance.Source(name=photo.name, sha256=photo.sha256),
    )


def corners_from_text(text: str) -> NDArray:
    """(3, 2) x, y from `x1,y1,x2,y2,x3,y3`; raises BadInput.

    Example
    -------
    >>> corners_from_text("10,20, 12,480, 130,475").tolist()
    [[10.0, 20.0], [12.0, 480.0], [130.0, 475.0]]
    """
    parts = [part.strip() for part in text.split(",")]
    if len(parts) != 6 or not all(re.fullmatch(r"[+-]?\d{1,6}(\.\d{1,25})?", part) for part in parts):
        raise BadInput(
            found=f"the corners were given as '{text[:60]}'",
            needed="six numbers are needed: x and y of the top-left, the bottom-left and the bottom-right corner of the block's face",
            remedy="write them like 38,31,85,1037,500,998 in pixels of the upright photograph",
        )
    return np.array([float(part) for part in parts]).reshape(3, 2)


def _told_face(corners_px: NDArray, plane: Plane) -> BlockFace:
    width, height = plane.size_px
    centre = (corners_px[0] + corners_px[2]) / 2.0
    if not (0.0 <= centre[0] < width and 0.0 <= centre[1] < height):
        raise BadInput(
            found=f"the middle of the corners lies at {centre[0]:.0f}, {centre[1]:.0f}, outside the photograph of {width} x {height} pixels",
            needed="corners inside it are needed",
            remedy="give them in pixels of the upright photograph, x before y",
        )
    return face_from_corners((corners_px + 0.5) / plane.scale - 0.5)


def step_facts(step: Step) -> dict[str, Any]:
    """The step in names for programs, as plain JSON values."""
    reading = step.reading
    return {
        "band_fraction": reading.band_fraction,
        "band_fraction_uncertainty": reading.band_fraction_uncertainty,
        "step_nm_modulo": reading.band_fraction * step.modulo_nm,
        "step_uncertainty_nm": reading.band_fraction_uncertainty * step.modulo_nm,
        "modulo_nm": step.modulo_nm,
        "corners_px": {
            name: [round(float(value), 2) for value in corner] for name, corner in zip(CORNER_NAMES, step.corners_px, strict=True)
        },
        "bands_down": {"block": 2.0 * float(reading.block.waves[1]), "platen": 2.0 * float(reading.platen.waves[1])},
        "explained": {"block": reading.block.explained, "platen": reading.platen.explained},
        "contrast": {"block": reading.block.contrast, "platen": reading.platen.contrast},
        "lead": reading.lead,
        "flags": list(step.flags),
        "budget": [
            {"term": term.name, "bands": term.bands, "nm": term.bands * step.modulo_nm, "origin": term.origin} for term in reading.terms
        ],
        "light_nm": step.lamp.wavelength_nm,
        "sha256": step.source.sha256,
        "photographs": [{"name": step.source.name, "sha256": step.source.sha256}],
        "program": provenance.program(),
    }


def step_lines(step: Step) -> tuple[str, ...]:
    """The step as a person at the bench wants it."""
    reading = step.reading
    fraction = round_with_uncertainty(reading.band_fraction, reading.band_fraction_uncertainty, unit="band")
    nm = round_with_uncertainty(reading.band_fraction * step.modulo_nm, reading.band_fraction_uncertainty * step.modulo_nm, unit="nm")
    block, platen = (2.0 * float(fit.waves[1]) for fit in (reading.block, reading.platen))
    return (
        f"Block less platen: {fraction} (95 %), the phase counted as increasing down the photograph",
        f"  {nm}, to which whole bands of {step.modulo_nm:.2f} nm are to be added",
        f"  {block:.1f} bands down the block's face, {platen:.1f} on the platen beside it",
        *(f"  {term.name:<15} {term.bands:.4f} band   {term.origin}" for term in reading.terms),
        *(f"Note: {_sentence(flag, step)}" for flag in step.flags),
    )


def _sentence(flag: str, step: Step) -> str:
    if flag != FOUND:
        return explain(flag)
    shown = ",".join(f"{math.floor(value + 0.5)}" for value in step.corners_px[:3].ravel())
    return f"the block's face was found by itself; check it, or give --corners (found {shown})"
