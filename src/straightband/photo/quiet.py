"""Decoders written in C say on standard error what they met in a damaged file; the person gets one sentence instead."""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager

_ONE = threading.Lock()  # the process has one standard error: two at once would put back each other's silence
_STANDARD_ERROR = 2


@contextmanager
def quiet_decoders() -> Iterator[None]:
    """Let nothing that is written past Python reach the terminal; of use to one thread at a time."""
    with _ONE:
        try:
            kept = os.dup(_STANDARD_ERROR)
        except OSError:  # there is none
            yield
            return
        try:
            _lead_to(os.devnull)
            yield
        finally:
            os.dup2(kept, _STANDARD_ERROR)
            os.close(kept)


def _lead_to(name: str) -> None:
    handle = os.open(name, os.O_WRONLY)
    os.dup2(handle, _STANDARD_ERROR)
    os.close(handle)
