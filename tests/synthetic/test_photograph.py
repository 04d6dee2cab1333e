"""The picture itself: where the bands fall, how edges are shared, what the sensor adds, what the file holds."""

import io
import math
from dataclasses import replace

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageOps

from straightband.errors import BadInput
from straightband.face.shapes import ellipse, rectangle, round_face
from straightband.light.sign import shift_toward_open_side_mm
from straightband.synthetic.bands import contrast_at, gap_nm, smallest_gap_nm
from straightband.synthetic.render import render
from straightband.synthetic.scene import (
    BandLight,
    Blemishes,
    Frost,
    Glare,
    Lighting,
    ReferencePlate,
    Scene,
    Sensor,
    Surround,
    View,
)
from straightband.synthetic.sensor import channel_response, tone_curve
from straightband.synthetic.surfaces import LocalHill, Surface, sphere
from straightband.synthetic.truth import truth_map

QUIET = Sensor(read_noise=0.0, full_well=math.inf)
SMALL = View(width_px=400, height_px=300, scale_px_per_mm=3.0, centre_x_px=199.5, centre_y_px=149.5)
LINE = BandLight(wavelength_nm=600.0, fwhm_nm=0.0, contrast=0.8)


def _scene(face, **changes):
    plain = Scene(
        surface=Surface(face=face), light=LINE, view=SMALL, surround=Surround(level=0.0), sensor=QUIET, bands_u=0.0, bands_v=0.0, gap_nm=0.0
    )
    return replace(plain, **changes)


def _light(scene, *, seed=0):
    return render(scene, rng=np.random.default_rng(seed)).light


def test_contact_is_dark_and_a_quarter_wave_gap_is_bright():
    """Uncoated glass in contact gives 1 - V, a gap of a quarter of the wavelength 1 + V: Born and Wolf, section 7.6 (from memory)."""
    face = round_face(diameter_mm=60.0)
    for gap, expected in ((0.0, 0.2), (150.0, 1.8), (300.0, 0.2), (75.0, 1.0)):
        assert _light(_scene(face, gap_nm=gap))[150, 200] == pytest.approx(expected, abs=1e-5)  # float32


def test_pure_wedge_gives_straight_dark_bands_half_a_wavelength_of_gap_apart():
    """Eight bands over 80 mm of width lie 10 mm = 30 px apart, first one where 2 t = m lambda: closed form, all rows alike."""
    light = _light(_scene(rectangle(width_mm=80.0, length_mm=80.0), bands_u=8.0, gap_nm=1200.0 + 75.0))
    row = light[150]
    # t = 1275 + 30 u nm; dark at multiples of 300 nm: u = -2.5 mm + 10 mm k, x = 199.5 + 3 u.
    for k in range(-3, 4):
        x = 199.5 + 3.0 * (-2.5 + 10.0 * k)
        dark = np.arange(round(x) - 3, round(x) + 4)
        a, b, _ = np.polyfit(dark, row[dark], 2)
        assert -b / (2.0 * a) == pytest.approx(x, abs=0.01)  # what a parabola departs from a cosine over 7 px of 30
    assert np.ptp(light[40:260, 100:300], axis=0).max() < 1e-4  # float32


def test_band_over_a_hill_is_displaced_toward_the_open_side():
    """With the gap opening toward +u a hill of a fifth of a band moves the dark band a fifth of its spacing toward +u (sign rule of light.sign)."""
    face = rectangle(width_mm=80.0, length_mm=80.0)
    flat = _light(_scene(face, bands_u=4.0, gap_nm=1200.0))[150, 160:240]
    # So wide a hill is level over the band it moves.
    hill = LocalHill(u_mm=0.0, v_mm=0.0, radius_mm=4000.0, height_nm=60.0)
    lifted = _light(_scene(face, bands_u=4.0, gap_nm=1200.0, surface=Surface(face=face, hills=(hill,))))[150, 160:240]
    expected_px = 3.0 * shift_toward_open_side_mm(height_nm=60.0, wedge_nm_per_mm=4.0 * 300.0 / 80.0)
    assert int(np.argmin(lifted)) - int(np.argmin(flat)) == pytest.approx(expected_px, abs=1.0)  # whole pixels


def test_lowering_the_eye_moves_the_light_as_the_cosine_says():
    """At 15 degrees a gap of 3000 nm acts like 3000 cos(15 degrees): 2 t cos(theta), Born and Wolf, section 7.5.1 (from memory)."""
    view = replace(SMALL, tilt_deg=15.0)
    found = _light(_scene(round_face(diameter_mm=60.0), gap_nm=3000.0, view=view))[150, 200]
    phase = 4.0 * math.pi * 3000.0 * math.cos(math.radians(15.0)) / 600.0
    assert found == pytest.approx(1.0 - 0.8 * math.cos(phase), abs=1e-4)  # float32 on a phase of 61 rad


def test_near_camera_makes_a_uniform_gap_look_concave():
    """At 100 mm from the foot of a camera 1000 mm up, 5 um of gap lose 24.814 nm: t (1 - cos atan(r / L)), worked out by hand."""
    face = round_face(diameter_mm=200.0)
    view = replace(SMALL, scale_px_per_mm=1.0, camera_distance_mm=1000.0, centre_x_px=200.0)
    light = _light(_scene(face, gap_nm=5000.0, view=view))[150, 299]
    assert light == pytest.approx(
        1.0 - 0.8 * math.cos(4.0 * math.pi * (5000.0 - 24.32) / 600.0), abs=2e-3
    )  # row 150 lies 0.5 px off, pixel 299 at 99 mm


def test_wide_line_fades_with_the_gap():
    """A line 20 nm wide at 630 nm leaves 0.72224 of the contrast at 3 um: Fourier transform of a Gaussian line, worked out by hand."""
    scene = _scene(round_face(diameter_mm=60.0), light=BandLight(wavelength_nm=630.0, fwhm_nm=20.0, contrast=1.0))
    assert contrast_at(scene, gap=np.array([0.0, 3000.0])) == pytest.approx([1.0, 0.72224], rel=1e-5)  # figures given


def test_second_harmonic_adds_its_share():
    """With a share of 0.04 the light is 1 - V (cos + 0.04 cos 2): the definition, at a phase of 60 degrees."""
    scene = _scene(round_face(diameter_mm=60.0), gap_nm=50.0, light=replace(LINE, second_harmonic=0.04))
    assert _light(scene)[150, 200] == pytest.approx(1.0 - 0.8 * (0.5 - 0.04 * 0.5), abs=1e-5)  # float32


def test_reference_figure_adds_to_the_heights_seen():
    """A surface against its own mould's counterpart shows no figure: gap of a sphere with a reference of opposite sign is uniform."""
    face = ellipse(minor_mm=60.0)
    scene = _scene(face, surface=sphere(face, sag_nm=200.0), reference=sphere(face, sag_nm=-200.0), gap_nm=900.0)
    u_mm = np.linspace(-30.0, 30.0, 7)
    assert gap_nm(scene, u_mm=u_mm, v_mm=0.0 * u_mm) == pytest.approx(np.full(7, 900.0), abs=1e-9)  # rounding
    assert smallest_gap_nm(scene) == pytest.approx(900.0, abs=1e-9)  # rounding


@pytest.mark.parametrize(
    "face",
    [ellipse(minor_mm=60.0), round_face(diameter_mm=70.0), rectangle(width_mm=50.0, length_mm=70.0)],
    ids=lambda face: face.shape.value,
)
def test_edge_pixels_share_the_light_by_area(face):
    """Light summed over a uniform face is its area in pixels: pi a b or 4 a b, whatever the turn: closed form."""
    view = replace(SMALL, rotation_deg=27.0, centre_x_px=199.27)
    light = _light(_scene(face, gap_nm=75.0, view=view))
    assert light.sum() / 9.0 == pytest.approx(face.area_mm2, rel=2e-4)  # 8 x 8 parts: 1/8 px along 600 rim pixels, at random
    assert ((light > 0.01) & (light < 0.99)).any()


def test_bevel_lies_inside_the_outline():
    """A bevel of 2 mm on a round face of 35 mm radius leaves the bands a radius of 33 mm: areas in closed form."""
    scene = _scene(round_face(diameter_mm=70.0), gap_nm=75.0, surround=Surround(level=0.0, bevel_width_mm=2.0, bevel_level=3.0))
    expected = math.pi * (33.0**2 + 3.0 * (35.0**2 - 33.0**2))
    assert _light(scene).sum() / 9.0 == pytest.approx(expected, rel=3e-4)  # two rims of 8 x 8 parts


def test_larger_plate_shows_around_the_piece_with_its_rim():
    """Along a row from the middle outward: bands, plate, rim, table."""
    plate = ReferencePlate(radius_mm=45.0, level=0.4, rim_width_mm=3.0, rim_level=1.5)
    light = _light(_scene(round_face(diameter_mm=60.0), gap_nm=75.0, surround=Surround(level=0.1, plate=plate)))
    assert light[150, [199, 309, 330, 390]] == pytest.approx([1.0, 0.4, 1.5, 0.1], abs=1e-5)  # float32; at 0, 36.5, 43.5 and 63.5 mm


def test_frosted_back_keeps_its_share_of_contrast_under_a_veil():
    """Beyond the border the contrast is 0.3 of 0.8 and 0.25 of light is added; before it nothing changes: the definition."""
    frost = Frost(border_mm=5.0, angle_deg=0.0, contrast_left=0.3, veil=0.25)
    light = _light(_scene(round_face(diameter_mm=60.0), gap_nm=0.0, blemishes=Blemishes(frost=frost)))
    assert light[150, [199, 260]] == pytest.approx([0.2, 1.25 - 0.24], abs=1e-5)  # float32


def test_glare_adds_its_level_at_its_middle():
    """A glare of level 5 at the centre adds 5 there and 5 / e one radius away: the definition."""
    glare = Glare(u_mm=0.0, v_mm=0.0, level=5.0, radius_mm=4.0)
    view = replace(SMALL, centre_x_px=200.0, centre_y_px=150.0)
    light = _light(_scene(round_face(diameter_mm=60.0), gap_nm=75.0, view=view, blemishes=Blemishes(glares=(glare,))))
    assert light[150, [200, 212]] == pytest.approx([6.0, 1.0 + 5.0 / math.e], abs=1e-4)  # float32


def test_blemishes_touch_only_what_they_cover():
    """Dust, scratches and a ghost change some pixels of a picture and leave most as they were."""
    scene = _scene(round_face(diameter_mm=60.0), gap_nm=75.0)
    plain = _light(scene)
    for blemishes, most in (
        (Blemishes(dark_specks=20, bright_specks=20), 0.05),
        (Blemishes(scratches=5), 0.05),
        (Blemishes(ghost_level=0.1), 0.3),
    ):
        changed = np.abs(_light(replace(scene, blemishes=blemishes)) - plain) > 1e-3
        assert 0.0005 < changed.mean() < most


def test_uneven_light_follows_its_slope():
    """A slope of 0.2 per half frame gives 0.8 at the left and 1.2 at the right edge of the picture: the definition."""
    light = _light(_scene(round_face(diameter_mm=60.0), surround=Surround(level=1.0), lighting=Lighting(slope_x=0.2)))
    assert light[5, [0, -1]] == pytest.approx([0.8, 1.2], abs=1e-3)  # half a pixel of 400
    corner = _light(_scene(round_face(diameter_mm=60.0), surround=Surround(level=1.0), lighting=Lighting(vignetting=0.3)))
    assert corner[0, 0] == pytest.approx(0.7, abs=3e-3)  # half a pixel of 400


def test_blur_and_halo_keep_the_light():
    """Blurring moves light about but keeps its sum, and lifts the dark table beside the piece."""
    scene = _scene(round_face(diameter_mm=60.0), gap_nm=75.0)
    plain = _light(scene)
    soft = _light(replace(scene, view=replace(SMALL, blur_px=2.0, halo=0.1, halo_px=20.0)))
    assert soft.sum() == pytest.approx(plain.sum(), rel=5e-3)  # the small picture the halo is made on drops a few columns
    assert plain[150, 330] == 0.0
    assert soft[150, 330] > 0.001


def test_noise_has_the_variance_of_reading_and_counting():
    """Over an even field the variance is read^2 + signal / full well, signal the share of full scale: photon counting."""
    sensor = Sensor(exposure=0.4, read_noise=0.004, full_well=2500.0)
    scene = _scene(round_face(diameter_mm=10.0), surround=Surround(level=1.0), sensor=sensor)
    field = render(scene, rng=np.random.default_rng(4)).linear[:100, :, 1]
    signal = 0.4 * channel_response(600.0)[1]
    assert field.mean() == pytest.approx(signal, abs=3e-4)  # 4 standard errors of 40000 pixels
    assert field.var() == pytest.approx(0.004**2 + signal / 2500.0, rel=0.03)  # 4 standard errors: 4 sqrt(2 / 40000)


def test_noise_of_the_channels_is_independent():
    """Noise of red and green over an even field is uncorrelated."""
    sensor = Sensor(read_noise=0.01, full_well=math.inf, ambient=0.3)
    field = render(_scene(round_face(diameter_mm=10.0), sensor=sensor), rng=np.random.default_rng(4)).linear[:100]
    assert abs(np.corrcoef(field[:, :, 0].ravel(), field[:, :, 1].ravel())[0, 1]) < 0.02  # 4 / sqrt(40000)


@pytest.mark.parametrize(("wavelength_nm", "strongest"), [(632.8, 0), (589.3, 0), (546.074, 1), (435.8, 2)])
def test_each_line_fills_the_channel_of_its_colour(wavelength_nm, strongest):
    """Red and sodium light fill red, mercury green fills green, mercury blue fills blue; sodium reaches half of green too."""
    response = channel_response(wavelength_nm)
    assert response[strongest] == max(response) == 1.0
    assert channel_response(589.3)[1] > 0.5


@pytest.mark.parametrize(("linear", "coded"), [(0.0, 0), (1.0, 255), (0.2158605, 128), (0.5, 188), (0.0030353, 10)])
def test_tone_curve_is_that_of_srgb(linear, coded):
    """Coded values of IEC 61966-2-1, known pairs of 8-bit level and linear light."""
    assert round(float(tone_curve(np.array(linear))) * 255.0, 2) == pytest.approx(coded, abs=0.5)  # half a level


def test_bright_places_are_clipped():
    """Light above full scale is stored as the highest level."""
    pixels = render(
        _scene(round_face(diameter_mm=60.0), gap_nm=150.0, sensor=replace(QUIET, exposure=0.8)), rng=np.random.default_rng(0)
    ).pixels()
    assert pixels[150, 200, 0] == 255


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["jpeg", "png"])
def test_exif_orientation_brings_the_stored_pixels_upright(orientation, kind):
    """Turned back by Pillow (independent implementation), every orientation gives the upright picture."""
    view = View(width_px=120, height_px=80, scale_px_per_mm=1.0, centre_x_px=70.0, centre_y_px=30.0)
    sensor = Sensor(orientation=orientation, jpeg_quality=98)
    photograph = render(_scene(ellipse(minor_mm=30.0), bands_v=3.0, view=view, sensor=sensor), rng=np.random.default_rng(2))
    stored = Image.open(io.BytesIO(photograph.encode(kind)))
    assert stored.size == ((120, 80) if orientation < 5 else (80, 120))
    upright = np.asarray(ImageOps.exif_transpose(stored)).astype(int)
    off = np.abs(upright - photograph.pixels())
    assert off.mean() < (3.0 if kind == "jpeg" else 1e-9)  # JPEG at quality 98 keeps to a few levels, PNG is exact


@pytest.mark.parametrize("bits", [8, 16])
def test_png_and_tiff_keep_every_level(bits):
    """PNG and TIFF of 8 and 16 bits give back the coded pixels exactly; the TIFF says how it is turned."""
    photograph = render(_scene(round_face(diameter_mm=60.0), bands_v=3.0, sensor=Sensor(orientation=6)), rng=np.random.default_rng(2))
    expected = photograph.pixels(bits=bits)
    assert expected.dtype == (np.uint8 if bits == 8 else np.uint16)
    with tifffile.TiffFile(io.BytesIO(photograph.encode("tiff", bits=bits))) as file:
        assert np.array_equal(np.rot90(file.asarray(), -1), expected)
        assert file.pages[0].tags["Orientation"].value == 6
    if bits == 8:
        assert np.array_equal(ImageOps.exif_transpose(Image.open(io.BytesIO(photograph.encode("png")))), expected)


def test_unknown_kind_of_file_is_refused():
    """A kind that can't be written is answered with the kinds that can."""
    photograph = render(_scene(round_face(diameter_mm=60.0)), rng=np.random.default_rng(2))
    message = r"^a photograph of kind 'bmp' was asked for; jpeg, png or tiff \(jpeg with 8 bits\) is needed; name one of these\.$"
    with pytest.raises(BadInput, match=message):
        photograph.encode("bmp")


def test_same_seed_gives_the_same_bytes():
    """Rendering and encoding are repeatable to the byte, and another seed gives other noise."""
    scene = _scene(round_face(diameter_mm=60.0), bands_v=4.0, sensor=Sensor(), blemishes=Blemishes(dark_specks=5))
    one, again, other = (render(scene, rng=np.random.default_rng(seed)) for seed in (7, 7, 8))
    assert one.encode() == one.encode() == again.encode()
    assert one.encode() != other.encode()


def test_large_pictures_are_painted_in_single_precision():
    """Every stage stays in float32, or a photograph of 48 megapixels would not fit."""
    view = replace(SMALL, tilt_deg=5.0, camera_distance_mm=500.0, distortion_percent=0.5, blur_px=1.0, halo=0.1)
    scene = _scene(
        ellipse(minor_mm=60.0),
        view=view,
        lighting=Lighting(slope_x=0.1, spot=0.2, vignetting=0.2),
        light=BandLight(),
        sensor=Sensor(grain_px=0.6),
    )
    photograph = render(scene, rng=np.random.default_rng(0))
    assert photograph.light.dtype == np.float32
    assert photograph.linear.dtype == np.float32


def test_truth_map_holds_the_heights_of_the_clear_aperture():
    """The map of the truth has the surface's heights inside the clear aperture and nothing outside."""
    face = ellipse(minor_mm=60.0)
    surface = sphere(face, sag_nm=150.0)
    u_mm, v_mm = np.linspace(-30.0, 30.0, 31), np.linspace(-42.0, 42.0, 43)
    found = truth_map(_scene(face, surface=surface), u_mm=u_mm, v_mm=v_mm)
    assert found.heights_nm[21, 15] == pytest.approx(float(surface.heights_nm(np.array(0.0), np.array(0.0))), abs=1e-9)  # rounding
    assert np.isnan(found.heights_nm[21, 0])
    assert np.array_equal(found.valid, np.isfinite(found.heights_nm))


def test_edge_pixels_are_shared_evenly_on_both_sides():
    """The centre of light of an even face is the centre of the face, wherever it falls between pixels: closed form."""
    view = replace(SMALL, centre_x_px=199.27, centre_y_px=149.64)
    light = _light(_scene(round_face(diameter_mm=70.0), gap_nm=75.0, view=view)).astype(float)
    y_px, x_px = np.indices(light.shape)
    found = [(light * x_px).sum() / light.sum(), (light * y_px).sum() / light.sum()]
    assert found == pytest.approx([199.27, 149.64], abs=2e-3)  # 8 x 8 parts over 600 rim pixels


def test_uneven_light_upward_and_outward():
    """A slope up the picture brightens its top, a bulge darkens its sides, a spot adds its gain at its place: the definitions."""
    scene = _scene(round_face(diameter_mm=10.0), surround=Surround(level=1.0))
    up = _light(replace(scene, lighting=Lighting(slope_y=0.2)))
    assert up[[0, -1], 5] == pytest.approx(
        [1.0 + 0.2 * 0.75, 1.0 - 0.2 * 0.75], abs=1e-3
    )  # half a pixel of 400; the frame is 3/4 as high as wide
    assert _light(replace(scene, lighting=Lighting(bulge=0.3)))[150, 0] == pytest.approx(0.7, abs=2e-3)  # half a pixel of 400
    spot = _light(replace(scene, lighting=Lighting(spot=0.5, spot_x=0.5, spot_y=0.25, spot_radius=0.2)))
    assert spot[100, 300] == pytest.approx(1.5, abs=1e-3)  # x = 0.5 lies at column 300, y = 0.25 at row 100, to half a pixel


def test_shadow_darkens_the_table_beside_the_piece():
    """Right beside the outline the table keeps the share named, 1 - 0.6 / e one reach away: the definition."""
    surround = Surround(level=1.0, shadow_level=0.4, shadow_px=8.0)
    view = replace(SMALL, centre_x_px=200.0, centre_y_px=150.0)
    light = _light(_scene(round_face(diameter_mm=60.0), view=view, surround=surround))
    assert light[150, 298] == pytest.approx(1.0 - 0.6 / math.e, abs=1e-4)  # float32; the outline lies 90 px out


def test_wrong_tone_curve_bends_the_levels():
    """With an exponent of 1.1 the curve codes light 0.5 as it codes 0.5^1.1 without."""
    sensor = replace(QUIET, exposure=0.5, tone_exponent=1.1)
    pixels = render(_scene(round_face(diameter_mm=60.0), gap_nm=75.0, sensor=sensor), rng=np.random.default_rng(0)).pixels()
    assert pixels[150, 200, 0] == round(255.0 * float(tone_curve(np.array(0.5**1.1))))


def test_grain_ties_neighbouring_pixels_together():
    """Noise smoothed by a Gaussian of 0.8 px has the correlation exp(-1 / (4 x 0.8^2)) = 0.68 between neighbours: closed form."""
    sensor = Sensor(read_noise=0.01, full_well=math.inf, ambient=0.3, grain_px=0.8)
    field = render(_scene(round_face(diameter_mm=10.0), sensor=sensor), rng=np.random.default_rng(4)).linear[:100, :, 1]
    assert np.corrcoef(field[:, 1:].ravel(), field[:, :-1].ravel())[0, 1] == pytest.approx(0.677, abs=0.03)  # sampled, 40000 pixels


def test_halo_reaches_as_far_as_it_is_said_to():
    """A small bright piece spreads into a bell of the standard deviation given: its second moment along x, less the piece's own."""
    view = replace(SMALL, halo=0.5, halo_px=20.0)
    light = _light(_scene(round_face(diameter_mm=10.0), gap_nm=75.0, view=view)).astype(float)
    plain = _light(_scene(round_face(diameter_mm=10.0), gap_nm=75.0)).astype(float)
    x2 = (np.arange(400) - 199.5) ** 2
    spread = (light.sum(axis=0) * x2).sum() / light.sum() - (plain.sum(axis=0) * x2).sum() / plain.sum()
    assert math.sqrt(spread / 0.5) == pytest.approx(20.0, rel=0.1)  # the small picture's pixels are a quarter of the halo wide


def test_streak_points_where_it_is_told():
    """A streak along 90 degrees is long along v and narrow along u: exp(-1) at stretch x radius along, at one radius across."""
    glare = Glare(u_mm=0.0, v_mm=0.0, level=5.0, radius_mm=4.0, stretch=3.0, angle_deg=90.0)
    view = replace(SMALL, centre_x_px=200.0, centre_y_px=150.0)
    light = _light(_scene(round_face(diameter_mm=80.0), gap_nm=75.0, view=view, blemishes=Blemishes(glares=(glare,))))
    assert [light[114, 200], light[150, 212]] == pytest.approx([1.0 + 5.0 / math.e] * 2, abs=1e-4)  # float32
    slanted = replace(glare, angle_deg=30.0)
    light = _light(_scene(round_face(diameter_mm=80.0), gap_nm=75.0, view=view, blemishes=Blemishes(glares=(slanted,))))
    assert light[150 - 18, 200 + 31] == pytest.approx(1.0 + 5.0 / math.e, rel=0.02)  # whole pixels


def test_dark_specks_hide_light_and_bright_specks_add_it():
    """Dark dust only lowers, bright dust only raises the light."""
    scene = _scene(round_face(diameter_mm=60.0), gap_nm=75.0, surround=Surround(level=0.5))
    plain = _light(scene)
    dark = _light(replace(scene, blemishes=Blemishes(dark_specks=30))) - plain
    bright = _light(replace(scene, blemishes=Blemishes(bright_specks=30))) - plain
    assert dark.max() <= 0.0 > dark.min()
    assert bright.min() >= 0.0 < bright.max()
