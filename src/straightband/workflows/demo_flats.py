"""The three-flat test of the invented shop: maps of its flats on each other, as `straightband read` leaves them."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from straightband.combine.pairs import Pair, place_on_other
from straightband.heightmap.map import HeightMap
from straightband.synthetic.surfaces import Surface, added, random_surface, saddle, sphere
from straightband.workflows.demo_scene import FLAT_DIAMETER_MM, flat_face, flat_looking_at_it
from straightband.workflows.maps import map_file
from straightband.workflows.threeflat import KnownFlats, know_flats
from straightband.workflows.threeflat_text import request_from_text

PAIR_UNCERTAINTY_NM = 4.0
PAIR_ERROR_NM = 1.0  # rms of what each map is wrong by, well within what it states
TURN_DEG = 54.0
MEASURED = "2026-03-02"
PAIRS = {"AB.npz": ("A", "B", 0.0), "BC.npz": ("B", "C", 0.0), "CA.npz": ("C", "A", 0.0), "AB-54deg.npz": ("A", "B", TURN_DEG)}
_POINTS = 81


def pair_maps() -> tuple[tuple[str, bytes], ...]:
    """Names and bytes of the maps of pairs, the same each time."""
    rng = np.random.default_rng(33)
    flats = {"A": flat_looking_at_it(), "B": _flat(rng, sag_nm=-35.0), "C": _flat(rng, sag_nm=12.0)}
    return tuple((name, map_file(_pair_map(told, flats=flats, rng=rng), name=name)) for name, told in PAIRS.items())


def three_flats() -> KnownFlats:
    """The flats by themselves, as those maps tell them apart."""
    told = [f"{name}={one},{other},{turn:g}deg" for name, (one, other, turn) in PAIRS.items()]
    return know_flats(request_from_text(list(pair_maps()), told=told, measured=MEASURED))


def _flat(rng: np.random.Generator, *, sag_nm: float) -> Surface:
    face = flat_face()
    bent = added(sphere(face, sag_nm=sag_nm), saddle(face, rise_nm=rng.uniform(4.0, 12.0), axis_deg=rng.uniform(0.0, 180.0)))
    return added(bent, random_surface(face, rng, pv_nm=15.0, order=4))


def _pair_map(told: tuple[str, str, float], *, flats: dict[str, Surface], rng: np.random.Generator) -> HeightMap:
    one, other, turn_deg = told
    face = flat_face()
    axis_mm = np.linspace(-FLAT_DIAMETER_MM / 2.0, FLAT_DIAMETER_MM / 2.0, _POINTS)
    u, v = np.meshgrid(axis_mm, axis_mm)
    on_it = face.contains(u, v)
    blank = HeightMap(
        heights_nm=np.where(on_it, 0.0, np.nan),
        u_mm=axis_mm,
        v_mm=axis_mm.copy(),
        uncertainty_nm=np.where(on_it, PAIR_UNCERTAINTY_NM, np.nan),
        face=face,
        meta={"sign": "known", "origin": "invented for the demonstration, as a reading without --minus would leave it"},
    )
    pair = Pair(piece=one, other=other, height_map=blank, turn_rad=math.radians(turn_deg))
    error = random_surface(face, rng, pv_nm=5.0 * PAIR_ERROR_NM, order=4)
    heights = flats[one].heights_nm(u, v) + flats[other].heights_nm(*place_on_other(pair, u_mm=u, v_mm=v)) + error.heights_nm(u, v)
    return replace(blank, heights_nm=np.where(on_it, heights, np.nan))
