"""What people type, parser by parser: each with its texts, a few lines of which make one input."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from straightband.face.shapes import ellipse
from straightband.glass import glass_from_text
from straightband.light.lines import lamp_from_text
from straightband.quantities import half_last_figure_nm, parse_duration_s, parse_length_mm, parse_wavelength_nm
from straightband.verdict.iso10110 import parse_tolerance
from straightband.workflows.box_text import box_from_text
from straightband.workflows.gauge_text import earlier_from_text, readings_from_text, signed_um, spherometer_from_text
from straightband.workflows.order import take_order
from straightband.workflows.order_request import order_from_text
from straightband.workflows.pads_text import motion_from_text, pack_from_text, pad_from_text, plate_from_text
from straightband.workflows.profiles import line_from_text
from straightband.workflows.requirement import mounting_from_text, requirement_from_text
from straightband.workflows.setup import face_from_text, setup_from_text

Parser = Callable[..., Any]


def _wavelength(text: str) -> None:
    parse_wavelength_nm(text)
    half_last_figure_nm(text)


def _plate(**texts: str) -> None:
    pad = pad_from_text(diameter=texts.pop("diameter", None), side=None, outline=texts.pop("outline", None), petalled=False)
    plate_from_text(pad=pad, face=ellipse(minor_mm=90.0), **({"plate": "200mm"} | texts))


def _order(**texts: str) -> None:
    take_order(order_from_text(**({"aperture": None, "intercept": None} | texts)))


def _face(**texts: str) -> None:
    face_from_text(**({"shape": "ellipse"} | texts))


# Each parser with the texts that go into it: what it is called with, in the words of an example.
PARSERS: dict[str, tuple[Parser, dict[str, str]]] = {
    "length": (lambda text: parse_length_mm(text, what="a length"), {"text": "2 5/8 in"}),
    "wavelength": (_wavelength, {"text": "632.8nm"}),
    "duration": (lambda text: parse_duration_s(text, what="a time"), {"text": "4min"}),
    "signed": (lambda text: signed_um(text, what="a sag"), {"text": "-0.5um"}),
    "lamp": (lamp_from_text, {"text": "mercury-green"}),
    "glass": (glass_from_text, {"text": "borosilicate"}),
    "tolerance": (parse_tolerance, {"text": "3/0.5(0.2/0.1) RMSi<7nm; 546nm"}),
    "face": (_face, {"shape": "rectangle", "width": "60mm", "length": "2 5/8 in"}),
    "setup": (
        lambda **texts: setup_from_text(**({"light": "sodium"} | texts)),
        {
            "light": "sodium,mercury-green", "minor": "90mm", "outline": "2000,1500,900,640,12.5", "thicker": "2.5", "mark": "12", "mirrored": "1", "camera": "1m",
            "lens_distortion": "1%", "margin": "3%", "today": "3 March 2026", "glass": "borosilicate", "thickness": "15mm", "support": "three-at-rim", "handled": "20min", "pressed": "3",
        },
    ),
    "order": (
        _order,
        {"aperture": "300mm", "focal_ratio": "5", "intercept": "240mm", "full_field": "15mm", "have": "63mm,3.1in", "strehl": "0.95", "light": "sodium", "margin": "3%", "tube": "350mm", "thickness": "11mm"},
    ),
    "requirement": (
        lambda **texts: requirement_from_text(**({"aperture": None, "intercept": None} | texts)),
        {"aperture": "300mm", "focal_length": "1500mm", "intercept": "240mm", "full_field": "0mm", "strehl": "0.9", "iso": "3/0.5(0.2)", "light_judged": "550nm"},
    ),
    "mounting": (mounting_from_text, {"offset": "2.4mm", "wide_end": "+v"}),
    "spherometer": (spherometer_from_text, {"ring": "80mm,84mm", "leg_circle": "60mm", "ball": "5mm"}),
    "readings": (
        lambda **texts: readings_from_text(**({"reading": None, "zero": None} | texts)),
        {"reading": "12.4um,12.6um,12.5um", "zero": "11.0um,11.1um", "turned": "12.3um", "zero_after": "11.2um", "step": "0.1um", "indicator_error": "1um", "reference_sag": "-0.1um", "reference_doubt": "0.1um"},
    ),
    "earlier": (earlier_from_text, {"text": "40um:4.2um"}),
    "box": (
        lambda **texts: box_from_text(**({"largest": "200mm"} | texts)),
        {"largest": "200mm", "light": "sodium", "gap": "10um", "error": "5nm", "splitter": "3mm", "index": "1.52", "stack": "50mm", "camera": "1m"},
    ),
    "plate": (_plate, {"plate": "200mm", "outline": "0,0;40,0;40,30", "gap": "2mm", "rim": "3mm", "coverage": "60%", "margin": "3%", "stroke": "30mm", "spindle_rpm": "20", "top_rpm": "-3"}),
    "motion": (lambda **texts: motion_from_text(usual_stroke_mm=30.0, **texts), {"stroke": "30mm", "side": "0mm", "strokes_per_min": "40", "spindle_rpm": "20"}),
    "line": (line_from_text, {"text": "0mm,-30mm,0mm,3cm"}),
    "pack": (lambda **texts: pack_from_text(**({"pack": None, "price": None} | texts)), {"pack": "10", "price": "8.50 EUR"}),
}  # fmt: skip


def seeds() -> tuple[bytes, ...]:
    """An input for each parser: its name, then a line for each text."""
    return tuple("\n".join([name, *(f"{key}={value}" for key, value in texts.items())]).encode() for name, (_, texts) in PARSERS.items())


def feed(data: bytes) -> None:
    """Call the parser whose name stands in the first line, or one by its letters, with the texts of the others."""
    first, *lines = data.decode("utf-8", errors="replace").split("\n")
    names = list(PARSERS)
    parser, known = PARSERS[first if first in PARSERS else names[sum(first.encode()) % len(names)]]
    texts = dict(line.partition("=")[::2] for line in lines)
    parser(**{key: value for key, value in texts.items() if key in known} or known)
