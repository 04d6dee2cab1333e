"""Scenes drawn at random, as photographs come from a bench.

How often and how strongly each nuisance is drawn is our estimate of telephone photographs from a small shop: common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from straightband.face.shapes import Face, Shape, ellipse, rectangle, round_face
from straightband.light.lines import LAMPS
from straightband.synthetic.bands import gap_nm, smallest_gap_nm
from straightband.synthetic.projection import projection_of
from straightband.synthetic.scene import (
    BandLight,
    Blemishes,
    Frost,
    Glare,
    Lighting,
    ReferencePlate,
    Scene,
    Sensor,
    Subsampling,
    Surround,
    View,
)
from straightband.synthetic.surfaces import (
    EdgeProfile,
    LocalHill,
    LocalProfile,
    Surface,
    TurnedEdge,
    Zone,
    added,
    peak_to_valley_nm,
    random_surface,
    saddle,
    sphere,
)


class Difficulty(StrEnum):
    """How much goes wrong: a careful photograph, one as they come, one taken in a hurry."""

    PLAIN = "plain"
    ORDINARY = "ordinary"
    HARD = "hard"


class Pattern(StrEnum):
    """What the bands look like."""

    STRAIGHT = "straight"
    BOWED = "bowed"
    RINGS = "rings"
    SADDLE = "saddle"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Limits:
    """What a difficulty allows: largest tilt; chance of each blemish; distortion times bands, percent; false height of a near camera, nm."""

    tilt_deg: float
    chance: float
    distortion_bands: float
    near_camera_nm: float
    least_contrast: float
    least_quality: int
    tone_error: float


_LIMITS = {
    Difficulty.PLAIN: _Limits(
        tilt_deg=3.0, chance=0.15, distortion_bands=1.0, near_camera_nm=0.5, least_contrast=0.6, least_quality=90, tone_error=0.0
    ),
    Difficulty.ORDINARY: _Limits(
        tilt_deg=15.0, chance=0.4, distortion_bands=3.0, near_camera_nm=1.5, least_contrast=0.4, least_quality=80, tone_error=0.0
    ),
    Difficulty.HARD: _Limits(
        tilt_deg=15.0, chance=0.7, distortion_bands=10.0, near_camera_nm=10.0, least_contrast=0.25, least_quality=65, tone_error=0.1
    ),
}
_MOST_BANDS = 40.0
_LEAST_PX_PER_BAND = 12.0  # closer bands blur away in a telephone's JPEG


def random_scene(
    rng: np.random.Generator,
    *,
    difficulty: Difficulty = Difficulty.ORDINARY,
    megapixels: float | None = None,
    pattern: Pattern | None = None,
) -> Scene:
    """A scene drawn at random; size of the photograph (default 1.5 to 3 megapixels) and pattern of the bands can be set."""
    limits = _LIMITS[difficulty]
    face = _face(rng)
    drawn = pattern or Pattern(rng.choice(list(Pattern), p=[0.45, 0.25, 0.2, 0.1]))
    view = _view(rng, face=face, limits=limits, megapixels=megapixels or rng.uniform(1.5, 3.0))
    across_px = 2.0 * min(face.semi_u_mm, face.semi_v_mm) * view.scale_px_per_mm
    most_bands = min(_MOST_BANDS, across_px / _LEAST_PX_PER_BAND)
    light = _light(rng, limits=limits, drawn=drawn, difficulty=difficulty)
    if light.fwhm_nm > 5.0:
        most_bands = min(most_bands, 8.0)  # a wide line loses its contrast within some 14 bands from contact
    surface, bands = _surface_and_wedge(rng, face=face, drawn=drawn, most_bands=most_bands, band_nm=light.wavelength_nm / 2.0)
    scene = Scene(
        surface=_with_local_features(rng, surface=surface, limits=limits),
        bands_u=bands[0],
        bands_v=bands[1],
        light=light,
        view=view,
        surround=_surround(rng, face=face, limits=limits),
        lighting=_lighting(rng, limits=limits),
        blemishes=_blemishes(rng, face=face, limits=limits, megapixels=view.width_px * view.height_px / 1e6),
        sensor=_sensor(rng, limits=limits),
    )
    scene = replace(scene, gap_nm=rng.uniform(100.0, 1200.0) - smallest_gap_nm(replace(scene, gap_nm=0.0)))
    return _with_fair_camera(rng, scene=scene, limits=limits)


def describe(scene: Scene) -> dict[str, float | str]:
    """What a table of results says of a scene: names to plain numbers or words."""
    view, blemishes = scene.view, scene.blemishes
    return {
        "shape": scene.face.shape.value,
        "semi_u_mm": scene.face.semi_u_mm,
        "semi_v_mm": scene.face.semi_v_mm,
        "wavelength_nm": scene.light.wavelength_nm,
        "fwhm_nm": scene.light.fwhm_nm,
        "contrast": scene.light.contrast,
        "wedge_bands": math.hypot(scene.bands_u, scene.bands_v),
        "least_px_per_band": least_px_per_band(scene),
        "figure_bands": peak_to_valley_nm(scene.surface, points=101) / (scene.light.wavelength_nm / 2.0),
        "gap_nm": scene.gap_nm,
        "edges": len(scene.surface.edges),
        "hills": len(scene.surface.hills),
        "zones": len(scene.surface.zones),
        "megapixels": view.width_px * view.height_px / 1e6,
        "scale_px_per_mm": view.scale_px_per_mm,
        "tilt_deg": view.tilt_deg,
        "camera_distance_mm": view.camera_distance_mm,
        "mirrored": view.mirrored,
        "distortion_percent": view.distortion_percent,
        "blur_px": view.blur_px,
        "oblique_nm": oblique_error_nm(scene),
        "surround_level": scene.surround.level,
        "plate": "yes" if scene.surround.plate else "no",
        "bevel_level": scene.surround.bevel_level if scene.surround.bevel_width_mm else 0.0,
        "glares": len(blemishes.glares),
        "frost": "yes" if blemishes.frost else "no",
        "specks": blemishes.dark_specks + blemishes.bright_specks,
        "exposure": scene.sensor.exposure,
        "tone_exponent": scene.sensor.tone_exponent,
        "jpeg_quality": scene.sensor.jpeg_quality,
        "orientation": scene.sensor.orientation,
    }


def least_px_per_band(scene: Scene) -> float:
    """Spacing of the bands, in px, below which only 1 % of the face lies."""
    u_mm, v_mm, gap = _gap_on_grid(scene)
    slope_v, slope_u = np.gradient(gap, v_mm[1] - v_mm[0], u_mm[1] - u_mm[0])
    inside = scene.face.contains(u_mm[None, :], v_mm[:, None])
    steepest = float(np.percentile(np.hypot(slope_u, slope_v)[inside], 99.0))
    return scene.view.scale_px_per_mm * scene.light.wavelength_nm / 2.0 / max(steepest, 1e-9)


def oblique_error_nm(scene: Scene) -> float:
    """RMS height, tilt removed, that is read wrong when the tilt at the centre is known but the distance of the camera is not."""
    u_axis, v_axis, gap = _gap_on_grid(scene)
    u_grid, v_grid = np.meshgrid(u_axis, v_axis)
    inside = scene.face.contains(u_grid, v_grid)
    u_mm, v_mm = u_grid[inside], v_grid[inside]
    cosine = projection_of(scene.view, face=scene.face).cos_incidence(u_mm, v_mm)
    wrong = gap[inside] * (cosine / math.cos(math.radians(scene.view.tilt_deg)) - 1.0)
    plane = np.stack([np.ones_like(u_mm), u_mm, v_mm], axis=1)
    return float(np.std(wrong - plane @ np.linalg.lstsq(plane, wrong, rcond=None)[0]))


def _gap_on_grid(scene: Scene) -> tuple[NDArray, NDArray, NDArray]:
    """Columns and rows in mm that span the outline, and the gap on them."""
    share = np.linspace(-1.0, 1.0, 121)
    u_mm, v_mm = share * scene.face.semi_u_mm, share * scene.face.semi_v_mm
    u_grid, v_grid = np.meshgrid(u_mm, v_mm)
    return u_mm, v_mm, gap_nm(scene, u_mm=u_grid, v_mm=v_grid)


def _log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    return math.exp(rng.uniform(math.log(low), math.log(high)))


def _face(rng: np.random.Generator) -> Face:
    size = _log_uniform(rng, 45.0, 180.0)
    kind = rng.choice(["ellipse", "round", "rectangle"], p=[0.6, 0.25, 0.15])
    if kind == "ellipse":
        return ellipse(minor_mm=size)
    if kind == "round":
        return round_face(diameter_mm=size)
    return rectangle(width_mm=size, length_mm=size * rng.uniform(1.0, 2.0))


def reach_mm(face: Face, *, rotation_rad: float) -> tuple[float, float]:
    """Half the width and half the height of a face that is turned in the frame."""
    cos, sin = abs(math.cos(rotation_rad)), abs(math.sin(rotation_rad))
    across = (face.semi_u_mm * cos, face.semi_v_mm * sin), (face.semi_u_mm * sin, face.semi_v_mm * cos)
    x, y = (one + two if face.shape is Shape.RECTANGLE else math.hypot(one, two) for one, two in across)
    return x, y


def _view(rng: np.random.Generator, *, face: Face, limits: _Limits, megapixels: float) -> View:
    """The face fills 55 to 85 % of the frame one way, turned at random, its centre off the middle by as much as fits."""
    long_px, short_px = round(math.sqrt(megapixels * 1e6 * 4.0 / 3.0)), round(math.sqrt(megapixels * 1e6 * 3.0 / 4.0))
    width_px, height_px = (long_px, short_px) if rng.random() < 0.6 else (short_px, long_px)
    rotation = math.radians(rng.uniform(-180.0, 180.0))
    reach_x, reach_y = reach_mm(face, rotation_rad=rotation)
    scale = rng.uniform(0.55, 0.85) * min(width_px / reach_x, height_px / reach_y) / 2.0
    # A tenth of the reach stays free for what perspective moves outward.
    free_x, free_y = (max(0.0, size / 2.0 - 1.1 * reach * scale) for size, reach in ((width_px, reach_x), (height_px, reach_y)))
    return View(
        width_px=width_px,
        height_px=height_px,
        scale_px_per_mm=scale,
        centre_x_px=(width_px - 1) / 2.0 + rng.uniform(-0.8, 0.8) * free_x,
        centre_y_px=(height_px - 1) / 2.0 + rng.uniform(-0.8, 0.8) * free_y,
        rotation_deg=math.degrees(rotation),
        tilt_deg=limits.tilt_deg * rng.uniform(0.0, 1.0) ** 1.5,
        tilt_azimuth_deg=rng.uniform(-180.0, 180.0),
        mirrored=int(rng.integers(0, 3)),
        blur_px=rng.uniform(0.5, 1.3) * math.sqrt(max(megapixels, 1.5) / 1.5),
        halo=rng.uniform(0.0, 0.12) * limits.chance,
        halo_px=rng.uniform(0.02, 0.1) * width_px,
    )


def _with_fair_camera(rng: np.random.Generator, *, scene: Scene, limits: _Limits) -> Scene:
    """Put the camera at least six faces away, and farther until gap and distance lie no more than the allowed height about the surface."""
    distance = _log_uniform(rng, 6.0, 20.0) * 2.0 * scene.face.semi_major_mm
    bands = max(math.hypot(scene.bands_u, scene.bands_v), 4.0)
    distortion = rng.uniform(-1.0, 1.0) * min(0.5, limits.distortion_bands / bands)
    while True:
        view = replace(scene.view, camera_distance_mm=distance, distortion_percent=distortion)
        placed = replace(scene, view=view)
        if oblique_error_nm(placed) <= limits.near_camera_nm:
            return placed
        distance *= 1.2


def _light(rng: np.random.Generator, *, limits: _Limits, drawn: Pattern, difficulty: Difficulty) -> BandLight:
    names = ["helium-neon", "sodium", "mercury-green", "red-led", "green-led"]
    led = 0.0 if difficulty is Difficulty.PLAIN or drawn is not Pattern.STRAIGHT else 0.1
    lamp = LAMPS[str(rng.choice(names, p=[0.4 - led, 0.3, 0.3 - led, led, led]))]
    return BandLight(
        wavelength_nm=lamp.wavelength_nm,
        fwhm_nm=lamp.fwhm_nm,
        contrast=rng.uniform(limits.least_contrast, 0.92),
        second_harmonic=rng.uniform(0.0, 0.042),
    )


def _surface_and_wedge(
    rng: np.random.Generator, *, face: Face, drawn: Pattern, most_bands: float, band_nm: float
) -> tuple[Surface, tuple[float, float]]:
    """Figure and wedge (bands over the full u and v) that make the pattern."""
    direction = rng.uniform(-math.pi, math.pi)
    if drawn in (Pattern.STRAIGHT, Pattern.BOWED):
        low, high = (20.0, 0.5 * band_nm) if drawn is Pattern.STRAIGHT else (0.5 * band_nm, 1.5 * band_nm)
        figure = random_surface(face, rng, pv_nm=_log_uniform(rng, low, high))
        least = 2.0 if drawn is Pattern.STRAIGHT else 3.0
        bands = _log_uniform(rng, least, max(most_bands, least))
        return figure, _wedge(face, bands=bands, direction=direction)
    rise_nm = rng.choice([-1.0, 1.0]) * band_nm * _log_uniform(rng, 1.5, max(1.6, min(9.0, most_bands / 5.0)))
    main = sphere(face, sag_nm=rise_nm) if drawn is Pattern.RINGS else saddle(face, rise_nm=rise_nm, axis_deg=rng.uniform(0.0, 180.0))
    figure = added(main, random_surface(face, rng, pv_nm=_log_uniform(rng, 20.0, 100.0)))
    # The slope of the sphere at the rim is 2 rise / semi-axis: below it, the middle of the rings stays on the face.
    return figure, _wedge(face, bands=rng.uniform(0.0, 0.6) * 2.0 * abs(rise_nm) / band_nm, direction=direction)


def _wedge(face: Face, *, bands: float, direction: float) -> tuple[float, float]:
    """Bands over the full u and v of a wedge that shows `bands` over the smaller extent, at most 40 from end to end of the face."""
    smaller = min(face.semi_u_mm, face.semi_v_mm)
    bands_u, bands_v = bands * math.cos(direction) * face.semi_u_mm / smaller, bands * math.sin(direction) * face.semi_v_mm / smaller
    over_all = abs(bands_u) + abs(bands_v) if face.shape is Shape.RECTANGLE else math.hypot(bands_u, bands_v)
    share = min(1.0, _MOST_BANDS / max(over_all, 1e-9))
    return share * bands_u, share * bands_v


def _with_local_features(rng: np.random.Generator, *, surface: Surface, limits: _Limits) -> Surface:
    face = surface.face
    smaller = min(face.semi_u_mm, face.semi_v_mm)
    edges: tuple[TurnedEdge, ...] = ()
    hills: tuple[LocalHill, ...] = ()
    zones: tuple[Zone, ...] = ()
    if rng.random() < limits.chance:
        whole = rng.random() < 0.7
        edges = (
            TurnedEdge(
                depth_nm=float(rng.choice([-1.0, 1.0], p=[0.2, 0.8])) * _log_uniform(rng, 15.0, 150.0),
                width_mm=_log_uniform(rng, max(0.5, 0.015 * smaller), min(6.0, 0.2 * smaller)),
                profile=EdgeProfile(rng.choice(list(EdgeProfile))),
                middle_deg=rng.uniform(-180.0, 180.0),
                half_span_deg=180.0 if whole else rng.uniform(30.0, 90.0),
            ),
        )
    if rng.random() < limits.chance:
        radius, angle = rng.uniform(0.0, 0.75), rng.uniform(-math.pi, math.pi)
        hills = (
            LocalHill(
                u_mm=radius * math.cos(angle) * face.semi_u_mm,
                v_mm=radius * math.sin(angle) * face.semi_v_mm,
                radius_mm=rng.uniform(0.1, 0.35) * smaller,
                height_nm=float(rng.choice([-1.0, 1.0])) * _log_uniform(rng, 10.0, 60.0),
                profile=LocalProfile(rng.choice(list(LocalProfile))),
            ),
        )
    if rng.random() < 0.4 * limits.chance:
        zones = (Zone(radius=rng.uniform(0.3, 0.8), width_mm=rng.uniform(0.08, 0.2) * smaller, height_nm=rng.uniform(-30.0, 30.0)),)
    return replace(surface, edges=edges, hills=hills, zones=zones)


def _surround(rng: np.random.Generator, *, face: Face, limits: _Limits) -> Surround:
    smaller = min(face.semi_u_mm, face.semi_v_mm)
    dark = rng.random() < 0.55
    plate = None
    if rng.random() < limits.chance:
        needed = math.hypot(face.semi_u_mm, face.semi_v_mm) if face.shape is Shape.RECTANGLE else face.semi_major_mm
        plate = ReferencePlate(
            radius_mm=needed * rng.uniform(1.12, 1.6),
            u_mm=rng.uniform(-0.05, 0.05) * needed,
            v_mm=rng.uniform(-0.05, 0.05) * needed,
            level=rng.uniform(0.15, 0.6),
            rim_width_mm=rng.uniform(0.6, 2.5),
            rim_level=rng.uniform(0.3, 1.8),
        )
    return Surround(
        level=rng.uniform(0.01, 0.12) if dark else rng.uniform(0.25, 0.65),
        mottle=rng.uniform(0.0, 0.15),
        bevel_width_mm=0.0 if rng.random() < 0.2 else rng.uniform(0.006, 0.02) * smaller,
        bevel_level=rng.uniform(0.1, 2.2),
        bevel_unevenness=rng.uniform(0.0, 0.7),
        plate=plate,
        shadow_level=1.0 if rng.random() < 0.5 else rng.uniform(0.4, 0.9),
        shadow_px=rng.uniform(3.0, 15.0),
    )


def _lighting(rng: np.random.Generator, *, limits: _Limits) -> Lighting:
    strength = 0.3 + 0.7 * limits.chance
    return Lighting(
        slope_x=strength * rng.uniform(-0.4, 0.4),
        slope_y=strength * rng.uniform(-0.4, 0.4),
        bulge=strength * rng.uniform(-0.1, 0.3),
        spot=strength * rng.uniform(-0.2, 0.4),
        spot_x=rng.uniform(-0.5, 0.5),
        spot_y=rng.uniform(-0.5, 0.5),
        spot_radius=rng.uniform(0.3, 0.8),
        vignetting=rng.uniform(0.0, 0.35),
    )


def _blemishes(rng: np.random.Generator, *, face: Face, limits: _Limits, megapixels: float) -> Blemishes:
    smaller = min(face.semi_u_mm, face.semi_v_mm)
    count = int(rng.integers(1, 3)) if rng.random() < limits.chance else 0
    frost = None
    if rng.random() < 0.4 * limits.chance:
        frost = Frost(
            border_mm=rng.uniform(-0.2, 0.5) * smaller,
            angle_deg=rng.uniform(-180.0, 180.0),
            softness_mm=0.0 if rng.random() < 0.5 else rng.uniform(0.02, 0.3) * smaller,
            contrast_left=rng.uniform(0.25, 0.7),
            veil=rng.uniform(0.0, 0.4),
        )
    most_specks = 20 + round(150 * limits.chance)
    return Blemishes(
        glares=tuple(_glare(rng, face=face) for _ in range(count)),
        ghost_level=rng.uniform(0.01, 0.06) if rng.random() < limits.chance else 0.0,
        ghost_u_mm=rng.uniform(-0.06, 0.06) * smaller,
        ghost_v_mm=rng.uniform(-0.06, 0.06) * smaller,
        frost=frost,
        dark_specks=int(rng.integers(0, most_specks)),
        bright_specks=int(rng.integers(0, most_specks)),
        speck_px=rng.uniform(0.6, 1.6) * math.sqrt(megapixels / 1.5),
        scratches=int(rng.integers(0, 1 + round(8 * limits.chance))),
    )


def _glare(rng: np.random.Generator, *, face: Face) -> Glare:
    return Glare(
        u_mm=rng.uniform(-1.1, 1.1) * face.semi_u_mm,
        v_mm=rng.uniform(-1.1, 1.1) * face.semi_v_mm,
        level=_log_uniform(rng, 0.4, 12.0),
        radius_mm=rng.uniform(0.02, 0.1) * min(face.semi_u_mm, face.semi_v_mm),
        stretch=1.0 if rng.random() < 0.6 else rng.uniform(2.0, 8.0),
        angle_deg=rng.uniform(0.0, 180.0),
    )


def _sensor(rng: np.random.Generator, *, limits: _Limits) -> Sensor:
    return Sensor(
        exposure=rng.uniform(0.2, 0.45),
        read_noise=rng.uniform(0.001, 0.005),
        full_well=_log_uniform(rng, 3000.0, 20_000.0),
        grain_px=0.0 if rng.random() < 0.5 else rng.uniform(0.4, 0.9),
        ambient=rng.uniform(0.0, 0.03),
        tone_exponent=1.0 + rng.uniform(-1.0, 1.0) * limits.tone_error,
        jpeg_quality=int(rng.integers(limits.least_quality, 97)),
        subsampling=Subsampling(rng.choice(list(Subsampling))),
        orientation=int(rng.integers(1, 9)),
    )
