"""From options to what the box is for."""

from __future__ import annotations

import re

from straightband.errors import BadInput
from straightband.light.lines import lamp_from_text
from straightband.quantities import parse_length_mm
from straightband.workflows.box import ERROR_NM, GAP_UM, INDEX, SPLITTER_MM, BoxRequest

DEFAULT_LIGHT = "red-led"  # runs on extra-low voltage
LARGEST_MM = 2000.0


def box_from_text(
    *,
    largest: str,
    light: str | None = None,
    gap: str | None = None,
    error: str | None = None,
    splitter: str | None = None,
    index: str | None = None,
    stack: str | None = None,
    camera: str | None = None,
    coated: bool = False,
) -> BoxRequest:
    """The request from its texts; raises BadInput with the first that can't be used."""
    return BoxRequest(
        largest_mm=_within(largest, what="the largest piece", least=10.0, most=LARGEST_MM, unit="mm"),
        lamp=lamp_from_text(DEFAULT_LIGHT if light is None else light),
        gap_um=GAP_UM if gap is None else 1e3 * _within(gap, what="the gap", least=1e-4, most=1.0, unit="mm"),
        error_nm=ERROR_NM if error is None else 1e6 * _within(error, what="the error allowed", least=1e-8, most=1e-3, unit="mm"),
        splitter_mm=SPLITTER_MM if splitter is None else _within(splitter, what="the plate's thickness", least=0.1, most=20.0, unit="mm"),
        index=INDEX if index is None else _index(index),
        stack_mm=None if stack is None else _within(stack, what="the height of the flats", least=2.0, most=1000.0, unit="mm"),
        camera_mm=None if camera is None else _within(camera, what="the camera's distance", least=50.0, most=20_000.0, unit="mm"),
        coated=coated,
    )


def _within(text: str, *, what: str, least: float, most: float, unit: str) -> float:
    value = parse_length_mm(text, what=what)
    if not least <= value <= most:
        raise BadInput(
            found=f"{what} was given as '{text[:40]}'",
            needed=f"a length between {least:g} {unit} and {most:g} {unit} is needed",
            remedy="check number and unit",
        )
    return value


def _index(text: str) -> float:
    if not re.fullmatch(r"\d(\.\d{1,25})?", text.strip()) or not 1.3 <= float(text) <= 2.2:
        raise BadInput(
            found=f"the refractive index was given as '{text[:40]}'",
            needed="a number from 1.3 to 2.2 is needed",
            remedy="write it like 1.518",
        )
    return float(text)
