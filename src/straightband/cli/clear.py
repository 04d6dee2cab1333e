"""`straightband clear`: how far a back has cleared, from a photograph of a printed grid through the mirror."""

from __future__ import annotations

import argparse
from pathlib import Path, PurePath

from straightband.cli.answer import Answer, read_file
from straightband.cli.outputs import check_outputs, write_outputs
from straightband.cli.setup import add_face_arguments
from straightband.errors import BadInput

FACE = ("shape", "minor", "major", "diameter", "width", "length")
TOLD = ("outline", "mark", "margin", "camera", "glass")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `clear`."""
    parser.add_argument("photograph", metavar="PHOTO", nargs="?", help="of the printed grid seen through the washed and DRIED mirror")
    add_face_arguments(parser)
    parser.add_argument(
        "--after",
        metavar="MINUTES PHOTO",
        nargs="+",
        action="extend",
        default=[],
        help="minutes polished since the photograph before, and the photograph taken then, like 20min later.jpg; may be repeated",
    )
    parser.add_argument("--polished", metavar="MINUTES", help="minutes polished before the first photograph, if known")
    parser.add_argument("--past", metavar="FILE", help="the shop's past backs (TOML: [[back]] with minor and minutes), for the forecast")
    parser.add_argument(
        "--outline",
        metavar="CX,CY,SEMI1,SEMI2,ANGLE",
        action="append",
        help="of the mirror, in pixels of the upright photograph; once, or once for each photograph",
    )
    parser.add_argument("--mark", metavar="HOUR", help="clock hour of the pencil mark on the rim")
    parser.add_argument("--camera", metavar="LENGTH", help="distance of the camera from the mirror")
    parser.add_argument("--glass", metavar="KIND", help="borosilicate, soda-lime, fused-silica, ...: for the roughness")
    parser.add_argument("--margin", metavar="PERCENT", help="share of each semi-axis left to the bevel (default 3%%)")
    parser.add_argument("--map", metavar="PNG", help="draw clearness over the face, like back.png")
    parser.add_argument("--sheet", metavar="PDF", help="write the grid to print at 1:1, like grid.pdf; needs no photograph")
    parser.add_argument("--paper", default="a4", metavar="NAME", help="of the sheet: a4, a3, letter, legal (default a4)")
    parser.add_argument("--pitch", metavar="LENGTH", help="of the sheet, from line to line (default 3mm)")


def run(options: argparse.Namespace) -> Answer:
    """Look at the back and write what was asked for."""
    from straightband.workflows.clear_pictures import check_ending, grid_sheet

    if options.photograph is None and options.sheet is None:
        raise BadInput(
            found="no photograph was named",
            needed="a photograph of the printed grid through the mirror is needed",
            remedy="print the grid with --sheet grid.pdf, lay it under the dry mirror and photograph it",
        )
    inputs = (options.photograph, *options.after[1::2], options.past)
    check_outputs((options.sheet, options.map), inputs=inputs)
    files: list[tuple[str | Path, bytes]] = []
    answer = Answer(facts={}, lines=())
    if options.sheet is not None:
        check_ending(options.sheet, ending=".pdf", what="the sheet")
        files.append((options.sheet, grid_sheet(paper=options.paper, pitch=options.pitch)))
    if options.photograph is not None:
        answer, pictures = _look(options)
        files += pictures
    write_outputs(files, inputs=inputs)
    written = [path for path, _ in files]
    facts = {**answer.facts, "written": written}
    return Answer(facts=facts, lines=(*answer.lines, *(f"Written: {path}" for path in written)))


def _look(options: argparse.Namespace) -> tuple[Answer, list[tuple[str, bytes]]]:
    from straightband.workflows.clear import look_at_back
    from straightband.workflows.clear_pictures import check_ending, clearness_picture
    from straightband.workflows.clear_report import progress_facts, progress_lines
    from straightband.workflows.clear_text import grid_setup_from_text, past_backs_from_toml, polished_from_text, spells_from_text

    if options.map is not None:
        check_ending(options.map, ending=".png", what="the map")
    setup = grid_setup_from_text(**{name: getattr(options, name) for name in (*FACE, *TOLD)})
    names, minutes = spells_from_text(options.photograph, options.after)
    progress = look_at_back(
        [(PurePath(name).name, read_file(name, what="the photograph")) for name in names],
        minutes=minutes,
        setup=setup,
        past=()
        if options.past is None
        else past_backs_from_toml(read_file(options.past, what="the file of past backs"), name=PurePath(options.past).name),
        polished_min=None if options.polished is None else polished_from_text(options.polished),
    )
    pictures = [] if options.map is None else [(options.map, clearness_picture(progress))]
    return Answer(facts=progress_facts(progress), lines=progress_lines(progress)), pictures
