"""Ctrl-C, and the system's wish that the program end: one sentence, whenever it comes."""

from __future__ import annotations

import os
import signal
import sys
from types import FrameType
from typing import NoReturn

from straightband.cli import BAD_INPUT, STOPPED

SIGNALS = (signal.SIGINT, signal.SIGTERM)


def stop_at_once() -> None:
    """Let a signal end the process with its sentence: while libraries are loaded, which report an interruption in words of their own."""
    _handle(_leave)


def stop_in_order() -> None:
    """Let a signal interrupt what is being done, which then clears up behind itself."""
    _handle(_interrupt)


def _handle(handler: object) -> None:
    for each in SIGNALS:
        # who started the program may have asked that it be left alone, as the shell does behind `&`
        if signal.getsignal(each) is not signal.SIG_IGN:
            signal.signal(each, handler)  # type: ignore[arg-type]


def _leave(number: int, frame: FrameType | None) -> NoReturn:  # noqa: ARG001 - what a handler is given
    os.write(sys.__stderr__.fileno() if sys.__stderr__ else 2, STOPPED.encode())
    os._exit(BAD_INPUT)


def _interrupt(number: int, frame: FrameType | None) -> NoReturn:  # noqa: ARG001
    raise KeyboardInterrupt
