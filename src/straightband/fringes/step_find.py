"""The block's face found by itself: two straight, parallel edges at which the bands jump aside or, where they hardly do, a seam is seen.

One cue must stand at both edges: the bands jump, or they are weak all along a line. Where neither is seen nothing can be found: a step of
a whole number of bands without a visible seam is refused.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from straightband.errors import OutlineNotFound
from straightband.fringes.step_cells import BlockFace, Margins
from straightband.fringes.step_edges import Edges, find_edges, kept_uncut
from straightband.fringes.step_field import COLUMNS, GROUPS, ROWS, Field, bands_along, by_groups, centred, lit_field
from straightband.fringes.step_seams import Seams, depth_down, seams_of

LEAST_GAIN = 0.03  # of the whole tone
LEAST_JUMP = 0.05  # bands, right at each edge
LEAST_SEAM = 6.2  # strength: 7.5 and more on real edges that hardly jump, by chance 5.2 at most, on real and drawn photographs
LEAST_KEPT = 0.8  # of the tone: real photographs keep 0.92 and more
WINDOW, STAND_OFF = 0.14, 0.13  # of the block's width: where the phase is taken beside an edge, clear of its blur
TILTS, BOWS = np.arange(-1.0, 1.01, 0.05), np.arange(-0.5, 0.51, 0.25)  # of block against platen, bands over half the field
SEAM_REACH = 2  # columns from the edge
SEAM_SAYS = 0.1  # of a row that the phase is sure of
LIKE_BLOCK = 0.03  # a row that tells nothing counts for the block
FOUND_STANDARD = 0.15  # of half the face: the largest miss of its middle on real photographs
FOUND_MARGINS = Margins(inside=0.14, outside=0.14, ends=0.05)


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What speaks for the two edges found.

    Attributes
    ----------
    gain
        Share of the tone kept by block and platen apart, over what one face keeps.
    jumps
        (2,) size of the jump at the left and the right edge, in bands.
    seams
        (2,) strength of the seam at each edge: how sure it is in standard errors, and how deep.
    """

    gain: float
    jumps: NDArray
    seams: NDArray

    @property
    def jumps_seen(self) -> bool:
        """True if the bands jump at both edges, or at one that the other's seam goes with."""
        return bool(self.gain > LEAST_GAIN and np.all((self.jumps > LEAST_JUMP) | (self.seams > LEAST_SEAM)))

    @property
    def seams_seen(self) -> bool:
        """True if a seam is seen at both edges."""
        return bool(np.all(self.seams > LEAST_SEAM))


def find_block(light: NDArray) -> BlockFace:
    """The block's face in a picture [row, column] of linear light; raises OutlineNotFound where neither jump nor seam shows."""
    field = lit_field(light)
    if field is None:
        raise _not_found()
    edges = find_edges(field)
    seen = evidence(edges)
    if edges.kept < LEAST_KEPT or not (seen.jumps_seen or seen.seams_seen):
        raise _not_found()
    top, bottom = _find_ends(field, edges)
    return _face(field, edges, top=top, bottom=bottom)


def _not_found() -> OutlineNotFound:
    return OutlineNotFound(
        found="the bands show no clear jump or seam at two straight edges, so the block's face can't be found",
        needed="its corners are needed",
        remedy="give --corners with its top-left, bottom-left and bottom-right corner, in pixels of the upright photograph",
    )


def evidence(edges: Edges) -> Evidence:
    """What speaks for these edges."""
    seams = seams_of(edges.lines)
    return Evidence(
        gain=edges.kept - kept_uncut(edges.lines),
        jumps=_jumps(edges),
        seams=np.array([seams.strength[_seam_at(seams, edge)] for edge in (edges.left, edges.right)]),
    )


def _seam_at(seams: Seams, edge: int) -> int:
    """Column of the strongest seam at an edge."""
    return edge - SEAM_REACH + int(np.argmax(seams.strength[edge - SEAM_REACH : edge + SEAM_REACH + 1]))


def _place(edges: Edges) -> NDArray:
    """(COLUMNS,) position between the edges, 0 at the left and 1 at the right one."""
    return (np.arange(COLUMNS) + 0.5 - edges.left) / (edges.right - edges.left)


def _jumps(edges: Edges) -> NDArray:
    """(2,) size of the jump close by the left and the right edge, in bands, without its sign.

    What the phase changes on either side of the edge over a like distance is taken off: a tilt or a bow is no jump. It is taken for each
    group of rows, since a block that is tilted along its length jumps the one way above and the other way below.
    """
    found = []
    for edge, inward in ((0.0, 1.0), (1.0, -1.0)):
        inner, outer = edge + inward * STAND_OFF, edge - inward * STAND_OFF
        spots = np.array([_near(edges, spot) for spot in (inner + inward * WINDOW, inner, outer, outer - inward * WINDOW)])
        lit = np.all(np.abs(spots) > 0.0, axis=0)
        ahead = np.angle(spots[:-1] * np.conj(spots[1:])) / (2.0 * np.pi)
        jump = ahead[1] - STAND_OFF / WINDOW * (ahead[0] + ahead[2])
        enough = 2 * np.count_nonzero(lit) > lit.size  # else it lies too near the field's rim to tell
        found.append(float(np.arccos(np.mean(np.cos(2.0 * np.pi * jump[lit])))) / (2.0 * np.pi) if enough else 0.0)
    return np.array(found)


def _near(edges: Edges, spot: float) -> NDArray:
    """(group,) sums of the phasors around a place between the edges; 0 where less than the half of it is lit."""
    near = by_groups(edges.lines.phasor[:, np.abs(_place(edges) - spot) < WINDOW / 2])
    lit = by_groups(np.abs(edges.lines.phasor[:, np.abs(_place(edges) - spot) < WINDOW / 2]) > 0.0)
    half = 0.5 * WINDOW * (edges.right - edges.left) * ROWS / GROUPS
    return np.where(lit.sum(axis=1) > half, near.sum(axis=1), 0.0)


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
