"""A stack: hundreds of frames of one face with nothing touched between them, read one by one and averaged, the odd ones dropped.

Heights are averaged and not pictures, for the gap breathes by a good part of a band while the figure stays. Frames that follow each other err alike, so
what the mean is worth is judged by the means of blocks of frames, not by single frames.

Sources
-------
Means of blocks of a correlated series: H. Flyvbjerg, H. G. Petersen, Error estimates on averages of correlated data, J. Chem. Phys. 91, 461 (1989).
Median absolute deviation, 1.4826 of it for a normal spread: F. R. Hampel, J. Am. Stat. Assoc. 69, 383-393 (1974).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import Executor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from straightband import provenance
from straightband.errors import BandsUnreadable, StraightbandError
from straightband.fringes.budget import Cause, expanded_at_cells
from straightband.fringes.repeat import aligned, repeat
from straightband.heightmap.map import HeightMap
from straightband.workflows.copies import without_copies
from straightband.workflows.many import run_many
from straightband.workflows.minus import Lying, Shown, alone, refuse_without_sign
from straightband.workflows.read import Reading, Setup, cell_means, lying, read_heights, read_photo, rebuilt

FEWEST = 3  # frames, below which nothing can be called odd
ODD = 5.0  # normal spreads from the median distance, beyond which a frame is dropped; of a thousand good ones hardly one
LEAST_SPREAD_NM = 0.05  # below which frames do not differ by anything that matters
BLOCKS = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """A frame to be read.

    Attributes
    ----------
    name, data
        Of the file.
    setup
        As for a photograph.
    """

    name: str
    data: bytes
    setup: Setup


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameReading:
    """What is kept of a frame.

    Attributes
    ----------
    source
        The file.
    heights_nm
        [v, u] single precision, in the photograph's own frame; empty where the frame was refused.
    refused
        Why, or nothing.
    flags
        Its doubts.
    """

    source: provenance.Source
    heights_nm: NDArray
    refused: str
    flags: tuple[str, ...]


def read_frame(frame: Frame) -> FrameReading:
    """One frame read, or why it can't be; for a worker, which can't raise."""
    source = provenance.source_of(frame.name, frame.data)
    try:
        found = read_heights(frame.data, name=frame.name, setup=frame.setup)
    except StraightbandError as reason:
        return _refused(source, reason)
    return _kept(source, flat=found.flat, flags=found.flags)


def _refused(source: provenance.Source, reason: StraightbandError) -> FrameReading:
    return FrameReading(source=source, heights_nm=np.zeros((0, 0), dtype=np.float32), refused=str(reason), flags=())


def _kept(source: provenance.Source, *, flat: HeightMap, flags: tuple[str, ...]) -> FrameReading:
    return FrameReading(source=source, heights_nm=flat.heights_nm.astype(np.float32), refused="", flags=flags)


def read_stack(
    frames: Iterable[tuple[str, bytes]],
    *,
    setup: Setup,
    reference: HeightMap | None,
    executor: Executor,
    workers: int,
    tell: Callable[[int], None],
    film: provenance.Source | None = None,
) -> Reading:
    """The mean of all frames, the odd ones dropped; raises a StraightbandError where too few can be read.

    Parameters
    ----------
    frames
        Names without folder, and bytes; taken as they are needed.
    setup, reference
        As for a photograph.
    executor, workers
        Who does the work, and how many.
    tell
        Called with the number of frames done.
    film
        The file they come from, if they are not files themselves.
    """
    # frames of a film may well be alike: where nothing moved, it stores none anew
    source = iter(frames) if film is not None else without_copies(frames)
    opening = next(source, None)
    if opening is None:
        raise _too_few([])
    # The first is read here, in full, for its picture, its phase and its causes; of the others only heights are needed.
    name, data = opening
    origin = provenance.source_of(name, data)
    try:
        whole = read_photo(data, name=name, setup=setup)
    except StraightbandError as reason:
        raise _too_few([_refused(origin, reason)]) from None
    if reference is not None:
        refuse_without_sign(known=whole.sign == "known", flags=whole.flags)  # before hours are spent on the others
    found = [_kept(origin, flat=whole.flat, flags=whole.flags)]
    tell(len(found))
    alike = replace(setup, clear_margin=whole.flat.clear_margin, margin_told=True)
    jobs = (Frame(name=name, data=data, setup=alike) for name, data in source)
    for each in run_many(read_frame, jobs, executor=executor, workers=workers):
        found.append(each)
        tell(len(found))
    good = [each for each in found if not each.refused]
    if len(good) < FEWEST:
        raise _too_few(found)
    return mean_of_frames(whole, good, dropped=len(found) - len(good), film=film, on=lying(setup, reference=reference))


def _too_few(found: list[FrameReading]) -> BandsUnreadable:
    reason = next((each.refused for each in found if each.refused), "there are no more")
    return BandsUnreadable(
        found=f"of {len(found)} frames {sum(not each.refused for each in found)} could be read (the first that could not: {reason.rstrip('.')})",
        needed=f"{FEWEST} at least, and the first of all, are needed",
        remedy="check lamp, focus and contact, and film it again",
    )


def mean_of_frames(
    whole: Reading, frames: list[FrameReading], *, dropped: int, film: provenance.Source | None, on: Lying | None = None
) -> Reading:
    """The whole reading of one frame with the mean map of all, less the reference they lay `on`; `dropped` frames were refused already."""
    base, points = whole.flat.heights_nm, whole.phase.points
    heights = np.stack([each.heights_nm if whole.sign == "known" else aligned(each.heights_nm, to_nm=base) for each in frames])
    kept = even_frames(heights)
    good = [each for each, even in zip(frames, kept, strict=True) if even]
    sources = (film,) if film is not None else tuple(each.source for each in good)
    flags = dict.fromkeys(flag for each in good for flag in each.flags)
    if dropped or len(good) < len(frames):
        flags["frames-dropped"] = None
    told = {
        "photographs": [{"name": each.name, "sha256": each.sha256} for each in sources],
        "frames": {"read": len(frames) + dropped, "averaged": len(good)},
    }
    mean = replace(whole.flat, heights_nm=heights[kept].mean(axis=0, dtype=np.float64), meta=whole.flat.meta | told)
    pair = Shown(flat=mean, causes=_of_many(whole.causes, count=len(good)), flags=tuple(flags))
    shown = alone(pair, on, phase=whole.phase, known=whole.sign == "known")
    blocks = np.array_split(np.flatnonzero(kept), min(BLOCKS, len(good)))
    cells = np.stack([cell_means(heights[block].mean(axis=0, dtype=np.float64), whole.phase) for block in blocks])
    scatter = replace(
        repeat(points, cells, beside_nm=expanded_at_cells(shown.causes, points=points)),
        origin=f"scatter of {len(blocks)} blocks of {len(good)} frames",
    )
    return rebuilt(replace(whole, sources=sources), replace(shown, causes=(*shown.causes, scatter)))


def _of_many(causes: tuple[Cause, ...], *, count: int) -> tuple[Cause, ...]:
    """The causes of one frame as they are in the mean of many: noise falls with the root of their number, and the scatter is not among them."""
    kept = (cause for cause in causes if cause.name != "repeat")
    return tuple(
        replace(cause, draws_nm=cause.draws_nm / np.sqrt(count), origin=f"{cause.origin}; {count} frames")
        if cause.name == "fit noise"
        else cause
        for cause in kept
    )


def even_frames(heights_nm: NDArray) -> NDArray:
    """(n,) True for frames (n, v, u) whose distance from the median of all is like that of the others."""
    inside = np.isfinite(heights_nm).all(axis=0)
    flat = heights_nm[:, inside]
    distance = np.sqrt(np.mean((flat - np.median(flat, axis=0)) ** 2, axis=1, dtype=np.float64))
    middle = np.median(distance)
    spread = max(1.4826 * float(np.median(np.abs(distance - middle))), LEAST_SPREAD_NM)
    return distance <= middle + ODD * spread
