"""Files of one face read as they were meant: as one solution, or as a stack of frames, of which a film is one."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import closing

from straightband import provenance
from straightband.errors import BadInput
from straightband.heightmap.map import HeightMap
from straightband.workflows.films import frames_of, is_film
from straightband.workflows.many import here
from straightband.workflows.read import Reading, Setup, tell_nobody
from straightband.workflows.several import read_photos
from straightband.workflows.stack import read_stack

STACK = "stack"
MOST_PHOTOGRAPHS = 20
MOST_FRAMES = 60  # given as photographs; a film may have more


def read_together(
    files: Iterable[tuple[str, bytes]],
    *,
    names: tuple[str, ...],
    stacked: bool,
    setup: Setup,
    reference: HeightMap | None,
    workers: int = 1,
    stage: Callable[[str], None] = tell_nobody,
) -> Reading:
    """The reading of all files; raises a StraightbandError that says why where they can't be read.

    Parameters
    ----------
    files, names
        Names without folder, and bytes, taken one by one as they are needed; and the names alone.
    stacked
        Nothing was touched between them: they are averaged. A film always is a stack.
    setup, reference
        As for a photograph.
    workers
        Processes that read the frames of a stack.
    stage
        Told in words what is being done.
    """
    films = [name for name in names if is_film(name)]
    if films and len(names) > 1:
        raise BadInput(
            found=f"'{films[0]}' is a film among {len(names)} files",
            needed="one film by itself, or photographs, are needed",
            remedy="give the film alone",
        )
    if not films and not stacked:
        return read_photos(list(files), setup=setup, reference=reference, stage=stage)
    film = None
    frames = iter(files)
    if films:
        name, data = next(frames)
        film, frames = provenance.source_of(name, data), frames_of(data, name=name)
    with here(workers) as executor:
        return read_stack(
            frames,
            setup=setup,
            reference=reference,
            executor=executor,
            workers=workers,
            tell=lambda done: stage(f"{done} frames read"),
            film=film,
        )


def first_shown(name: str, data: bytes) -> tuple[str, bytes]:
    """Name and bytes of a photograph, or of a film's first frame."""
    if not is_film(name):
        return name, data
    with closing(frames_of(data, name=name)) as frames:  # the process that decodes them ends with it
        return next(frames)
