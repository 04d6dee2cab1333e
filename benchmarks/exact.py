"""A reader without faults: the phase computed from the geometry of a scene instead of fitted to a photograph of it.

What lies behind the phase (frame, view, sign, figures, budget) is the program's own. Errors of the view, the lens, the lamp and the reference are
thereby seen without the noise of a fit, and five hundred of them take a minute instead of an hour.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from straightband.fringes.cells import divide
from straightband.fringes.reading import PhaseReading
from straightband.heightmap.figures import Points
from straightband.heightmap.map import HeightMap
from straightband.photo.load import Photo
from straightband.photo.plane import Plane
from straightband.photo.rectify import SquarePicture, face_to_pixels, map_points
from straightband.synthetic.bands import gap_nm
from straightband.synthetic.projection import projection_of
from straightband.synthetic.scene import Scene
from straightband.workflows.read import Reading, Seen, Setup, _assemble

SAMPLES_ACROSS = 192  # over the shorter extent


def exact_reading(scene: Scene, *, setup: Setup, reference: HeightMap | None = None) -> Reading:
    """The reading of a scene whose phase is known everywhere; the set-up must hold the outline."""
    if setup.outline is None:
        raise ValueError("the outline must be told")
    face, view = scene.face, scene.view
    to_pixels = face_to_pixels(setup.outline, face, mark_hour=setup.mark_hour)
    clear = face.clear_aperture(setup.clear_margin)
    pitch = 2.0 * min(face.semi_u_mm, face.semi_v_mm) / SAMPLES_ACROSS
    u_mm, v_mm = _axis(clear.semi_u_mm, pitch), _axis(clear.semi_v_mm, pitch)
    cells = divide(u_mm / clear.semi_u_mm, v_mm / clear.semi_v_mm, clear=clear)
    inside = cells.label >= 0
    uu, vv = np.meshgrid(u_mm, v_mm)
    x_px, y_px = map_points(to_pixels, x=uu[inside] / face.semi_u_mm, y=vv[inside] / face.semi_v_mm)
    values = phase_at(scene, x_px=x_px, y_px=y_px)
    phase = np.full(inside.shape, np.nan)
    phase[inside] = values
    label = cells.label[inside]
    area = np.bincount(label).astype(float)
    read = PhaseReading(
        u_mm=u_mm,
        v_mm=v_mm,
        phase_rad=phase,
        label=cells.label,
        points=Points(u_mm=cells.x * clear.semi_u_mm, v_mm=cells.y * clear.semi_v_mm, area=area, clear=clear),
        cell_phase_rad=np.bincount(label, values) / area,
        draws_rad=np.zeros((2, area.size)),
        cell_seen=np.ones(area.size, dtype=bool),
        bands_across=float(np.ptp(values)) / (2.0 * math.pi),
        explained=1.0,
        contrast=scene.light.contrast,
        seen=1.0,
        flags=(),
    )
    picture = SquarePicture(
        light=np.zeros(inside.shape, dtype=np.float32),
        missing=~inside,
        u_mm=u_mm,
        v_mm=v_mm,
        pixels_per_sample=1.0,
        face_to_pixels=to_pixels,
        face=face,
    )
    photo, plane = _seen(view.width_px, view.height_px)
    seen = Seen(photo=photo, plane=plane, setup=setup, outline=setup.outline, picture=picture, phase=read)
    return _assemble(seen, reference=reference)


def phase_at(scene: Scene, *, x_px: NDArray, y_px: NDArray) -> NDArray:
    """Phase of the bands seen at pixels, growing with the gap."""
    projection = projection_of(scene.view, face=scene.face)
    u_mm, v_mm = projection.to_face(x_px, y_px)
    cosine = projection.cos_incidence(u_mm, v_mm)
    return 4.0 * np.pi / scene.light.wavelength_nm * gap_nm(scene, u_mm=u_mm, v_mm=v_mm) * cosine


def _axis(semi_mm: float, pitch_mm: float) -> NDArray:
    count = max(2, round(2.0 * semi_mm / pitch_mm))
    return (np.arange(count) - (count - 1) / 2.0) * pitch_mm


def _seen(width_px: int, height_px: int) -> tuple[Photo, Plane]:
    """What is left of the photograph where none was taken: its size."""
    photo = Photo(
        levels=np.zeros((height_px, width_px, 1), dtype=np.uint8),
        full_scale=255,
        encoding="srgb",
        binning=1,
        name="none",
        sha256="0" * 64,
        focal_35mm=math.nan,
        orientation=1,
        flags=(),
    )
    plane = Plane(
        light=np.zeros((1, 1), dtype=np.float32),
        clipped=np.zeros((1, 1), dtype=bool),
        scale=1.0,
        size_px=(width_px, height_px),
        channel="gray",
        focal_35mm=math.nan,
        flags=(),
    )
    return photo, plane
