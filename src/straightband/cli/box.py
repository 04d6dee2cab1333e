"""`straightband box`: the test box, its lamp and its camera."""

from __future__ import annotations

import argparse
from pathlib import PurePath

from straightband.cli.answer import Answer
from straightband.cli.outputs import write_outputs
from straightband.errors import BadInput
from straightband.workflows.box import plan_box
from straightband.workflows.box_report import box_facts, box_lines
from straightband.workflows.box_text import box_from_text

OPTIONS = ("largest", "light", "gap", "error", "splitter", "index", "stack", "camera", "coated")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `box`."""
    parser.add_argument("--largest", required=True, metavar="LENGTH", help="longest extent of the largest piece or flat, like 200mm")
    parser.add_argument(
        "--light", metavar="LIGHT", help="lamp: red-led (default), green-led, sodium, mercury-green, helium-neon, or a wavelength"
    )
    parser.add_argument("--gap", metavar="LENGTH", help="air between the flats in the test (default 5um)")
    parser.add_argument("--error", metavar="LENGTH", help="false power allowed from the nearness of the camera (default 10nm)")
    parser.add_argument("--camera", metavar="LENGTH", help="distance of the camera from the faces; left out: the least that will do")
    parser.add_argument("--splitter", metavar="LENGTH", help="thickness of the plate at 45 degrees (default 3mm)")
    parser.add_argument("--index", metavar="NUMBER", help="refractive index of plate and flats (default 1.518)")
    parser.add_argument("--stack", metavar="LENGTH", help="height of the two flats together (default a third of the largest)")
    parser.add_argument("--coated", action="store_true", help="the face tested has its aluminium already")
    parser.add_argument("--drawing", metavar="PDF", help="draw the box with its measures, like box.pdf")


def run(options: argparse.Namespace) -> Answer:
    """Plan the box and draw it when asked."""
    if options.drawing is not None and PurePath(options.drawing).suffix.lower() != ".pdf":
        raise BadInput(
            found=f"the drawing was to go to '{options.drawing}'", needed="a name ending in .pdf is needed", remedy="change the ending"
        )
    box = plan_box(box_from_text(**{name: getattr(options, name) for name in OPTIONS}))
    if options.drawing is None:
        return Answer(facts=box_facts(box), lines=box_lines(box))
    from straightband.workflows.box_drawing import box_drawing

    write_outputs([(options.drawing, box_drawing(box))], inputs=())
    return Answer(facts=box_facts(box), lines=(*box_lines(box), f"Drawing written to {options.drawing}"))
