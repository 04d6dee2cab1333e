"""`straightband gauge`: what a spherometer says of a face, and which plate goes on top next."""

from __future__ import annotations

import argparse
from typing import Any

from straightband.cli.answer import Answer
from straightband.cli.setup import add_face_arguments
from straightband.light.lines import lamp_from_text
from straightband.workflows.gauge import gauge_face
from straightband.workflows.gauge_report import gauging_facts, gauging_lines
from straightband.workflows.gauge_text import earlier_from_text, readings_from_text, spherometer_from_text
from straightband.workflows.setup import face_from_text

DEFAULT_LIGHT = "mercury-green"
FEET = ("leg_circle", "leg_side", "ring", "ball")
READINGS = ("reading", "zero", "turned", "zero_after", "step", "indicator_error", "reference_sag", "reference_doubt", "falls_on_hills")
FACE = ("shape", "minor", "major", "diameter", "width", "length")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `gauge`."""
    add_face_arguments(parser)
    parser.add_argument("--leg-circle", metavar="LENGTH", help="DIAMETER of the circle through the three feet, like 60mm")
    parser.add_argument("--leg-side", metavar="LENGTH", help="instead: side of the triangle of feet, foot to foot")
    parser.add_argument("--ring", metavar="LENGTH", help="instead: diameter of a ring, or inner and outer diameter like 80mm,84mm")
    parser.add_argument("--ball", metavar="LENGTH", help="diameter of ball feet; left out: points (it makes no odds on a flat)")
    many: dict[str, Any] = dict(nargs="+", action="extend", metavar="READING")
    parser.add_argument("--reading", required=True, help="on the face, like 12.4um or 12.4um,12.6um,12.5um", **many)
    parser.add_argument("--zero", required=True, help="on the reference flat, before", **many)
    parser.add_argument("--zero-after", help="on the reference flat, afterwards: tells the drift", **many)
    parser.add_argument("--turned", help="on the face with the gauge turned by 60 degrees: tells a three-lobed face", **many)
    parser.add_argument(
        "--falls-on-hills", action="store_true", help="the dial falls when its tip is pushed in; left out: it rises, so more is convex"
    )
    parser.add_argument("--step", metavar="LENGTH", help="smallest step read off the dial; left out: of the last figure typed")
    parser.add_argument("--indicator-error", metavar="LENGTH", help="the maker's limit of error of the dial")
    parser.add_argument("--reference-sag", metavar="LENGTH", help="sag of the reference itself within the feet, plus for convex")
    parser.add_argument("--reference-doubt", metavar="LENGTH", help="95 %% uncertainty of that")
    parser.add_argument("--light", default=DEFAULT_LIGHT, metavar="LIGHT", help=f"for bands: wavelength or lamp (default {DEFAULT_LIGHT})")
    parser.add_argument(
        "--earlier", metavar="SAGS", nargs="+", action="extend", help="sags after earlier abrasives, like 40um:12.1um,20um:5.3um"
    )


def run(options: argparse.Namespace) -> Answer:
    """Gauge the face."""
    face = face_from_text(**{name: getattr(options, name) for name in FACE})
    gauge = spherometer_from_text(**{name: getattr(options, name) for name in FEET})
    readings = readings_from_text(**{name: _joined(getattr(options, name)) for name in READINGS})
    earlier = () if options.earlier is None else earlier_from_text(_joined(options.earlier))
    gauging = gauge_face(readings, gauge=gauge, face=face, lamp=lamp_from_text(options.light), earlier=earlier)
    return Answer(facts=gauging_facts(gauging), lines=gauging_lines(gauging))


def _joined(given: Any) -> Any:
    """Readings given one by one as one text with commas; everything else as it is."""
    return ",".join(given) if isinstance(given, list) else given
