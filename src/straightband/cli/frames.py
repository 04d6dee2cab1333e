"""The frames of a folder or of a film, taken from disk as they are needed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from straightband import provenance
from straightband.cli.answer import read_file
from straightband.errors import BadInput
from straightband.quantities import whole_number
from straightband.workflows.films import frames_of, is_film

MOST_CORES = 256
PHOTOGRAPHS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif", ".dng", ".cr2", ".nef", ".arw", ".raf", ".rw2", ".orf")


@dataclass(frozen=True, slots=True, kw_only=True)
class Stack:
    """Frames to be read.

    Attributes
    ----------
    frames
        Name and bytes of each.
    count
        How many, 0 where only the end will tell.
    film
        The film's file, or None for a folder.
    """

    frames: Iterator[tuple[str, bytes]]
    count: int
    film: provenance.Source | None


def frames_in(paths: list[str]) -> Stack | None:
    """The stack that a single folder or film is; None for plain photographs; raises BadInput where both are mixed."""
    special = [path for path in paths if Path(path).is_dir() or is_film(path)]
    if not special:
        return None
    if len(paths) > 1:
        raise BadInput(
            found=f"'{special[0][:60]}' was given among {len(paths)} names",
            needed="one folder or one film by itself is needed",
            remedy="put the photographs into one folder, or name them all",
        )
    path = Path(paths[0])
    if not path.is_dir():
        data = read_file(str(path), what="the film")
        return Stack(frames=frames_of(data, name=path.name), count=0, film=provenance.source_of(path.name, data))
    files = sorted(each for each in path.iterdir() if each.suffix.lower() in PHOTOGRAPHS and each.is_file())
    if not files:
        raise BadInput(
            found=f"there is no photograph in '{paths[0][:60]}'", needed="a folder of photographs is needed", remedy="check its name"
        )
    frames = ((each.name, read_file(str(each), what="the photograph")) for each in files)
    return Stack(frames=frames, count=len(files), film=None)


def cores_from_text(text: str) -> int:
    """A number of cores; raises BadInput."""
    cores = whole_number(text)
    if cores is None or not 1 <= cores <= MOST_CORES:
        raise BadInput(
            found=f"the number of cores was given as '{text[:20]}'",
            needed=f"a whole number from 1 to {MOST_CORES} is needed",
            remedy="leave it out for all",
        )
    return cores
