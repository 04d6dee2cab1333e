"""Set-ups drawn at random: what lies on the bench, what the person says of it, and the photographs of it.

Every error is drawn from what the budget says of its cause: a 95 % limit is 1.96 standard deviations of a normal distribution, any tilt up to 15 degrees
is as likely as another, the least gap is half of a normal distribution. What the photograph itself decides (noise, uneven light, the rim) happens.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from straightband.face.polynomials import face_polynomials
from straightband.face.shapes import Face, Shape, ellipse, rectangle, round_face
from straightband.fringes.rest import Rest, Support
from straightband.glass import BEST_THREE_POINTS, GLASSES
from straightband.glass.bending import Blank, ellipse_places, rectangle_places, weight_sag_nm
from straightband.glass.heat import bend_after_nm
from straightband.heightmap.map import HeightMap
from straightband.light.lines import LAMPS, Lamp
from straightband.synthetic.bands import smallest_gap_nm
from straightband.synthetic.campaign import reach_mm
from straightband.synthetic.scene import BandLight, Blemishes, Glare, Lighting, Scene, Sensor, Subsampling, Surround, View
from straightband.synthetic.surfaces import (
    EdgeProfile,
    LocalHill,
    Surface,
    TurnedEdge,
    added,
    coefficients_of,
    random_surface,
    saddle,
    sphere,
)
from straightband.telescope.telescope import Mounting, Telescope, WideEnd
from straightband.uncertainty import COVERAGE_95

LARGEST_TILT_DEG = 15.0
DISTORTION_LIMIT_PERCENT = 1.0  # at the corner of the frame, as the reader takes it where nothing is said
LEAST_GAP_LIMIT_NM = 3000.0
PLACE_LIMIT_MM = 2.0
NEAREST, FARTHEST = 7.0, 20.0  # of the camera, in lengths of the face
LED_BANDS = 8.0  # wide lines fade within some 14 bands from contact
LEAST_PX_PER_BAND = 12.0  # closer bands blur away in a telephone's JPEG
TOLD_TO = 0.05  # of a distance that is told
MEGAPIXELS = (0.5, 1.0)
TYPED_PX = 1.0  # standard uncertainty of an outline that is typed
BETWEEN_NM = 3.0  # by which glass bends between two photographs, standard, at the end of its longer half axis
PLATE_SHARE = 1.3  # half size of the shop's flat over that of the face
# Power, both astigmatisms, both comas, spherical error, counted from piston = 0.
REFERENCE_TERMS = {
    Shape.ELLIPSE: (3, 4, 5, 6, 7, 10),
    Shape.ROUND: (3, 4, 5, 6, 7, 10),
    Shape.RECTANGLE: (3, 4, 5, 6, 9, 12),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """A set-up.

    Attributes
    ----------
    scenes
        One for each photograph, of the glass as it lies there.
    glass
        The surface when nothing bends it.
    lamp, camera_mm, rest
        As said: the lamp by its label, the distance or None, how the piece lies or None.
    reference
        Map of the flat as the shop has it, or None where the flat is perfect and not told.
    typed_px
        By what a typed outline is off (centre x and y, both half axes), or None where it is to be found.
    telescope, mounting, displaced_mm
        Where the mirror is to work, how it is said to sit, and by how much (u, v) it really sits elsewhere.
    """

    scenes: tuple[Scene, ...]
    glass: Surface
    lamp: Lamp
    camera_mm: float | None
    rest: Rest | None
    reference: HeightMap | None
    typed_px: tuple[float, ...] | None
    telescope: Telescope
    mounting: Mounting
    displaced_mm: tuple[float, ...]


def drawn_setup(rng: np.random.Generator) -> Drawn:
    """A set-up with every cause of error at a random size."""
    face = _face(rng)
    lamp = LAMPS[str(rng.choice(["helium-neon", "sodium", "mercury-green", "red-led", "green-led"], p=[0.3, 0.25, 0.25, 0.1, 0.1]))]
    glass = _glass(face, rng=rng)
    shop_map, flat = _reference(face, rng=rng) if rng.random() < 0.5 else (None, None)
    rest = _rest(face, rng=rng) if rng.random() < 0.5 else None
    distance = _log_uniform(rng, NEAREST, FARTHEST) * 2.0 * face.semi_major_mm
    first = Scene(
        surface=glass if rest is None else added(glass, _bend(face, rest=rest, rng=rng)),
        reference=flat,
        light=_light(rng, lamp=lamp),
        view=_view(rng, face=face, distance_mm=distance),
        surround=_surround(rng, face=face),
        lighting=uneven_lighting(rng, lit=rng.uniform(0.3, 0.7)),
        blemishes=_blemishes(rng, face=face),
        sensor=_sensor(rng),
    )
    first = _laid(first, rng=rng, most_bands=LED_BANDS if lamp.fwhm_nm > 5.0 else math.inf)
    count = 1 if rng.random() < 0.6 else 2
    typed = count == 1 and face.shape is not Shape.RECTANGLE and rng.random() < 0.3
    beam_mm = 2.0 * min(face.semi_u_mm, face.semi_v_mm / math.sqrt(2.0))
    return Drawn(
        scenes=(first,) if count == 1 else tuple(_bent(each, rng=rng) for each in (first, _again(first, rng=rng))),
        glass=glass,
        lamp=lamp,
        camera_mm=distance * (1.0 + TOLD_TO / COVERAGE_95 * rng.standard_normal()) if rng.random() < 0.5 else None,
        rest=rest,
        reference=shop_map,
        typed_px=tuple((TYPED_PX * rng.standard_normal(4)).tolist()) if typed else None,
        telescope=Telescope(
            aperture_mm=4.0 * beam_mm, focal_length_mm=20.0 * beam_mm, intercept_mm=3.5 * beam_mm, full_field_mm=0.08 * beam_mm
        ),
        mounting=Mounting(offset_mm=0.0, wide_end=WideEnd.PLUS_V),
        displaced_mm=tuple((PLACE_LIMIT_MM / COVERAGE_95 * rng.standard_normal(2)).tolist()),
    )


def _log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    return math.exp(rng.uniform(math.log(low), math.log(high)))


def _face(rng: np.random.Generator) -> Face:
    size = _log_uniform(rng, 40.0, 120.0)
    kind = rng.choice(list(Shape), p=[{Shape.ELLIPSE: 0.5, Shape.ROUND: 0.3, Shape.RECTANGLE: 0.2}[each] for each in Shape])
    if kind == Shape.ELLIPSE:
        return ellipse(minor_mm=size)
    return round_face(diameter_mm=size) if kind == Shape.ROUND else rectangle(width_mm=size, length_mm=size * rng.uniform(1.1, 2.0))


def _glass(face: Face, *, rng: np.random.Generator) -> Surface:
    """A smooth figure, and now and then a turned edge or a hill."""
    smooth = random_surface(face, rng, pv_nm=_log_uniform(rng, 25.0, 350.0), order=6)
    smaller = min(face.semi_u_mm, face.semi_v_mm)
    edges = (
        (TurnedEdge(depth_nm=rng.uniform(-20.0, 80.0), width_mm=rng.uniform(0.03, 0.15) * smaller, profile=EdgeProfile.EXPONENTIAL),)
        if rng.random() < 0.3
        else ()
    )
    hills = (
        (
            LocalHill(
                u_mm=rng.uniform(-0.5, 0.5) * face.semi_u_mm,
                v_mm=rng.uniform(-0.5, 0.5) * face.semi_v_mm,
                radius_mm=rng.uniform(0.12, 0.35) * smaller,
                height_nm=rng.uniform(-40.0, 40.0),
            ),
        )
        if rng.random() < 0.3
        else ()
    )
    return replace(smooth, edges=edges, hills=hills)


def _reference(face: Face, *, rng: np.random.Generator) -> tuple[HeightMap, Surface]:
    """The shop's map of its flat, looking at the flat, and the flat as it is, in the frame of the piece."""
    plate = round_face(diameter_mm=2.0 * PLATE_SHARE * math.hypot(face.semi_u_mm, face.semi_v_mm))
    known = random_surface(plate, rng, pv_nm=_log_uniform(rng, 15.0, 100.0), order=4)
    limit_nm = _log_uniform(rng, 2.0, 12.0)
    chosen = REFERENCE_TERMS[face.shape]
    sizes = limit_nm / COVERAGE_95 / math.sqrt(len(chosen)) * rng.standard_normal(len(chosen))
    clear = face.clear_aperture()

    def error(u_mm: NDArray, v_mm: NDArray) -> NDArray:
        return np.tensordot(sizes, face_polynomials(u_mm, v_mm, face=clear, order=4)[list(chosen)], axes=1)

    flat = added(known, Surface(face=plate, coefficients_nm=coefficients_of(plate, error, order=4)))
    axis = np.linspace(-plate.semi_u_mm, plate.semi_u_mm, 161)
    uu, vv = np.meshgrid(axis, axis)
    on_it = plate.contains(uu, vv)
    shop_map = HeightMap(
        heights_nm=np.where(on_it, known.heights_nm(-uu, vv), np.nan),  # facing plates see each other reversed
        u_mm=axis,
        v_mm=axis.copy(),
        uncertainty_nm=np.where(on_it, limit_nm, np.nan),
        face=plate,
        clear_margin=0.0,
        meta={"sign": "known"},
    )
    return shop_map, flat


def _rest(face: Face, *, rng: np.random.Generator) -> Rest:
    glass = GLASSES[str(rng.choice(list(GLASSES)))]
    thickness = 2.0 * min(face.semi_u_mm, face.semi_v_mm) / rng.uniform(4.0, 8.0)
    handled = _log_uniform(rng, 60.0, 7200.0) if rng.random() < 0.5 else None
    return Rest(glass=glass, thickness_mm=thickness, support=Support(rng.choice(list(Support))), handled_s=handled)


def _bend(face: Face, *, rest: Rest, rng: np.random.Generator) -> Surface:
    """What weight and a hand's warmth do: the points turned anywhere along the ring that was named, air and more dust carrying any share, heat of any size."""
    angle = rng.uniform(0.0, 2.0 * np.pi) + 2.0 * np.pi * np.arange(3) / 3.0
    if rest.support is Support.RIM:
        angle = 2.0 * np.pi * np.arange(36) / 36.0
    share = BEST_THREE_POINTS if rest.support is Support.THREE_INSIDE else 0.97
    across, along = share * np.cos(angle), share * np.sin(angle)
    if face.shape is Shape.RECTANGLE:
        reach = np.maximum(np.abs(across), np.abs(along)) / share
        across, along = across / reach, along / reach
    supports = np.stack([face.semi_u_mm * across, face.semi_v_mm * along], axis=1)
    places = rectangle_places if face.shape is Shape.RECTANGLE else ellipse_places
    x, y, area = places(semi_x_mm=face.semi_u_mm, semi_y_mm=face.semi_v_mm)
    blank = Blank(glass=rest.glass, thickness_mm=rest.thickness_mm, x_mm=x, y_mm=y, area_mm2=area)
    # The face looks down: where the glass sinks, the face stands proud.
    sag = -rng.uniform(0.0, 1.0) * weight_sag_nm(blank, supports_mm=supports, at_mm=(x, y))
    basis = face_polynomials(x, y, face=face, order=8)
    root = np.sqrt(area)
    weight = Surface(face=face, coefficients_nm=tuple(np.linalg.lstsq((basis * root).T, sag * root, rcond=None)[0].tolist()))
    if rest.handled_s is None:
        return weight
    limit = sum(bend_after_nm(rest.glass, width_mm=2.0 * face.semi_major_mm, thickness_mm=rest.thickness_mm, seconds=rest.handled_s))
    return added(weight, sphere(face, sag_nm=limit / COVERAGE_95 * rng.standard_normal()))


def _light(rng: np.random.Generator, *, lamp: Lamp) -> BandLight:
    return BandLight(
        wavelength_nm=lamp.wavelength_nm + lamp.wavelength_uncertainty_nm / COVERAGE_95 * rng.standard_normal(),
        fwhm_nm=lamp.fwhm_nm * rng.uniform(0.8, 1.2),
        contrast=rng.uniform(0.4, 0.92),
        second_harmonic=rng.uniform(0.0, 0.042),
    )


def _view(rng: np.random.Generator, *, face: Face, distance_mm: float) -> View:
    pixels = rng.uniform(*MEGAPIXELS) * 1e6
    width_px, height_px = round(math.sqrt(pixels * 4.0 / 3.0)), round(math.sqrt(pixels * 3.0 / 4.0))
    rotation = math.radians(rng.uniform(-180.0, 180.0))
    reach_x, reach_y = reach_mm(face, rotation_rad=rotation)
    scale = rng.uniform(0.6, 0.85) * min(width_px / reach_x, height_px / reach_y) / 2.0
    free_x, free_y = (max(0.0, size / 2.0 - 1.1 * reach * scale) for size, reach in ((width_px, reach_x), (height_px, reach_y)))
    return View(
        width_px=width_px,
        height_px=height_px,
        scale_px_per_mm=scale,
        centre_x_px=(width_px - 1) / 2.0 + rng.uniform(-0.8, 0.8) * free_x,
        centre_y_px=(height_px - 1) / 2.0 + rng.uniform(-0.8, 0.8) * free_y,
        rotation_deg=math.degrees(rotation),
        tilt_deg=rng.uniform(0.0, LARGEST_TILT_DEG),
        tilt_azimuth_deg=rng.uniform(-180.0, 180.0),
        camera_distance_mm=distance_mm,
        mirrored=int(rng.integers(0, 3)),
        distortion_percent=DISTORTION_LIMIT_PERCENT / COVERAGE_95 * rng.standard_normal(),
        blur_px=rng.uniform(0.5, 1.1),
        halo=rng.uniform(0.0, 0.05),
        halo_px=rng.uniform(0.02, 0.1) * width_px,
    )


def _surround(rng: np.random.Generator, *, face: Face) -> Surround:
    smaller = min(face.semi_u_mm, face.semi_v_mm)
    return Surround(
        level=rng.uniform(0.01, 0.12) if rng.random() < 0.6 else rng.uniform(0.25, 0.65),
        mottle=rng.uniform(0.0, 0.1),
        bevel_width_mm=0.0 if rng.random() < 0.2 else rng.uniform(0.006, 0.02) * smaller,
        bevel_level=rng.uniform(0.1, 2.2),
        bevel_unevenness=rng.uniform(0.0, 0.6),
    )


def uneven_lighting(rng: np.random.Generator, *, lit: float) -> Lighting:
    """Light that slopes, bulges, has a spot and falls off to the corners, as strongly as `lit` says."""
    return Lighting(
        slope_x=lit * rng.uniform(-0.4, 0.4),
        slope_y=lit * rng.uniform(-0.4, 0.4),
        bulge=lit * rng.uniform(-0.1, 0.3),
        spot=lit * rng.uniform(-0.2, 0.4),
        spot_x=rng.uniform(-0.5, 0.5),
        spot_y=rng.uniform(-0.5, 0.5),
        spot_radius=rng.uniform(0.3, 0.8),
        vignetting=rng.uniform(0.0, 0.35),
    )


def _blemishes(rng: np.random.Generator, *, face: Face) -> Blemishes:
    glare = Glare(
        u_mm=rng.uniform(-0.8, 0.8) * face.semi_u_mm,
        v_mm=rng.uniform(-0.8, 0.8) * face.semi_v_mm,
        level=_log_uniform(rng, 0.4, 6.0),
        radius_mm=rng.uniform(0.02, 0.06) * min(face.semi_u_mm, face.semi_v_mm),
    )
    return Blemishes(
        glares=(glare,) if rng.random() < 0.25 else (),
        dark_specks=int(rng.integers(0, 40)),
        bright_specks=int(rng.integers(0, 40)),
        speck_px=rng.uniform(0.5, 1.1),
        scratches=int(rng.integers(0, 3)),
    )


def _sensor(rng: np.random.Generator) -> Sensor:
    return Sensor(
        exposure=rng.uniform(0.2, 0.45),
        read_noise=rng.uniform(0.001, 0.005),
        full_well=_log_uniform(rng, 3000.0, 20_000.0),
        grain_px=0.0 if rng.random() < 0.5 else rng.uniform(0.4, 0.9),
        ambient=rng.uniform(0.0, 0.03),
        jpeg_quality=int(rng.integers(80, 97)),
        subsampling=Subsampling(rng.choice(list(Subsampling))),
        orientation=int(rng.integers(1, 9)),
    )


def _laid(scene: Scene, *, rng: np.random.Generator, most_bands: float) -> Scene:
    """The piece laid down: a wedge of 2 to 30 bands over the smaller extent, and dust of any size between the plates."""
    face = scene.face
    smaller = min(face.semi_u_mm, face.semi_v_mm)
    most = min(30.0, most_bands, 2.0 * smaller * scene.view.scale_px_per_mm / LEAST_PX_PER_BAND)
    bands, direction = _log_uniform(rng, 2.0, most), rng.uniform(-math.pi, math.pi)
    wedged = replace(
        scene,
        bands_u=bands * math.cos(direction) * face.semi_u_mm / smaller,
        bands_v=bands * math.sin(direction) * face.semi_v_mm / smaller,
        gap_nm=0.0,
    )
    least = LEAST_GAP_LIMIT_NM / COVERAGE_95 * abs(rng.standard_normal())
    return replace(wedged, gap_nm=least - smallest_gap_nm(wedged))


def _again(scene: Scene, *, rng: np.random.Generator) -> Scene:
    """The same piece and camera once more, its wedge reversed or turned; every other time the camera was taken up and put back by hand."""
    turn, size = rng.choice([0.5 * math.pi, math.pi, 1.5 * math.pi]) + rng.normal(0.0, 0.3), rng.uniform(0.6, 1.1)
    cos, sin = math.cos(turn), math.sin(turn)
    a, b = scene.bands_u / scene.face.semi_u_mm, scene.bands_v / scene.face.semi_v_mm
    view = scene.view
    if rng.random() < 0.5:
        view = replace(view, tilt_deg=rng.uniform(0.0, LARGEST_TILT_DEG), tilt_azimuth_deg=rng.uniform(-180.0, 180.0))
    moved = replace(
        scene,
        view=view,
        bands_u=size * (cos * a - sin * b) * scene.face.semi_u_mm,
        bands_v=size * (sin * a + cos * b) * scene.face.semi_v_mm,
        gap_nm=0.0,
    )
    # Dust stays where it was or is wiped off.
    same = rng.random() < 0.5
    least = smallest_gap_nm(scene) if same else LEAST_GAP_LIMIT_NM / COVERAGE_95 * abs(rng.standard_normal())
    return replace(moved, gap_nm=least - smallest_gap_nm(moved))


def _bent(scene: Scene, *, rng: np.random.Generator) -> Scene:
    """The scene with the glass bent a little, as it is in one photograph and not in the next."""
    bend = sphere(scene.face, sag_nm=BETWEEN_NM * rng.standard_normal())
    for axis_deg in (0.0, 45.0):
        bend = added(bend, saddle(scene.face, rise_nm=0.4 * BETWEEN_NM * rng.standard_normal(), axis_deg=axis_deg))
    return replace(scene, surface=added(scene.surface, bend))
