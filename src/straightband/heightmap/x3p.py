"""Maps as `.x3p`, the open exchange format of surface metrology: heights, and Straightband's own extras beside them.

Lengths and heights are in metres, as the standard asks; a missing point is NaN. The standard has no place for the uncertainty of a
point or for the face: they travel as two further files in the archive, announced by the vendor's identifier, and other programs pass
them by. The optional record of date and instrument is left out: its dates are obligatory, and a map does not always know them.

Sources
-------
ISO 25178-72:2017, Geometrical product specifications (GPS) - Surface texture: Areal - Part 72: XML file format x3p, and ISO 5436-2,
whose schema it uses. The text was not at hand: element names, order, namespace, type letters, the layout of the archive and the form
of the checksum file are from memory.
"""

from __future__ import annotations

import hashlib
import math
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
from numpy.typing import NDArray

from straightband.heightmap.archive import LARGEST_MEMBER, LARGEST_TEXT, member, member_names, zipped
from straightband.heightmap.map import HeightMap
from straightband.heightmap.record import FARTHEST_MM, about_from_text, about_text, assembled, check_size, refuse

NAMESPACE = "http://www.opengps.eu/2008/ISO5436_2"
VENDOR = "urn:x-straightband:map:1"
MAIN, POINTS, CHECKSUM = "main.xml", "bindata/data.bin", "md5checksum.hex"
ABOUT, UNCERTAINTY = "straightband/about.json", "straightband/uncertainty.bin"
MM_PER_M, NM_PER_M = 1e3, 1e9
# Type letters: 16- and 32-bit whole numbers, single and double precision, least significant byte first.
_DTYPES = {"I": "<i2", "L": "<i4", "F": "<f4", "D": "<f8"}
_NEED = "an areal map on an even grid, as ISO 25178-72 lays down, is needed"


def to_x3p(height_map: HeightMap) -> bytes:
    """The map as an X3P archive; the same map gives the same bytes."""
    points = (height_map.heights_nm / NM_PER_M).astype("<f8").tobytes()
    main = _main_xml(height_map, points_md5=_md5(points)).encode("utf-8")
    return zipped({
        MAIN: main,
        POINTS: points,
        CHECKSUM: f"{_md5(main)} *{MAIN}\n".encode("ascii"),
        ABOUT: about_text(height_map).encode("ascii"),
        UNCERTAINTY: (height_map.uncertainty_nm / NM_PER_M).astype("<f8").tobytes(),
    })  # fmt: skip


def from_x3p(data: bytes, *, name: str = "the map file") -> HeightMap:
    """The map in an X3P archive, its checksums verified; raises RecordUnreadable when there is none.

    Another program's file has no uncertainty: it is NaN all over, which is written as "not known".
    """
    root = _verified_main(data, name=name)
    if _text(root, "Record1/FeatureType", name=name) != "SUR":
        refuse(f"{name} is no areal map", needed=_NEED)
    cols, rows, layers = (_whole(root, f"Record3/MatrixDimension/Size{axis}", name=name) for axis in "XYZ")
    check_size(rows=rows, cols=cols, name=name)
    if layers != 1:
        refuse(f"{name} holds {layers} maps", needed="one map is needed", remedy="save one of them by itself")
    with np.errstate(over="ignore", invalid="ignore"):  # endless heights are refused below, in words
        heights_nm = NM_PER_M * _heights(root, data, shape=(rows, cols), name=name)
    own = ABOUT in member_names(data, name=name)
    return assembled(
        heights_nm=heights_nm,
        u_mm=_axis(root, "CX", count=cols, name=name),
        v_mm=_axis(root, "CY", count=rows, name=name),
        uncertainty_nm=_uncertainty(data, shape=(rows, cols), name=name) if own else np.full((rows, cols), np.nan),
        about=_about(data, name=name) if own else {},
        name=name,
    )


def _md5(data: bytes) -> str:
    return hashlib.md5(data, usedforsecurity=False).hexdigest()


def _element(parent: ET.Element, tag: str, text: str | None = None) -> ET.Element:
    child = ET.SubElement(parent, tag)
    child.text = text
    return child


def _main_xml(height_map: HeightMap, *, points_md5: str) -> str:
    root = ET.Element("p:ISO5436_2", {"xmlns:p": NAMESPACE})
    record1 = _element(root, "Record1")
    _element(record1, "Revision", "ISO5436 - 2000")
    _element(record1, "FeatureType", "SUR")
    axes = _element(record1, "Axes")
    for tag, axis_mm in (("CX", height_map.u_mm), ("CY", height_map.v_mm)):
        step_mm = float(axis_mm[-1] - axis_mm[0]) / (axis_mm.size - 1)
        _axis_element(axes, tag, kind="I", increment=step_mm / MM_PER_M, offset=float(axis_mm[0]) / MM_PER_M)
    _axis_element(axes, "CZ", kind="A", increment=1.0, offset=0.0)
    record3 = _element(root, "Record3")
    matrix = _element(record3, "MatrixDimension")
    for tag, size in (("SizeX", height_map.u_mm.size), ("SizeY", height_map.v_mm.size), ("SizeZ", 1)):
        _element(matrix, tag, str(size))
    link = _element(record3, "DataLink")
    _element(link, "PointDataLink", POINTS)
    _element(link, "MD5ChecksumPointData", points_md5)
    _element(_element(root, "Record4"), "ChecksumFile", CHECKSUM)
    _element(root, "VendorSpecificID", VENDOR)
    ET.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"


def _axis_element(axes: ET.Element, tag: str, *, kind: str, increment: float, offset: float) -> None:
    axis = _element(axes, tag)
    _element(axis, "AxisType", kind)
    _element(axis, "DataType", "D")
    _element(axis, "Increment", repr(increment))
    _element(axis, "Offset", repr(offset))


def _verified_main(data: bytes, *, name: str) -> ET.Element:
    raw = member(data, MAIN, most_bytes=LARGEST_TEXT, name=name)
    root = _parsed(raw, name=name)
    checksum_file = _text(root, "Record4/ChecksumFile", name=name)
    listed = member(data, _path(checksum_file), most_bytes=LARGEST_TEXT, name=name).split()[:1]
    if [field.lower() for field in listed] != [_md5(raw).encode("ascii")]:
        refuse(f"{MAIN} in {name} does not match its checksum")
    return root


def _parsed(raw: bytes, *, name: str) -> ET.Element:
    # Decoded here, so that no declared encoding can hide a DOCTYPE from the next line; without one there are no entities.
    try:
        text = raw.decode("utf-8-sig")
        if "<!DOCTYPE" in text:
            refuse(f"{MAIN} in {name} defines a document type", needed="plain XML without one is needed")
        root = ET.fromstring(text)  # noqa: S314 -- no document type, hence no entities; size is limited
    except (ValueError, ET.ParseError):
        refuse(f"{MAIN} in {name} is not XML", needed=_NEED)
    if root.tag.rpartition("}")[2] != "ISO5436_2":
        refuse(f"{MAIN} in {name} begins with '{root.tag[:60]}'", needed=_NEED)
    return root


def _text(root: ET.Element, path: str, *, name: str) -> str:
    found = root.find(path)
    if found is None:
        refuse(f"{MAIN} in {name} has no {path}", needed=_NEED)
    return (found.text or "").strip()


def _whole(root: ET.Element, path: str, *, name: str) -> int:
    text = _text(root, path, name=name)
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        refuse(f"{path} in {name} is '{text[:20]}'", needed="a whole number is needed")
    return int(text)


def _number(root: ET.Element, path: str, *, name: str, otherwise: float) -> float:
    """The number there, or `otherwise` when the element is left out, as the standard allows."""
    if root.find(path) is None:
        return otherwise
    try:
        value = float(_text(root, path, name=name))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        refuse(f"{path} in {name} is not a number", needed=_NEED)
    return value


def _path(link: str) -> str:
    return link.replace("\\", "/").lstrip("/")


def _axis(root: ET.Element, tag: str, *, count: int, name: str) -> NDArray:
    path = f"Record1/Axes/{tag}"
    if _text(root, f"{path}/AxisType", name=name) != "I":
        refuse(f"{tag} of {name} is not in even steps", needed=_NEED, remedy="resample the map where it was made")
    step_mm = MM_PER_M * _number(root, f"{path}/Increment", name=name, otherwise=0.0)
    first_mm = MM_PER_M * _number(root, f"{path}/Offset", name=name, otherwise=0.0)
    if not 0.0 < step_mm * (count - 1) <= 2.0 * FARTHEST_MM:
        refuse(f"{tag} of {name} steps by {step_mm:g} mm", needed="a step above zero, on the scale of a face, is needed")
    return first_mm + step_mm * np.arange(count)


def _heights(root: ET.Element, data: bytes, *, shape: tuple[int, int], name: str) -> NDArray:
    """Heights in metres, NaN where the values or the mask of valid points say that there is none."""
    letter = _text(root, "Record1/Axes/CZ/DataType", name=name)
    if letter not in _DTYPES or root.find("Record3/DataLink") is None:
        refuse(f"the heights in {name} are not in a binary file of known type", needed=_NEED)
    link = "Record3/DataLink"
    points = _linked(root, data, paths=(f"{link}/PointDataLink", f"{link}/MD5ChecksumPointData"), name=name)
    values = _reshaped(points, dtype=_DTYPES[letter], shape=shape, name=name).astype(float)
    scale = _number(root, "Record1/Axes/CZ/Increment", name=name, otherwise=1.0)
    heights = values * scale + _number(root, "Record1/Axes/CZ/Offset", name=name, otherwise=0.0)
    if root.find(f"{link}/ValidPointsLink") is None:
        return heights
    mask = _linked(root, data, paths=(f"{link}/ValidPointsLink", f"{link}/MD5ChecksumValidPoints"), name=name)
    bits = np.unpackbits(np.frombuffer(mask, dtype=np.uint8), bitorder="little")
    if bits.size < heights.size:
        refuse(f"the mask of valid points in {name} is too short")
    return np.where(bits[: heights.size].reshape(shape) == 1, heights, np.nan)


def _linked(root: ET.Element, data: bytes, *, paths: tuple[str, str], name: str) -> bytes:
    """A binary file named in the XML, checked against the checksum given beside its name."""
    link, checksum = (_text(root, path, name=name) for path in paths)
    content = member(data, _path(link), most_bytes=LARGEST_MEMBER, name=name)
    if checksum.lower() != _md5(content):
        refuse(f"'{link[:60]}' in {name} does not match its checksum")
    return content


def _reshaped(content: bytes, *, dtype: str, shape: tuple[int, int], name: str) -> NDArray:
    if len(content) != math.prod(shape) * np.dtype(dtype).itemsize:
        refuse(f"{name} holds {len(content)} bytes for {shape[0]} by {shape[1]} points")
    return np.frombuffer(content, dtype=dtype).reshape(shape)


def _uncertainty(data: bytes, *, shape: tuple[int, int], name: str) -> NDArray:
    content = member(data, UNCERTAINTY, most_bytes=LARGEST_MEMBER, name=name)
    with np.errstate(over="ignore"):  # as for the heights
        return _reshaped(content, dtype="<f8", shape=shape, name=name) * NM_PER_M


def _about(data: bytes, *, name: str) -> dict[str, Any]:
    text = member(data, ABOUT, most_bytes=LARGEST_TEXT, name=name).decode("utf-8", errors="replace")
    return about_from_text(text, name=name)
