"""Heights along any line across a face, with their uncertainty: for a program, and as a short table for people."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from straightband.errors import BadInput
from straightband.heightmap.figures import profile, sample, without_tilt
from straightband.heightmap.map import HeightMap
from straightband.quantities import parse_coordinate_mm
from straightband.uncertainty import round_with_uncertainty

POINTS = 201  # on the line; every twentieth is told to people
STEP_TOLD = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """The two ends (u, v) of a straight line across a face."""

    start_mm: tuple[float, float]
    end_mm: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Along:
    """Heights along a line, piston and tilt of the face removed.

    Attributes
    ----------
    line
        Its ends.
    distance_mm, heights_nm, uncertainty_nm
        (n,) from its beginning; heights and their expanded uncertainty (95 %) are NaN outside the clear aperture.
    sign
        "known" or "unknown", as the map says.
    """

    line: Line
    distance_mm: NDArray
    heights_nm: NDArray
    uncertainty_nm: NDArray
    sign: str


def line_from_text(text: str) -> Line:
    """The line from `u1,v1,u2,v2`, each with its unit, like `0mm,-30mm,0mm,30mm`; raises BadInput."""
    parts = text.split(",")
    if len(parts) != 4:
        raise BadInput(
            found=f"the profile was given as '{text[:60]}'",
            needed="u and v of both ends of the line are needed, each with its unit",
            remedy="write them like 0mm,-30mm,0mm,30mm, with decimals after a point",
        )
    u1, v1, u2, v2 = (parse_coordinate_mm(part, what="an end of the profile") for part in parts)
    if (u1, v1) == (u2, v2):
        raise BadInput(
            found="both ends of the profile are the same place", needed="two places are needed", remedy="write them like 0mm,-30mm,0mm,30mm"
        )
    return Line(start_mm=(u1, v1), end_mm=(u2, v2))


def along(height_map: HeightMap, line: Line) -> Along:
    """Heights of a map along a line; raises BadInput where the line does not cross the clear aperture."""
    flat = without_tilt(height_map)
    distance, heights = profile(flat, start_mm=line.start_mm, end_mm=line.end_mm, count=POINTS)
    share = np.linspace(0.0, 1.0, POINTS)
    u, v = (first + share * (last - first) for first, last in zip(line.start_mm, line.end_mm, strict=True))
    if not np.isfinite(heights).any():
        clear = height_map.clear
        raise BadInput(
            found="the line of the profile does not cross the clear aperture",
            needed=f"places with u up to {clear.semi_u_mm:.4g} mm and v up to {clear.semi_v_mm:.4g} mm either way are needed",
            remedy="count them from the middle of the face, u along the minor axis and v along the major axis",
        )
    return Along(
        line=line,
        distance_mm=distance,
        heights_nm=heights,
        uncertainty_nm=sample(flat.uncertainty_nm, flat, u_mm=u, v_mm=v),
        sign=str(height_map.meta.get("sign", "unknown")),
    )


def profile_facts(found: Along) -> dict[str, Any]:
    """The profile as plain JSON values; what lies outside the clear aperture is no number."""
    return {
        "from_mm": list(found.line.start_mm),
        "to_mm": list(found.line.end_mm),
        "distance_mm": found.distance_mm.tolist(),
        "height_nm": _plain(found.heights_nm),
        "uncertainty_nm": _plain(found.uncertainty_nm),
    }


def _plain(values: NDArray) -> list[float | None]:
    return [float(value) if np.isfinite(value) else None for value in values]


def profile_lines(found: Along) -> tuple[str, ...]:
    """The profile for people: its ends, and the height at every tenth of its length."""
    (u1, v1), (u2, v2) = found.line.start_mm, found.line.end_mm
    either = "" if found.sign == "known" else "; or all of them the other way, for hill or hole is not known"
    told = range(0, POINTS, STEP_TOLD)
    return (
        f"Heights from u {u1:g} mm, v {v1:g} mm to u {u2:g} mm, v {v2:g} mm, tilt of the face removed, 95 %{either}:",
        *(f"  {found.distance_mm[k]:>8.2f} mm  {_height(found.heights_nm[k], found.uncertainty_nm[k]):>18}" for k in told),
    )


def _height(height_nm: float, uncertainty_nm: float) -> str:
    return round_with_uncertainty(height_nm, uncertainty_nm, unit="nm") if np.isfinite(height_nm) else "outside"
