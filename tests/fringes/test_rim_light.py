"""Light of a bevel over the rim: a layer laid on a picture by formula is found again, and a clean rim is left alone."""

import math
from dataclasses import replace

import numpy as np
import pytest

from straightband.face.shapes import round_face
from straightband.fringes.rim_light import MOST_TAKEN, TAKEN_BANDS, rim_light

FACE = round_face(diameter_mm=100.0)
CLEAR = FACE.clear_aperture()
NM_PER_RAD, BANDS, LIGHT, SWING = 50.0, 6.0, 0.5, 0.6
LAYER, DEPTH_MM = 0.03, 0.8


def phase(u, v):
    """Six bands across, bowed."""
    return math.pi * BANDS * u / CLEAR.semi_u_mm + 0.8 * (u * u + v * v) / CLEAR.semi_u_mm**2


@pytest.fixture(scope="module")
def reading(reading_of, picture_of):
    """A reading and the picture it belongs to: what light does not do, the phase does."""
    picture = picture_of(FACE, phase, samples=200, noise=0.0, light=LIGHT, contrast=SWING)
    columns, rows = np.abs(picture.u_mm) <= CLEAR.semi_u_mm, np.abs(picture.v_mm) <= CLEAR.semi_v_mm
    read = reading_of(CLEAR, phase, samples=194, bands_across=BANDS)
    assert np.allclose(read.u_mm, picture.u_mm[columns])
    return replace(read, u_mm=picture.u_mm[columns], v_mm=picture.v_mm[rows]), picture


def brightened(picture, layer):
    u, v = np.meshgrid(picture.u_mm, picture.v_mm)
    return replace(picture, light=(picture.light + layer(CLEAR.semi_u_mm - np.hypot(u, v), u, v)).astype(np.float32))


def test_a_clean_rim_has_no_term(reading):
    """Bands on even light leave nothing: less than a tenth of a nanometre."""
    read, picture = reading
    assert np.abs(rim_light(read, picture=picture, nm_per_rad=NM_PER_RAD).modes_nm).max() < 0.1


def test_a_slope_of_the_light_is_no_layer(reading):
    """A lamp that fades over the whole face goes on fading at the rim, and is no light of a bevel."""
    read, picture = reading
    sloped = brightened(picture, lambda _depth, u, v: 0.2 * u / 50.0 - 0.1 * (u * u + v * v) / 2500.0)
    found = rim_light(read, picture=sloped, nm_per_rad=NM_PER_RAD)
    assert np.abs(found.modes_nm).max() < 0.25 * MOST_TAKEN * NM_PER_RAD * 0.1  # a quarter of what a layer of a tenth would make


def test_a_layer_of_light_is_found(reading):
    """Light that falls off inward over 0.8 mm, stronger on one side: its share of the swing, times what the fit takes, at every rim cell."""
    read, picture = reading

    def layer(depth, u, v):
        return LAYER * (1.0 + 0.5 * u / np.hypot(u, v)) * np.exp(-((np.maximum(depth, 0.0) / DEPTH_MM) ** 2))

    mode = rim_light(read, picture=brightened(picture, layer), nm_per_rad=NM_PER_RAD).modes_nm[0]
    u, v = read.points.u_mm, read.points.v_mm
    depth = CLEAR.semi_u_mm - np.hypot(u, v)
    wanted = min(MOST_TAKEN, TAKEN_BANDS / BANDS) * NM_PER_RAD * layer(depth, u, v) / (LIGHT * SWING)
    rim = depth < 2.0 * DEPTH_MM
    assert wanted.max() > 10.0  # nm: a layer worth finding
    assert mode[rim] == pytest.approx(wanted[rim], abs=0.15 * wanted.max())  # a sliver is a pixel deep, half a millimetre
    assert np.abs(mode[depth > 5.0]).max() == 0.0  # beyond the slivers nothing is said


def test_hidden_pixels_are_left_out(reading):
    """A rim that is clipped says nothing."""
    read, picture = reading
    found = rim_light(read, picture=replace(picture, missing=np.ones_like(picture.missing)), nm_per_rad=NM_PER_RAD)
    assert found.modes_nm.shape[0] == 0
