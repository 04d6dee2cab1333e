"""What makes a map wrong: every mode against the closed form or against points displaced one by one."""

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest

from straightband.face.shapes import ellipse, rectangle
from straightband.fringes import causes
from straightband.fringes.budget import sum_up
from straightband.fringes.near import Camera
from straightband.light.lines import LAMPS, Lamp
from straightband.photo.foreshortening import Foreshortening
from straightband.photo.rectify import SquarePicture
from straightband.uncertainty import COVERAGE_95

NM_PER_RAD = 43.0
CLEAR = ellipse(minor_mm=90.0).clear_aperture()
VIEW = Foreshortening(height_scale=1.01, height_scale_standard=0.004, tilt_rad=0.12, turn_standard_rad=0.003)
CAMERA = Camera(distance_mm=700.0, distance_origin="at 700 mm as told", distance_known=True, distortion_share=0.01, size_px=(4000, 3000))


def gap_nm(u, v):
    """Wedge, power, astigmatism: a gap in closed form."""
    return 30.0 * u - 18.0 * v + 0.05 * (u * u + v * v) + 0.02 * (u * u - v * v) + 0.03 * u * v


def heights_nm(u, v):
    """The same less its wedge."""
    return -(gap_nm(u, v) - 30.0 * u + 18.0 * v)


SQUARE = rectangle(width_mm=90.0, length_mm=130.0)
AFAR = np.array([[540.0, 0.0, 2000.0], [0.0, 540.0, 1500.0], [0.0, 0.0, 1.0]])  # a square-on view
CONVERGING = np.array([[540.0, 0.0, 2000.0], [0.0, 540.0, 1500.0], [0.01, 0.0, 1.0]])


def picture_at(face_to_pixels, *, face=None):
    """A picture of which only the place in the photograph matters."""
    return SquarePicture(
        light=np.zeros((2, 2), dtype=np.float32),
        missing=np.zeros((2, 2), dtype=bool),
        u_mm=np.zeros(2),
        v_mm=np.zeros(2),
        pixels_per_sample=1.0,
        face_to_pixels=face_to_pixels,
        face=face or ellipse(minor_mm=90.0),
    )


@pytest.fixture(scope="module")
def reading(reading_of):
    return reading_of(CLEAR, lambda u, v: gap_nm(u, v) / NM_PER_RAD, samples=128, bands_across=16.0)


@pytest.fixture(scope="module")
def slopes(reading):
    u, v = np.meshgrid(reading.u_mm, reading.v_mm)
    heights = np.where(np.isfinite(reading.phase_rad), heights_nm(u, v), np.nan)
    return causes.slopes_of(reading, heights, nm_per_rad=NM_PER_RAD)


@pytest.fixture(scope="module")
def well_inside(reading):
    """Cells whose neighbours are all there; on the last pixel of the rim a central difference has no other side."""
    points = reading.points
    return CLEAR.normalised_radius(points.u_mm, points.v_mm) < 0.95


def test_slopes_are_the_derivatives(reading, slopes, well_inside):
    """Of a quadratic gap and its heights, slopes at the cells are the closed form to within half a pixel's bend."""
    u, v = reading.points.u_mm, reading.points.v_mm
    step = 0.15 * (reading.u_mm[1] - reading.u_mm[0])  # 2nd derivatives are below 0.15 nm/mm^2
    wanted = {
        "gap_u": 30.0 + 0.14 * u + 0.03 * v,
        "gap_v": -18.0 + 0.06 * v + 0.03 * u,
        "height_u": -(0.14 * u + 0.03 * v),
        "height_v": -(0.06 * v + 0.03 * u),
    }
    for name, values in wanted.items():
        assert getattr(slopes, name)[well_inside] == pytest.approx(values[well_inside], abs=2.0 * step)  # read at the nearest pixel


def test_slopes_hold_out_to_the_rim(reading, slopes):
    """The rim weighs most in keystone and distortion: no more than one in a hundred of the area may be without its slope."""
    area = reading.points.area
    lost = area[(slopes.gap_u == 0.0) | (slopes.gap_v == 0.0)].sum() / area.sum()
    assert lost < 0.01


def test_fit_noise_is_the_draws_in_nm(reading_of):
    """Departures of the phase times nm per radian, and no modes."""
    reading = reading_of(CLEAR, lambda u, _v: u, samples=16)
    cause = causes.fit_noise(reading, nm_per_rad=2.5)
    assert np.array_equal(cause.draws_nm, 2.5 * reading.draws_rad)
    assert cause.modes_nm.shape == (0, reading.points.u_mm.size)


def test_an_outline_off_moves_stretches_and_turns_the_heights(reading, slopes, well_inside):
    """Five modes against heights read at points really moved: both shifts, both stretches, and a turn of the ellipse in itself."""
    cause = causes.outline_and_scale(reading, slopes, standard_mm=0.05, view=VIEW, picture=picture_at(AFAR), nm_per_rad=NM_PER_RAD)
    u, v = reading.points.u_mm, reading.points.v_mm
    a, b = CLEAR.semi_u_mm, CLEAR.semi_v_mm
    limit, turn = COVERAGE_95 * 0.05, COVERAGE_95 * 0.003
    moved = [
        (u + limit, v),
        (u, v + limit),
        (u * (1.0 + limit / a), v),
        (u, v * (1.0 + limit / b)),
        # in coordinates where the outline is a circle this is a plain turn
        (a * (u / a * math.cos(turn) + v / b * math.sin(turn)), b * (v / b * math.cos(turn) - u / a * math.sin(turn))),
    ]
    wanted = np.stack([heights_nm(*place) - heights_nm(u, v) for place in moved])
    assert cause.modes_nm.shape == wanted.shape
    size = np.abs(wanted).max()
    assert cause.modes_nm[:, well_inside] == pytest.approx(wanted[:, well_inside], abs=0.05 * size)  # second order, and half a pixel


def beyond_planes(values, *, reading, chosen):
    """Each of (k, n) at the chosen cells, less its least-squares plane."""
    u, v = reading.points.u_mm, reading.points.v_mm
    plane = np.stack([np.ones_like(u), u, v], axis=1)[chosen]
    return np.stack([each[chosen] - plane @ np.linalg.lstsq(plane, each[chosen], rcond=None)[0] for each in values])


@pytest.mark.parametrize(("matrix", "depth_taken"), [(CONVERGING, 1.0), (AFAR, 0.0)], ids=["found", "typed"])
def test_a_corner_off_moves_the_gap_as_the_homography_does(reading, slopes, well_inside, matrix, depth_taken):
    """Each corner of a rectangle moved by itself: the gap at points moved by the homography that cv2 finds through the four corners, times the depth it tells, its plane left out."""
    picture = picture_at(matrix, face=SQUARE)
    cause = causes.outline_and_scale(reading, slopes, standard_mm=0.05, view=VIEW, picture=picture, nm_per_rad=NM_PER_RAD)
    u, v = reading.points.u_mm, reading.points.v_mm
    corners = np.float32([[-45, -65], [45, -65], [45, 65], [-45, 65]])
    wanted = []
    for axis in range(2):
        for corner in range(4):
            moved = corners.copy()
            moved[corner, axis] += COVERAGE_95 * 0.05
            x, y, w = cv2.getPerspectiveTransform(corners, moved) @ np.stack([u, v, np.ones_like(u)])
            wanted.append(gap_nm(x / w, y / w) * w**depth_taken - gap_nm(u, v))
    wanted, found = (beyond_planes(values, reading=reading, chosen=well_inside) for values in (wanted, cause.modes_nm))
    assert found == pytest.approx(wanted, abs=0.05 * np.abs(wanted).max())  # second order, and half a pixel


def test_distortion_makes_a_rectangle_converge(reading, slopes, well_inside):
    """Seen square-on through a lens that shifts its corners a rectangle is laid on them by cv2's homography, and its gap taken times the depth that this one tells."""
    scale, away = 15.0, np.array([1500.0, 1900.0])
    matrix = np.array([[scale * 45.0, 0.0, away[0]], [0.0, scale * 65.0, away[1]], [1e-6, 0.0, 1.0]])
    cause = causes.lens_distortion(reading, slopes, picture=picture_at(matrix, face=SQUARE), camera=CAMERA, nm_per_rad=NM_PER_RAD)

    def displaced(u, v):
        x, y = scale * u + away[0] - 1999.5, scale * v + away[1] - 1499.5
        share = 0.01 * (x * x + y * y) / (2000.0**2 + 1500.0**2)
        return u + share * x / scale, v + share * y / scale

    corners = np.array([[-45.0, -65.0], [45.0, -65.0], [45.0, 65.0], [-45.0, 65.0]])
    seen = np.stack(displaced(*corners.T), axis=1)
    u, v = reading.points.u_mm, reading.points.v_mm
    x, y, w = cv2.getPerspectiveTransform(corners.astype(np.float32), seen.astype(np.float32)) @ np.stack([u, v, np.ones_like(u)])
    at_u, at_v = x / w, y / w
    for _ in range(5):  # the point of the face that the lens shows there
        off_u, off_v = displaced(at_u, at_v)
        at_u, at_v = at_u + x / w - off_u, at_v + y / w - off_v
    wanted = gap_nm(u, v) - gap_nm(at_u, at_v) * w
    wanted, found = (beyond_planes([values], reading=reading, chosen=well_inside) for values in (wanted, cause.modes_nm[0]))
    assert found == pytest.approx(wanted, abs=0.05 * np.abs(wanted).max())  # second order, and half a pixel


def test_lens_distortion_is_the_gap_at_displaced_points(reading, slopes, well_inside):
    """Every point moved in the photograph by share (r / corner)^2 of its radius and taken back to the face reads another gap."""
    linear, centre = np.array([[12.0, 3.0], [-2.0, 11.0]]), np.array([2100.0, 1400.0])
    matrix = np.eye(3)
    matrix[:2, :2], matrix[:2, 2] = linear * [45.0, 45.0 * math.sqrt(2.0)], centre
    cause = causes.lens_distortion(reading, slopes, picture=picture_at(matrix), camera=CAMERA, nm_per_rad=NM_PER_RAD)
    u, v = reading.points.u_mm, reading.points.v_mm

    def displaced(at_u, at_v):
        seen = linear @ np.stack([at_u, at_v]) + centre[:, None]
        middle = np.array([[1999.5], [1499.5]])
        share = 0.01 * np.sum((seen - middle) ** 2, axis=0) / (2000.0**2 + 1500.0**2)
        return np.linalg.solve(linear, seen + share * (seen - middle) - centre[:, None]) - np.stack([at_u, at_v])

    # The outline is displaced as well, and the face is laid into it: the ellipse that OpenCV fits to the displaced rim is the face's own again.
    turn = np.radians(np.arange(360.0))
    rim = np.stack([45.0 * np.cos(turn), 45.0 * math.sqrt(2.0) * np.sin(turn)])
    (mid_u, mid_v), (minor, major), angle = cv2.fitEllipse((rim + displaced(*rim)).T.astype(np.float32))
    angle = math.radians((angle + 90.0) % 180.0 - 90.0)  # the fitted axes, from those of the face
    seen = np.stack([u, v]) + displaced(u, v) - np.array([[mid_u], [mid_v]])
    along = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]]) @ seen
    left = along * [[90.0 / minor], [90.0 * math.sqrt(2.0) / major]] - [u, v]
    wanted = gap_nm(u + left[0], v + left[1]) - gap_nm(u, v)
    assert cause.modes_nm[0][well_inside] == pytest.approx(wanted[well_inside], abs=0.03 * np.abs(wanted).max())  # as above
    assert cause.origin == "up to 1 % at the corner of the frame"


def test_wedge_under_distortion_makes_the_figure_of_the_closed_form(reading_of):
    """A wedge g u under distortion k r^2 reads as g k u r^2: its PV beyond the plane, rim included, is what the budget carries."""
    bands = 13.0
    reading = reading_of(CLEAR, lambda u, _v: math.pi * bands * u / CLEAR.semi_u_mm, samples=96, bands_across=bands)
    slopes = causes.slopes_of(reading, np.where(np.isfinite(reading.phase_rad), 0.0, np.nan), nm_per_rad=NM_PER_RAD)
    scale = 15.0
    matrix = np.diag([scale * 45.0, scale * 45.0 * math.sqrt(2.0), 1.0])
    matrix[:2, 2] = 1999.5, 1499.5
    picture = picture_at(matrix)
    mode = causes.lens_distortion(reading, slopes, picture=picture, camera=CAMERA, nm_per_rad=NM_PER_RAD).modes_nm[0]
    u, v = reading.points.u_mm, reading.points.v_mm
    k = CAMERA.distortion_share * (scale / math.hypot(2000.0, 1500.0)) ** 2
    wanted = math.pi * bands * NM_PER_RAD / CLEAR.semi_u_mm * u * k * (u * u + v * v)
    assert pv_beyond_plane(reading.points, mode) == pytest.approx(
        pv_beyond_plane(reading.points, wanted), rel=0.03
    )  # slopes read to a pixel


def pv_beyond_plane(points, values):
    terms = np.stack([np.ones_like(points.u_mm), points.u_mm, points.v_mm])
    weighted = terms * points.area
    return float(np.ptp(values - np.linalg.solve(weighted @ terms.T, weighted @ values) @ terms))


@pytest.mark.parametrize("along_u", [True, False])
def test_keystone_is_the_gap_seen_through_a_converging_view(reading, slopes, well_inside, along_u):
    """A camera off normal sees p at p / (1 - k x) and a gap there shorter by 1 - k x; the rim so seen is an ellipse that is laid on the face's own."""
    face = ellipse(minor_mm=90.0)
    cause = causes.keystone(reading, slopes, camera=CAMERA, view=VIEW, nm_per_rad=NM_PER_RAD, picture=picture_at(AFAR))
    u, v = reading.points.u_mm, reading.points.v_mm
    # the direction of the tilt is not known: each of the two takes its share of the 95 % limit
    k = COVERAGE_95 / math.sqrt(2.0) * math.sin(0.12) / 700.0

    def weight(at_u, at_v):
        return 1.0 - k * (at_u if along_u else at_v)

    turn = np.radians(np.arange(360.0))
    rim_u, rim_v = face.semi_u_mm * np.cos(turn), face.semi_v_mm * np.sin(turn)
    (mid_u, mid_v), (minor, major), _ = cv2.fitEllipse(
        np.stack([rim_u, rim_v], axis=1).astype(np.float32) / weight(rim_u, rim_v)[:, None].astype(np.float32)
    )
    # what the reader takes for (u, v) is seen at (su, sv), which shows the point (pu, pv) of the face
    su, sv = mid_u + u * minor / (2.0 * face.semi_u_mm), mid_v + v * major / (2.0 * face.semi_v_mm)
    back = 1.0 + k * (su if along_u else sv)
    pu, pv = su / back, sv / back
    wanted = gap_nm(pu, pv) / weight(pu, pv) - gap_nm(u, v)
    # a constant of the gap makes tilt alone, so both are compared beyond their planes
    terms = np.stack([np.ones_like(u), u, v])[:, well_inside].T
    both = (cause.modes_nm[0 if along_u else 1], wanted)
    found, wanted = (values[well_inside] - terms @ np.linalg.lstsq(terms, values[well_inside], rcond=None)[0] for values in both)
    assert found == pytest.approx(wanted, abs=0.06 * np.abs(wanted).max())  # second order, and half a pixel


def test_a_plain_wedge_has_no_keystone(reading_of):
    """The shift of the bands and the change of incidence cancel on a plane gap: nothing but tilt is left, however many bands there are."""
    reading = reading_of(CLEAR, lambda u, v: 2.0 * u + 0.7 * v, samples=96, bands_across=30.0)
    slopes = causes.slopes_of(reading, np.where(np.isfinite(reading.phase_rad), 0.0, np.nan), nm_per_rad=NM_PER_RAD)
    cause = causes.keystone(reading, slopes, camera=CAMERA, view=VIEW, nm_per_rad=NM_PER_RAD, picture=picture_at(AFAR))
    assert max(pv_beyond_plane(reading.points, mode) for mode in cause.modes_nm) < 0.2  # of some 8000 nm of gap: rounding of a cell's mean


def test_four_corners_take_the_keystone_out(reading, slopes):
    """Where a rectangle's corners show how the view converges nothing of it is left; corners that were typed square show nothing."""
    found, typed = (
        causes.keystone(reading, slopes, camera=CAMERA, view=VIEW, nm_per_rad=NM_PER_RAD, picture=picture_at(matrix, face=SQUARE))
        for matrix in (CONVERGING, AFAR)
    )
    assert (found.modes_nm.shape[0], found.origin) == (0, "taken out by the four corners")
    assert typed.modes_nm.shape[0] == 2


def test_four_corners_take_up_what_they_can_follow():
    """A rectangle is laid on its four corners: of the distortion only what is nil at every corner is left."""
    square = rectangle(width_mm=90.0, length_mm=130.0)
    rim_u, rim_v = causes._rim(square)
    matrix = np.diag([15.0 * 45.0, 15.0 * 65.0, 1.0])
    matrix[:2, 2] = 1700.0, 1600.0
    picture = replace(picture_at(matrix), face=square)
    shift = causes._distorted_by(rim_u, rim_v, picture=picture, camera=CAMERA)
    taken = np.tensordot(
        causes._taken_up(rim_u, rim_v, shift=shift, face=square), causes._motions(rim_u, rim_v, shape=square.shape), axes=1
    )
    assert np.abs(shift).max() > 0.05  # mm: there is something to follow
    assert taken == pytest.approx(shift, abs=1e-9)  # rounding


def test_a_wrong_wavelength_scales_every_height(reading):
    """Sodium known to 0.2 nm of 589.29: every height off by 0.2 / 589.29, as dh / h = dl / l."""
    heights = heights_nm(reading.points.u_mm, reading.points.v_mm)
    cause = causes.wavelength(reading, heights, lamp=LAMPS["sodium"])
    assert cause.modes_nm[0] == pytest.approx(heights * 0.2 / 589.2937, rel=1e-6)  # D mean to 1e-4 nm
    assert cause.origin == "589.3 nm known to 0.2 nm"


@pytest.mark.parametrize(
    ("true_nm", "said_nm", "height_nm", "error_nm"), [(630.0, 632.8, 315.0, 1.4), (589.2938, 546.074, 589.2938, -43.2198)]
)
def test_a_wavelength_off_by_its_limit_makes_the_error_of_the_closed_form(reading, true_nm, said_nm, height_nm, error_nm):
    """By dh / h = dl / l one band at 630 nm read as helium-neon's is 1.4 nm off, and a sodium photograph read as mercury's 7.3 %."""
    lamp = Lamp(name="line", wavelength_nm=said_nm, wavelength_uncertainty_nm=abs(said_nm - true_nm), fwhm_nm=0.1)
    read = height_nm * said_nm / true_nm
    cause = causes.wavelength(reading, np.full(reading.points.u_mm.size, read), lamp=lamp)
    assert read - height_nm == pytest.approx(error_nm, rel=1e-5)  # digits given
    assert cause.modes_nm[0] == pytest.approx(abs(error_nm), rel=1e-5)


def test_an_unknown_tilt_scales_every_height(reading):
    """The height of a band is lambda / (2 cos): its relative standard uncertainty times 1.96 on every height."""
    heights = heights_nm(reading.points.u_mm, reading.points.v_mm)
    cause = causes.obliquity(reading, heights, view=VIEW)
    assert cause.modes_nm[0] == pytest.approx(heights * COVERAGE_95 * 0.004 / 1.01, rel=1e-12)  # one formula
    assert cause.origin == "height per band taken 1.0 % larger than square-on"


def test_an_unseen_bevel_stretches_the_map(reading, slopes, well_inside):
    """Taken for the outline, the inner edge of a bevel makes the map larger by its width all round; an outline as told has no such doubt."""
    face = ellipse(minor_mm=90.0)
    cause = causes.unseen_bevel(reading, slopes, face=face, pixel_mm=0.3, told=False)
    u, v = reading.points.u_mm, reading.points.v_mm
    width = math.hypot(2.0 * 0.3, 0.004 * 45.0)  # two pixels that melt into one edge, and a bevel that hides at any size
    wanted = heights_nm(u * (1.0 + width / face.semi_u_mm), v * (1.0 + width / face.semi_v_mm)) - heights_nm(u, v)
    assert cause.modes_nm[0][well_inside] == pytest.approx(wanted[well_inside], abs=0.05 * np.abs(wanted).max())  # second order
    assert causes.unseen_bevel(reading, slopes, face=face, pixel_mm=0.3, told=True).modes_nm.shape[0] == 0


@pytest.mark.parametrize(("bands", "factor"), [(1.125, 9.2), (4.5, 2.2), (18.0, 1.325)])
def test_light_taken_for_height_makes_the_noise_larger_where_few_bands_show(reading_of, bands, factor):
    """Added as squares to the fit's noise it makes 1.2 + (4.5 / bands)^1.5 times the noise; its draws are paired with others of the fit's."""
    reading = reading_of(CLEAR, lambda u, _v: u, samples=16, bands_across=bands)
    drawn = np.random.default_rng(3).standard_normal((5, reading.points.area.size))
    reading = replace(reading, draws_rad=drawn)
    noise, more = causes.fit_noise(reading, nm_per_rad=2.0), causes.light_or_height(reading, nm_per_rad=2.0)
    assert more.draws_nm == pytest.approx(math.sqrt(factor**2 - 1.0) * noise.draws_nm[[4, 2, 0]], rel=1e-12)  # one formula
    assert more.origin == f"{bands:.1f} bands across: errors of {factor:.1f} times the fit noise in all"


def test_a_reference_enters_with_its_own_uncertainty_or_says_that_it_is_not_told(reading):
    """Power, two astigmatisms, two comas and spherical error share the stated size as squares; or nothing, in words."""
    expanded = np.full(reading.points.u_mm.size, 12.0)
    told = causes.reference_flat(reading, expanded)
    rms = np.sqrt(told.modes_nm**2 @ reading.points.area / reading.points.area.sum())
    assert rms == pytest.approx(np.full(6, 12.0 / math.sqrt(6.0)), rel=0.02)  # cells stand for the aperture to a hundredth
    untold = causes.reference_flat(reading, None)
    assert (untold.modes_nm.shape[0], untold.origin) == (0, "not told: heights are those of the pair")


def test_one_photograph_says_nothing_of_repeatability(reading):
    """The line stands in the budget with nothing in it."""
    cause = causes.no_repeat(reading)
    assert (cause.name, cause.origin, cause.modes_nm.size, cause.draws_nm.size) == ("repeat", "one photograph: not known", 0, 0)


def test_a_peak_where_nothing_was_seen_is_doubtful_down_to_what_was(reading):
    """A tip of 60 nm in cells set aside: the figure's cells are in doubt by what the tip stands above the highest that was seen, the others by nothing."""
    u = reading.points.u_mm
    heights = np.where(u > 40.0, 60.0, 0.1 * u)
    cause = causes.unseen_extremes(replace(reading, cell_seen=u <= 40.0), heights)
    highest = 0.1 * u[u <= 40.0].max()
    assert cause.modes_nm[0] == pytest.approx(np.where(u > 40.0, highest - 60.0, 0.0), abs=1e-12)  # closed form
    budget = sum_up([cause], points=reading.points, heights_nm=heights)
    assert budget.expanded_nm["pv_nm"] > 0.8 * (60.0 - highest)  # the plane that is taken off moves a little
    assert causes.unseen_extremes(reading, heights).modes_nm.shape[0] == 0
