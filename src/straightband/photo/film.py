"""The frames of a short film, one by one, as photographs that the loader takes.

A frame goes on as an uncompressed TIFF, so that a film is decoded, judged and refused by the same code as a photograph. A film's levels are coded for a
screen much like a photograph's; the difference between the two curves is left to the overtone that the reader fits.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import PurePath
from typing import Any

import cv2

from straightband.errors import PhotoUnreadable

ENDINGS = (".mp4", ".mov", ".avi", ".mkv", ".m4v")
MOST_FRAMES = 2000
_PLAIN_TIFF = [cv2.IMWRITE_TIFF_COMPRESSION, 1]


def is_film(name: str) -> bool:
    """Whether a file's name ends like that of a film."""
    return PurePath(name).suffix.lower() in ENDINGS


def _stream(data: bytes) -> Any:
    """The bytes as what the library reads films from, which its type hints call by another name."""
    return io.BytesIO(data)


def frames_of(data: bytes, *, name: str) -> Iterator[tuple[str, bytes]]:
    """Name and bytes of each frame; raises PhotoUnreadable when the film can't be read or is endless."""
    cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)  # its warnings would reach the terminal
    stream = _stream(data)  # the library does not keep it alive by itself
    film = cv2.VideoCapture(stream, cv2.CAP_FFMPEG, []) if data else None
    if film is None or not film.isOpened():
        raise PhotoUnreadable(
            found=f"{name} is no film that can be read",
            needed="a short film as the telephone stored it is needed",
            remedy="copy it again, or give single photographs",
        )
    count = 0
    try:
        while True:
            there, frame = film.read()
            if not there:
                break
            count += 1
            if count > MOST_FRAMES:
                raise PhotoUnreadable(
                    found=f"{name} has more than {MOST_FRAMES} frames",
                    needed="a film of a minute at most is needed",
                    remedy="cut it shorter",
                )
            yield f"{PurePath(name).stem}-{count:04d}.tiff", bytes(cv2.imencode(".tiff", frame, _PLAIN_TIFF)[1])
    finally:
        film.release()
    if not count:
        raise PhotoUnreadable(found=f"{name} has no frame", needed="a film with frames is needed", remedy="film it again")
