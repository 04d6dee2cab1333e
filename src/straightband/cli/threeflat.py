"""`straightband threeflat`: flats by themselves from maps of their pairs."""

from __future__ import annotations

import argparse
from pathlib import Path, PurePath

from straightband.cli.answer import Answer, read_file
from straightband.cli.outputs import write_outputs
from straightband.errors import BadInput
from straightband.workflows.maps import map_file, map_from_file
from straightband.workflows.reference import day_from_text, with_note
from straightband.workflows.store import write_whole
from straightband.workflows.threeflat import know_flats
from straightband.workflows.threeflat_report import flats_facts, flats_lines
from straightband.workflows.threeflat_text import request_from_text

EXPLAINED = """\
Each map is of two flats on each other, made by `straightband read` without --minus, in the frame of the first looking at its face.
AB.npz or A-on-B.npz is A on B, mark to mark; AB-54deg.npz with B turned by 54 degrees counter-clockwise looking at B's face;
AB_2.npz the same pair once more. --pair says what a name does not. Flats facing each other see each other reversed; that is allowed for.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `threeflat`."""
    parser.epilog = EXPLAINED
    parser.add_argument("maps", nargs="+", metavar="MAP", help="maps of pairs: AB.npz BC.npz CA.npz and any further ones")
    parser.add_argument(
        "--pair",
        action="append",
        default=[],
        metavar="MAP=A,B[,TURN[,U,V]]",
        help="which flats a map shows, turn of B, and where B's centre lay on A, like CA.npz=C,A,0deg,10mm,-5mm",
    )
    parser.add_argument("--order", metavar="NUMBER", help="highest order of the polynomials (default 6); the rest is detail on the grid")
    parser.add_argument("--out", metavar="FOLDER", help="write each flat's map there, like A.npz, for `read --minus`")
    parser.add_argument("--measured", metavar="DAY", help="day of measuring, like 2026-11-25")
    parser.add_argument("--recheck", metavar="MONTHS", help="when the flats are due again (default 12months)")
    parser.add_argument(
        "--handled", metavar="WHAT", help="instead: note on one flat's map what was done to it on the day --measured, like 'rim knocked'"
    )


def run(options: argparse.Namespace) -> Answer:
    """Solve for the flats and write them when asked, or note what happened to one."""
    files = [(PurePath(path).name, read_file(path, what="the map")) for path in options.maps]
    if options.handled is not None:
        return _note(options, files)
    known = know_flats(request_from_text(files, told=options.pair, order=options.order, measured=options.measured, recheck=options.recheck))
    if options.out is None:
        return Answer(facts=flats_facts(known), lines=flats_lines(known))
    folder = Path(options.out)
    if not folder.is_dir():
        raise BadInput(
            found=f"there is no folder '{options.out[:60]}'", needed="one for the maps is needed", remedy="make it and call again"
        )
    written = [(folder / f"{flat.name}.npz", map_file(flat.height_map, name="flat.npz")) for flat in known.flats]
    write_outputs(written, inputs=options.maps)
    return Answer(facts=flats_facts(known), lines=(*flats_lines(known), *(f"Map written to {path}" for path, _ in written)))


def _note(options: argparse.Namespace, files: list[tuple[str, bytes]]) -> Answer:
    if len(files) != 1 or options.measured is None:
        raise BadInput(
            found=f"a note was given with {len(files)} maps" if len(files) != 1 else "a note was given without its day",
            needed="one flat's map and the day are needed",
            remedy="write it like A.npz --handled 'rim knocked' --measured 2026-11-25",
        )
    name, data = files[0]
    noted = with_note(map_from_file(data, name), day=day_from_text(options.measured, what="the day"), what=options.handled)
    # the one file that is meant to be written over
    write_whole(Path(options.maps[0]), map_file(noted, name=name))
    record = noted.meta["reference"]
    return Answer(
        facts={"reference": record}, lines=(f"Noted on {name}: {record['handled'][-1]['what']}. It is due to be measured again.",)
    )
