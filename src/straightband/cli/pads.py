"""`straightband pads`: where pads go on a polishing plate, and how evenly a back will clear on them."""

from __future__ import annotations

import argparse
from pathlib import Path

from straightband.cli.answer import Answer
from straightband.cli.outputs import check_outputs, write_outputs
from straightband.cli.setup import add_face_arguments
from straightband.workflows.store import check_place

FACE = ("shape", "minor", "major", "diameter", "width", "length")
PLATE = ("stroke", "side", "strokes_per_min", "spindle_rpm", "top_rpm", "gap", "rim", "coverage", "margin")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `pads`."""
    parser.add_argument("--plate", required=True, metavar="LENGTH", help="diameter of the polishing plate, like 200mm")
    parser.add_argument("--pad-diameter", metavar="LENGTH", help="of round pads, like 50mm")
    parser.add_argument("--petalled", action="store_true", help="the pads have six petals; --pad-diameter is over the petals")
    parser.add_argument("--pad-side", metavar="LENGTH", help="instead: side of square pads")
    parser.add_argument("--pad-outline", metavar="CORNERS", help='instead: corners in order, like "0,0 40,0 40,25 0,25 mm"')
    add_face_arguments(parser)
    parser.add_argument("--stroke", metavar="LENGTH", help="of the mirror's middle, end to end (default: a third of the mirror)")
    parser.add_argument("--side", metavar="LENGTH", help="how far the stroke passes beside the middle of the plate (default 0mm)")
    parser.add_argument("--strokes-per-min", metavar="NUMBER", help="to and fro is one (default 60)")
    parser.add_argument("--spindle-rpm", metavar="NUMBER", help="turns of the plate; by hand, of walking round it (default 3)")
    parser.add_argument("--top-rpm", metavar="NUMBER", help="turns of the mirror in the hands, the same way positive (default 2)")
    parser.add_argument("--gap", metavar="LENGTH", help="least distance between pads (default 2mm)")
    parser.add_argument("--rim", metavar="LENGTH", help="of the plate kept free (default 1mm)")
    parser.add_argument(
        "--coverage", metavar="PERCENT", help="least share of the plate to cover: pads are cut into halves and petals for it"
    )
    parser.add_argument("--margin", metavar="PERCENT", help="share of each semi-axis of the back that need not clear (default 3%%)")
    parser.add_argument("--pack", metavar="COUNT", help="pads in a pack")
    parser.add_argument("--pack-price", metavar="PRICE", help='of a pack, like "8.50 EUR"')
    parser.add_argument("--out", metavar="PDF", help="write the template at 1:1, like template.pdf")
    parser.add_argument("--paper", default="a4", metavar="NAME", help="of the template: a4, a3, letter, legal (default a4)")
    parser.add_argument("--drawing", metavar="PNG", help="draw plate and rates, like pads.png")


def run(options: argparse.Namespace) -> Answer:
    """Lay the pads out and write what was asked for."""
    from straightband.workflows.clear_pictures import check_ending
    from straightband.workflows.pads import plan_pads
    from straightband.workflows.pads_report import plan_facts, plan_lines
    from straightband.workflows.pads_sheets import pad_template, pads_picture
    from straightband.workflows.pads_text import pack_from_text, pad_from_text, plate_from_text
    from straightband.workflows.setup import face_from_text

    for path, ending, what in ((options.out, ".pdf", "the template"), (options.drawing, ".png", "the drawing")):
        if path is not None:
            check_ending(path, ending=ending, what=what)
            check_place(Path(path))
    check_outputs((options.out, options.drawing), inputs=())
    pad = pad_from_text(diameter=options.pad_diameter, side=options.pad_side, outline=options.pad_outline, petalled=options.petalled)
    face = face_from_text(**{name: getattr(options, name) for name in FACE})
    plate = plate_from_text(plate=options.plate, pad=pad, face=face, **{name: getattr(options, name) for name in PLATE})
    plan = plan_pads(plate, pack=pack_from_text(pack=options.pack, price=options.pack_price))
    files: list[tuple[str | Path, bytes]] = []
    if options.out is not None:
        files.append((options.out, pad_template(plan, paper=options.paper)))
    if options.drawing is not None:
        files.append((options.drawing, pads_picture(plan)))
    write_outputs(files, inputs=())
    written = [path for path, _ in files]
    return Answer(facts={**plan_facts(plan), "written": written}, lines=(*plan_lines(plan), *(f"Written: {path}" for path in written)))
