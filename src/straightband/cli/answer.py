"""Running a command: its answer as text or JSON, its refusal as one sentence and exit code 2."""

from __future__ import annotations

import argparse
import importlib
import stat
import sys
import threading
import time
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from pathlib import Path, PurePath
from typing import Any

from straightband.cli import STOPPED
from straightband.cli.printing import as_json, printed, refused
from straightband.errors import BadInput, StraightbandError
from straightband.quantities import BYTES_READ_AT_MOST

PROGRESS_AFTER_S = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What a command found.

    Attributes
    ----------
    facts
        For `--json`: plain values under the names of the contract.
    lines
        For people.
    """

    facts: dict[str, Any]
    lines: tuple[str, ...]


def run_command(name: str, options: argparse.Namespace) -> int:
    """Run one command and print what it answers; returns the exit code."""
    try:
        module = importlib.import_module(f"straightband.cli.{name}")
        waiting = nullcontext() if getattr(module, "STAYS_OPEN", False) else progress(f"straightband {name}")
        with waiting, warnings.catch_warnings():
            # what a library warns of is nothing the person at the bench can act on
            warnings.simplefilter("ignore")
            answer: Answer | None = module.run(options)
    except StraightbandError as refusal:
        return refused(str(refusal), names=_names_in(options))
    except MemoryError:
        return refused("The computer ran out of memory; a smaller photograph is needed; close other programs or shrink it and try again.")
    except Exception as fault:
        return refused(f"The program failed on this ({type(fault).__name__}); nothing was written; keep the file and report it as a fault.")
    except KeyboardInterrupt:
        return refused(STOPPED)
    if answer is None:  # It has told everything while it was open.
        return 0
    return printed(as_json(answer.facts) if options.json else "\n".join(answer.lines))


def _names_in(options: argparse.Namespace) -> frozenset[str]:
    """The names of files among what a person typed, without folder; a sentence that begins with one keeps it as it is."""
    typed = (each for value in vars(options).values() for each in (value if isinstance(value, list) else [value]))
    return frozenset(PurePath(each).name for each in typed if isinstance(each, str)) - {""}


def read_file(path: str, *, what: str) -> bytes:
    """The bytes of a file a person named, or of a pipe; raises BadInput with the reason where that fails."""
    try:
        return _bounded(Path(path), what=what)
    except OSError as reason:
        raise BadInput(
            found=f"{what} '{path}' can't be opened ({reason.strerror or reason})",
            needed="a file that can be read is needed",
            remedy="check the name and call again",
        ) from None
    except ValueError:
        raise BadInput(
            found=f"{what} has no usable name", needed="the name of a file is needed", remedy="check the name and call again"
        ) from None


def _bounded(path: Path, *, what: str) -> bytes:
    """The bytes of a file or a pipe; of what may never end no more than can be taken."""
    about = path.stat()
    if not any(is_kind(about.st_mode) for is_kind in (stat.S_ISREG, stat.S_ISFIFO, stat.S_ISDIR)):  # a folder says so by itself
        raise BadInput(found=f"{what} '{path}' is a device", needed="a file is needed", remedy="check the name and call again")
    size = about.st_size
    if size <= BYTES_READ_AT_MOST:
        with path.open("rb") as file:
            data = file.read() if stat.S_ISREG(about.st_mode) else file.read(BYTES_READ_AT_MOST + 1)
        size = len(data)
    if size > BYTES_READ_AT_MOST:
        raise BadInput(
            found=f"{what} '{path}' is {'' if about.st_size else 'more than '}{(about.st_size or BYTES_READ_AT_MOST) / 1e6:.0f} MB",
            needed=f"at most {BYTES_READ_AT_MOST / 1e6:.0f} MB can be taken",
            remedy="save it smaller and call again",
        )
    return data


_done = [""]


def tell_progress(words: str) -> None:
    """Show how far a long command has come beside its seconds."""
    _done[0] = words


@contextmanager
def progress(label: str) -> Iterator[None]:
    """Seconds on standard error while something takes longer than a second; nothing where nobody looks."""
    if sys.stderr is None or not sys.stderr.isatty():
        yield
        return
    done = threading.Event()
    began = time.monotonic()

    def tick() -> None:
        while not done.wait(PROGRESS_AFTER_S):
            sys.stderr.write(f"\r{label}: {time.monotonic() - began:.0f} s {_done[0]} ")
            sys.stderr.flush()

    clock = threading.Thread(target=tick, daemon=True)
    clock.start()
    try:
        yield
    finally:
        done.set()
        clock.join()
        if time.monotonic() - began > PROGRESS_AFTER_S:
            sys.stderr.write("\r" + " " * 40 + "\r")
