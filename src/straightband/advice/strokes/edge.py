"""What a stroke does to the rim, and how unevenly a turning table lets an ellipse wear."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from straightband.advice.strokes.library import Library
from straightband.face.shapes import Face
from straightband.heightmap.figures import EDGE_ZONE_MM, EDGE_ZONE_SHARE

RIM_FASTER, RIM_SLOWER = 1.15, 0.85  # of the inside: beyond, it is worth a word; our choice
_END = 0.8  # of a half axis: places beyond, along that axis, are its ends


@dataclass(frozen=True, slots=True, kw_only=True)
class Rim:
    """How a stroke wears the rim.

    Attributes
    ----------
    ratio
        Mean rate over the rim zone, over that inside it.
    ends_ratio
        Mean rate at the ends of the longer half axis, over that at the ends of the shorter one; 1 on a round face.
    """

    ratio: float
    ends_ratio: float


def rim_zone(face: Face, *, u_mm: NDArray, v_mm: NDArray) -> NDArray:
    """True in the zone that `Figures.edge_nm` calls the edge, of a clear aperture."""
    shorter = min(face.semi_u_mm, face.semi_v_mm)
    return np.asarray(face.normalised_radius(u_mm, v_mm) > 1.0 - min(EDGE_ZONE_MM, EDGE_ZONE_SHARE * shorter) / shorter)


def rim_of(wear: NDArray, *, library: Library, clear: Face) -> Rim:
    """The rim under some wear (n,) at the places of a library."""
    rim = rim_zone(clear, u_mm=library.u_mm, v_mm=library.v_mm)
    x, y = np.abs(library.u_mm) / clear.semi_u_mm, np.abs(library.v_mm) / clear.semi_v_mm
    ends_u, ends_v = (x > _END) & (y < 0.5), (y > _END) & (x < 0.5)
    longer, shorter = (ends_v, ends_u) if clear.semi_v_mm >= clear.semi_u_mm else (ends_u, ends_v)
    return Rim(ratio=_ratio(wear[rim], wear[~rim]), ends_ratio=_ratio(wear[longer], wear[shorter]))


def _ratio(one: NDArray, other: NDArray) -> float:
    below = float(np.mean(other)) if other.size else 0.0
    return float(np.mean(one)) / below if below > 0.0 and one.size else float("inf")
