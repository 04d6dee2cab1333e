"""Faces by rings against their areas and against the spheres they were made from."""

import math

import numpy as np
import pytest

from straightband.face.shapes import ellipse, rectangle, round_face
from straightband.wear.rings import rings_of, sag_of_rings_um, spherical_rings
from straightband.wear.surface import astigmatism_um, flat_surface, sag_um, spherical_surface

FACES = [round_face(diameter_mm=150.0), ellipse(minor_mm=90.0), rectangle(width_mm=80.0, length_mm=120.0)]


@pytest.mark.parametrize("face", FACES, ids=lambda face: str(face.shape))
def test_rings_and_cells_hold_the_area_of_the_face(face):
    """Areas add up to that of the outline (closed form)."""
    assert rings_of(face).areas_mm2.sum() == pytest.approx(face.area_mm2, rel=5e-4)  # 720 angles, 512 circles
    assert flat_surface(face, cells=61).areas_mm2.sum() == pytest.approx(face.area_mm2, rel=2e-3)  # 305 x 305 points


def test_share_of_a_ring_is_the_arc_inside_an_ellipse():
    """Beyond the shorter half axis the share is the arc within the outline: sin2 of its angle = (1/b2 - 1/r2)/(1/b2 - 1/a2) (closed form)."""
    face = ellipse(minor_mm=90.0)
    rings = rings_of(face)
    b, a, r = 45.0, face.semi_major_mm, rings.radii_mm
    arc = np.arcsin(np.sqrt(np.clip((b**-2 - r**-2) / (b**-2 - a**-2), 0.0, 1.0)))
    assert rings.share == pytest.approx(1.0 - arc / (math.pi / 2.0), abs=0.02)  # the mean over a ring 1 mm wide differs where the arc turns


@pytest.mark.parametrize("face", FACES, ids=lambda face: str(face.shape))
def test_sag_of_a_sphere_is_its_sag(face):
    """The least-squares sphere of a sphere is itself, in rings and in cells; a hill is positive."""
    rings = rings_of(face)
    assert sag_of_rings_um(spherical_rings(rings, sag_um=7.0), rings) == pytest.approx(7.0, rel=1e-9)
    assert sag_of_rings_um(spherical_rings(rings, sag_um=np.array([7.0, -2.0])), rings) == pytest.approx([7.0, -2.0], rel=1e-9)
    surface = spherical_surface(face, cells=41, sag_um=7.0)
    assert sag_um(surface) == pytest.approx(7.0, rel=1e-9)
    assert astigmatism_um(surface) == pytest.approx(0.0, abs=1e-9)
