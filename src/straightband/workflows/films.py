"""The frames of a film, decoded by a process of its own: the library that opens films falls over some damaged ones, and takes its process with it.

`python -m straightband.workflows.films` reads a film from standard input and writes each frame behind its length; a length of zero ends them, and
a length below zero stands before a refusal as JSON.
"""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
import threading
from collections.abc import Generator
from pathlib import PurePath
from typing import IO

from straightband.errors import PhotoUnreadable
from straightband.photo import film
from straightband.photo.film import is_film
from straightband.workflows.bounds import bound_process

__all__ = ["frames_of", "is_film"]

MOST_SECONDS_A_FRAME = 30.0  # a hundred times what a frame of 60 megapixels takes
_LENGTH_BYTES = 8


def frames_of(data: bytes, *, name: str) -> Generator[tuple[str, bytes], None, None]:
    """Name and bytes of each frame; raises PhotoUnreadable when the film can't be read, is endless, or ends the process that reads it."""
    command = [sys.executable, "-m", "straightband.workflows.films", PurePath(name).name]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as process:
        sending = threading.Thread(target=_send, args=(process, data), daemon=True)
        sending.start()
        count = 0
        try:
            while frame := _next(process, name=name):
                count += 1
                yield f"{PurePath(name).stem}-{count:04d}.tiff", frame
        finally:
            process.kill()
            sending.join()


def _send(process: subprocess.Popen[bytes], data: bytes) -> None:
    # It may end before it has read all, which whoever waits for its frames finds out.
    with contextlib.suppress(OSError):
        if process.stdin is not None:
            process.stdin.write(data)
            process.stdin.close()


def _next(process: subprocess.Popen[bytes], *, name: str) -> bytes:
    """The next frame; nothing after the last."""
    patience = threading.Timer(MOST_SECONDS_A_FRAME, process.kill)
    patience.start()
    try:
        length = int.from_bytes(_whole(process.stdout, _LENGTH_BYTES, name=name), "big", signed=True)
        body = _whole(process.stdout, abs(length), name=name)
    finally:
        patience.cancel()
    if length < 0:
        raise PhotoUnreadable(**json.loads(body))
    return body


def _whole(stream: IO[bytes] | None, size: int, *, name: str) -> bytes:
    found = b"" if stream is None else stream.read(size)
    if len(found) < size:
        raise PhotoUnreadable(
            found=f"{name} is damaged, or larger than can be decoded",
            needed="a whole film as the telephone stored it is needed",
            remedy="copy it again, or give single photographs",
        )
    return found


def main(arguments: list[str]) -> int:
    """Decode the film on standard input."""
    bound_process()
    out = sys.stdout.buffer
    try:
        for _, frame in film.frames_of(sys.stdin.buffer.read(), name=arguments[0]):
            out.write(len(frame).to_bytes(_LENGTH_BYTES, "big", signed=True) + frame)
            out.flush()
        out.write(bytes(_LENGTH_BYTES))
    except PhotoUnreadable as refusal:
        told = json.dumps({"found": refusal.found, "needed": refusal.needed, "remedy": refusal.remedy}).encode()
        out.write((-len(told)).to_bytes(_LENGTH_BYTES, "big", signed=True) + told)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
