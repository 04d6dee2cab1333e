"""Seeded synthetic photographs, what a person would say of each, and how far a reading of it is off."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from straightband.face.shapes import Shape
from straightband.heightmap.figures import figures
from straightband.heightmap.map import HeightMap
from straightband.light.lines import LAMPS, Lamp
from straightband.photo.outline import Outline
from straightband.photo.plate import Plate
from straightband.synthetic.campaign import Difficulty, Pattern, random_scene
from straightband.synthetic.projection import apply_homography
from straightband.synthetic.render import Rendered, render
from straightband.synthetic.scene import Scene
from straightband.synthetic.truth import Truth, thicker_hour, truth_map
from straightband.workflows.read import Reading, Setup

PATTERNS = (Pattern.STRAIGHT, Pattern.BOWED, Pattern.RINGS, Pattern.SADDLE)
TRUE_OUTLINE_STANDARD_PX = 0.3  # what a good search reaches; only the budget asks for it
FAR_LAMP_NM = 1.0  # a wavelength no lamp lies within is a narrow line of its own


@dataclass(frozen=True, slots=True, kw_only=True)
class Photograph:
    """A photograph with its truth."""

    seed: int
    difficulty: Difficulty
    pattern: Pattern
    rendered: Rendered

    @property
    def scene(self) -> Scene:
        """What was photographed."""
        return self.rendered.scene


@dataclass(frozen=True, slots=True, kw_only=True)
class Miss:
    """How far a reading is off.

    Attributes
    ----------
    rms_nm
        Of the map less the truth over the clear aperture, piston and tilt removed, in the better of both signs.
    turned
        True where the sign was said to be known and the other sign fits better.
    pv_nm, true_pv_nm
        Reported and true peak to valley.
    true_rms_nm
        Of the surface itself.
    """

    rms_nm: float
    turned: bool
    pv_nm: float
    true_pv_nm: float
    true_rms_nm: float


def photograph(
    seed: int, *, difficulty: Difficulty, pattern: Pattern | None = None, megapixels: float | None = None, near: Shape | None = None
) -> Photograph:
    """The photograph of a seed; patterns take turns, and `near` draws until the face has that shape."""
    drawn = pattern or PATTERNS[seed % len(PATTERNS)]
    rng = np.random.default_rng([seed, list(Difficulty).index(difficulty)])
    scene = random_scene(rng, difficulty=difficulty, pattern=drawn, megapixels=megapixels)
    while near is not None and scene.face.shape is not near:
        scene = random_scene(rng, difficulty=difficulty, pattern=drawn, megapixels=megapixels)
    return Photograph(seed=seed, difficulty=difficulty, pattern=drawn, rendered=render(scene, rng=rng))


def true_outline(truth: Truth, *, standard_px: float = TRUE_OUTLINE_STANDARD_PX) -> Outline:
    """The true outline, as if it had been found."""
    seen, shape = truth.outline_px, truth.scene.face.shape
    corners = truth.corners_px if shape is Shape.RECTANGLE else None
    major, minor = seen.semi_major, seen.semi_minor
    if corners is not None:
        sides = np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1)
        minor, major = sorted(((sides[0] + sides[2]) / 4.0, (sides[1] + sides[3]) / 4.0))
    return Outline(
        shape=shape,
        cx=seen.cx,
        cy=seen.cy,
        semi_major=float(major),
        semi_minor=float(minor),
        angle_deg=seen.angle_deg,
        corners=corners,
        standard_px=standard_px,
        support=1.0,
        flags=(),
        told=False,
    )


def with_true_plate(outline: Outline, truth: Truth) -> Outline:
    """The outline of an elliptical face with the rim of the larger flat around it, where there is one, as if it had been found."""
    face, plate = truth.scene.face, truth.scene.surround.plate
    if plate is None or face.shape is not Shape.ELLIPSE:
        return outline
    h = truth.homography / truth.homography[2, 2]
    near_face = h[:2, :2] - np.outer(h[:2, 2], h[2, :2])  # its derivative at the centre of the face
    matrix = near_face @ np.diag([plate.radius_mm / face.semi_u_mm, plate.radius_mm / face.semi_v_mm])
    return replace(outline, plate=Plate(matrix=matrix, standard_px=TRUE_OUTLINE_STANDARD_PX))


def seen_mark_hour(truth: Truth) -> float:
    """Clock hour at which a mark on the rim at +v is seen from the centre of the outline, perspective included."""
    x, y = apply_homography(truth.homography, x=np.zeros(1), y=np.ones(1))
    right, up = float(x[0]) - truth.outline_px.cx, truth.outline_px.cy - float(y[0])
    return (math.degrees(math.atan2(right, up)) / 30.0) % 12.0


def lamp_of(scene: Scene) -> Lamp:
    """The lamp that shines with the scene's wavelength."""
    wavelength_nm = scene.light.wavelength_nm
    known = min(LAMPS.values(), key=lambda lamp: abs(lamp.wavelength_nm - wavelength_nm))
    if abs(known.wavelength_nm - wavelength_nm) < FAR_LAMP_NM:
        return known
    return Lamp(name="line", wavelength_nm=wavelength_nm, wavelength_uncertainty_nm=0.02, fwhm_nm=scene.light.fwhm_nm)


def setup_of(shot: Photograph, *, outline: Outline | None) -> Setup:
    """What the person says: face, lamp, mark, reversals, and where the gap is thicker (in or out for rings, else a clock hour)."""
    scene, thicker = shot.scene, None
    if shot.pattern is Pattern.RINGS:
        thicker = "out" if figures(true_map_like(scene)).power_nm > 0.0 else "in"
    elif math.hypot(scene.bands_u, scene.bands_v) > 0.0:
        thicker = thicker_hour(scene)
    return Setup(
        face=scene.face,
        lamp=lamp_of(scene),
        outline=outline,
        mark_hour=seen_mark_hour(shot.rendered.truth),
        thicker=thicker,
        mirrored=scene.view.mirrored,
    )


def true_map_like(scene: Scene, *, points: int = 129) -> HeightMap:
    """The truth on an even grid over the face."""
    face = scene.face
    share = np.linspace(-1.0, 1.0, points)
    return truth_map(scene, u_mm=share * face.semi_u_mm, v_mm=share * face.semi_v_mm)


def without_plane(heights_nm: NDArray, *, u_mm: NDArray, v_mm: NDArray) -> NDArray:
    """Heights (n,) less their least-squares plane; fitted afresh here, so that an error of the reader's own fit would show."""
    plane = np.stack([np.ones_like(u_mm), u_mm, v_mm], axis=1)
    return heights_nm - plane @ np.linalg.lstsq(plane, heights_nm, rcond=None)[0]


def miss_of(found: HeightMap, *, scene: Scene, sign_known: bool, pv_nm: float | None = None) -> Miss:
    """How far a map is off the truth on its own grid."""
    truth = truth_map(scene, u_mm=found.u_mm, v_mm=found.v_mm, clear_margin=found.clear_margin)
    valid = found.valid
    u_mm, v_mm, read = found.points()
    true = without_plane(truth.heights_nm[valid], u_mm=u_mm, v_mm=v_mm)
    read = without_plane(read, u_mm=u_mm, v_mm=v_mm)
    upright, turned = float(np.std(read - true)), float(np.std(read + true))
    return Miss(
        rms_nm=min(upright, turned),
        turned=sign_known and turned < upright,
        pv_nm=float(np.ptp(read)) if pv_nm is None else pv_nm,
        true_pv_nm=float(np.ptp(true)),
        true_rms_nm=float(np.std(true)),
    )


def miss_of_reading(reading: Reading, *, scene: Scene) -> Miss:
    """How far a reading is off, by the figures it reports."""
    return miss_of(reading.height_map, scene=scene, sign_known=reading.sign == "known", pv_nm=reading.figures.pv_nm)


def pv_within(miss: Miss) -> bool:
    """Whether peak to valley is within 10 nm or 5 % of the truth."""
    return abs(miss.pv_nm - miss.true_pv_nm) <= max(10.0, 0.05 * miss.true_pv_nm)
