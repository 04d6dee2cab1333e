"""Changes to bytes by chance: the same seed gives the same changes."""

from __future__ import annotations

import random
import re

MOST_BYTES = 60_000  # of one input, so that a campaign is over some day
NUMBERS = (b"0", b"-1", b"1e308", b"1e-308", b"4294967296", b"9223372036854775808", b"99999999999999999999", b"nan", b"0.0000001", b"65536")
WORDS_OF_TWO = (0, 1, 0x7F, 0x80, 0xFF, 0x7FFF, 0x8000, 0xFFFF)


def changed(data: bytes, rng: random.Random, *, seeds: tuple[bytes, ...], words: tuple[bytes, ...]) -> bytes:
    """The bytes with one to eight changes."""
    out = bytearray(data)
    for _ in range(rng.choice((1, 1, 1, 2, 3, 5, 8))):
        rng.choice(_CHANGES)(out, rng, seeds, words)
        del out[MOST_BYTES:]
    return bytes(out)


def _place(out: bytearray, rng: random.Random) -> int:
    # Heads of files decide more than their bodies.
    return rng.randrange(min(len(out), 256) if rng.random() < 0.3 else len(out)) if out else 0


def _bit(out: bytearray, rng: random.Random, *_: object) -> None:
    if out:
        out[_place(out, rng)] ^= 1 << rng.randrange(8)


def _byte(out: bytearray, rng: random.Random, *_: object) -> None:
    if out:
        out[_place(out, rng)] = rng.choice((0, 1, 0x20, 0x7F, 0x80, 0xFF, rng.randrange(256)))


def _number(out: bytearray, rng: random.Random, *_: object) -> None:
    place, size = _place(out, rng), rng.choice((2, 4, 8))
    out[place : place + size] = (rng.choice(WORDS_OF_TWO) * rng.choice((1, 1 << 8, 1 << 16))).to_bytes(8, "little")[:size][
        :: rng.choice((1, -1))
    ]


def _cut(out: bytearray, rng: random.Random, *_: object) -> None:
    place = _place(out, rng)
    del out[place : place + rng.choice((1, 2, 4, 16, 256))]


def _end(out: bytearray, rng: random.Random, *_: object) -> None:
    del out[_place(out, rng) :]


def _again(out: bytearray, rng: random.Random, *_: object) -> None:
    place = _place(out, rng)
    out[place:place] = out[place : place + rng.choice((1, 4, 16, 64))] * rng.choice((1, 1, 2, 100))


def _splice(out: bytearray, rng: random.Random, seeds: tuple[bytes, ...], *_: object) -> None:
    other = rng.choice(seeds)
    place = _place(bytearray(other), rng)
    piece = other[place : place + rng.choice((4, 16, 64, 1024))]
    here = _place(out, rng)
    out[here : here + rng.choice((0, len(piece)))] = piece


def _word(out: bytearray, rng: random.Random, _seeds: object, words: tuple[bytes, ...]) -> None:
    if words:
        word, here = rng.choice(words), _place(out, rng)
        out[here : here + rng.choice((0, len(word)))] = word


def _digits(out: bytearray, rng: random.Random, *_: object) -> None:
    found = [match.span() for match in re.finditer(rb"\d+(?:\.\d+)?", bytes(out[:MOST_BYTES]))]
    if found:
        begin, end = rng.choice(found)
        out[begin:end] = rng.choice(NUMBERS)


_CHANGES = (_bit, _bit, _byte, _number, _cut, _end, _again, _splice, _word, _word, _digits)
