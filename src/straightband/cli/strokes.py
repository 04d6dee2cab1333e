"""`straightband strokes`: what to do next on the lap, and how right the last run was foretold."""

from __future__ import annotations

import argparse
import os
from pathlib import Path, PurePath

from straightband.cli.answer import Answer, read_file, tell_progress
from straightband.cli.outputs import check_outputs, write_outputs
from straightband.errors import BadInput
from straightband.heightmap.map import HeightMap
from straightband.workflows.maps import map_file, map_from_file
from straightband.workflows.strokes import StrokePlan, plan_strokes
from straightband.workflows.strokes_report import strokes_facts, strokes_lines
from straightband.workflows.strokes_request import limits_from_text, shelf_from_text, view_from_text
from straightband.workflows.strokes_shelf import DEFAULT_POLISH, PastRun, Shelf, runs_from_toml, shelf_from_toml, with_new_pitch
from straightband.workflows.strokes_view import View


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `strokes`."""
    parser.add_argument("map", metavar="MAP", help="height map of the face as it is now: .npz, .x3p or .csv")
    parser.add_argument(
        "--laps", metavar="LAPS.toml", help="the laps of the shop: [[lap]] with name, diameter_mm, weight_n, strokes_per_min, ways"
    )
    parser.add_argument(
        "--lap", metavar="DIAMETER", action="append", help="instead: a pitch lap by its diameter, like 120mm; once for each"
    )
    parser.add_argument("--table", metavar="RPM", help="turns of the table a minute, 0 for none (default 20)")
    parser.add_argument("--polish", metavar="NAME", help=f"what is on the laps (default {DEFAULT_POLISH})")
    parser.add_argument(
        "--tolerance", metavar="LENGTH", help="peak to valley of the surface to be reached (default 79.1nm, 1/8 of 632.8 nm)"
    )
    parser.add_argument("--most-strokes", metavar="NUMBER", help="in one run (default 16)")
    parser.add_argument("--longest", metavar="TIME", help="of one run, like 90min (default 240min)")
    parser.add_argument(
        "--past",
        metavar="RUNS.toml",
        nargs="+",
        action="extend",
        help="earlier runs, oldest first, as --keep writes them: the rates are learnt from them",
    )
    parser.add_argument(
        "--new-pitch",
        metavar="NAME",
        nargs="+",
        action="extend",
        default=[],
        help="laps that were pitched anew since the last run: what was learnt of their old pitch is left behind; --keep writes it down",
    )
    parser.add_argument(
        "--keep", metavar="RUN.toml", help="write this run, to be given to --past when the face has been photographed again"
    )
    parser.add_argument("--picture", metavar="PNG", help="draw the zones on the face, and map and bands as they are to be afterwards")
    parser.add_argument("--wear", metavar="PNG", help="draw what each stroke takes off, all over the outline")
    parser.add_argument("--card", metavar="PDF", help="write the job card of the run")
    parser.add_argument("--predicted", metavar="OUT", help="save the map as it is to be afterwards: .npz, .x3p, .csv or .png")
    parser.add_argument(
        "--seen", metavar="SIDE", default="face", help="draw the face as seen looking at it (face) or through its back (back)"
    )
    parser.add_argument(
        "--mark", metavar="HOUR", default="12", help="clock hour at which the mark lies before you, for drawings (default 12)"
    )
    parser.add_argument("--shop", metavar="NAME", default="", help="name of the shop, for the card")


def run(options: argparse.Namespace) -> Answer:
    """Advise, and write what was asked for."""
    for path, ending, what in (
        (options.picture, ".png", "picture"),
        (options.wear, ".png", "picture"),
        (options.card, ".pdf", "card"),
        (options.keep, ".toml", "run"),
    ):
        if path is not None and PurePath(path).suffix.lower() != ending:
            raise BadInput(
                found=f"the {what} was to go to '{path}'", needed=f"a name ending in {ending} is needed", remedy="change the ending"
            )
    outputs = (options.picture, options.wear, options.card, options.keep, options.predicted)
    inputs = [options.map, options.laps, *(options.past or [])]
    check_outputs(outputs, inputs=inputs)
    height_map = _map(options.map)
    shelf = with_new_pitch(_shelf(options), tuple(options.new_pitch))
    limits = limits_from_text(tolerance=options.tolerance, most_strokes=options.most_strokes, longest=options.longest)
    view = view_from_text(seen=options.seen, mark=options.mark)
    past, beside = _past(options.past or [], shelf=shelf, now=height_map)
    inputs += beside
    check_outputs(outputs, inputs=inputs)
    plan = plan_strokes(height_map, shelf=shelf, limits=limits, past=past, told=_say)
    return Answer(facts=strokes_facts(plan), lines=(*strokes_lines(plan), *_written(plan, options, view=view, inputs=inputs)))


def _map(path: str) -> HeightMap:
    return map_from_file(read_file(path, what="the map"), PurePath(path).name)


def _shelf(options: argparse.Namespace) -> Shelf:
    if (options.laps is None) == (options.lap is None):
        raise BadInput(
            found="laps were given twice" if options.laps else "no laps were given",
            needed="the laps of the shop are needed",
            remedy="give --laps LAPS.toml, or --lap 120mm once for each",
        )
    if options.laps is None:
        return shelf_from_text(options.lap, table=options.table, polish=options.polish)
    for given, option in ((options.table, "--table"), (options.polish, "--polish")):
        if given is not None:
            raise BadInput(
                found=f"{option} was given beside --laps", needed="one of the two is needed", remedy="write it into the file of laps"
            )
    return shelf_from_toml(read_file(options.laps, what="the file of laps"), name=PurePath(options.laps).name)


def _past(paths: list[str], *, shelf: Shelf, now: HeightMap) -> tuple[tuple[PastRun, ...], list[str]]:
    """The runs of all files, and the maps they name; the last run of each ends where the first of the next file began, the very last in the map of now."""
    runs: list[PastRun] = []
    maps: list[str] = []
    following = now
    for path in reversed(paths):
        folder = Path(path).parent
        data = read_file(path, what="the file of runs")

        def beside(name: str, folder: Path = folder) -> HeightMap:
            maps.append(str(folder / name))
            return _map(maps[-1])

        found = runs_from_toml(data, name=PurePath(path).name, shelf=shelf, now=following, map_of=beside)
        runs, following = [*found, *runs], found[0].before
    return tuple(runs), maps


def _written(plan: StrokePlan, options: argparse.Namespace, *, view: View, inputs: list[str]) -> list[str]:
    from straightband.workflows import strokes_pictures

    makers = (
        (options.picture, "Picture", lambda: strokes_pictures.zones_picture(plan, view=view)),
        (options.wear, "Wear of each stroke", lambda: strokes_pictures.wear_picture(plan)),
        (
            options.card,
            "Job card",
            lambda: strokes_pictures.stroke_card(plan, piece=PurePath(options.map).stem, shop=options.shop, view=view),
        ),
        (options.keep, "Run", lambda: strokes_pictures.run_toml(plan, before=_beside(options.map, options.keep))),
        (options.predicted, "Predicted map", lambda: map_file(plan.predicted, name=PurePath(options.predicted).name)),
    )
    made = [(path, what, maker()) for path, what, maker in makers if path is not None]
    write_outputs([(path, data) for path, _, data in made], inputs=inputs)
    return [f"{what} written to {path}" for path, what, _ in made]


def _beside(path: str, keep: str) -> str:
    """The map's path as seen from where the run is kept."""
    return PurePath(os.path.relpath(path, Path(keep).parent)).as_posix()


def _say(share: float) -> None:
    tell_progress(f"{100.0 * share:.0f} % of the strokes tried")
