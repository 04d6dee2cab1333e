"""A photograph without where it was taken: what names the place is overwritten where it stands, so that not a pixel and not a length changes.

Sources
-------
Exif 2.32 (CIPA DC-008): tag 0x8825 of the first directory leads to the one on the position; TIFF 6.0: directories of twelve bytes an entry. XMP names the position
by `exif:GPS...`. From memory.
"""

from __future__ import annotations

import re
import struct
import zlib
from collections.abc import Iterator

POSITION_FOLDER = 0x8825
_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}
_MOST_ENTRIES = 1000
_MOST_FOLDERS = 64
_STARTS = (b"II*\0", b"MM\0*")
# XMP, as an attribute or as an element, in one byte a letter.
_XMP_NAME = b"exif:GPS"
_XMP = re.compile(rb'(exif:GPS\w+\s*=\s*)("[^"]{0,200}"|\'[^\']{0,200}\')|(exif:GPS(\w+)[^>]{0,200}>)([^<]{0,400})(?=</exif:GPS)')
# Position as films and some telephones write it (ISO 6709), in a box of its own.
_ISO_6709 = re.compile(rb"[+-]\d{2,3}\.\d{3,6}[+-]\d{2,3}\.\d{3,6}(?:[+-]\d{1,5}\.\d{1,3})?/")
# A photograph has millions of bytes, and an expression looked for at each of them takes a tenth of a second and more: so all digits are first made
# one digit and both signs one sign, and what a place must begin with is looked for as plain bytes.
_LIKE = bytes.maketrans(b"123456789-", b"000000000+")
_ISO_6709_STARTS = (b"+00.000", b"+000.000")


def without_position(data: bytes) -> bytes:
    """The same bytes, those that say where they were taken overwritten; what holds no position comes back as it is.

    JPEG, PNG, TIFF, camera RAW and HEIC keep the position in a directory of the same form, which is looked for wherever one begins. Never raises.
    """
    out = bytearray(data)
    for start in _finds(data, _STARTS):
        for begin, size in _places(data, start):
            out[begin : begin + size] = bytes(size)
    for start in _finds(data, (_XMP_NAME,)):
        if found := _XMP.match(data, start):
            begin, end = found.span(2) if found[2] is not None else found.span(5)
            out[begin:end] = re.sub(rb"[^\"'\s]", b"0", found[2] if found[2] is not None else found[5])
    for start in _finds(data.translate(_LIKE), _ISO_6709_STARTS):
        if found := _ISO_6709.match(data, start):
            out[found.start() : found.end()] = re.sub(rb"\d", b"0", found[0])
    if out == data:
        return data
    return _checksums_put_right(bytes(out)) if data.startswith(b"\x89PNG\r\n\x1a\n") else bytes(out)


def _finds(data: bytes, beginnings: tuple[bytes, ...]) -> Iterator[int]:
    """Every place at which one of these stands."""
    for beginning in beginnings:
        at = data.find(beginning)
        while at >= 0:
            yield at
            at = data.find(beginning, at + 1)


def _places(data: bytes, start: int) -> Iterator[tuple[int, int]]:
    """Begin and size of each stretch that holds a position, of the directories that begin at `start`."""
    order = "<" if data[start : start + 2] == b"II" else ">"
    waiting = [(_number(data, start + 4, "I", order=order), False)]
    seen: set[int] = set()
    while waiting and len(seen) < _MOST_FOLDERS:
        folder, of_position = waiting.pop()
        if folder is None or folder in seen:
            continue
        seen.add(folder)
        count = min(_number(data, start + folder, "H", order=order) or 0, _MOST_ENTRIES)
        for entry in range(start + folder + 2, start + folder + 2 + 12 * count, 12):
            tag, kind, values, value = (
                _number(data, entry + at, form, order=order) for at, form in ((0, "H"), (2, "H"), (4, "I"), (8, "I"))
            )
            if tag is None or kind is None or values is None or value is None:
                break
            size = _SIZES.get(kind, 1) * values
            if of_position:
                begin = entry + 8 if size <= 4 else start + value
                yield begin, min(size, max(0, len(data) - begin))
            elif tag == POSITION_FOLDER:
                waiting.append((value, True))
            elif tag == 0x014A and values == 1:  # a further directory, in which some cameras keep their own
                waiting.append((value, False))


def _number(data: bytes, at: int, form: str, *, order: str) -> int | None:
    size = struct.calcsize(form)
    return struct.unpack(order + form, data[at : at + size])[0] if 0 <= at <= len(data) - size else None


def _checksums_put_right(data: bytes) -> bytes:
    """A PNG whose chunks were changed, with the checksum of each computed anew."""
    out, place = bytearray(data), 8
    while place + 12 <= len(data):
        size = int.from_bytes(data[place : place + 4], "big")
        end = place + 8 + size
        if end + 4 > len(data):
            break
        out[end : end + 4] = struct.pack(">I", zlib.crc32(data[place + 4 : end]))
        place = end + 4
    return bytes(out)
