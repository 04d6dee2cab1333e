"""The outline, found by itself in rendered photographs of known geometry and in real ones."""

import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.special import ndtr

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from benchmarks import outline as campaign
from straightband.errors import BadInput, OutlineNotFound
from straightband.face.shapes import Shape, ellipse, rectangle, round_face
from straightband.photo.figure import apart, disc, rectangle_figure
from straightband.photo.load import load_photo
from straightband.photo.outline import find_outline, outline_from_text
from straightband.photo.plane import light_plane
from straightband.photo.rectify import face_to_pixels, map_points, square_on
from straightband.photo.search import textured
from straightband.photo.unrolled import pyramid_of
from straightband.synthetic.campaign import Difficulty, random_scene
from straightband.synthetic.render import render
from straightband.synthetic.truth import truth_of

RINGS = Path(__file__).parents[1] / "truth" / "rings"
FACE = ellipse(minor_mm=90.0)


def plane_of(scene, *, seed):
    """The plane of a rendered photograph, through JPEG."""
    data = render(scene, rng=np.random.default_rng(seed)).encode("jpeg")
    return light_plane(load_photo(data, name="bands.jpg"), wavelength_nm=scene.light.wavelength_nm)


@pytest.mark.parametrize("seed", range(2000, 2008))
@pytest.mark.parametrize("difficulty", [Difficulty.PLAIN, Difficulty.ORDINARY])
def test_the_outline_of_a_rendered_photograph_is_found(seed, difficulty):
    """Every pattern, surround, glare and tilt that is drawn: the outline lies where the scene was projected."""
    scene = random_scene(np.random.default_rng(seed), difficulty=difficulty, megapixels=1.5)
    found, truth = find_outline(plane_of(scene, seed=seed), face=scene.face), truth_of(scene)
    true = truth.outline_px
    limit = max(1.0, 0.015 * true.semi_minor)  # a bevel as dark as the table hides the last hundredth of a face
    if found.corners is not None:
        apart = np.linalg.norm(truth.corners_px[:, None, :] - found.corners[None, :, :], axis=2).min(axis=1)
        assert apart.max() < 2.0 * limit  # a corner moves with both of its sides
        return
    assert [found.cx, found.cy, found.semi_major, found.semi_minor] == pytest.approx(
        [true.cx, true.cy, true.semi_major, true.semi_minor], abs=limit
    )


def found_in(known):
    """The outline found in a photograph of known rim, and how far the rim is off: pixels, and share of the mean half axis."""
    plane = light_plane(load_photo(known.data, name="bands.jpg"), wavelength_nm=known.wavelength_nm)
    return campaign.misses_px(find_outline(plane, face=known.face), known)[0]


@pytest.mark.parametrize("seed", [0, 1, 8, 12, 17, 30, 32, 33, 59, 75, 92])
def test_the_second_renderer_has_nothing_the_search_did_not_expect(seed):
    """Photographs of a renderer that shares no code with ours: striped tables, square plates, shadows to one side, hairs, no bevel."""
    known = campaign.known_photograph("second", seed)
    assert found_in(known) < 1.0  # blur is up to 2 px; a band, a bevel's inner edge or a shadow taken for the outline is 3 px off or more


@pytest.mark.parametrize(
    ("kind", "seed"), [("concentric", 5), ("concentric", 14), ("few", 3), ("few", 4), ("plate", 3), ("plate", 4), ("many", 17), ("long", 7)]
)
def test_what_lies_beside_the_outline_does_not_pull_it(kind, seed):
    """Bands along the rim, two or three bands, a plate's rim close by, bands so close that they leave dashes, a long rectangle."""
    assert found_in(campaign.known_photograph(kind, seed)) < 1.0  # as above


def on_a_table(shape, *, semi_px, bevel_px=0.0, table=0.05, bands=True):
    """A plane with one piece in its middle, drawn from the formula of its outline, 1 px soft."""
    rows, columns = np.mgrid[:600, :800].astype(float)
    x, y = (columns - 399.5) / semi_px[0], (rows - 299.5) / semi_px[1]
    if shape is Shape.RECTANGLE:
        away = np.maximum((np.abs(x) - 1.0) * semi_px[0], (np.abs(y) - 1.0) * semi_px[1])
    else:
        r = np.hypot(x, y)
        away = (r - 1.0) * r / (np.hypot(x / semi_px[0], y / semi_px[1]) + 1e-9)
    inside = 0.4 + (0.2 * np.cos(columns / 9.0 + 1e-4 * (rows - 300.0) ** 2) if bands else 0.0)
    light = table + np.clip(0.5 - away, 0.0, 1.0) * (0.9 - table if bevel_px else inside - table)
    if bevel_px:
        light += np.clip(0.5 - away - bevel_px, 0.0, 1.0) * (inside - 0.9)
    from straightband.photo.plane import Plane

    return Plane(
        light=light.astype(np.float32),
        clipped=np.zeros(light.shape, dtype=bool),
        scale=1.0,
        size_px=(800, 600),
        channel="gray",
        focal_35mm=math.nan,
        flags=(),
    )


@pytest.mark.parametrize("bevel_px", [0.0, 4.0, 8.0])
@pytest.mark.parametrize("table", [0.05, 0.3])
def test_an_outline_drawn_from_its_formula_is_found_to_a_fifth_of_a_pixel(bevel_px, table):
    """Closed form: half axes 300 and 212.1 px about (399.5, 299.5); a bright bevel belongs to the glass."""
    found = find_outline(on_a_table(Shape.ELLIPSE, semi_px=(300.0, 212.1), bevel_px=bevel_px, table=table), face=FACE)
    assert [found.cx, found.cy, found.semi_major, found.semi_minor] == pytest.approx(
        [399.5, 299.5, 300.0, 212.1], abs=0.2
    )  # a rim softened by 1 px, averaged along hundreds


@pytest.mark.parametrize(
    ("drawn", "semi_px", "told"),
    [
        (Shape.ELLIPSE, (280.0, 198.0), round_face(diameter_mm=90.0)),
        (Shape.ELLIPSE, (280.0, 198.0), rectangle(width_mm=60.0, length_mm=85.0)),
        (Shape.ELLIPSE, (280.0, 198.0), ellipse(minor_mm=70.0, major_mm=80.0)),
        (Shape.ROUND, (220.0, 220.0), FACE),
        (Shape.RECTANGLE, (260.0, 180.0), FACE),
        (Shape.RECTANGLE, (260.0, 180.0), rectangle(width_mm=80.0, length_mm=80.0)),
    ],
)
def test_a_wrong_shape_is_not_found(drawn, semi_px, told):
    """A person who says another shape or proportion than the photograph shows is told so."""
    with pytest.raises(OutlineNotFound) as refusal:
        find_outline(on_a_table(drawn, semi_px=semi_px), face=told)
    assert all((refusal.value.found, refusal.value.needed, refusal.value.remedy))


def test_a_face_cut_off_by_the_frame_is_refused():
    """The frame is laid so that 20 px of the face are missing on the right."""
    plane = on_a_table(Shape.ELLIPSE, semi_px=(300.0, 212.1))
    cut = replace(plane, light=plane.light[:, :680], clipped=plane.clipped[:, :680], size_px=(680, 600))
    with pytest.raises(OutlineNotFound, match="right edge"):
        find_outline(cut, face=FACE)


def on_a_larger_flat(shape, *, semi_px, clock_deg, bands, contrast, flat, rim_px, centre_px=(799.5, 599.5), surround=0.03):
    """A face on a round flat whose bright ground rim runs around it, drawn from the formulas of both, with a sensor's noise."""
    rows, columns = np.mgrid[:1200, :1600].astype(float)
    dx, dy = columns - centre_px[0], rows - centre_px[1]
    c, s = math.cos(math.radians(clock_deg)), math.sin(math.radians(clock_deg))
    x, y = (c * dx + s * dy) / semi_px[0], (c * dy - s * dx) / semi_px[1]
    if shape is Shape.RECTANGLE:
        away = np.maximum((np.abs(x) - 1.0) * semi_px[0], (np.abs(y) - 1.0) * semi_px[1])
    else:
        r = np.hypot(x, y)
        away = (r - 1.0) * r / (np.hypot(x / semi_px[0], y / semi_px[1]) + 1e-9)
    from_rim = np.hypot(dx, dy) - rim_px[0]
    ground = np.where(from_rim < 0.0, flat, surround)
    ground[np.abs(from_rim) < rim_px[1]] = 0.5
    across = (0.98 * dx + 0.2 * dy) / max(semi_px) * bands / 2.0 + 0.2 * (dx * dx - dy * dy) / max(semi_px) ** 2
    face = 0.3 * (1.0 + contrast * np.cos(2.0 * math.pi * across))
    light = ground + np.clip(0.5 - away / 1.5, 0.0, 1.0) * (face - ground)
    light += 0.004 * np.sqrt(np.maximum(light, 0.02)) * np.random.default_rng(1).standard_normal(light.shape)
    light = np.round(255.0 * np.sqrt(np.clip(light, 0.0, 1.0))) ** 2 / 255.0**2
    return replace(on_a_table(Shape.ROUND, semi_px=(9.0, 9.0)), light=light.astype(np.float32), clipped=light >= 1.0, size_px=(1600, 1200))


def test_a_face_full_of_bands_is_found_inside_the_rim_of_a_larger_flat():
    """Closed form: half axes 400 and 282.8 px; close bands dissolve the outline into dashes, and the rim is a ring around the area of bands."""
    plane = on_a_larger_flat(
        Shape.ELLIPSE, semi_px=(400.0, 282.8), clock_deg=-30.0, bands=25.0, contrast=0.8, flat=0.15, rim_px=(540.0, 10.7)
    )
    true = disc(cx=799.5, cy=599.5, along=400.0, across=282.8, angle_rad=math.radians(-30.0))
    assert any(apart(true, area) < 0.1 for area in textured(pyramid_of(plane.light), square=False))  # what settling can reach
    found = find_outline(plane, face=FACE)
    assert [found.cx, found.cy, found.semi_major, found.semi_minor] == pytest.approx([799.5, 599.5, 400.0, 282.8], abs=0.3)


def test_a_flats_rim_cut_off_by_the_frame_is_not_taken_for_a_brighter_flats_face():
    """Closed form: a round face of 458 px, darker than its flat all around, whole in the frame; of the flat's rim 19 px are missing."""
    plane = on_a_larger_flat(
        Shape.ROUND,
        semi_px=(458.0, 458.0),
        clock_deg=0.0,
        bands=5.9,
        contrast=0.38,
        flat=0.4,
        rim_px=(618.0, 18.2),
        centre_px=(813.0, 582.0),
        surround=0.12,
    )
    found = find_outline(plane, face=round_face(diameter_mm=60.0))
    assert [found.cx, found.cy, found.semi_major, found.semi_minor] == pytest.approx([813.0, 582.0, 458.0, 458.0], abs=0.3)


def test_a_rectangle_is_found_whose_corners_nearly_touch_the_rim_of_its_flat():
    """Closed form: half sides 456 and 321 px on a flat of 616 px, whose rim the corners come within 40 px of."""
    plane = on_a_larger_flat(
        Shape.RECTANGLE,
        semi_px=(456.0, 321.0),
        clock_deg=90.0,
        bands=6.0,
        contrast=0.86,
        flat=0.36,
        rim_px=(616.0, 12.8),
        centre_px=(813.0, 626.0),
        surround=0.12,
    )
    true = rectangle_figure(cx=813.0, cy=626.0, along=456.0, across=321.0, angle_rad=0.5 * math.pi)
    assert any(apart(true, area) < 0.1 for area in textured(pyramid_of(plane.light), square=True))  # as above
    found = find_outline(plane, face=rectangle(width_mm=64.2, length_mm=91.2))
    assert [found.cx, found.cy, found.semi_major, found.semi_minor] == pytest.approx([813.0, 626.0, 456.0, 321.0], abs=1.0)


def field_of_rings(*, rings, centre_px, soft_px):
    """A round field as an eyepiece shows it: its rim out of focus, rings by the square of the distance up to it."""
    rows, columns = np.mgrid[:700, :800].astype(float)
    away = np.hypot(columns - 410.0, rows - 345.0) - 260.0
    turns = rings * ((columns - centre_px[0]) ** 2 + (rows - centre_px[1]) ** 2) / 260.0**2
    noise = 0.004 * np.random.default_rng(5).standard_normal(rows.shape)
    light = 0.01 + ndtr(-away / soft_px) * (0.3 + 0.2 * np.cos(2.0 * math.pi * turns)) + noise
    return replace(on_a_table(Shape.ROUND, semi_px=(260.0, 260.0)), light=light.astype(np.float32), clipped=light > 1.0, size_px=(800, 700))


@pytest.mark.parametrize(("rings", "centre_px"), [(12.0, (380.0, 390.0)), (18.0, (395.0, 352.0)), (14.0, (440.0, 300.0))])
def test_fine_rings_are_not_taken_for_a_rim_out_of_focus(rings, centre_px):
    """Closed form: a field of radius 260 px about (410, 345), its rim blurred by 4.5 px, where the rings inside it are the sharper curves."""
    found = find_outline(field_of_rings(rings=rings, centre_px=centre_px, soft_px=4.5), face=round_face(diameter_mm=20.0))
    # a ring lies 5 px and more inside; the last one, cut by the rim, moves where the light is steepest by up to half the blur
    assert [found.cx, found.cy, found.semi_major, found.semi_minor] == pytest.approx([410.0, 345.0, 260.0, 260.0], abs=2.5)


@pytest.mark.parametrize("name", ["newton_rings_raw_01.jpg", "newton_rings_raw_02.jpg"])
def test_the_round_field_of_a_real_photograph_is_found(name):
    """Real telephone photographs (repository AI-Newton-Rings-Lab, tests/truth/rings): the field is round, about 0.41 of the width."""
    plane = light_plane(load_photo((RINGS / name).read_bytes(), name=name), wavelength_nm=589.3)
    found = find_outline(plane, face=round_face(diameter_mm=20.0))
    assert found.semi_minor / found.semi_major == pytest.approx(1.0, abs=0.02)  # seen by a telephone held by hand
    assert found.semi_major / plane.size_px[0] == pytest.approx(0.41, abs=0.02)  # read off the photograph


def test_a_photograph_without_a_face_is_refused():
    """Even grain has no outline, and none is made up."""
    rng = np.random.default_rng(5)
    scene = random_scene(rng, difficulty=Difficulty.PLAIN, megapixels=1.0)
    plane = plane_of(scene, seed=5)
    from dataclasses import replace

    grain = (0.3 + 0.02 * rng.standard_normal(plane.light.shape)).astype(np.float32)
    with pytest.raises(OutlineNotFound) as refusal:
        find_outline(replace(plane, light=grain), face=FACE)
    assert all((refusal.value.found, refusal.value.needed, refusal.value.remedy))


def test_a_told_outline_is_taken_as_told():
    """Five numbers in pixels; the first half axis lies along the angle, whichever is longer."""
    told = outline_from_text("800,600,300,424.3,10", face=FACE)
    assert told.told
    assert (told.cx, told.cy) == (800.0, 600.0)
    assert told.semi_major == pytest.approx(424.3)
    assert told.angle_deg % 180.0 == pytest.approx(100.0)


@pytest.mark.parametrize("text", ["1,2,3", "a,b,c,d,e", "800,600,-3,4,0", "nan,1,2,3,4", ""])
def test_an_outline_that_is_none_is_refused(text):
    """Anything but five usable numbers."""
    with pytest.raises(BadInput):
        outline_from_text(text, face=FACE)


def test_the_ends_of_the_axes_fall_on_the_outline():
    """+v is the upper end of the major axis, or the one nearer the mark; u x v is right-handed as seen in the upright photograph."""
    told = outline_from_text("800,600,424.3,300,-80", face=FACE)
    for hour, sign in ((None, 1.0), (12.0, 1.0), (6.0, -1.0)):
        matrix = face_to_pixels(told, FACE, mark_hour=hour)
        x, y = map_points(matrix, x=np.array([0.0, 1.0]), y=np.array([1.0, 0.0]))
        along = math.radians(-80.0)
        assert (x[0] - 800.0, y[0] - 600.0) == pytest.approx((sign * 424.3 * math.cos(along), sign * 424.3 * math.sin(along)), abs=1e-6)
        assert (x[1] - 800.0) * (y[0] - 600.0) - (y[1] - 600.0) * (x[0] - 800.0) < 0.0  # rows run down


def test_a_mark_beside_the_minor_axis_names_no_end():
    """Which end is meant can't be told, so it is not guessed."""
    with pytest.raises(BadInput):
        face_to_pixels(outline_from_text("800,600,424.3,300,-90", face=FACE), FACE, mark_hour=3.0)


def test_squaring_on_moves_nothing_by_a_fraction_of_a_pixel():
    """A ramp of light resampled through an outline shifted by 0.013 to 0.49 pixel comes back shifted by as much."""
    scene = random_scene(np.random.default_rng(6), difficulty=Difficulty.PLAIN, megapixels=1.0)
    from dataclasses import replace

    plane = plane_of(scene, seed=6)
    rows, columns = plane.light.shape
    ramp = np.broadcast_to(np.linspace(0.0, 1.0, columns, dtype=np.float32), (rows, columns)).copy()
    flat = replace(plane, light=ramp, clipped=np.zeros((rows, columns), dtype=bool))
    level = []
    for shift in (0.0, 0.013, 0.4, 0.49):
        told = outline_from_text(f"{columns / 2 + shift},{rows / 2},200,{200 / math.sqrt(2.0)},90", face=FACE)
        level.append(float(np.mean(square_on(flat, told, face=FACE, samples_across=128).light[60:120, 40:90])))
    moved = (np.array(level[1:]) - level[0]) * (columns - 1)
    assert moved == pytest.approx([0.013, 0.4, 0.49], abs=1e-3)  # single precision of the ramp
