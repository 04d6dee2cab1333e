"""The outline of glass with a narrow bevel: the outer of its two edges is the outline, however faint it is beside the inner one."""

import math
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from benchmarks import outline as campaign
from benchmarks.accuracy import outline_miss_px
from benchmarks.photographs import photograph, true_outline
from straightband.face.shapes import ellipse
from straightband.photo.bandends import band_ends
from straightband.photo.bevel import within_bevel
from straightband.photo.figure import disc, rectangle_figure
from straightband.photo.load import load_photo
from straightband.photo.outline import find_outline
from straightband.photo.plane import Plane, light_plane
from straightband.photo.refine import Refined, refined
from straightband.photo.rimprofile import outer_step, sides_on_inner_edge
from straightband.photo.twoedges import on_two_edges
from straightband.photo.unrolled import pyramid_of
from straightband.synthetic.campaign import Difficulty
from straightband.workflows.flags import SENTENCES

FACE = ellipse(minor_mm=90.0)
SEMI_PX = (300.0, 212.1)
MIDDLE = (399.5, 299.5)


def ramp(distance_px, *, soft_px):
    """1 inside, 0 outside, a straight ramp `soft_px` wide between."""
    return np.clip(0.5 - distance_px / soft_px, 0.0, 1.0)


def piece(*, bevel_px, bevel=0.25, table=0.1, soft_px=2.0, square=False, shadow_px=0.0):
    """Linear light of a banded piece with a bevel, drawn from the formula of its outline; levels are numbers or functions of the angle."""
    rows, columns = np.mgrid[:600, :800].astype(float)
    x, y = columns - MIDDLE[0], rows - MIDDLE[1]
    angle = np.arctan2(y, x)
    r = np.hypot(x / SEMI_PX[0], y / SEMI_PX[1])
    # First-order distance from an ellipse: its implicit function over the size of its gradient.
    away = (r - 1.0) * r / (np.hypot(x / SEMI_PX[0] ** 2, y / SEMI_PX[1] ** 2) + 1e-9)
    if square:
        away = np.maximum(np.abs(x) - SEMI_PX[0], np.abs(y) - SEMI_PX[1])
    table, bevel = (level(angle) if callable(level) else level for level in (table, bevel))
    if shadow_px:
        table = table * (1.0 - 0.5 * np.exp(-np.maximum(away, 0.0) / shadow_px))
    glass = ramp(away, soft_px=soft_px)
    face = ramp(away + bevel_px, soft_px=soft_px) if bevel_px else glass
    bands = 0.45 + 0.25 * np.cos(columns / 8.0 + rows / 11.0)
    noise = 0.004 * np.random.default_rng(3).standard_normal(rows.shape)
    return (table + glass * (bevel - table) + face * (bands - bevel) + noise).astype(np.float32)


def plane_of(light):
    """A plane of drawn light."""
    return Plane(
        light=light, clipped=np.zeros(light.shape, dtype=bool), scale=1.0, size_px=(800, 600), channel="gray", focal_35mm=math.nan, flags=()
    )


def on_the_rim(*, inside_px=0.0, square=False):
    """The figure of the piece drawn, made smaller by some pixels."""
    make = rectangle_figure if square else disc
    return make(cx=MIDDLE[0], cy=MIDDLE[1], along=SEMI_PX[0] - inside_px, across=SEMI_PX[1] - inside_px, angle_rad=0.0)


@pytest.mark.parametrize("square", [False, True])
@pytest.mark.parametrize("start_px", [0.0, 3.0, 6.0])
def test_bands_end_at_the_inner_edge_of_the_bevel(square, start_px):
    """Closed form: a bevel of 6 px; from a curve on the outline, midway or on the inner edge, the bands end where they were drawn to."""
    ends = band_ends(pyramid_of(piece(bevel_px=6.0, square=square)), on_the_rim(inside_px=start_px, square=square))
    assert ends.gaps_px == pytest.approx(6.0 - start_px, abs=0.6)  # of sectors scattering by up to 1 px some twenty are averaged


def test_no_bands_end_where_there_are_none():
    """An even face gives no place where its bands would end."""
    light = piece(bevel_px=6.0)
    assert band_ends(pyramid_of(np.minimum(light, np.float32(0.1))), on_the_rim()) is None


@pytest.mark.parametrize("bevel_px", [4.0, 5.0, 6.0])
def test_the_outer_edge_is_taken_where_half_of_it_shows(bevel_px):
    """On one half of the rim the bevel is exactly as bright as the table, so that only its inner edge shows there."""
    light = piece(bevel_px=bevel_px, bevel=0.3, table=lambda angle: 0.1 + 0.2 * np.clip(1.5 * np.cos(angle) + 0.5, 0.0, 1.0))
    found = find_outline(plane_of(light), face=FACE)
    assert [found.cx, found.cy, found.semi_major, found.semi_minor] == pytest.approx([*MIDDLE, *SEMI_PX], abs=1.0)


@pytest.mark.parametrize("width_px", [3.0, 5.0, 8.0])
def test_a_step_between_face_and_table_is_the_outline(width_px):
    """A bevel as a step half way down: seen from its inner edge, the outer edge lies its width outside."""
    pyramid = pyramid_of(piece(bevel_px=width_px))
    step = outer_step(pyramid, on_the_rim(inside_px=width_px))
    assert step.sure
    assert step.outward_px == pytest.approx(width_px, abs=0.6)  # tried every half pixel
    moved = refined(pyramid, on_the_rim(inside_px=width_px)).figure
    assert moved.axes()[:2] == pytest.approx(SEMI_PX, abs=0.6)


def shifted(*, inside_px, by_px):
    """The rim drawn, made smaller and moved to the right."""
    return disc(cx=MIDDLE[0] + by_px, cy=MIDDLE[1], along=SEMI_PX[0] - inside_px, across=SEMI_PX[1] - inside_px, angle_rad=0.0)


@pytest.mark.parametrize("width_px", [3.0, 4.0, 6.0])
def test_a_curve_on_the_outer_edge_here_and_on_the_inner_one_there_is_put_on_the_outer(width_px):
    """Closed form: moved half the bevel's width to one side it lies on the one edge at the right and on the other at the left; the outline is met to a quarter pixel."""
    found = on_two_edges(pyramid_of(piece(bevel_px=width_px)), shifted(inside_px=width_px / 2.0, by_px=width_px / 2.0))
    assert found.width_px == pytest.approx(width_px, abs=0.6)  # tried every half pixel
    assert found.figure.axes()[:2] == pytest.approx(SEMI_PX, abs=0.25)
    assert found.figure.centre() == pytest.approx(MIDDLE, abs=0.25)


def test_a_curve_on_one_edge_all_around_is_not_moved():
    """On the outer edge of a bevel, on its inner edge, and on the edge of a face without one there is nothing to put right."""
    bevelled = pyramid_of(piece(bevel_px=4.0))
    assert on_two_edges(bevelled, on_the_rim()) is None
    assert on_two_edges(bevelled, on_the_rim(inside_px=4.0)) is None
    assert on_two_edges(pyramid_of(piece(bevel_px=0.0)), shifted(inside_px=0.0, by_px=2.0)) is None


def test_a_shadow_beside_the_rim_is_no_second_edge():
    """Light that falls off outside the glass over some pixels, on a curve a little off: no bevel is made of it."""
    assert on_two_edges(pyramid_of(piece(bevel_px=0.0, shadow_px=6.0)), shifted(inside_px=1.0, by_px=1.5)) is None


@pytest.mark.parametrize("soft_px", [1.0, 2.0, 5.0])
def test_no_step_is_seen_outside_an_outline_without_a_bevel(soft_px):
    """One edge, sharp or soft, stays one."""
    assert outer_step(pyramid_of(piece(bevel_px=0.0, soft_px=soft_px)), on_the_rim()) is None


@pytest.mark.parametrize("shadow_px", [4.0, 6.0, 10.0])
def test_a_shadow_beside_an_outline_without_a_bevel_is_no_second_edge(shadow_px):
    """The table half as bright right beside the glass, and brighter farther out: one edge with a shadow explains that as well."""
    assert outer_step(pyramid_of(piece(bevel_px=0.0, table=0.3, shadow_px=shadow_px)), on_the_rim()) is None


@pytest.mark.parametrize("width_px", [4.0, 6.0])
def test_a_dark_bevel_in_front_of_a_brighter_table_is_a_step_in_spite_of_a_shadow(width_px):
    """The light rises outward at the outline and goes on rising in the shadow; the step is still where it was drawn."""
    pyramid = pyramid_of(piece(bevel_px=width_px, bevel=0.08, table=0.4, shadow_px=7.0))
    step = outer_step(pyramid, on_the_rim(inside_px=width_px))
    assert step.outward_px == pytest.approx(width_px, abs=0.8)


@pytest.mark.parametrize("width_px", [3.0, 5.0])
def test_a_bevel_brighter_than_the_table_on_one_side_and_darker_on_the_other_is_no_shadow(width_px):
    """A shadow takes light away all around; where light is added on a side there is a bevel, even one that is faint on the whole."""
    pyramid = pyramid_of(piece(bevel_px=width_px, bevel=lambda angle: 0.2 + 0.06 * np.cos(angle), table=0.2, soft_px=1.5))
    assert outer_step(pyramid, on_the_rim(inside_px=width_px)).outward_px == pytest.approx(width_px, abs=0.6)


def test_a_bevel_as_dark_as_the_table_on_one_side_is_seen_by_the_other():
    """Where the table darkens to the bevel's own light no second edge shows; the half where one does is enough, as long as nothing speaks against it elsewhere."""
    half_dark = pyramid_of(piece(bevel_px=6.0, bevel=lambda angle: np.where(np.cos(angle) > 0.2, 0.2, 0.08), table=0.2))
    assert outer_step(half_dark, on_the_rim(inside_px=6.0)).outward_px == pytest.approx(6.0, abs=0.6)
    mostly_dark = pyramid_of(piece(bevel_px=6.0, bevel=lambda angle: np.where(np.cos(angle) > -0.4, 0.2, 0.08), table=0.2))
    assert outer_step(mostly_dark, on_the_rim(inside_px=6.0)) is None


def placed(*, shift_px=0.0, grown_px=0.0, bevel_px=0.0):
    """An outline on the rim of the piece drawn, or around it."""
    figure = disc(cx=MIDDLE[0] + shift_px, cy=MIDDLE[1], along=SEMI_PX[0] + grown_px, across=SEMI_PX[1] + grown_px, angle_rad=0.0)
    return Refined(figure=figure, standard_px=0.1, support=1.0, bevel_px=bevel_px)


@pytest.mark.parametrize("width_px", [4.0, 8.0, 16.0])
def test_how_wide_a_bevel_is_shows_by_where_the_bands_end(width_px):
    """Closed form: bevels of 2 to 8 % of the shorter half axis, whether or not an edge was seen inside them; the outline stays."""
    found, share = within_bevel(pyramid_of(piece(bevel_px=width_px)), placed())
    assert share * SEMI_PX[1] == pytest.approx(width_px, abs=1.0)
    assert np.array_equal(found.figure.matrix, placed().figure.matrix)


def test_where_no_bands_tell_the_bevel_seen_is_taken():
    """An even face leaves the width that edges showed."""
    dull = pyramid_of(np.minimum(piece(bevel_px=6.0), np.float32(0.1)))
    assert within_bevel(dull, placed(bevel_px=6.0))[1] == pytest.approx(6.0 / SEMI_PX[1])


def test_the_rim_of_the_back_beside_that_of_the_face_is_not_the_outline():
    """A curve 10 px outside the face and 6 px beside its middle: the face is put 4 px, where the gap is narrowest, around the bands, in doubt by that."""
    found, share = within_bevel(pyramid_of(piece(bevel_px=0.0)), placed(shift_px=6.0, grown_px=10.0))
    assert share * SEMI_PX[1] == pytest.approx(4.0, abs=1.0)
    assert found.figure.centre() == pytest.approx(MIDDLE, abs=1.0)
    assert found.figure.axes()[:2] == pytest.approx([semi + 4.0 for semi in SEMI_PX], abs=1.5)
    assert found.doubtful
    assert found.standard_px == pytest.approx(4.0 / math.sqrt(3.0), abs=0.6)


def test_every_side_of_a_rectangle_goes_out_by_the_bevel_that_one_side_shows():
    """A rectangle with one side on the outer edge and three on the inner one of a bevel of 5 px: told apart one by one, then moved."""
    pyramid = pyramid_of(piece(bevel_px=5.0, square=True))
    mixed = rectangle_figure(cx=MIDDLE[0] + 2.5, cy=MIDDLE[1], along=SEMI_PX[0] - 2.5, across=SEMI_PX[1] - 5.0, angle_rad=0.0)
    assert sides_on_inner_edge(pyramid, mixed, width_px=5.0).tolist() == [False, True, True, True]  # right, lower, left, upper
    assert sides_on_inner_edge(pyramid, on_the_rim(square=True), width_px=5.0).tolist() == [False] * 4


@pytest.mark.parametrize(("difficulty", "seed"), [(Difficulty.ORDINARY, 904), (Difficulty.PLAIN, 1022)])
def test_drawn_rectangles_of_which_sides_were_once_left_inside_or_put_on_a_shadow(difficulty, seed):
    """Both were off by 6 and 12 px: sides of one left on the inner edge, of the other taken out to where a shadow ends."""
    shot = photograph(seed, difficulty=difficulty)
    plane = light_plane(load_photo(shot.rendered.encode(), name="bands.jpg"), wavelength_nm=shot.scene.light.wavelength_nm)
    assert outline_miss_px(find_outline(plane, face=shot.scene.face), true_outline(shot.rendered.truth)) < 1.0


def test_two_edges_that_compete_are_said_to_and_counted(monkeypatch):
    """Where the step is in doubt the edge found stays, half the distance goes into its uncertainty, and a flag with a sentence says so."""
    monkeypatch.setattr("straightband.photo.rimprofile.SURE_LEFT", 0.0)
    monkeypatch.setattr("straightband.photo.rimprofile.FAR_BETTER_THAN_SHADOW", 0.0)
    light = piece(bevel_px=5.0, bevel=0.15)
    doubted = refined(pyramid_of(light), on_the_rim(inside_px=5.0))
    assert doubted.doubtful
    assert doubted.figure.axes()[1] == pytest.approx(SEMI_PX[1] - 5.0, abs=0.5)
    assert doubted.standard_px == pytest.approx(2.5, abs=0.3)  # the step is tried every half pixel
    monkeypatch.setattr("straightband.photo.outline.refined", lambda *_, **__: doubted)
    found = find_outline(plane_of(light), face=FACE)
    assert found.standard_px == doubted.standard_px
    assert SENTENCES[found.flags[0]].startswith("two edges")


@pytest.mark.parametrize(
    ("kind", "seed"),
    [("campaign", 503), ("faint", 500), ("large", 500), ("large", 504), ("small", 11), ("faint", 8), ("plate", 4), ("second", 504)],
)
def test_drawn_photographs_in_which_the_inner_edge_was_once_taken(kind, seed):
    """Two renderers; each was 2.4 to 7 px off along part of the rim before bands were asked where they end."""
    known = campaign.known_photograph(kind, seed)
    plane = light_plane(load_photo(known.data, name="bands.jpg"), wavelength_nm=known.wavelength_nm)
    assert campaign.misses_px(find_outline(plane, face=known.face), known)[0] < 1.0
