"""`straightband read`: what the bands of a photograph say."""

from __future__ import annotations

import argparse
from pathlib import Path, PurePath

from straightband.cli.answer import Answer, read_file
from straightband.cli.setup import add_face_arguments, add_reading_arguments, setup_of
from straightband.errors import BadInput
from straightband.workflows.maps import map_file, map_from_file
from straightband.workflows.report_reading import reading_facts, reading_lines
from straightband.workflows.several import read_photos
from straightband.workflows.store import check_place, write_whole


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `read`."""
    parser.add_argument("photographs", nargs="+", metavar="PHOTO", help="JPEG, PNG, HEIC, TIFF or camera RAW")
    add_face_arguments(parser)
    add_reading_arguments(parser)
    parser.add_argument("--minus", metavar="REFERENCE", help="map of the flat tested against, to be taken off")
    parser.add_argument(
        "--map", metavar="OUT", action="append", default=[], help="write the map: .npz, .x3p, .csv or .png; may be repeated"
    )


def run(options: argparse.Namespace) -> Answer:
    """Read the photograph and write the maps asked for."""
    setup = setup_of(options)
    for path in options.map:
        _check_ending(path)
    reference = (
        None if options.minus is None else map_from_file(read_file(options.minus, what="the reference"), PurePath(options.minus).name)
    )
    photographs = [(PurePath(path).name, read_file(path, what="the photograph")) for path in options.photographs]
    reading = read_photos(photographs, setup=setup, reference=reference)
    # all bytes first, and all folders looked at, so that a refusal leaves no map behind
    files = [(Path(path), map_file(reading.height_map, name=PurePath(path).name)) for path in options.map]
    for path, _ in files:
        check_place(path)
    for path, data in files:
        write_whole(path, data)
    return Answer(facts=reading_facts(reading), lines=(*reading_lines(reading), *(f"Map written to {path}" for path in options.map)))


def _check_ending(path: str) -> None:
    if PurePath(path).suffix.lower() not in {".npz", ".x3p", ".csv", ".png"}:
        raise BadInput(
            found=f"the map was to go to '{path}'", needed="a name ending in .npz, .x3p, .csv or .png is needed", remedy="change the ending"
        )
