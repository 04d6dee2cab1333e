"""`straightband read`: what the bands of a photograph say."""

from __future__ import annotations

import argparse
from pathlib import PurePath
from typing import Any

from straightband.cli.answer import Answer, read_file, tell_progress
from straightband.cli.frames import Stack, cores_from_text, frames_in
from straightband.cli.outputs import check_outputs, write_outputs
from straightband.cli.profile import add_profile_argument, answer_along, line_of
from straightband.cli.setup import add_face_arguments, add_reading_arguments, setup_of
from straightband.errors import BadInput
from straightband.heightmap.map import HeightMap
from straightband.workflows.many import at_scheduler, cores_here, here
from straightband.workflows.maps import map_file, map_from_file
from straightband.workflows.read import Reading, Setup
from straightband.workflows.report_reading import reading_facts, reading_lines
from straightband.workflows.several import read_photos
from straightband.workflows.stack import read_stack


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `read`."""
    parser.add_argument(
        "photographs", nargs="+", metavar="PHOTO", help="JPEG, PNG, HEIC, TIFF or camera RAW; or one folder of frames, or one short film"
    )
    add_face_arguments(parser)
    add_reading_arguments(parser)
    parser.add_argument("--cores", metavar="NUMBER", help="for a folder or a film: cores to use (default: all)")
    parser.add_argument(
        "--scheduler", metavar="ADDRESS", help="for a folder or a film: address of a dask scheduler whose workers read the frames"
    )
    parser.add_argument(
        "--minus",
        metavar="REFERENCE",
        help="map of the flat tested against, to be taken off: it lies mark to mark, and hill or hole must be known",
    )
    parser.add_argument(
        "--map", metavar="OUT", action="append", default=[], help="write the map: .npz, .x3p, .csv or .png; may be repeated"
    )
    add_profile_argument(parser)


def run(options: argparse.Namespace) -> Answer:
    """Read the photograph and write the maps asked for."""
    setup = setup_of(options)
    line = line_of(options)
    for path in options.map:
        _check_ending(path)
    inputs = (*options.photographs, options.minus)
    check_outputs(options.map, inputs=inputs)
    reference = (
        None if options.minus is None else map_from_file(read_file(options.minus, what="the reference"), PurePath(options.minus).name)
    )
    stack = frames_in(options.photographs)
    if stack is None:
        photographs = [(PurePath(path).name, read_file(path, what="the photograph")) for path in options.photographs]
        reading = read_photos(photographs, setup=setup, reference=reference)
    else:
        reading = _read_stack(stack, options=options, setup=setup, reference=reference)
    along_line = answer_along(line, height_map=reading.height_map)
    # all bytes first, so that a refusal leaves no map behind
    write_outputs([(path, map_file(reading.height_map, name=PurePath(path).name)) for path in options.map], inputs=inputs)
    written = tuple(f"Map written to {path}" for path in options.map)
    return Answer(facts=reading_facts(reading) | along_line.facts, lines=(*reading_lines(reading), *along_line.lines, *written))


def _read_stack(stack: Stack, *, options: argparse.Namespace, setup: Setup, reference: HeightMap | None) -> Reading:
    """All frames of a folder or a film, on this computer's cores or on a scheduler's."""

    def tell(done: int) -> None:
        tell_progress(f"{done} of {stack.count or '?'} frames")

    asked: dict[str, Any] = dict(setup=setup, reference=reference, tell=tell, film=stack.film)
    if options.scheduler is not None:
        with at_scheduler(options.scheduler) as (executor, workers):
            return read_stack(stack.frames, executor=executor, workers=workers, **asked)
    workers = cores_here() if options.cores is None else cores_from_text(options.cores)
    with here(workers) as executor:
        return read_stack(stack.frames, executor=executor, workers=workers, **asked)


def _check_ending(path: str) -> None:
    if PurePath(path).suffix.lower() not in {".npz", ".x3p", ".csv", ".png"}:
        raise BadInput(
            found=f"the map was to go to '{path}'", needed="a name ending in .npz, .x3p, .csv or .png is needed", remedy="change the ending"
        )
