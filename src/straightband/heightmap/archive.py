"""Zip archives in memory: written the same every time, read without trusting what they say of themselves."""

from __future__ import annotations

import io
import lzma
import struct
import zipfile
import zlib

from straightband.heightmap.record import MOST_POINTS, refuse

MOST_MEMBERS = 64  # a map has five, an X3P file a handful
LARGEST_MEMBER = 8 * MOST_POINTS + 4096  # the largest array allowed, with its header
LARGEST_TEXT = 1 << 24  # bytes of XML, JSON or checksums
_LEVEL = 6
# What zipfile and its decompressors raise on damaged archives, found by fuzzing; RuntimeError is an encrypted member.
_DAMAGE = (
    zipfile.BadZipFile, zlib.error, lzma.LZMAError, struct.error, EOFError, OSError, RuntimeError, ValueError, OverflowError,
)  # fmt: skip


def zipped(members: dict[str, bytes]) -> bytes:
    """An archive of `members` whose bytes depend on nothing else: no date, no platform."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in members.items():
            info = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
            info.create_system = 3
            info.external_attr = 0o644 << 16
            archive.writestr(info, data, compress_type=zipfile.ZIP_DEFLATED, compresslevel=_LEVEL)
    return out.getvalue()


def member_names(data: bytes, *, name: str) -> list[str]:
    """Names in an archive; raises RecordUnreadable when it is damaged or crowded."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = archive.namelist()
    except _DAMAGE:
        refuse(f"{name} is damaged, or cut short")
    if len(names) > MOST_MEMBERS:
        refuse(f"{name} is an archive of {len(names)} files", needed=f"a map, with at most {MOST_MEMBERS}, is needed")
    return names


def member(data: bytes, member_name: str, *, most_bytes: int, name: str) -> bytes:
    """One file of an archive; raises RecordUnreadable when it is absent, damaged or would unpack to more than `most_bytes`."""
    if member_name not in member_names(data, name=name):
        refuse(f"{name} holds no '{member_name[:60]}'")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive, archive.open(member_name) as stream:
            content = stream.read(most_bytes + 1)
    except _DAMAGE:
        refuse(f"'{member_name[:60]}' in {name} is damaged")
    if len(content) > most_bytes:
        refuse(f"'{member_name[:60]}' in {name} unpacks to more than {most_bytes} bytes", needed="a map of sensible size is needed")
    return content
