"""`straightband plan`: who is ground on whom, how long, and what the faces will be like after each run."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path, PurePath

from straightband.cli.answer import Answer, read_file
from straightband.cli.outputs import check_outputs, write_outputs
from straightband.errors import BadInput
from straightband.workflows.batch import batch_from_toml
from straightband.workflows.plan import make_plan
from straightband.workflows.plan_report import plan_facts, plan_lines

_BAR = 30  # letters


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `plan`."""
    parser.add_argument("batch", metavar="BATCH.toml", help="the blanks and the abrasives; lengths are plain numbers of mm")
    parser.add_argument("--with-companion", action="store_true", help="plan with the round plate that is proposed where one would help")
    parser.add_argument("--cards", metavar="PDF", help="write one job card for each abrasive, to print and to tick, like cards.pdf")
    parser.add_argument("--plot", metavar="PNG", help="draw the sag of every face after every run, like sags.png")
    parser.add_argument("--shop", metavar="NAME", default="", help="name of the shop, for the cards")


def run(options: argparse.Namespace) -> Answer:
    """Plan, and write what was asked for."""
    for path, ending, what in ((options.cards, ".pdf", "cards"), (options.plot, ".png", "plot")):
        if path is not None and PurePath(path).suffix.lower() != ending:
            raise BadInput(
                found=f"the {what} were to go to '{path}'", needed=f"a name ending in {ending} is needed", remedy="change the ending"
            )
    check_outputs((options.cards, options.plot), inputs=[options.batch])
    batch = batch_from_toml(read_file(options.batch, what="the batch file"), name=PurePath(options.batch).name)
    plan = make_plan(batch, with_companion=options.with_companion, told=_say)
    files: list[tuple[str | Path, bytes]] = []
    if options.cards is not None:
        from straightband.workflows.plan_cards import plan_cards

        files.append((options.cards, plan_cards(plan, batch_name=PurePath(options.batch).stem, shop=options.shop)))
    if options.plot is not None:
        from straightband.workflows.plan_cards import plan_plot

        files.append((options.plot, plan_plot(plan)))
    write_outputs(files, inputs=[options.batch])
    written = [f"{'Plot' if path == options.plot else 'Job cards'} written to {path}" for path, _ in files]
    return Answer(facts=plan_facts(plan), lines=(*plan_lines(plan), *written))


def _say(what: str, share: float) -> None:
    """A bar of what is being worked out, for whoever waits; nothing where nobody looks."""
    if sys.stderr.isatty():
        bar = "#" * round(_BAR * share)
        sys.stderr.write(f"\r{what:<32} [{bar:<{_BAR}}] {100.0 * share:3.0f} %{chr(13) + ' ' * 72 + chr(13) if share >= 1.0 else ''}")
        sys.stderr.flush()
