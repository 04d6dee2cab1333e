"""The words of a call, taken apart; a command's module is imported only when that command is asked for."""

from __future__ import annotations

import argparse
import importlib
import re
import sys
from typing import Any, NoReturn

from straightband import __version__
from straightband.cli import BAD_INPUT, COMMANDS
from straightband.cli.printing import printed


class Parser(argparse.ArgumentParser):
    """A parser that answers a wrong call in one sentence, as every other error is answered."""

    def __init__(self, *words: Any, **more: Any) -> None:
        super().__init__(*words, **more)
        # Without this it would take -3.2um for an option that it does not know; whether a length may be negative is said where it is read.
        self._negative_number_matcher = re.compile(r"^-[\d.,]")  # there is no public way to say so

    def _print_message(self, message: str, file: Any = None) -> None:  # noqa: ARG002 - help and version, which both go to standard output
        code = printed(message.rstrip("\n"))
        if code:
            raise SystemExit(code)

    def error(self, message: str) -> NoReturn:
        """Print the sentence and leave with 2."""
        sys.stderr.write(f"{self.prog}: {message}; see '{self.prog} --help' for what it takes.\n")
        raise SystemExit(BAD_INPUT)


def parser_for(wanted: str) -> Parser:
    """The parser that knows the options of one command, and of the others what they answer."""
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
