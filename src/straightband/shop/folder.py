"""The folder that is a whole shop: `shop.db`, and photographs, maps and papers under their hashes."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from straightband.errors import BadInput
from straightband.shop.archive import Archive
from straightband.shop.database import NAME, bring_up_to_date, connect, told_in_words
from straightband.shop.files import write_whole
from straightband.shop.holding import PLACE, check_writable
from straightband.shop.record import Record

VIEWS = "views"  # pictures for the screen, which can be made again


@dataclass(frozen=True, slots=True, kw_only=True)
class Shop:
    """A shop's folder, its record up to date.

    Attributes
    ----------
    folder
        Where it lies.
    """

    folder: Path

    @property
    def photos(self) -> Archive:
        """Photographs as they were taken."""
        return Archive(folder=self.folder / "photos")

    @property
    def maps(self) -> Archive:
        """Height maps, as `.npz`."""
        return Archive(folder=self.folder / "maps")

    @property
    def papers(self) -> Archive:
        """Certificates, as PDF."""
        return Archive(folder=self.folder / "papers")

    @property
    def archives(self) -> dict[str, Archive]:
        """All three by name."""
        return {"photos": self.photos, "maps": self.maps, "papers": self.papers}

    @contextmanager
    def record(self) -> Iterator[Record]:
        """The record, open for one thread; raises RecordUnreadable where the disk does not let it be read or written."""
        with told_in_words(), closing(connect(self.folder / NAME)) as connection:
            yield Record(connection=connection)

    def view_place(self, name: str) -> Path:
        """Where a picture for the screen lies, or will lie."""
        return self.folder / VIEWS / name

    def view(self, name: str, *, make: Callable[[], bytes]) -> bytes:
        """A picture for the screen as it was kept, or made now and kept for the next look; a full disk keeps nobody from looking."""
        with suppress(OSError):
            return self.view_place(name).read_bytes()
        data = make()
        with suppress(BadInput):
            self.keep_view(name, data)
        return data

    def keep_view(self, name: str, data: bytes) -> None:
        """Keep a picture for the screen; raises BadInput where there is no room for it."""
        write_whole(self.view_place(name), data, make_folder=True)


def open_shop(folder: Path, *, make: bool = False) -> Shop:
    """The shop in a folder, made if asked for, and then one that can be written to; raises BadInput or RecordUnreadable."""
    try:
        if make:
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        there = (folder / NAME).is_file()
    except (OSError, ValueError) as fault:
        raise BadInput(
            found=f"the folder '{str(folder)[:80]}' can't be made ({getattr(fault, 'strerror', None) or fault})",
            needed="a folder that you may write to is needed",
            remedy="name another with --shop",
        ) from None
    if not there and not make:
        raise BadInput(
            found=f"there is no shop in '{str(folder)[:80]}'",
            needed="a folder with a shop.db in it is needed",
            remedy="name the shop's folder with --shop",
        )
    if not there and any(each.name not in (VIEWS, PLACE) for each in folder.iterdir()):
        raise BadInput(
            found=f"'{str(folder)[:80]}' holds other files and no shop",
            needed="a shop's folder, or an empty one, is needed",
            remedy="name another with --shop",
        )
    if make:
        check_writable(folder)
    bring_up_to_date(folder / NAME)
    return Shop(folder=folder)
