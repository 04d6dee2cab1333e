"""The command line: thin, and quick to start, since each command is imported only when it is asked for."""

from __future__ import annotations

import argparse
import importlib
import sys
from typing import NoReturn

from straightband import __version__

# name, what it answers; the module of the same name in this room has `add_arguments` and `run`
COMMANDS = {
    "order": "size, place, tolerance and price of a diagonal from a telescope's dimensions",
    "plan": "which blank is ground on which, how long, and how flat that will make them",
    "gauge": "sag of a face from spherometer readings, and which plate goes on top next",
    "pads": "where self-stick pads go on a polishing plate, and how evenly a back clears on them",
    "clear": "how far a back has cleared, and how many minutes more, from a printed grid seen through it",
    "read": "read the bands of a photograph: height map, figures, uncertainty",
    "threeflat": "each flat by itself from maps of their pairs, with what they can't see",
    "box": "the test box, its lamp and its camera for the largest piece, with a drawing",
    "step": "read two faces in one photograph: the step between them in bands",
    "judge": "say whether a mirror of that map is good enough for a telescope",
    "strokes": "what to do next on the lap: strokes, minutes, and how right the last ones were",
    "certify": "write the one-page certificate of a piece",
    "bench": "open the shop in the browser",
    "keep": "copy the shop's folder whole, while it may be in use",
    "vouch": "check a shop's folder against its own hashes",
    "demo": "carry an invented shop's order through the whole job",
}
BAD_INPUT = 2


class Parser(argparse.ArgumentParser):
    """A parser that answers a wrong call in one sentence, as every other error is answered."""

    def error(self, message: str) -> NoReturn:
        """Print the sentence and leave with 2."""
        sys.stderr.write(f"{self.prog}: {message}; see '{self.prog} --help' for what it takes.\n")
        raise SystemExit(BAD_INPUT)


def main(arguments: list[str] | None = None) -> int:
    """Run the command line; returns the exit code."""
    words = sys.argv[1:] if arguments is None else arguments
    parser = _parser(words[0] if words else "")
    try:
        options = parser.parse_args(words)
    except SystemExit as leave:
        return int(leave.code or 0)
    from straightband.cli.answer import run_command

    return run_command(options.command, options)


def _parser(wanted: str) -> Parser:
    parser = Parser(
        prog="straightband", description="Bands on flat mirrors: from a photograph to a height map, a verdict and a certificate."
    )
    parser.add_argument("--version", action="version", version=f"straightband {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="command")
    for name, answers in COMMANDS.items():
        command = commands.add_parser(
            name, help=answers, description=f"Straightband {name}: {answers}.", formatter_class=argparse.RawDescriptionHelpFormatter
        )
        if name == wanted:
            command.add_argument("--json", action="store_true", help="one JSON object on standard output")
            importlib.import_module(f"straightband.cli.{name}").add_arguments(command)
    return parser
