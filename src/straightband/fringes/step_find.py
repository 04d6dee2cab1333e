"""The block's face found by itself: two straight, parallel edges at which the bands jump aside or, where they hardly do, a seam is seen.

Two pairs of lines are weighed: the one that cuts the field best into two faces, and the one at which the bands change most alike close by. One
cue must stand at both edges: the bands jump, or they are weak all along a line. A step of a whole number of bands without a visible seam is refused.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from straightband.errors import OutlineNotFound
from straightband.fringes.step_cells import BlockFace, Margins
from straightband.fringes.step_edges import Edges, cut_at, find_edges, lost_with_fewer
from straightband.fringes.step_field import COLUMNS, ROWS, Field, bands_along, centred, lines_of, lit_field
from straightband.fringes.step_pairs import Pair, Told, find_pair, pair_near, seams_near, tell
from straightband.fringes.step_seams import Seams, depth_down, seams_of

LEAST_JUMP, LEAST_LOSS = 5.0, 0.25  # odds of the weaker edge, and loss without it: where no block shows 0.03 from odds of 5 up
SURE_JUMP, SURE_LOSS = 13.5, -0.2  # one face that bends as the jumps would make it may lose as little; the odds were 11.9 at most by chance
LOSS_WEIGHT = 15.0  # of what is lost against the odds: readings in a picture that are independent of each other
LEAST_SEAM = 6.2  # strength: 7.5 and more on real edges that hardly jump, by chance 5.2 at most, on real and drawn photographs
LEAST_SEAM_ODDS = 6.0  # of loss of contrast and of light together: 6.5 and more on real edges
LEAST_KEPT = 0.8  # of the tone: real photographs keep 0.92 and more
TILTS, BOWS = np.arange(-1.0, 1.01, 0.05), np.arange(-0.5, 0.51, 0.25)  # of block against platen, bands over half the field
SEAM_REACH = 2  # columns from the edge
SEAM_SAYS = 0.1  # of a row that the phase is sure of
LIKE_BLOCK = 0.03  # a row that tells nothing counts for the block
FOUND_STANDARD = 0.15  # of half the face: the largest miss of its middle on real photographs
FOUND_MARGINS = Margins(inside=0.14, outside=0.14, ends=0.05)


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What speaks for two edges.

    Attributes
    ----------
    edges
        Where they are.
    pair
        The jumps there or close by.
    loss
        Logarithm by how much more of the tone is lost with fewer edges.
    seams
        (2,) strength of the seam at each edge: how sure it is in standard errors, and how deep.
    seam_odds
        (2,) what loss of contrast and of light near each edge say together.
    """

    edges: Edges
    pair: Pair
    loss: float
    seams: NDArray
    seam_odds: NDArray

    @property
    def jumps_seen(self) -> bool:
        """True if the bands jump at both edges, and neither edge alone explains the picture."""
        weaker = self.pair.weaker
        return (weaker > LEAST_JUMP and self.loss > LEAST_LOSS) or (weaker > SURE_JUMP and self.loss > SURE_LOSS)

    @property
    def seams_seen(self) -> bool:
        """True if a seam is seen at both edges."""
        return bool(np.all(self.seams > LEAST_SEAM) and np.all(self.seam_odds > LEAST_SEAM_ODDS))

    @property
    def weight(self) -> float:
        """How likely the pair is beside others."""
        return self.pair.strength + LOSS_WEIGHT * self.loss


def find_block(light: NDArray) -> BlockFace:
    """The block's face in a picture [row, column] of linear light; raises OutlineNotFound where neither jump nor seam shows."""
    field = lit_field(light)
    if field is None:
        raise _not_found()
    seen = [each for each in evidence(field) if each.edges.kept > LEAST_KEPT and (each.jumps_seen or each.seams_seen)]
    if not seen:
        raise _not_found()
    best = max(seen, key=_rank)
    top, bottom = _find_ends(field, best.edges)
    return replace(_face(field, best.edges, top=top, bottom=bottom), faint=not best.jumps_seen)


def _rank(seen: Evidence) -> tuple[bool, float]:
    """Seams count where nothing jumps."""
    return seen.jumps_seen, seen.weight


def evidence(field: Field) -> tuple[Evidence, Evidence]:
    """What speaks for the pair that cuts the field best, and for the pair at which the bands jump best close by."""
    told = tell(field)
    cut = find_edges(field)
    pair = find_pair(told)
    beside = pair_near(told, lean=cut.lines.lean, near=(cut.left, cut.right))
    at_pair = cut_at(lines_of(field, lean=pair.lean), left=pair.left, right=pair.right)
    return _seen(told, cut, beside), _seen(told, at_pair, pair)


def _seen(told: Told, edges: Edges, pair: Pair) -> Evidence:
    seams = seams_of(edges.lines)
    ends = edges.left, edges.right
    return Evidence(
        edges=edges,
        pair=pair,
        loss=lost_with_fewer(edges),
        seams=np.array([seams.strength[_seam_at(seams, edge)] for edge in ends]),
        seam_odds=seams_near(told, lean=edges.lines.lean, near=ends),
    )


def _not_found() -> OutlineNotFound:
    return OutlineNotFound(
        found="the bands show no clear jump or seam at two straight edges, so the block's face can't be found",
        needed="its corners are needed",
        remedy="give --corners with its top-left, bottom-left and bottom-right corner, in pixels of the upright photograph",
    )


def _seam_at(seams: Seams, edge: int) -> int:
    """Column of the strongest seam at an edge."""
    return edge - SEAM_REACH + int(np.argmax(seams.strength[edge - SEAM_REACH : edge + SEAM_REACH + 1]))


def _place(edges: Edges) -> NDArray:
    """(COLUMNS,) position between the edges, 0 at the left and 1 at the right one."""
    return (np.arange(COLUMNS) + 0.5 - edges.left) / (edges.right - edges.left)


def _find_ends(field: Field, edges: Edges) -> tuple[int, int]:
    """Rows where the bands in the middle stop being those of the block and begin to be those of the platen, and the seams end."""
    third = ROWS // 3
    telling = _like_block(field, edges) + _seams_go_on(edges) + LIKE_BLOCK * (edges.lines.contrast > 0.0).any(axis=1)
    running = np.concatenate([[0.0], np.cumsum(telling)])
    return int(np.argmin(running[:third])), ROWS - third + int(np.argmax(running[-third - 1 :]))


def _like_block(field: Field, edges: Edges) -> NDArray:
    """(ROWS,) by how much nearer the bands between the edges are to the block's than to the platen's: above 0 on the block, below off it.

    The block's phase is carried up and down from the middle third. The bands are taken without blur, which would hide a narrow strip of platen.
    """
    place, phasor = _place(edges), edges.lines.phasor
    between, beside = (place > 0.08) & (place < 0.92), (place < -0.08) | (place > 1.08)
    sides = (phasor * edges.platen.against)[:, beside].sum(axis=1)
    sides = sides / np.maximum(np.abs(sides), 1e-12)
    ahead = (phasor * edges.block.against)[:, between].sum(axis=1) * np.conj(sides)
    down, third = centred(ROWS), ROWS // 3
    forms = np.array([np.exp(-2j * np.pi * (tilt * down + bow * down**2)) for tilt in TILTS for bow in BOWS])
    sums = (forms * ahead)[:, third:-third].sum(axis=1)
    best = int(np.argmax(np.abs(sums)))
    step = np.conj(forms[best]) * sums[best] / max(abs(sums[best]), 1e-12)
    bands, tone = bands_along(field, lean=edges.lines.lean)
    platen = np.real(tone * sides[:, None] * np.conj(edges.platen.against))[:, between]
    block = np.real(tone * (sides * step)[:, None] * np.conj(edges.block.against))[:, between]
    contrast = 2.0 * edges.lines.contrast[:, between].mean(axis=1, keepdims=True)
    swing = bands[:, between] / np.maximum(contrast, 0.3 * float(np.median(contrast)) + 1e-12)
    return (2.0 * swing * (block - platen) - block**2 + platen**2).mean(axis=1)  # |swing - platen|^2 - |swing - block|^2


def _seams_go_on(edges: Edges) -> NDArray:
    """(ROWS,) above 0 where a seam goes on as half-way up, below where it has ended; 0 throughout for an edge without one."""
    seams, third = seams_of(edges.lines), ROWS // 3
    found = np.zeros(ROWS)
    for edge in (edges.left, edges.right):
        column = _seam_at(seams, edge)
        if seams.strength[column] > LEAST_SEAM:
            depth = depth_down(edges.lines, seams, column=column)
            usual = max(float(np.median(depth[third:-third])), 1e-3)
            found += SEAM_SAYS * np.clip(2.0 * depth / usual - 1.0, -1.0, 1.0)
    return found


def _face(field: Field, edges: Edges, *, top: int, bottom: int) -> BlockFace:
    lean = edges.lines.lean
    half_width = (edges.right - edges.left) / 2.0 * field.scale[0]
    half_height = (bottom - top) / 2.0 * field.scale[1]
    down = ((top + bottom) / 2.0 - ROWS / 2.0) * field.scale[1]  # of the face's middle under the field's
    middle = (edges.left + edges.right) / 2.0 * field.scale[0] + lean * down
    return BlockFace(
        centre=(field.corner[0] + middle - 0.5, field.corner[1] + ROWS / 2.0 * field.scale[1] + down - 0.5),
        # A face is square at its corners, so the end leans as much as the sides do.
        half_across=(half_width, -lean * half_width),
        half_down=(lean * half_height, half_height),
        standard=FOUND_STANDARD,
    )
