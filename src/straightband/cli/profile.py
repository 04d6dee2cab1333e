"""The option for heights along a line, shared by the commands that have a map."""

from __future__ import annotations

import argparse

from straightband.cli.answer import Answer
from straightband.heightmap.map import HeightMap
from straightband.workflows.profiles import Line, along, line_from_text, profile_facts, profile_lines


def add_profile_argument(parser: argparse.ArgumentParser) -> None:
    """The option."""
    parser.add_argument(
        "--profile",
        metavar="U1,V1,U2,V2",
        help="tell the heights along the line between two places on the face, counted from its middle, like 0mm,-30mm,0mm,30mm along v",
    )


def line_of(options: argparse.Namespace) -> Line | None:
    """The line that was asked for, or None; raises BadInput."""
    return None if options.profile is None else line_from_text(options.profile)


def answer_along(line: Line | None, *, height_map: HeightMap) -> Answer:
    """What is to be added to an answer; nothing where no line was asked for."""
    if line is None:
        return Answer(facts={}, lines=())
    found = along(height_map, line)
    return Answer(facts={"profile": profile_facts(found)}, lines=profile_lines(found))
