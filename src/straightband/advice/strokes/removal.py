"""How fast a stroke takes glass off each place of the real outline.

A pitch lap that was pressed to the face bears all over, so it is taken as the elastic layer of `wear/contact.py` between two flats: pressure
is even under a lap that lies wholly on the face and rises toward the rim where one overhangs the other. Preston's equation does the rest.
What the shape of the face adds (a stiff lap bears harder on hills) is left out of the advice: it only helps, and what earlier runs taught holds
it in the mean.

Sources
-------
F. W. Preston, J. Soc. Glass Technol. 11, 214 (1927). Coefficient: cerium oxide on pitch has been reported from 1e-13 to 1.6e-12 per Pa, the
upper end for fused silica in an SPIE abstract of about 1990, the lower from memory; ours lies between, and a shop's own runs replace it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from straightband.advice.strokes.stroke import Stroke, Way
from straightband.wear.contact import places_of, press
from straightband.wear.kinematics import Motion, Poses, from_bottom, from_top, poses_of, relative_speed_mm_s
from straightband.wear.preston import removal_rate_um_min
from straightband.wear.surface import Surface

PRESTON_PER_PA = 4e-13  # geometric middle of the reported range
HAND_RPM = 3.0  # slow turning of the upper plate by the hands, common practice, no source
POSES_TURNING, POSES_STILL = 160, 80
_GOLDEN = (math.sqrt(5.0) - 1.0) / 2.0  # steps one more phase evenly


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """Mirror and lap in their poses.

    Attributes
    ----------
    poses
        Of the two plates.
    x_mm, y_mm
        (poses, cells) places of the mirror on the bench.
    away_mm
        (poses, cells) their distances from the middle of the lap.
    """

    poses: Poses
    x_mm: NDArray
    y_mm: NDArray
    away_mm: NDArray


def removal_nm_min(stroke: Stroke, *, surface: Surface, layer_kpa_um: float = 1.0, first: int = 0) -> NDArray:
    """Rate [v, u] on the cells of the mirror's whole face, at the default coefficient.

    Parameters
    ----------
    surface
        The face; a flat one for a lap that was pressed to it.
    layer_kpa_um
        Pressure for each um by which a place stands proud of the lap; makes no odds on a flat face.
    first
        Where in the row of poses to begin: another number draws others.

    Raises
    ------
    BadInput
        When the upper plate falls over.
    """
    u, v = np.meshgrid(surface.u_mm, surface.v_mm)
    on_face = surface.areas_mm2 > 0.0
    work = _placed(stroke, u_mm=u[on_face][None, :], v_mm=v[on_face][None, :], first=first)
    cell = math.sqrt((surface.u_mm[1] - surface.u_mm[0]) * (surface.v_mm[1] - surface.v_mm[0]))
    cover = np.clip((stroke.lap.diameter_mm / 2.0 - work.away_mm) / cell + 0.5, 0.0, 1.0)
    touched = np.any(cover > 0.0, axis=0)
    rate = np.zeros(surface.areas_mm2.shape)
    chosen = np.flatnonzero(on_face.ravel())[touched]
    x, y, cover = work.x_mm[:, touched], work.y_mm[:, touched], cover[:, touched]
    places = places_of(
        x_mm=x,
        y_mm=y,
        areas_mm2=surface.areas_mm2.ravel()[chosen] * cover,
        load_x_mm=work.poses.centre_x_mm,
        load_y_mm=work.poses.centre_y_mm,
    )
    proud = np.broadcast_to(surface.heights_um.ravel()[chosen], x.shape)
    contact = press(proud, places=places, stiffness_kpa_um=layer_kpa_um, force_n=stroke.lap.force_n)
    speed = relative_speed_mm_s(work.poses, x_mm=x, y_mm=y)
    depth = removal_rate_um_min(preston_per_pa=PRESTON_PER_PA, pressure_kpa=contact.pressure_kpa * cover, speed_mm_s=speed)
    rate.ravel()[chosen] = 1000.0 * depth.mean(axis=0)
    return rate


def _placed(stroke: Stroke, *, u_mm: NDArray, v_mm: NDArray, first: int) -> Work:
    """Mirror and lap at moments that stand for the whole run."""
    poses = poses_for(stroke, first=first)
    if stroke.way in (Way.TURNING, Way.STILL):
        x, y = from_bottom(poses, u_mm=u_mm, v_mm=v_mm)
        away = np.hypot(x - poses.centre_x_mm[:, None], y - poses.centre_y_mm[:, None])
    else:
        x, y = from_top(poses, u_mm=u_mm, v_mm=v_mm)
        away = np.hypot(x, y)
    return Work(poses=poses, x_mm=x, y_mm=y, away_mm=away)


def poses_for(stroke: Stroke, *, first: int = 0) -> Poses:
    """Moments of the stroke; the mirror is the lower plate where the lap is on top."""
    still = stroke.way is Way.STILL
    motion = Motion(
        spindle_rpm=stroke.table_rpm,
        top_rpm=0.0 if stroke.way is Way.MIRROR_HELD else HAND_RPM,
        stroke_mm=stroke.travel_mm,
        strokes_per_min=stroke.lap.strokes_per_min,
        side_mm=stroke.side_mm,
    )
    along = math.radians(stroke.along_deg)
    held = along if stroke.way is Way.MIRROR_HELD else 0.0
    count = POSES_STILL if still else POSES_TURNING
    poses = _swung(poses_of(motion, count=count, first=first, top_starts_rad=held), swing_mm=stroke.swing_mm, first=first)
    if not still:
        return poses
    # The bench's x runs along the stroke, so the face is laid with that direction along x.
    middle_x = stroke.u_mm * math.cos(along) + stroke.v_mm * math.sin(along)
    middle_y = stroke.v_mm * math.cos(along) - stroke.u_mm * math.sin(along)
    return replace(
        poses,
        bottom_rad=np.full_like(poses.bottom_rad, -along),
        centre_x_mm=poses.centre_x_mm + middle_x,
        centre_y_mm=poses.centre_y_mm + middle_y,
    )


def _swung(poses: Poses, *, swing_mm: float, first: int) -> Poses:
    """The line of the stroke goes across and back too, so slowly that its speed does not count."""
    phase = 2.0 * np.pi * (_GOLDEN * (first + np.arange(poses.centre_y_mm.size)) % 1.0)
    return replace(poses, centre_y_mm=poses.centre_y_mm + swing_mm / 2.0 * np.sin(phase))
