"""Options that say what lies in the photograph, shared by the commands that read one."""

from __future__ import annotations

import argparse
from datetime import date

from straightband.workflows.read import Setup
from straightband.workflows.setup import setup_from_text

SHAPES = ("ellipse", "round", "rectangle")


def add_face_arguments(parser: argparse.ArgumentParser) -> None:
    """Options for the shape and the size of the face."""
    parser.add_argument("--shape", default="ellipse", help="ellipse, round or rectangle")
    parser.add_argument("--minor", metavar="LENGTH", help="minor axis of an ellipse, like 90mm or 2 5/8 in")
    parser.add_argument("--major", metavar="LENGTH", help="its major axis; left out: 1.414 times the minor, as a diagonal's")
    parser.add_argument("--diameter", metavar="LENGTH", help="of a round face")
    parser.add_argument("--width", metavar="LENGTH", help="of a rectangle, along u")
    parser.add_argument("--length", metavar="LENGTH", help="of a rectangle, along v")


def add_reading_arguments(parser: argparse.ArgumentParser) -> None:
    """Options for the light, the outline and the way round."""
    parser.add_argument(
        "--light",
        required=True,
        metavar="LIGHT",
        help="wavelength like 632.8nm, or sodium, mercury-green, helium-neon, red-led, green-led, blue-led; several that were on like red-led,green-led,blue-led tell hill from hole",
    )
    parser.add_argument(
        "--outline", metavar="CX,CY,SEMI1,SEMI2,ANGLE", help="in pixels of the upright photograph; angle of SEMI1 from right toward down"
    )
    parser.add_argument(
        "--thicker",
        metavar="WHERE",
        help="clock hour where the gap is thicker, or in / out for closed rings; one for each photograph, like 3,9 or 3,?, if they differ",
    )
    parser.add_argument(
        "--pressed",
        metavar="HOUR",
        help="clock hour of the rim that was pressed between the first photograph and the others: tells hill from hole",
    )
    parser.add_argument("--mark", metavar="HOUR", help="clock hour of the pencil mark on the rim")
    parser.add_argument(
        "--mirrored",
        metavar="TIMES",
        help="how often the view is reversed: through the back 1, by a beam splitter 1 more; left out it is taken as not reversed",
    )
    parser.add_argument("--camera", metavar="LENGTH", help="distance of the camera from the face")
    parser.add_argument("--lens-distortion", metavar="PERCENT", help="95 %% limit at the corner of the frame (default 1%%)")
    parser.add_argument(
        "--today", metavar="DAY", help="day of the test, like 2026-11-25, for a reference flat that is due (default: today)"
    )
    parser.add_argument(
        "--glass", metavar="KIND", help="of the piece: borosilicate, soda-lime, fused-silica, borosilicate-crown, glass-ceramic"
    )
    parser.add_argument("--thickness", metavar="LENGTH", help="of the piece, like 15mm: with --glass its weight and heat are counted")
    parser.add_argument("--support", metavar="HOW", help="what it lay on: three-at-rim (default, as a shim gives), three-inside or rim")
    parser.add_argument("--handled", metavar="TIME", help="time since a hand last lay on the glass, like 4min; says how long to wait")
    parser.add_argument("--margin", metavar="PERCENT", help="share of each semi-axis left to the bevel (default 3%%)")


def setup_of(options: argparse.Namespace) -> Setup:
    """The set-up the options describe; raises BadInput."""
    names = (
        "shape",
        "minor",
        "major",
        "diameter",
        "width",
        "length",
        "light",
        "outline",
        "thicker",
        "pressed",
        "mark",
        "mirrored",
        "camera",
        "lens_distortion",
        "margin",
        "glass",
        "thickness",
        "support",
        "handled",
    )
    # The clock is looked at here and nowhere below; it decides on one doubt only.
    today = options.today or date.today().isoformat()  # noqa: DTZ011 - the shop's own day
    return setup_from_text(today=today, **{name: getattr(options, name) for name in names})
