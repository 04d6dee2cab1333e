"""Height maps as bytes and back: `.npz`, `.x3p` and `.csv`.

What a file is goes by its content where that is plain, by its ending otherwise. Anything wrong with it is one RecordUnreadable.
"""

from __future__ import annotations

from pathlib import PurePath

from straightband.errors import BadInput
from straightband.heightmap.archive import member_names
from straightband.heightmap.map import HeightMap
from straightband.heightmap.npz import from_npz, to_npz
from straightband.heightmap.record import refuse
from straightband.heightmap.rows import from_csv, to_csv
from straightband.heightmap.x3p import MAIN, from_x3p, to_x3p

__all__ = ["from_csv", "from_npz", "from_x3p", "map_bytes", "read_map", "to_csv", "to_npz", "to_x3p"]

_WRITERS = {".npz": to_npz, ".x3p": to_x3p, ".csv": to_csv}
_NEED = "a height map in .npz, .x3p or .csv is needed"
_LONGEST_NAME = 60


def read_map(data: bytes, name: str) -> HeightMap:
    """The map in the bytes of a file called `name`; raises RecordUnreadable, whose sentence names the file, when there is none."""
    shown = f"'{PurePath(name).name[:_LONGEST_NAME]}'"
    if data.startswith(b"PK\x03\x04"):
        names = member_names(data, name=shown)
        if MAIN in names:
            return from_x3p(data, name=shown)
        if "heights_nm.npy" in names:
            return from_npz(data, name=shown)
        refuse(f"{shown} is an archive without a height map in it", needed=_NEED)
    if _ending(name) != ".csv" or not data:
        refuse(f"{shown} is {'no height map, or is damaged' if data else 'empty'}", needed=_NEED)
    return from_csv(data, name=shown)


def map_bytes(height_map: HeightMap, *, name: str) -> bytes:
    """The map in the format that the ending of `name` asks for; raises BadInput when it asks for none of them."""
    writer = _WRITERS.get(_ending(name))
    if writer is None:
        raise BadInput(
            found=f"the map was to be saved as '{PurePath(name).name[:_LONGEST_NAME]}'",
            needed="a name ending in .npz, .x3p or .csv is needed",
            remedy="change the ending",
        )
    return writer(height_map)


def _ending(name: str) -> str:
    return PurePath(name).suffix.lower()
