"""The command line: thin, and quick to start, since each command is imported only when it is asked for."""

from __future__ import annotations

import sys

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
STOPPED = "Stopped at your request; nothing was written; call again to go on.\n"


def main(arguments: list[str] | None = None) -> int:
    """Run the command line, of the process itself where no `arguments` are given; returns the exit code."""
    try:
        if arguments is not None:
            return _answered(arguments)
        from straightband.cli.printing import ready_to_print, whole
        from straightband.cli.stopping import stop_at_once

        stop_at_once()
        ready_to_print()
        return whole(_answered(sys.argv[1:], own_process=True))
    except KeyboardInterrupt:
        sys.stderr.write(STOPPED)
        return BAD_INPUT


def _answered(words: list[str], *, own_process: bool = False) -> int:
    from straightband.cli.parser import parser_for

    parser = parser_for(words[0] if words else "")
    try:
        options = parser.parse_args(words)
    except SystemExit as leave:
        return int(leave.code or 0)
    from straightband.cli.answer import run_command

    if own_process:
        from straightband.cli.stopping import stop_in_order

        stop_in_order()
    return run_command(options.command, options)
