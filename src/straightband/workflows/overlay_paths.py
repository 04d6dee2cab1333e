"""Outline and dark bands of a reading as paths to be drawn over the photograph."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from straightband.plots.sketch import path_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Overlay:
    """Paths in pixels of the upright photograph.

    Attributes
    ----------
    width_px, height_px
        Of the photograph.
    outline
        The face as found or told.
    dark
        The dark bands as read.
    stroke
        How thick lines must be there to be seen here.
    window
        Left, top, width and height of what is worth seeing, with room around the face.
    """

    width_px: int
    height_px: int
    outline: str
    dark: tuple[str, ...]
    stroke: str
    window: str


RIM_POINTS = 120
ROOM = 0.08  # of the larger extent, left around the face


def overlay_of(drawing: dict[str, Any]) -> Overlay | None:
    """The paths of a reading; None where nothing was kept to draw."""
    if not drawing:
        return None
    width, height = drawing["size_px"]
    xs, ys = zip(*drawing["outline"], strict=True)
    room = ROOM * max(max(xs) - min(xs), max(ys) - min(ys))
    left, top = max(0.0, min(xs) - room), max(0.0, min(ys) - room)
    right, bottom = min(float(width), max(xs) + room), min(float(height), max(ys) + room)
    return Overlay(
        width_px=width,
        height_px=height,
        outline=path_of(drawing["outline"]) + "Z",
        dark=tuple(path_of(line) for line in drawing["dark"]),
        stroke=f"{(right - left) / 250.0:.1f}",
        window=f"{left:.0f} {top:.0f} {right - left:.0f} {bottom - top:.0f}",
    )


def ellipse_points(*, cx: float, cy: float, semi_major: float, semi_minor: float, angle_deg: float) -> list[tuple[float, float]]:
    """Points of an outline in pixels; the angle of the major axis is from right toward down."""
    turn = math.radians(angle_deg)
    places = [2.0 * math.pi * k / RIM_POINTS for k in range(RIM_POINTS)]
    return [
        (
            cx + semi_major * math.cos(t) * math.cos(turn) - semi_minor * math.sin(t) * math.sin(turn),
            cy + semi_major * math.cos(t) * math.sin(turn) + semi_minor * math.sin(t) * math.cos(turn),
        )
        for t in places
    ]
