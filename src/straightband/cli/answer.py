"""Running a command: its answer as text or JSON, its refusal as one sentence and exit code 2."""

from __future__ import annotations

import argparse
import importlib
import json
import math
import sys
import threading
import time
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from straightband.cli import BAD_INPUT
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
        return _refuse(str(refusal))
    except MemoryError:
        return _refuse("The computer ran out of memory; a smaller photograph is needed; close other programs or shrink it and try again.")
    except Exception as fault:
        return _refuse(f"The program failed on this ({type(fault).__name__}); nothing was written; keep the file and report it as a fault.")
    except KeyboardInterrupt:
        return _refuse("Stopped at your request; nothing was written; call again to go on.")
    if answer is None:  # It has told everything while it was open.
        return 0
    text = json.dumps(_finite(answer.facts), ensure_ascii=False, indent=2) if options.json else "\n".join(answer.lines)
    try:
        print(text)
    except BrokenPipeError:
        sys.stderr.close()
    return 0


def _refuse(sentence: str) -> int:
    sentence = " ".join(sentence.split())
    names_a_file = "." in sentence.split(" ", 1)[0]
    sys.stderr.write(f"{sentence if names_a_file else sentence[:1].upper() + sentence[1:]}\n")
    return BAD_INPUT


def _finite(value: Any) -> Any:
    """JSON has no NaN: what is not known is null."""
    if isinstance(value, dict):
        return {key: _finite(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(each) for each in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def read_file(path: str, *, what: str) -> bytes:
    """The bytes of a file a person named; raises BadInput with the reason where that fails."""
    try:
        size = Path(path).stat().st_size
        if size > BYTES_READ_AT_MOST:
            raise BadInput(
                found=f"{what} '{path}' is {size / 1e6:.0f} MB",
                needed=f"at most {BYTES_READ_AT_MOST / 1e6:.0f} MB can be taken",
                remedy="save it smaller and call again",
            )
        return Path(path).read_bytes()
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


_done = [""]


def tell_progress(words: str) -> None:
    """Show how far a long command has come beside its seconds."""
    _done[0] = words


@contextmanager
def progress(label: str) -> Iterator[None]:
    """Seconds on standard error while something takes longer than a second; nothing where nobody looks."""
    if not sys.stderr.isatty():
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
