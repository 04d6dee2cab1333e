"""The picture of the sags: drawn for any number of faces, the same bytes each time, different for different sags."""

import io

import numpy as np
from PIL import Image

from straightband.plots.sags import Part, sags_png

PARTS = (Part(label="40 um", runs=4), Part(label="20 um", runs=2))


def picture(faces, *, scale=1.0):
    sags = scale * np.cos(np.arange(7.0)[:, None] + np.arange(faces))
    return sags_png(sags, uncertainty_um=0.3 * np.ones_like(sags), names=[f"piece {k}" for k in range(faces)], parts=PARTS, title="Sags")


def test_each_face_has_its_own_panel():
    """More faces make a taller picture of the same width."""
    sizes = [Image.open(io.BytesIO(picture(faces))).size for faces in (2, 5)]
    assert sizes[0][0] == sizes[1][0]
    assert sizes[1][1] > sizes[0][1]


def test_the_same_sags_are_the_same_bytes():
    """The picture depends on nothing but what is drawn, and does depend on that."""
    assert picture(3) == picture(3)
    assert picture(3) != picture(3, scale=20.0)


def test_faces_without_any_sag_are_drawn():
    """Flat faces give a picture and no error."""
    flat = np.zeros((1, 2))
    assert sags_png(flat, uncertainty_um=flat, names=["a", "b"], parts=(), title="").startswith(b"\x89PNG")
