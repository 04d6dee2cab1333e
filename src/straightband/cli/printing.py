"""What goes to standard output and standard error, whatever stands at their other end."""

from __future__ import annotations

import json
import math
import os
import re
import sys
from contextlib import suppress
from typing import Any, TextIO

from straightband.cli import BAD_INPUT

# What a file name that is no UTF-8 becomes within Python, and no text may hold (PEP 383).
_STRAY_BYTES = re.compile("[\ud800-\udfff]")


def ready_to_print() -> None:
    """Let signs that the terminal does not have be replaced instead of ending the program."""
    for stream in (sys.stdout, sys.stderr):
        if stream is not None:
            stream.reconfigure(errors="replace")  # type: ignore[union-attr]


def printed(text: str) -> int:
    """Print an answer; returns the exit code, which is 2 where it could not be taken in, and says why."""
    if sys.stdout is None:
        return 0
    try:
        print(_STRAY_BYTES.sub("�", text))
    except OSError as reason:
        return _lost(reason)
    return whole(0)


def whole(code: int) -> int:
    """`code`, or 2 with a sentence where what was printed has not all arrived."""
    if sys.stdout is None:
        return code
    try:
        sys.stdout.flush()
    except OSError as reason:
        return _lost(reason)
    return code


def as_json(facts: dict[str, Any]) -> str:
    """One JSON object, in signs that standard output can take."""
    encoding = getattr(sys.stdout, "encoding", None) or "utf-8"
    return json.dumps(_finite(facts), ensure_ascii=not encoding.lower().startswith("utf"), indent=2)


def refused(sentence: str, *, names: frozenset[str] = frozenset()) -> int:
    """Print a refusal on standard error, with a capital unless it begins with one of `names`; returns the exit code."""
    sentence = _STRAY_BYTES.sub("�", " ".join(sentence.split()))
    names_a_file = "." in sentence.split(" ", 1)[0] or any(sentence.startswith(f"{name} ") for name in names)
    with suppress(OSError, AttributeError):  # there is nowhere left to say it
        sys.stderr.write(f"{sentence if names_a_file else sentence[:1].upper() + sentence[1:]}\n")
        sys.stderr.flush()
    return BAD_INPUT


def _lost(reason: OSError) -> int:
    """Nobody read on, which is no fault (`| head`), or the answer found no room."""
    _let_go(sys.stdout)
    if isinstance(reason, BrokenPipeError):
        return 0
    return refused(
        f"The answer could not be printed ({reason.strerror or reason}); room for it is needed; let it go elsewhere and call again."
    )


def _let_go(stream: TextIO) -> None:
    """Let what still waits to be printed run into nothing, or Python would try again at its end, and fail in its own words."""
    with suppress(OSError):  # it is no file of the system
        handle = os.open(os.devnull, os.O_WRONLY)
        os.dup2(handle, stream.fileno())
        os.close(handle)


def _finite(value: Any) -> Any:
    """JSON has no NaN, and no stray bytes of a file's name: what is not known is null."""
    if isinstance(value, dict):
        return {key: _finite(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(each) for each in value]
    if isinstance(value, str):
        return _STRAY_BYTES.sub("�", value)
    return None if isinstance(value, float) and not math.isfinite(value) else value
