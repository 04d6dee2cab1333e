"""Height maps to and from the files a person keeps."""

from __future__ import annotations

from pathlib import PurePath

from straightband.heightmap.formats import map_bytes, read_map
from straightband.heightmap.map import HeightMap
from straightband.light.bands import height_per_band_nm

DEFAULT_LIGHT_NM = 546.074  # bands of mercury green, when a map does not say what light it was read in


def map_from_file(data: bytes, name: str) -> HeightMap:
    """The map in a `.npz`, `.x3p` or `.csv`; raises RecordUnreadable."""
    return read_map(data, name)


def map_file(height_map: HeightMap, *, name: str) -> bytes:
    """The bytes of a map in the format the name's ending asks for: `.npz`, `.x3p`, `.csv` or a picture, `.png`."""
    if PurePath(name).suffix.lower() != ".png":
        return map_bytes(height_map, name=name)
    from straightband.plots.maps import map_png

    return map_png(height_map, band_nm=band_of(height_map), note=note_of(height_map))


def band_of(height_map: HeightMap) -> float:
    """Height of one band in the light the map was read in."""
    return height_per_band_nm(wavelength_nm=float(height_map.meta.get("light_nm", DEFAULT_LIGHT_NM)))


def note_of(height_map: HeightMap) -> str:
    """What must stand under every picture of a map beside how it is seen: which way up it is."""
    return "Hills are positive." if height_map.meta.get("sign") == "known" else "Hill or hole: not known."
