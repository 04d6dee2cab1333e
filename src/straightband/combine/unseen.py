"""What the pairs of flats can't show, in words.

Sources
-------
Names of the low terms: R. J. Noll, J. Opt. Soc. Am. 66, 207-211 (1976), Table I. That a cycle of three leaves free what is odd across the mirrored
axis, and a turn by phi the orders m with m phi a whole number of turns: U. Griesmann, Appl. Opt. 45, 5856-5865 (2006); derived.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from straightband.combine.flats import FIRST, Solution
from straightband.face.polynomials import noll_to_nm
from straightband.face.shapes import Shape

LEAST_SHARE = 1e-3  # of a term's variance; less is rounding
_NAMES = {
    (2, 0): "power",
    (2, 2): "astigmatism along u and v",
    (2, -2): "astigmatism along the diagonals",
    (3, 1): "coma along u",
    (3, -1): "coma along v",
    (3, 3): "three lobes, one toward +u",
    (3, -3): "three lobes, one toward -v",
    (4, 0): "spherical error",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Unseen:
    """One term of one flat that the pairs do not fix.

    Attributes
    ----------
    name
        In words.
    order, lobes
        Radial order, and angular order: positive for cosine, negative for sine, counted from +u toward +v. Degrees in u and v on a rectangle.
    share
        How much of its variance is not seen, 0 to 1.
    """

    name: str
    order: int
    lobes: int
    share: float


def unseen_terms(solution: Solution) -> dict[str, tuple[Unseen, ...]]:
    """For each flat the terms that are not fixed."""
    hidden = np.diagonal(solution.unseen)
    found = {}
    for flat in solution.flats:
        square = flat.face.shape is Shape.RECTANGLE
        shares = hidden[solution.rows(flat.name)]
        found[flat.name] = tuple(
            _unseen(FIRST + 1 + k, float(share), square=square) for k, share in enumerate(shares) if share > LEAST_SHARE
        )
    return found


def _unseen(j: int, share: float, *, square: bool) -> Unseen:
    order, lobes = noll_to_nm(j)
    if square:
        in_v = j - 1 - order * (order + 1) // 2
        name = f"a wave of degree {order - in_v} in u and {in_v} in v"
        return Unseen(name=name, order=order, lobes=in_v, share=share)
    return Unseen(name=_NAMES.get((order, lobes)) or _name(order, lobes), order=order, lobes=lobes, share=share)


def _name(order: int, lobes: int) -> str:
    kind = "rings" if lobes == 0 else f"{abs(lobes)}-fold, {'cosine' if lobes > 0 else 'sine'}"
    return f"order {order}, {kind}"


def all_one_sided(solution: Solution) -> bool:
    """Whether everything that is not seen is odd in u: what a cycle of three flats leaves free."""
    terms = [term for each in unseen_terms(solution).values() for term in each]
    square = any(flat.face.shape is Shape.RECTANGLE for flat in solution.flats)
    odd = [((term.order - term.lobes) % 2 == 1) if square else _odd_in_u(term.lobes) for term in terms]
    return bool(terms) and all(odd)


def _odd_in_u(lobes: int) -> bool:
    return lobes % 2 == 1 if lobes > 0 else lobes < 0 and lobes % 2 == 0
