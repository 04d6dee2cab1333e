"""`straightband step`: how far the bands on a block stand from those on the platen beside it."""

from __future__ import annotations

import argparse
from pathlib import PurePath

from straightband.cli.answer import Answer, read_file
from straightband.workflows.step import step_facts, step_lines, step_of_photo


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `step`."""
    parser.add_argument("photograph", metavar="PHOTO", help="JPEG, PNG, HEIC, TIFF or camera RAW")
    parser.add_argument(
        "--light",
        required=True,
        metavar="LIGHT",
        help="wavelength like 632.99nm, or sodium, mercury-green, helium-neon, red-led, green-led",
    )
    parser.add_argument(
        "--corners",
        metavar="X1,Y1,X2,Y2,X3,Y3",
        help="top-left, bottom-left and bottom-right corner of the block's face, in pixels of the upright photograph; left out: it is found",
    )


def run(options: argparse.Namespace) -> Answer:
    """Read the step in the photograph."""
    data = read_file(options.photograph, what="the photograph")
    step = step_of_photo(data, name=PurePath(options.photograph).name, light=options.light, corners=options.corners)
    return Answer(facts=step_facts(step), lines=step_lines(step))
