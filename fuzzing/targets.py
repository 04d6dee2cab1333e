"""What is fuzzed: each target is fed bytes, and answers or refuses in a sentence; anything else that comes out of it is a fault."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable
from dataclasses import dataclass

from fuzzing import films, seeds, texts
from straightband.errors import StraightbandError
from straightband.heightmap import archive, x3p
from straightband.heightmap.figures import without_tilt
from straightband.heightmap.formats import read_map
from straightband.photo import load
from straightband.workflows.batch import batch_from_toml
from straightband.workflows.films import frames_of
from straightband.workflows.order_prices import prices_from_toml
from straightband.workflows.piece import piece_from_toml

Feed = Callable[[bytes], object]
TOML_WORDS = (
    b"[[piece]]", b"[grinding]", b"abrasives_um", b"minor_mm", b"= nan", b"= inf", b"= -1e400", b"= 0x", b"1979-05-27", b'"""', b"= true", b"[telescope]",
    b"photographs = []", b"[[done]]", b"{", b"= [[[[", b"\\u0000", b"\\ud800", b'"\\u202e"', b"9" * 5000,
)  # fmt: skip
TEXT_WORDS = (
    b"mm",
    b"in",
    b"nm",
    b"%",
    b",",
    b"1/0",
    b"\xe2\x82\xac",
    b"\xc2\xb2",
    b"-",
    b"+v",
    b"1e308",
    b"\x00",
    b"9" * 30,
    b"\xd9\xa3",
    b"=",
    b"\n",
)
XML_WORDS = (
    b"<!DOCTYPE a [", b"<!ENTITY a 'b'>", b"&a;", b"<SizeX>", b"</SizeX>", b"-1", b"1e999", b"NaN", b"99999999", b"<![CDATA[", b"../../x", b'encoding="utf-16"',
    b"xmlns:p", b"<DataType>I</DataType>", b"<ValidPointsLink>bindata/data.bin</ValidPointsLink>",
)  # fmt: skip
PICTURE_WORDS = (
    b"\xff\xd8",
    b"\xff\xda",
    b"\xff\xc0",
    b"\xff\xe1",
    b"Exif\0\0",
    b"II*\0",
    b"MM\0*",
    b"IHDR",
    b"IDAT",
    b"ftypheic",
    b"\xff\xff\xff\xff",
    b"\0\0\0\0",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """One loader or parser.

    Attributes
    ----------
    feed
        Takes the bytes; raises what is a fault.
    seeds
        Whole inputs to begin with.
    words
        Pieces that mean something to it.
    share
        Inputs of a full campaign, in thousands.
    """

    feed: Feed
    seeds: Callable[[], tuple[bytes, ...]]
    words: tuple[bytes, ...] = ()
    share: float = 6.0


def _answered(feed: Feed) -> Feed:
    """Refusals of ours are answers."""

    def fed(data: bytes) -> None:
        try:
            feed(data)
        except StraightbandError as refusal:
            if not str(refusal).isprintable() or len(str(refusal)) > 1500:
                raise AssertionError(f"no sentence: {refusal!r}") from refusal

    return fed


def _photograph(name: str) -> Feed:
    def feed(data: bytes) -> None:
        load.FEWEST_MEGAPIXELS = 0.0  # so that small pictures reach the decoders
        photo = load.load_photo(data, name=name)
        if not photo.levels.size:
            raise AssertionError("no levels")

    return feed


def _map(name: str) -> Feed:
    def feed(data: bytes) -> None:
        without_tilt(read_map(data, name))

    return feed


def with_true_checksums(data: bytes) -> bytes:
    """A PNG with the checksum of every chunk put right, so that what is changed in it gets past them."""
    out, place = bytearray(data[:8]), 8
    while place + 12 <= len(data):
        size = min(int.from_bytes(data[place : place + 4], "big"), len(data) - place - 12)
        body = data[place + 4 : place + 8 + size]
        out += struct.pack(">I", size) + body + struct.pack(">I", zlib.crc32(body))
        place += 12 + size
    return bytes(out)


def _inside(container: Callable[[], tuple[bytes, ...]], *, name: str, members: tuple[str, ...]) -> Feed:
    """Bytes put in the place of one file of an archive, by the first of them, checksums put right."""
    parts: dict[str, bytes] = {}
    whole = _map(name)

    def feed(data: bytes) -> None:
        if not parts:
            first = container()[0]
            parts.update({each: archive.member(first, each, most_bytes=10**7, name="") for each in archive.member_names(first, name="")})
        changed = parts | {members[data[0] % len(members)] if data else members[0]: data[1:]}
        if x3p.MAIN in changed:
            main = changed[x3p.MAIN]
            for named in (x3p.POINTS,):
                old, new = (x3p._md5(each[named]).encode() for each in (parts, changed))  # noqa: SLF001 - as the writer computes it
                main = main.replace(old, new)
            changed |= {x3p.MAIN: main, x3p.CHECKSUM: x3p._md5(main).encode()}  # noqa: SLF001
        whole(archive.zipped(changed))

    return feed


def _inside_seeds(container: Callable[[], tuple[bytes, ...]], *, members: tuple[str, ...]) -> Callable[[], tuple[bytes, ...]]:
    def found() -> tuple[bytes, ...]:
        whole = container()[0]
        return tuple(bytes([k]) + archive.member(whole, name, most_bytes=10**7, name="") for k, name in enumerate(members))

    return found


def _film(data: bytes) -> None:
    for count, _ in enumerate(frames_of(data, name="film.mp4")):
        if count > 5:
            break


NPZ = ("heights_nm.npy", "u_mm.npy", "v_mm.npy", "uncertainty_nm.npy", "meta.npy")
X3P = (x3p.MAIN, x3p.POINTS, x3p.ABOUT, x3p.UNCERTAINTY)
TARGETS: dict[str, Target] = {
    "jpeg": Target(feed=_answered(_photograph("a.jpg")), seeds=seeds.jpegs, words=PICTURE_WORDS, share=8.0),
    "png": Target(feed=_answered(_photograph("a.png")), seeds=seeds.pngs, words=PICTURE_WORDS),
    "png-inside": Target(feed=_answered(lambda data: _photograph("a.png")(with_true_checksums(data))), seeds=seeds.pngs, words=PICTURE_WORDS),
    "tiff": Target(feed=_answered(_photograph("a.tif")), seeds=seeds.tiffs, words=PICTURE_WORDS, share=8.0),
    "heic": Target(feed=_answered(_photograph("a.heic")), seeds=seeds.heics, words=PICTURE_WORDS),
    "raw": Target(feed=_answered(_photograph("a.dng")), seeds=seeds.raws, words=PICTURE_WORDS),
    "film": Target(feed=_answered(_film), seeds=seeds.films, words=PICTURE_WORDS, share=1.0),
    "film-inside": Target(feed=films.feed, seeds=seeds.films, words=PICTURE_WORDS, share=5.0),
    "npz": Target(feed=_answered(_map("a.npz")), seeds=seeds.npzs),
    "npz-inside": Target(
        feed=_answered(_inside(seeds.npzs, name="a.npz", members=NPZ)), seeds=_inside_seeds(seeds.npzs, members=NPZ), words=(b"'descr'", b"'shape'", b"'<f8'", b"'O'", b"(-1,", b"99999999999")
    ),
    "x3p": Target(feed=_answered(_map("a.x3p")), seeds=seeds.x3ps),
    "x3p-inside": Target(feed=_answered(_inside(seeds.x3ps, name="a.x3p", members=X3P)), seeds=_inside_seeds(seeds.x3ps, members=X3P), words=XML_WORDS),
    "csv": Target(feed=_answered(_map("a.csv")), seeds=seeds.csvs, words=(b"nan", b"inf", b"1e308", b"# about ", b",,", b"\xef\xbb\xbf", b"0x1p3", b"1_0")),
    "batch": Target(feed=_answered(lambda data: batch_from_toml(data, name="batch.toml")), seeds=lambda: (seeds.BATCH,), words=TOML_WORDS),
    "piece": Target(feed=_answered(lambda data: piece_from_toml(data, name="piece.toml")), seeds=lambda: (seeds.PIECE,), words=TOML_WORDS),
    "prices": Target(feed=_answered(lambda data: prices_from_toml(data, name="prices.toml")), seeds=lambda: (seeds.PRICES,), words=TOML_WORDS),
    "texts": Target(feed=_answered(texts.feed), seeds=texts.seeds, words=TEXT_WORDS, share=16.0),
}  # fmt: skip
