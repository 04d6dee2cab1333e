"""The invented shop of the demonstration: a diagonal before and after figuring, the flat it is tested on, and the photographs of both."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from straightband.face.shapes import Face, ellipse, round_face
from straightband.heightmap.map import HeightMap
from straightband.light.lines import LAMPS
from straightband.synthetic.render import Rendered, render
from straightband.synthetic.scene import BandLight, Blemishes, Glare, Lighting, ReferencePlate, Scene, Sensor, Surround, View
from straightband.synthetic.surfaces import LocalHill, Surface, TurnedEdge, added, random_surface, saddle, sphere
from straightband.synthetic.truth import mark_hour, thicker_hour

LAMP = LAMPS["sodium"]
FLAT_DIAMETER_MM = 100.0
FLAT_UNCERTAINTY_NM = 4.0
FLAT_ERROR_NM = 2.0  # by which the shop's map of its flat is wrong, well within what it states
CAMERA_MM = 1000.0
_FLAT_POINTS = 161


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """A rendered photograph and what the shop notes beside it.

    Attributes
    ----------
    name
        Of the file.
    data
        Its bytes.
    mark, thicker
        Clock hours, as a person would note them: to a quarter of an hour.
    truth
        The surface it was rendered from.
    """

    name: str
    data: bytes
    mark: float
    thicker: float
    truth: Surface


def before_figuring(*, minor_mm: float) -> Shot:
    """The diagonal as it comes off the polishing: convex, astigmatic, its edge turned down."""
    face = ellipse(minor_mm=minor_mm)
    rng = np.random.default_rng(31)
    figure = added(added(sphere(face, sag_nm=110.0), saddle(face, rise_nm=70.0, axis_deg=30.0)), random_surface(face, rng, pv_nm=30.0))
    surface = Surface(face=face, coefficients_nm=figure.coefficients_nm, edges=(TurnedEdge(depth_nm=90.0, width_mm=2.5),))
    return _shot("before.jpg", surface, bands=(1.0, 6.5), rotation_deg=24.0, rng=rng)


def after_figuring(*, minor_mm: float) -> Shot:
    """The same diagonal after figuring: little of anything, and a small hill left."""
    face = ellipse(minor_mm=minor_mm)
    rng = np.random.default_rng(32)
    figure = added(sphere(face, sag_nm=-8.0), random_surface(face, rng, pv_nm=24.0))
    hill = LocalHill(u_mm=8.0, v_mm=-11.0, radius_mm=5.0, height_nm=7.0)
    surface = Surface(face=face, coefficients_nm=figure.coefficients_nm, edges=(TurnedEdge(depth_nm=10.0, width_mm=2.0),), hills=(hill,))
    return _shot("after.jpg", surface, bands=(-1.0, 5.5), rotation_deg=-18.0, rng=rng)


def _shot(name: str, surface: Surface, *, bands: tuple[float, float], rotation_deg: float, rng: np.random.Generator) -> Shot:
    scene = _scene(surface, bands=bands, rotation_deg=rotation_deg)
    rendered: Rendered = render(scene, rng=rng)
    return Shot(name=name, data=rendered.encode(), mark=_noted(mark_hour(scene)), thicker=_noted(thicker_hour(scene)), truth=surface)


def _noted(hour: float) -> float:
    """A direction as a person reads it off a clock face: 1 to 12.75."""
    quarter = round(4.0 * hour) / 4.0 % 12.0
    return quarter if quarter >= 1.0 else quarter + 12.0


def _scene(surface: Surface, *, bands: tuple[float, float], rotation_deg: float) -> Scene:
    """A telephone photograph through the back of the piece, which lies face down on the shop's flat."""
    return Scene(
        surface=surface,
        bands_u=bands[0],
        bands_v=bands[1],
        gap_nm=2800.0,
        reference=_flat_under_the_piece(),
        light=BandLight(wavelength_nm=LAMP.wavelength_nm, fwhm_nm=LAMP.fwhm_nm, contrast=0.62, second_harmonic=0.03),
        view=View(
            width_px=2016,
            height_px=1512,
            scale_px_per_mm=15.0,
            centre_x_px=1030.0,
            centre_y_px=740.0,
            rotation_deg=rotation_deg,
            tilt_deg=2.5,
            tilt_azimuth_deg=70.0,
            camera_distance_mm=CAMERA_MM,
            mirrored=1,
            distortion_percent=0.1,
            blur_px=1.0,
            halo=0.03,
        ),
        surround=Surround(
            level=0.1,
            mottle=0.1,
            bevel_width_mm=0.6,
            bevel_level=1.3,
            bevel_unevenness=0.4,
            plate=ReferencePlate(radius_mm=FLAT_DIAMETER_MM / 2.0, level=0.3),
            shadow_level=0.8,
        ),
        lighting=Lighting(slope_x=0.15, slope_y=-0.1, bulge=0.1, vignetting=0.15),
        blemishes=Blemishes(
            glares=(Glare(u_mm=-12.0, v_mm=17.0, level=0.8, radius_mm=2.0, stretch=1.6, angle_deg=35.0),),
            dark_specks=30,
            bright_specks=15,
            scratches=2,
        ),
        sensor=Sensor(exposure=0.42, jpeg_quality=92),
    )


def flat_face() -> Face:
    """Face of each of the shop's flats."""
    return round_face(diameter_mm=FLAT_DIAMETER_MM)


def _flat_under_the_piece() -> Surface:
    """The flat in the frame of the piece that lies on it."""
    face = flat_face()
    return added(sphere(face, sag_nm=22.0), saddle(face, rise_nm=8.0, axis_deg=65.0))


def flat_looking_at_it() -> Surface:
    """The same flat in its own frame: facing surfaces see each other's u reversed, which turns the axis of the saddle."""
    face = flat_face()
    return added(sphere(face, sag_nm=22.0), saddle(face, rise_nm=8.0, axis_deg=180.0 - 65.0))


def flat_map() -> HeightMap:
    """The shop's map of its flat, looking at the flat: nearly right, with an uncertainty that covers its error."""
    face = flat_face()
    axis_mm = np.linspace(-FLAT_DIAMETER_MM / 2.0, FLAT_DIAMETER_MM / 2.0, _FLAT_POINTS)
    u, v = np.meshgrid(axis_mm, axis_mm)
    heights = flat_looking_at_it().heights_nm(u, v) + sphere(face, sag_nm=FLAT_ERROR_NM).heights_nm(u, v)
    on_it = face.contains(u, v)
    return HeightMap(
        heights_nm=np.where(on_it, heights, np.nan),
        u_mm=axis_mm,
        v_mm=axis_mm.copy(),
        uncertainty_nm=np.where(on_it, FLAT_UNCERTAINTY_NM, np.nan),
        face=face,
        clear_margin=0.0,
        meta={"sign": "known", "origin": "invented for the demonstration, as a test of three flats against each other would leave it"},
    )
