"""The rendered photograph of a block on a platen shows the step that was asked for."""

import io

import numpy as np
import pytest
from PIL import Image

from straightband.errors import OutlineNotFound
from straightband.synthetic.block import block_photograph
from straightband.workflows.step import step_of_photo


def levels(fraction):
    data = block_photograph(fraction=fraction, noise=0.0, rng=np.random.default_rng(1))
    return np.asarray(Image.open(io.BytesIO(data)))[:, :, 1].astype(float)


def test_only_the_block_changes_with_the_step():
    """By how it is drawn: half a band more turns dark and bright of the block about, and leaves the platen as it is, but for the JPEG."""
    none, half = levels(0.0), levels(0.5)
    assert np.corrcoef(none[100:680, 230:340].ravel(), half[100:680, 230:340].ravel())[0, 1] < -0.8
    assert np.abs(none[:, :120] - half[:, :120]).max() < 3.0


@pytest.mark.parametrize("fraction", [0.26, 0.7])
def test_the_step_is_read(fraction):
    """Known truth: what was drawn comes out within its interval, and within a hundredth of a band."""
    data = block_photograph(fraction=fraction, noise=0.02, rng=np.random.default_rng(5))
    reading = step_of_photo(data, name="step.jpg", light="632.99nm").reading
    assert abs(reading.band_fraction - fraction) < min(0.01, reading.band_fraction_uncertainty)


def test_without_a_step_no_block_is_found():
    """Where the bands do not jump, nothing tells where the block ends, and the step is not guessed at."""
    with pytest.raises(OutlineNotFound):
        step_of_photo(block_photograph(fraction=0.0, noise=0.02, rng=np.random.default_rng(5)), name="step.jpg", light="632.99nm")
