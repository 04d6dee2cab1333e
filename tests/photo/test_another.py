"""A second face beside the one that is read is told, and nothing else is taken for one."""

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from straightband.face.shapes import Shape, ellipse, rectangle, round_face
from straightband.photo.load import load_photo
from straightband.photo.outline import ANOTHER, find_outline
from straightband.photo.plane import light_plane
from straightband.synthetic.golden import golden_scene
from straightband.synthetic.render import render

RINGS = Path(__file__).parents[1] / "truth" / "rings"
FACES = {
    Shape.ELLIPSE: ellipse(minor_mm=90.0),
    Shape.ROUND: round_face(diameter_mm=110.0),
    Shape.RECTANGLE: rectangle(width_mm=75.0, length_mm=110.0),
}
HALF_PX = 500


def half(face, *, turned_deg=0.0, size=1.0, bands=7.0, seed=0, contrast=0.7):
    """The levels of a picture half as wide as the photograph, with one face in its middle."""
    scene = golden_scene(width_px=HALF_PX, height_px=700)
    scene = replace(
        scene,
        surface=replace(scene.surface, face=face, coefficients_nm=(0.0, 0.0, 0.0, 30.0)),
        bands_u=bands,
        bands_v=2.0,
        light=replace(scene.light, contrast=contrast),
        view=replace(scene.view, scale_px_per_mm=3.2 * size, rotation_deg=turned_deg),
    )
    return np.asarray(Image.open(io.BytesIO(render(scene, rng=np.random.default_rng(seed)).encode("png"))).convert("RGB"))


def outline_of(levels, face):
    """The outline found in a photograph of these levels."""
    kept = io.BytesIO()
    Image.fromarray(levels).save(kept, "png")
    return find_outline(light_plane(load_photo(kept.getvalue(), name="a.png"), wavelength_nm=546.1), face=face)


@pytest.mark.parametrize("shape", FACES)
def test_two_faces_side_by_side_are_told(shape):
    """Of the same shape and nearly the size, each with its own bands: which of them was meant nobody knows."""
    face = FACES[shape]
    levels = np.hstack([half(face, turned_deg=20.0), half(face, turned_deg=-35.0, size=0.94, bands=9.0, seed=1)])
    found = outline_of(levels, face)
    assert ANOTHER in found.flags


@pytest.mark.parametrize("shape", FACES)
@pytest.mark.parametrize(
    "beside",
    [
        lambda face: np.full_like(half(face), 12),
        lambda face: half(face, bands=0.2, contrast=0.0),
        lambda face: half(face, contrast=0.25, seed=4),
        lambda face: half(face, size=0.5, seed=2),
        lambda face: half(face, turned_deg=20.0, size=0.75, seed=2),
        lambda face: half(FACES[Shape.ROUND if face.shape is Shape.RECTANGLE else Shape.RECTANGLE], seed=3),
    ],
    ids=["nothing", "no bands", "faint image", "half as large", "three quarters", "another shape"],
)
def test_nothing_else_beside_a_face_is_taken_for_one(shape, beside):
    """An empty table, a piece without bands, a faint image of the face in some other glass, one much smaller, one of another shape."""
    face = FACES[shape]
    levels = np.hstack([half(face, turned_deg=20.0), beside(face)])
    assert ANOTHER not in outline_of(levels, face).flags


@pytest.mark.parametrize("name", ["newton_rings_raw_01.jpg", "newton_rings_raw_02.jpg"])
def test_real_photographs_show_one_face(name):
    """Photographs of Newton's rings (tests/truth/rings): one field each."""
    plane = light_plane(load_photo((RINGS / name).read_bytes(), name=name), wavelength_nm=589.3)
    assert ANOTHER not in find_outline(plane, face=FACES[Shape.ROUND]).flags
