"""Wear of a piece on pads with the pressure in balance: the numbers that are reported.

The pads are an elastic layer between rigid faces, as in grinding (`wear/contact.py`): where the piece overhangs, or pads lie to one side, it
tips and presses harder there.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from straightband.errors import BadInput
from straightband.face.shapes import Face, round_face
from straightband.wear.kinematics import Motion, poses_of
from straightband.wear.pads.rates import Passing, circle_areas, points_in, rates_of
from straightband.wear.surface import Surface, flat_surface
from straightband.wear.whole import Grit, Wear, wear_rates

PLATE_CELLS, FACE_CELLS = 48, 30
BATCHES, POSES = 6, 64
GRIT = Grit(
    stiffness_kpa_um=5.0, top_per_pa=1e-13, bottom_per_pa=0.0
)  # only ratios are told: neither number changes them while all pads touch
FORCE_N = 20.0
PLACED_WITHIN_MM = 1.0  # standard, of pads stuck on by hand over a printed template: our estimate
PLACINGS = 24
SMOOTH = 1e-3  # weight of smoothness against the whole face
_FINER = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class PressedRates:
    """Rates by distance from the centre of the piece.

    Attributes
    ----------
    radius_mm
        (m,).
    rate, uncertainty
        (m,) relative to the mean over the radii, and its 95 % uncertainty: poses drawn, and pads placed by hand.
    lifted
        Share of the pads under the piece that carry nothing.
    """

    radius_mm: NDArray
    rate: NDArray
    uncertainty: NDArray
    lifted: float


def pressed_rates(
    outlines: Sequence[Polygon], *, face: Face, plate_radius_mm: float, motion: Motion, passing: Passing, rng: np.random.Generator
) -> PressedRates:
    """Rates on those pads; raises BadInput when the piece tips off them in some pose of the stroke."""
    top = flat_surface(face, cells=FACE_CELLS)
    bottom = _covered_plate(outlines, plate_radius_mm=plate_radius_mm)
    batches, lifted = [], 0.0
    for number in range(BATCHES):
        wear = _worn(top, bottom, motion=motion, first=number * POSES)
        batches.append(_by_radius(wear.top_um_min, top, radius_mm=passing.radius_mm))
        lifted += wear.lifted / BATCHES
    rates = np.array([each / each.mean() for each in batches])
    drawn = rates.std(axis=0, ddof=1) / math.sqrt(BATCHES)
    placed_by_hand = _placing_spread(outlines, passing=passing, rng=rng)
    return PressedRates(
        radius_mm=passing.radius_mm, rate=rates.mean(axis=0), uncertainty=2.0 * np.hypot(drawn, placed_by_hand), lifted=lifted
    )


def _worn(top: Surface, bottom: Surface, *, motion: Motion, first: int) -> Wear:
    try:
        return wear_rates(top, bottom, poses=poses_of(motion, count=POSES, first=first), grit=GRIT, force_n=FORCE_N)
    except BadInput as fault:
        raise BadInput(
            found=f"in part of a stroke of {motion.stroke_mm:.0f} mm the middle of the mirror has no pads all round it",
            needed="pads on all sides of its middle are needed, or it tips off them",
            remedy="shorten the stroke, lay pads closer or take a larger plate",
        ) from fault


def _covered_plate(outlines: Sequence[Polygon], *, plate_radius_mm: float) -> Surface:
    plate = flat_surface(round_face(diameter_mm=2.0 * plate_radius_mm), cells=PLATE_CELLS)
    fine = ((np.arange(PLATE_CELLS * _FINER) + 0.5) * 2.0 / (PLATE_CELLS * _FINER) - 1.0) * plate_radius_mm
    u, v = np.meshgrid(fine, fine)
    inside = shapely.contains_xy(shapely.union_all(list(outlines)), u.ravel(), v.ravel()).reshape(u.shape)
    cover = inside.reshape(PLATE_CELLS, _FINER, PLATE_CELLS, _FINER).mean(axis=(1, 3))
    return replace(plate, cover=cover)


def _by_radius(values: NDArray, surface: Surface, *, radius_mm: NDArray) -> NDArray:
    """Mean of a face's values around each radius, straight lines between radii."""
    away = np.hypot(surface.u_mm[None, :], surface.v_mm[:, None]).ravel()
    weight = surface.areas_mm2.ravel()
    at = np.clip(away / radius_mm[1], 0.0, radius_mm.size - 1.0)
    below = np.minimum(at.astype(int), radius_mm.size - 2)
    up = at - below
    rows = np.zeros((away.size, radius_mm.size))
    rows[np.arange(away.size), below], rows[np.arange(away.size), below + 1] = 1.0 - up, up
    # A touch of smoothness decides what few cells can't; the first row says that a face is level at its centre.
    bend = np.diff(np.eye(radius_mm.size), n=2, axis=0)
    bend = np.concatenate([[-bend[0, 2] * np.eye(radius_mm.size)[0] + np.eye(radius_mm.size)[1]], bend]) * math.sqrt(
        SMOOTH * float(weight.sum())
    )
    root = np.sqrt(weight)
    system = np.concatenate([rows * root[:, None], bend])
    wanted = np.concatenate([values.ravel() * root, np.zeros(len(bend))])
    return np.asarray(np.linalg.lstsq(system, wanted, rcond=None)[0])


def _placing_spread(outlines: Sequence[Polygon], *, passing: Passing, rng: np.random.Generator) -> NDArray:
    """(m,) standard deviation of the rates over pads placed by hand."""
    step = float(passing.edges_mm[-1]) / 100.0
    clouds = [points_in(outline, step_mm=step) for outline in outlines]
    rings = math.pi * np.diff(passing.edges_mm**2)
    found = []
    for _ in range(PLACINGS):
        moved = [cloud + PLACED_WITHIN_MM * rng.standard_normal(2) for cloud in clouds]
        areas = sum(
            circle_areas(cloud, area_mm2=outline.area, edges_mm=passing.edges_mm) for cloud, outline in zip(moved, outlines, strict=True)
        )
        found.append(rates_of(np.asarray(areas) / rings, passing))
    return np.std(found, axis=0, ddof=1)
