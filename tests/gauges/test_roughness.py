"""Roughness of a back from the light it passes.

Sources: thin phase screen (Bennett and Porteus 1961 for reflection); outside values computed from the definition by a second route.
"""

import math

import pytest

from straightband.gauges.roughness import band_contrast, passed_share, rms_of_share, roughness_from_share

MERCURY_NM = 546.074
BOROSILICATE = 1.473


@pytest.mark.parametrize(("rms_nm", "share"), [(100.0, 0.7436417459), (500.0, 0.0006082667051)])
def test_share_that_passes_one_rough_face(rms_nm, share):
    """A phase screen of known roughness passes the computed share (SCAT-1: one pass, fine-ground)."""
    assert passed_share(rms_nm=rms_nm, index_step=BOROSILICATE - 1.0, wavelength_nm=MERCURY_NM) == pytest.approx(share, rel=1e-6)


def test_two_passes_are_the_square():
    """Light in and out through the same back at different points: 0.5530 at 100 nm rms (SCAT-1), of which bands get two thirds."""
    share = passed_share(rms_nm=100.0, index_step=BOROSILICATE - 1.0, wavelength_nm=MERCURY_NM)
    assert band_contrast(share) == pytest.approx(2.0 / 3.0 * 0.5530030462, rel=1e-8)


@pytest.mark.parametrize(
    ("share", "index_step", "rms_nm"),
    [
        (0.5, BOROSILICATE - 1.0, 152.9759717),
        (0.9, BOROSILICATE - 1.0, 59.64162033),
        (0.1, BOROSILICATE - 1.0, 278.8164122),
        (0.5, BOROSILICATE - 1.333, 516.8402473),
    ],
)
def test_roughness_at_which_a_back_clears(share, index_step, rms_nm):
    """The roughness that passes half, nine tenths, a tenth; and with water on it, 3.4 times as rough (SCAT-2): wet glass looks clear."""
    assert rms_of_share(share, index_step=index_step, wavelength_nm=MERCURY_NM) == pytest.approx(rms_nm, rel=1e-9)


def test_uncertainty_holds_the_ends():
    """The interval reaches the roughness of the share at either end of its own interval, and grows with the doubt of the index."""
    plain = roughness_from_share(0.5, share_doubt=0.1, index_step=0.5, index_doubt=0.0)
    assert plain.bound == ""
    for share in (0.4, 0.6):
        assert abs(rms_of_share(share, index_step=0.5, wavelength_nm=540.0) - plain.nm) < plain.uncertainty_nm
    assert roughness_from_share(0.5, share_doubt=0.1, index_step=0.5, index_doubt=0.1).uncertainty_nm > plain.uncertainty_nm


def test_where_a_photograph_tells_a_bound_only():
    """Nothing passed gives a least roughness, everything passed a most; both beyond what the doubt allows."""
    rough = roughness_from_share(0.01, share_doubt=0.04, index_step=0.5, index_doubt=0.05)
    assert rough.bound == "at least"
    assert rough.nm < rms_of_share(0.05, index_step=0.5, wavelength_nm=540.0)
    smooth = roughness_from_share(1.0, share_doubt=0.05, index_step=0.5, index_doubt=0.05)
    assert smooth.bound == "at most"
    assert smooth.nm > rms_of_share(0.95, index_step=0.5, wavelength_nm=540.0)
    assert math.isnan(smooth.uncertainty_nm)
