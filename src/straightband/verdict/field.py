"""Strehl over the field: for each field radius the worst of several directions, each through its own footprint on the mirror."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from straightband.errors import BadInput
from straightband.face.shapes import Face
from straightband.heightmap.map import HeightMap
from straightband.telescope.light_cone import Footprint, Pupil, footprint, pupil_points, turned
from straightband.telescope.telescope import Mounting, Telescope, WideEnd
from straightband.verdict.alternatives import Alternatives, expanded_loss, expanded_spread
from straightband.verdict.strehl import best_focus_strehl, exponential_strehl, refocused
from straightband.verdict.wavefront import continued, continued_heights, wavefront_nm

DIRECTIONS = 8  # field points per radius, every 45 degrees
PLACE_UNCERTAINTY_MM = 2.0  # 95 %, of the mirror's centre in the tube, along each axis of the face; common practice, no source
# A ring of rays every half millimetre on a 50 mm footprint; spokes as close at its rim.
_RINGS, _SPOKES = 48, 160
# For spreads: only differences are used, and they are smooth. Half the Strehl of 0.05 mm wide detail is not at stake here.
_COARSE_RINGS, _COARSE_SPOKES = 16, 48
_LEAST_LIT = 0.1  # share of the beam below which there is no star to judge


@dataclass(frozen=True, slots=True, kw_only=True)
class Sight:
    """A mirror in its telescope, ready to be looked at star by star.

    Attributes
    ----------
    telescope, offset_mm, wide_end
        The telescope and how the mirror sits in it.
    grid
        The `continued` map.
    alternatives_nm
        (k, v, u) on the same grid: maps that could be true as well.
    drawn
        Whether these are random draws.
    wavelength_nm
        Of the light the Strehl is stated for.
    """

    telescope: Telescope
    offset_mm: float
    wide_end: WideEnd
    grid: HeightMap
    alternatives_nm: NDArray
    drawn: bool
    wavelength_nm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldStrehl:
    """What stars at one field radius get, in the worst direction.

    Attributes
    ----------
    field_radius_mm
        Distance of the image from the centre of the field.
    strehl, uncertainty
        Strehl by the pupil integral at best focus, and its expanded uncertainty (95 %).
    azimuth_deg
        Direction of the worst image point in the field before folding, from u toward the focuser.
    wavefront_rms_nm, wavefront_rms_uncertainty_nm, wavefront_pv_nm
        Of the refocused wavefront in that direction.
    map_uncertainty_nm, place_uncertainty_nm
        The two parts of that uncertainty: the map, and where the mirror stands in the tube.
    exponential_strehl
        exp(-(2 pi rms / lambda)^2), a cross-check.
    lit_fraction
        Share of the beam that falls on the clear aperture, least over the directions.
    missing_fraction
        Share of the beam that falls on the clear aperture where the map has no height, largest over the directions.
    """

    field_radius_mm: float
    strehl: float
    uncertainty: float
    azimuth_deg: float
    wavefront_rms_nm: float
    wavefront_rms_uncertainty_nm: float
    wavefront_pv_nm: float
    map_uncertainty_nm: float
    place_uncertainty_nm: float
    exponential_strehl: float
    lit_fraction: float
    missing_fraction: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Look:
    """One direction: its rays, which of them count, and what they make of the measured map."""

    azimuth_deg: float
    rays: Footprint
    pupil: Pupil
    waves_nm: NDArray
    lit_fraction: float
    missing_fraction: float


def sight(height_map: HeightMap, *, alternatives: Alternatives, telescope: Telescope, mounting: Mounting, wavelength_nm: float) -> Sight:
    """A mirror in its telescope, with everything that every star needs done once; offset and way round must be decided."""
    if mounting.offset_mm is None or mounting.wide_end is None:
        raise BadInput(
            found="the offset or the way round of the mirror is open",
            needed="both are needed to follow light to the glass",
            remedy="give an offset and which end goes toward the primary",
        )
    return Sight(
        telescope=telescope,
        offset_mm=mounting.offset_mm,
        wide_end=mounting.wide_end,
        grid=continued(height_map),
        alternatives_nm=continued_heights(alternatives.heights_nm, height_map=height_map),
        drawn=alternatives.drawn,
        wavelength_nm=wavelength_nm,
    )


def axial_share_on(face: Face, *, telescope: Telescope, offset_mm: float) -> float:
    """Share of the light of a star on the axis that meets the whole face, bevel included, whichever way round it stands."""
    pupil = pupil_points(rings=_RINGS, spokes=_SPOKES, obstruction_ratio=telescope.obstruction_ratio)
    rays = footprint(telescope, pupil=pupil, field_mm=(0.0, 0.0), offset_mm=offset_mm)
    return float(pupil.weights[face.contains(rays.u_mm, rays.v_mm)].sum() / pupil.weights.sum())


def strehl_at(seen: Sight, *, field_radius_mm: float) -> FieldStrehl:
    """Strehl at one field radius; raises BadInput when hardly any light reaches it by this mirror."""
    fine = _looks(seen, field_radius_mm=field_radius_mm, rings=_RINGS, spokes=_SPOKES)
    strehls = [_strehl(seen, look.waves_nm, look.pupil)[0] for look in fine]
    worst = int(np.argmin(strehls))
    look = fine[worst]
    residual = refocused(look.waves_nm, pupil=look.pupil)
    rms_nm = float(_rms(residual, look.pupil)[0])
    doubt = _doubt(seen, field_radius_mm=field_radius_mm, worst=worst)
    return FieldStrehl(
        field_radius_mm=field_radius_mm,
        strehl=float(strehls[worst]),
        uncertainty=math.hypot(doubt.map_strehl, doubt.place_strehl),
        azimuth_deg=look.azimuth_deg,
        wavefront_rms_nm=rms_nm,
        wavefront_rms_uncertainty_nm=math.hypot(doubt.map_nm, doubt.place_nm),
        wavefront_pv_nm=float(np.ptp(residual)),
        map_uncertainty_nm=doubt.map_nm,
        place_uncertainty_nm=doubt.place_nm,
        exponential_strehl=exponential_strehl(rms_nm, wavelength_nm=seen.wavelength_nm),
        lit_fraction=min(each.lit_fraction for each in fine),
        missing_fraction=max(each.missing_fraction for each in fine),
    )


def _strehl(seen: Sight, waves_nm: NDArray, pupil: Pupil) -> NDArray:
    return best_focus_strehl(waves_nm, pupil=pupil, wavelength_nm=seen.wavelength_nm)


def _rms(residual_nm: NDArray, pupil: Pupil) -> NDArray:
    return np.sqrt(residual_nm**2 @ pupil.weights / pupil.weights.sum())


def _looks(seen: Sight, *, field_radius_mm: float, rings: int, spokes: int) -> list[_Look]:
    """Every direction at one field radius, and both ways round when it is not known which end is which."""
    pupil = pupil_points(rings=rings, spokes=spokes, obstruction_ratio=seen.telescope.obstruction_ratio)
    looks = []
    for k in range(DIRECTIONS if field_radius_mm > 0.0 else 1):
        angle = 2.0 * math.pi * k / DIRECTIONS
        point = (field_radius_mm * math.cos(angle), field_radius_mm * math.sin(angle))
        rays = footprint(seen.telescope, pupil=pupil, field_mm=point, offset_mm=seen.offset_mm)
        if seen.wide_end is not WideEnd.MINUS_V:
            looks.append(_look(seen, rays, pupil=pupil, azimuth_deg=math.degrees(angle)))
        if seen.wide_end is not WideEnd.PLUS_V:
            looks.append(_look(seen, turned(rays), pupil=pupil, azimuth_deg=math.degrees(angle)))
    return looks


def _look(seen: Sight, rays: Footprint, *, pupil: Pupil, azimuth_deg: float) -> _Look:
    waves = wavefront_nm(seen.grid.heights_nm, grid=seen.grid, rays=rays)
    on_glass = seen.grid.clear.contains(rays.u_mm, rays.v_mm)
    known = np.isfinite(waves)
    total = pupil.weights.sum()
    lit, seen_share = pupil.weights[on_glass].sum() / total, pupil.weights[known].sum() / total
    if seen_share < _LEAST_LIT:
        raise BadInput(
            found=f"{seen_share:.0%} of a star's light falls on glass that the map knows",
            needed=f"at least {_LEAST_LIT:.0%} is needed to speak of an image",
            remedy="check the intercept, the offset and the size of the mirror, or ask for a smaller field",
        )
    kept = Pupil(x=pupil.x[known], y=pupil.y[known], weights=pupil.weights[known])
    rays = Footprint(u_mm=rays.u_mm[known], v_mm=rays.v_mm[known], cos_incidence=rays.cos_incidence[known])
    return _Look(
        azimuth_deg=azimuth_deg,
        rays=rays,
        pupil=kept,
        waves_nm=waves[None, known],
        lit_fraction=float(lit),
        missing_fraction=float(lit - seen_share),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Doubt:
    """Expanded uncertainties (95 %) of a Strehl and of its wavefront rms, from the map and from the mirror's place."""

    map_strehl: float
    map_nm: float
    place_strehl: float
    place_nm: float


def _doubt(seen: Sight, *, field_radius_mm: float, worst: int) -> _Doubt:
    coarse = _looks(seen, field_radius_mm=field_radius_mm, rings=_COARSE_RINGS, spokes=_COARSE_SPOKES)
    measured = np.array([_both(seen, look, look.waves_nm)[:, 0] for look in coarse])
    # Over the directions first: the worst direction of another map may be another one.
    waves = [_tried_waves(seen, look) for look in coarse]
    tried = np.array([_both(seen, look, each) for look, each in zip(coarse, waves, strict=True)])
    if seen.drawn:
        mirrored = np.array([_strehl(seen, 2.0 * look.waves_nm - each, look.pupil) for look, each in zip(coarse, waves, strict=True)])
        map_strehl = expanded_loss(1.0 - measured[:, 0].min(), 1.0 - tried[:, 0].min(axis=0), mirrored=1.0 - mirrored.min(axis=0))
    else:
        map_strehl = float(expanded_spread(measured[:, 0].min(), tried[:, 0].min(axis=0), drawn=False))
    map_nm = expanded_spread(measured[worst, 1], tried[worst, 1], drawn=seen.drawn)
    moved = np.array([_moved(seen, look) for look in coarse])
    place_strehl = _of_place(moved[..., 0].min(axis=0) - measured[:, 0].min())
    place_nm = _of_place(moved[worst, ..., 1] - measured[worst, 1])
    return _Doubt(map_strehl=map_strehl, map_nm=float(map_nm), place_strehl=float(place_strehl), place_nm=float(place_nm))


def _both(seen: Sight, look: _Look, waves_nm: NDArray) -> NDArray:
    """Strehl and wavefront rms of wavefronts (k, n) on the rays of one look, (2, k)."""
    residual = refocused(waves_nm, pupil=look.pupil)
    return np.stack([_strehl(seen, residual, look.pupil), _rms(residual, look.pupil)])


def _tried_waves(seen: Sight, look: _Look) -> NDArray:
    return wavefront_nm(seen.alternatives_nm, grid=seen.grid, rays=look.rays)


def _of_place(change: NDArray) -> NDArray:
    """Expanded uncertainty from the changes (axis, way): in the mean of both ways, so that one-sided harm counts as half."""
    return np.sqrt(np.sum(np.mean(change**2, axis=1)))


def _moved(seen: Sight, look: _Look) -> NDArray:
    """Strehl and wavefront rms with the mirror moved along u and along v, both ways: (axis, way, 2)."""
    out = np.empty((2, 2, 2))
    for axis, (du, dv) in enumerate([(PLACE_UNCERTAINTY_MM, 0.0), (0.0, PLACE_UNCERTAINTY_MM)]):
        for way, sign in enumerate((1.0, -1.0)):
            rays = Footprint(
                u_mm=look.rays.u_mm + sign * du,
                v_mm=look.rays.v_mm + sign * dv,
                cos_incidence=look.rays.cos_incidence,
            )
            moved = _look(seen, rays, pupil=look.pupil, azimuth_deg=look.azimuth_deg)
            out[axis, way] = _both(seen, moved, moved.waves_nm)[:, 0]
    return out
