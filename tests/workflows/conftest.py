"""One small photograph of the golden face, rendered once: 0.75 megapixels, 6.6 bands, five known terms."""

import numpy as np
import pytest

from straightband.synthetic.golden import golden_scene
from straightband.synthetic.render import render
from straightband.workflows.read import read_photo
from straightband.workflows.setup import setup_from_text


@pytest.fixture(scope="session")
def scene():
    """The golden face as photographed; +v points right, and the gap opens to the right and a little up."""
    return golden_scene(width_px=1000, height_px=750)


@pytest.fixture(scope="session")
def photograph(scene):
    """The bytes of its photograph."""
    return render(scene, rng=np.random.default_rng(11)).encode("jpeg")


@pytest.fixture(scope="session")
def reading(photograph):
    """What is read of it, outline found unaided, way round and thicker side told."""
    setup = setup_from_text(light="mercury-green", minor="90mm", mark="3", thicker="2.5")
    return read_photo(photograph, name="bands.jpg", setup=setup)
