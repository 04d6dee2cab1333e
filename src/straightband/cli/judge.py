"""`straightband judge`: whether a mirror of that map is good enough for a telescope."""

from __future__ import annotations

import argparse
from pathlib import PurePath

from straightband.cli.answer import Answer, read_file
from straightband.cli.profile import add_profile_argument, answer_along, line_of
from straightband.workflows.judge import judge
from straightband.workflows.maps import map_from_file
from straightband.workflows.report_verdict import verdict_facts, verdict_lines
from straightband.workflows.requirement import DEFAULT_LIGHT, DEFAULT_STREHL, mounting_from_text, requirement_from_text


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `judge`."""
    parser.add_argument("map", metavar="MAP", help="height map of the mirror: .npz, .x3p or .csv")
    parser.add_argument("--aperture", required=True, metavar="LENGTH", help="clear diameter of the primary mirror, like 300mm")
    parser.add_argument("--focal-length", metavar="LENGTH", help="of the primary mirror, like 1500mm")
    parser.add_argument("--focal-ratio", metavar="NUMBER", help="instead of the focal length: 5 for f/5")
    parser.add_argument("--intercept", required=True, metavar="LENGTH", help="from the middle of the diagonal to the focus, like 240mm")
    parser.add_argument(
        "--full-field",
        metavar="LENGTH",
        help="diameter of the field to be fully lit; left out: what the mirror can light; 0mm: the axis only",
    )
    parser.add_argument(
        "--offset", metavar="LENGTH", help="how far the mirror stands off the axis, away from the focuser; left out: the exact offset"
    )
    parser.add_argument(
        "--wide-end",
        metavar="+v|-v",
        nargs="?",
        const="",
        help="end of the map nearer the primary mirror; left out: +v where the map has a mark",
    )
    # Without this the parser would take the -v of `--wide-end -v` for an option that it does not know.
    parser.add_argument("-v", dest="wide_end", action="store_const", const="-v", help=argparse.SUPPRESS)
    parser.add_argument(
        "--strehl", default=DEFAULT_STREHL, metavar="NUMBER", help="Strehl ratio to be reached all over the field (default 0.95)"
    )
    parser.add_argument("--iso", metavar="TOLERANCE", help="ISO 10110-5 tolerance to be kept as well, like '3/0.5(0.2)'")
    parser.add_argument("--light-judged", default=DEFAULT_LIGHT, metavar="WAVELENGTH", help="of the Strehl ratio (default 550nm)")
    add_profile_argument(parser)


def run(options: argparse.Namespace) -> Answer:
    """Judge the map."""
    line = line_of(options)
    requirement = requirement_from_text(
        aperture=options.aperture,
        focal_length=options.focal_length,
        focal_ratio=options.focal_ratio,
        intercept=options.intercept,
        full_field=options.full_field,
        strehl=options.strehl,
        iso=options.iso,
        light_judged=options.light_judged,
        mounting=mounting_from_text(offset=options.offset, wide_end=options.wide_end),
    )
    height_map = map_from_file(read_file(options.map, what="the map"), PurePath(options.map).name)
    verdict = judge(
        height_map,
        telescope=requirement.telescope,
        strehl_wanted=requirement.strehl_wanted,
        iso=requirement.iso,
        wavelength_nm=requirement.wavelength_nm,
        mounting=requirement.mounting,
    )
    along_line = answer_along(line, height_map=height_map)
    return Answer(
        facts=verdict_facts(verdict, height_map) | along_line.facts, lines=(*verdict_lines(verdict, height_map), *along_line.lines)
    )
