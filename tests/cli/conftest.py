"""One small photograph of the golden face, rendered once: 0.75 megapixels, 6.6 bands, five known terms."""

import numpy as np
import pytest

from straightband.synthetic.golden import golden_scene
from straightband.synthetic.render import render


@pytest.fixture(scope="session")
def scene():
    """The golden face as photographed; +v points right, and the gap opens to the right and a little up."""
    return golden_scene(width_px=1000, height_px=750)


@pytest.fixture(scope="session")
def photograph(scene):
    """The bytes of its photograph."""
    return render(scene, rng=np.random.default_rng(11)).encode("jpeg")


PIECE = """\
name = "G-1"
minor = "90mm"
light = "mercury-green"
photographs = ["bands.jpg"]
mark = 3
thicker = 2.5

[telescope]
aperture = "300mm"
focal_length = "1500mm"
intercept = "300mm"
full_field = "10mm"
strehl = 0.8
"""


@pytest.fixture
def bench(tmp_path, photograph):
    """A folder with the photograph and its piece file."""
    (tmp_path / "bands.jpg").write_bytes(photograph)
    (tmp_path / "piece.toml").write_text(PIECE, encoding="utf-8")
    return tmp_path
