"""Writing what a call was asked for: over none of the files it reads, and all of it or nothing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import suppress
from pathlib import Path

from straightband.errors import BadInput
from straightband.workflows.store import check_place, write_whole


def check_outputs(outputs: Iterable[str | Path | None], *, inputs: Iterable[str | Path | None]) -> None:
    """Raise BadInput where a file to be written is one that is read, by whatever name, or one file is to be written twice.

    None stands for what was not asked for; a folder among `inputs` stands for the files in it.
    """
    read = {_key(each): each for path in inputs if path is not None for each in _files_at(Path(path))}
    written: dict[object, str | Path] = {}
    for path in outputs:
        if path is None:
            continue
        key = _key(Path(path))
        if key in read:
            raise BadInput(
                found=f"'{path}' was to be written over '{read[key]}', which is read",
                needed="a name of its own is needed",
                remedy="name another file",
            )
        if key in written:
            raise BadInput(
                found=f"'{written[key]}' and '{path}' were both to be written to one file",
                needed="a name for each is needed",
                remedy="name another file",
            )
        written[key] = path


def write_outputs(files: Sequence[tuple[str | Path, bytes]], *, inputs: Iterable[str | Path | None]) -> None:
    """Write all `files`; raises BadInput, and has written nothing then, where a place won't do or is that of an input."""
    check_outputs([path for path, _ in files], inputs=inputs)
    for path, _ in files:
        check_place(Path(path))
    for path, data in files:
        write_whole(Path(path), data)


def _files_at(path: Path) -> list[Path]:
    with suppress(OSError, ValueError):
        if path.is_dir():
            return list(path.iterdir())
    return [path]


def _key(path: Path) -> object:
    """What two names of one file have in common: the file itself where there is one, else where the name leads to."""
    with suppress(OSError, ValueError):  # ValueError: a name that no disk takes, which is refused where it is used
        there = path.stat()
        return there.st_dev, there.st_ino
    with suppress(OSError, ValueError, RuntimeError):  # RuntimeError: links in a circle
        return path.resolve()
    return path
