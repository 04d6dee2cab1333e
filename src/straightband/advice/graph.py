"""Which sets of pairings force every face flat.

Two faces worn on each other until they fit have opposite curvatures, c_i + c_j = 0. Along a chain of pairings the curvature only changes its
sign; where a chain closes on itself after an odd number of pairings it must be its own opposite, hence zero, and with it all that hangs on it.
So the curvatures that stay free are counted by the groups of pieces without an odd ring (bipartite components; a piece that meets none is one).

Sources
-------
J. Whitworth, Miscellaneous Papers on Mechanical Subjects (1858), A paper on plane metallic surfaces or true planes: three plates.
The count is the nullity of the signless Laplacian: D. Cvetkovic, P. Rowlinson, S. Simic, Linear Algebra Appl. 423, 155 (2007), from memory.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

Link = tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Pieces that hang together by pairings.

    Attributes
    ----------
    pieces
        Their numbers, in order.
    sides
        The two halves that only meet each other and so end up opposite, if there is no odd ring; empty otherwise.
    odd_ring
        An odd ring of pieces, each paired with the next and the last with the first; empty if there is none.
    """

    pieces: tuple[int, ...]
    sides: tuple[tuple[int, ...], ...]
    odd_ring: tuple[int, ...]


def groups_of(count: int, links: Iterable[Link]) -> tuple[Group, ...]:
    """The groups into which pairings `links` bind `count` pieces."""
    partners: dict[int, list[int]] = {piece: [] for piece in range(count)}
    for one, other in links:
        partners[one].append(other)
        partners[other].append(one)
    groups, seen = [], set[int]()
    for piece in range(count):
        if piece not in seen:
            group = _group(piece, partners)
            seen.update(group.pieces)
            groups.append(group)
    return tuple(groups)


def free_curvatures(count: int, links: Iterable[Link]) -> int:
    """How many curvatures the pairings leave free: 0 when every face is forced flat.

    Example
    -------
    >>> free_curvatures(3, [(0, 1), (1, 2), (2, 0)]), free_curvatures(4, [(0, 1), (1, 2), (2, 3), (3, 0)])
    (0, 1)
    """
    return sum(1 for group in groups_of(count, links) if not group.odd_ring)


def _group(start: int, partners: dict[int, list[int]]) -> Group:
    """Walk outward from a piece, giving each the side opposite to that of the one it was reached from."""
    side, came_from, queue = {start: 0}, {start: start}, [start]
    ring: tuple[int, ...] = ()
    for piece in queue:
        for partner in partners[piece]:
            if partner not in side:
                side[partner], came_from[partner] = 1 - side[piece], piece
                queue.append(partner)
            elif side[partner] == side[piece] and not ring:
                ring = _ring(piece, partner, came_from)
    sides = () if ring else tuple(tuple(sorted(piece for piece in side if side[piece] == half)) for half in (0, 1))
    return Group(pieces=tuple(sorted(side)), sides=sides, odd_ring=ring)


def _ring(one: int, other: int, came_from: dict[int, int]) -> tuple[int, ...]:
    """The ring closed by a pairing of two pieces on one side: back from both to where their ways meet."""
    ways = []
    for piece in (one, other):
        way = [piece]
        while came_from[way[-1]] != way[-1]:
            way.append(came_from[way[-1]])
        ways.append(way)
    meet = next(piece for piece in ways[0] if piece in ways[1])
    first, second = (way[: way.index(meet)] for way in ways)
    return (*first, meet, *reversed(second))
