"""The outline, searched unaided in photographs harder than the campaign's and in those of the second renderer: found, how near, how long."""

from __future__ import annotations

import math
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from multiprocessing import get_context

import numpy as np
from numpy.typing import NDArray

from benchmarks import second_camera
from benchmarks.run import Options
from benchmarks.tables import Row, write_table
from straightband.errors import StraightbandError
from straightband.face.shapes import Face, Shape, ellipse, rectangle
from straightband.photo.load import load_photo
from straightband.photo.outline import Outline, find_outline
from straightband.photo.plane import light_plane
from straightband.photo.rectify import face_to_pixels, map_points
from straightband.synthetic import surfaces
from straightband.synthetic.campaign import Difficulty, random_scene
from straightband.synthetic.render import render
from straightband.synthetic.scene import ReferencePlate, Scene, Subsampling
from straightband.synthetic.truth import truth_of

COUNT = 48
FOUND_SHARE = 0.01  # of the semi-major axis: a rim farther off than this anywhere is not the outline
NEAR_PX, NEAR_SHARE = 0.5, 0.001
LEAST_STEP = 0.15  # in light of the face: a bevel as bright as the table is seen by nobody
KINDS = ("campaign", "faint", "plate", "bright bevel", "concentric", "few", "many", "small", "large", "long", "second")


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """A photograph with its true rim, (n, 2) upright pixels (the corners of a rectangle)."""

    data: bytes
    face: Face
    wavelength_nm: float
    rim: NDArray
    words: str


def run(options: Options) -> None:
    """Search all kinds, or those named by --only, and print found, error and time per kind."""
    kinds = options.only or KINDS
    count = options.count or COUNT
    asked = [(kind, options.seed + k) for kind in kinds for k in range(count)]
    with ProcessPoolExecutor(options.workers, mp_context=get_context("spawn")) as pool:
        rows = list(pool.map(_tried, asked))
    write_table(rows, stem=options.out / "outline-photographs")
    print(write_table([_summary(kind, [row for row in rows if row["kind"] == kind]) for kind in kinds], stem=options.out / "outline"))
    for row in rows:
        if not row["found"]:
            print(f"MISSED {row['kind']} {row['seed']}: {row['what came']}, off {row['worst, px']:.1f} px; {row['words']}")


def _summary(kind: str, rows: list[Row]) -> Row:
    found = [row for row in rows if row["found"]]
    worst = np.array([row["worst, px"] for row in found] or [math.nan])
    share = np.array([row["worst, share"] for row in found] or [math.nan])
    return {
        "kind": kind,
        "photographs": len(rows),
        "found": len(found),
        "wrong": sum(row["what came"] == "outline" and not row["found"] for row in rows),
        "rim off, median px": float(np.median(worst)),
        "90 %, px": float(np.percentile(worst, 90.0)),
        "within 0.5 px or 0.1 %": float(np.mean((worst < NEAR_PX) | (share < NEAR_SHARE))),
        "centre and axes off, median px": float(np.median([row["centre and axes, px"] for row in found] or [math.nan])),
        "search, s CPU": float(np.median([row["seconds"] for row in rows])),
    }


def _tried(asked: tuple[str, int]) -> Row:
    kind, seed = asked
    known = known_photograph(kind, seed)
    plane = light_plane(load_photo(known.data, name="bands.jpg"), wavelength_nm=known.wavelength_nm)
    began = time.process_time()
    try:
        outline, came = find_outline(plane, face=known.face), "outline"
    except StraightbandError as error:
        outline, came = None, f"refused: {error.found}"
    seconds = time.process_time() - began
    worst, parts = (math.nan, math.nan) if outline is None else misses_px(outline, known)
    size = 0.5 * float(np.linalg.norm(np.ptp(known.rim, axis=0))) / math.sqrt(2.0)
    return {
        "kind": kind,
        "seed": seed,
        "found": came == "outline" and worst < FOUND_SHARE * size,
        "worst, px": worst,
        "worst, share": worst / size,
        "centre and axes, px": parts,
        "seconds": seconds,
        "what came": came,
        "words": known.words,
    }


def misses_px(outline: Outline, known: Known) -> tuple[float, float]:
    """Greatest distance between the two rims (corners of a rectangle), and the greatest error of centre and half axes; pixels."""
    if outline.corners is not None:
        away = np.linalg.norm(known.rim[:, None] - outline.corners[None], axis=2).min(axis=1)
        off = np.linalg.norm(outline.corners.mean(axis=0) - known.rim.mean(axis=0))
        return float(away.max()), float(max(off, *np.abs(np.sort(_half_sides(outline.corners)) - np.sort(_half_sides(known.rim)))))
    matrix = face_to_pixels(outline, known.face)
    inverse = np.linalg.inv(matrix)
    x, y = map_points(inverse, x=known.rim[:, 0], y=known.rim[:, 1])
    foot_x, foot_y = map_points(matrix, x=x / np.hypot(x, y), y=y / np.hypot(x, y))
    # Across the rim, not toward the centre: what lies between is the cosine of the angle between the two.
    t = np.arctan2(y, x)
    along = np.column_stack([np.cos(t), np.sin(t)]) @ np.linalg.inv(matrix[:2, :2])
    radial = np.column_stack([known.rim[:, 0] - foot_x, known.rim[:, 1] - foot_y])
    off = np.abs(np.sum(radial * along / np.linalg.norm(along, axis=1)[:, None], axis=1))
    mine = _ellipse_through(known.rim)
    parts = [outline.cx - mine[0], outline.cy - mine[1], outline.semi_major - mine[2], outline.semi_minor - mine[3]]
    return float(off.max()), float(np.abs(parts).max())


def _half_sides(corners: NDArray) -> NDArray:
    sides = np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1)
    return np.array([sides[0] + sides[2], sides[1] + sides[3]]) / 4.0


def _ellipse_through(points: NDArray) -> tuple[float, float, float, float]:
    """Centre and half axes of the ellipse through points that lie on one (algebraic least squares)."""
    middle, size = points.mean(axis=0), float(np.ptp(points)) / 2.0
    x, y = ((points - middle) / size).T
    a, b, c, d, e, f = np.linalg.svd(np.column_stack([x * x, x * y, y * y, x, y, np.ones_like(x)]))[2][-1]
    shape = np.array([[a, b / 2.0], [b / 2.0, c]])
    centre = np.linalg.solve(-2.0 * shape, [d, e])
    level = f + 0.5 * centre @ [d, e]
    halves = np.sort(np.sqrt(-level / np.linalg.eigvalsh(shape))) * size
    return float(centre[0] * size + middle[0]), float(centre[1] * size + middle[1]), float(halves[1]), float(halves[0])


def known_photograph(kind: str, seed: int) -> Known:
    """The photograph of a seed in one of KINDS."""
    if kind == "second":
        shot = second_camera.shot(seed)
        return Known(data=shot.data, face=shot.face, wavelength_nm=shot.wavelength_nm, rim=shot.rim(360), words=", ".join(shot.kinds))
    rng = np.random.default_rng([seed, 9000 + KINDS.index(kind)])
    scene = _with_visible_bevel(_scene(kind, rng))
    truth = truth_of(scene)
    drawn = render(scene, rng=rng)
    rim = truth.corners_px if scene.face.shape is Shape.RECTANGLE else np.column_stack(list(_rim(scene)))
    return Known(data=drawn.encode("jpeg"), face=scene.face, wavelength_nm=scene.light.wavelength_nm, rim=rim, words=_words(scene))


def _rim(scene: Scene) -> Iterator[NDArray]:
    from straightband.synthetic.projection import projection_of
    from straightband.synthetic.truth import outline_points

    yield from outline_points(projection_of(scene.view, face=scene.face), count=360)


def _words(scene: Scene) -> str:
    surround = scene.surround
    wedge = math.hypot(scene.bands_u, scene.bands_v)
    return (
        f"{scene.face.shape.value} {2 * scene.face.semi_u_mm:.0f} x {2 * scene.face.semi_v_mm:.0f}, {wedge:.1f} bands of wedge, contrast {scene.light.contrast:.2f}, "
        f"table {surround.level:.2f}, plate {'no' if surround.plate is None else f'{surround.plate.level:.2f}'}, bevel {surround.bevel_width_mm:.2f} mm at {surround.bevel_level:.2f}"
    )


def _scene(kind: str, rng: np.random.Generator) -> Scene:
    scene = random_scene(rng, difficulty=Difficulty.HARD if rng.random() < 0.5 else Difficulty.ORDINARY)
    scene = replace(scene, view=replace(scene.view, distortion_percent=0.0))
    scene = replace(scene, sensor=replace(scene.sensor, jpeg_quality=int(rng.integers(60, 90)), subsampling=Subsampling.BOTH))
    smaller = min(scene.face.semi_u_mm, scene.face.semi_v_mm)
    if kind == "faint":
        level = rng.uniform(0.7, 1.1)  # as bright as the face
        return replace(
            scene,
            light=replace(scene.light, contrast=rng.uniform(0.22, 0.35)),
            surround=replace(scene.surround, level=level, mottle=rng.uniform(0.0, 0.05), shadow_level=1.0),
            lighting=replace(scene.lighting, vignetting=rng.uniform(0.3, 0.7), bulge=rng.uniform(0.0, 0.3)),
        )
    if kind == "plate":
        return replace(scene, surround=replace(scene.surround, plate=_close_plate(rng, scene)))
    if kind == "bright bevel":
        return replace(
            scene,
            surround=replace(
                scene.surround,
                bevel_width_mm=rng.uniform(0.01, 0.04) * smaller,
                bevel_level=rng.uniform(1.8, 3.0),
                bevel_unevenness=rng.uniform(0.0, 0.8),
            ),
        )
    if kind == "concentric":
        rise = float(rng.choice([-1.0, 1.0])) * rng.uniform(1.5, 8.0) * scene.light.wavelength_nm / 2.0
        return replace(scene, surface=_concentric(scene.face, rise), bands_u=0.0, bands_v=0.0)
    return _of_other_size(kind, scene, rng)


def _with_visible_bevel(scene: Scene) -> Scene:
    """The scene with the bevel no nearer in brightness to what lies beside it than an eye would need to see the outline."""
    surround = scene.surround
    beside = (surround.level if surround.plate is None else surround.plate.level) * surround.shadow_level
    if abs(surround.bevel_level - beside) >= LEAST_STEP:
        return scene
    return replace(scene, surround=replace(surround, bevel_level=beside + 2.0 * LEAST_STEP))


def _of_other_size(kind: str, scene: Scene, rng: np.random.Generator) -> Scene:
    wedge = max(math.hypot(scene.bands_u, scene.bands_v), 1e-9)
    if kind in ("few", "many"):
        wanted = rng.uniform(2.0, 3.0) if kind == "few" else rng.uniform(28.0, 40.0)
        across_px = 2.0 * min(scene.face.semi_u_mm, scene.face.semi_v_mm) * scene.view.scale_px_per_mm
        share = min(wanted, across_px / 9.0) / wedge
        surface = surfaces.random_surface(scene.face, rng, pv_nm=60.0)
        return replace(scene, surface=surface, bands_u=scene.bands_u * share, bands_v=scene.bands_v * share)
    if kind in ("small", "large"):
        # 30 % or 90 % of the frame, about the middle of the picture
        factor = rng.uniform(0.4, 0.55) if kind == "small" else 1.05
        view = scene.view
        middle = ((view.width_px - 1) / 2.0, (view.height_px - 1) / 2.0)
        view = replace(
            view,
            scale_px_per_mm=factor * view.scale_px_per_mm,
            centre_x_px=middle[0] + (1.0 if kind == "small" else 0.0) * (view.centre_x_px - middle[0]),
            centre_y_px=middle[1] + (1.0 if kind == "small" else 0.0) * (view.centre_y_px - middle[1]),
        )
        share = min(1.0, 16.0 / wedge) if kind == "small" else 1.0
        return replace(scene, view=view, bands_u=share * scene.bands_u, bands_v=share * scene.bands_v)
    if kind == "long":
        return _long(scene, rng)
    return scene


def _long(scene: Scene, rng: np.random.Generator) -> Scene:
    """A rectangle up to 1 : 3 or an ellipse up to 1 : 2, with a stronger perspective."""
    ratio = rng.uniform(2.0, 3.0)
    longer = scene.face.semi_major_mm * 2.0
    face = (
        rectangle(width_mm=longer / ratio, length_mm=longer)
        if rng.random() < 0.5
        else ellipse(minor_mm=longer / rng.uniform(1.1, 2.0), major_mm=longer)
    )
    view = replace(
        scene.view, camera_distance_mm=4.5 * longer, tilt_deg=rng.uniform(8.0, 15.0), scale_px_per_mm=0.75 * scene.view.scale_px_per_mm
    )
    view = replace(view, centre_x_px=(view.width_px - 1) / 2.0, centre_y_px=(view.height_px - 1) / 2.0)
    surface = surfaces.random_surface(face, rng, pv_nm=100.0)
    return replace(scene, surface=surface, view=view, surround=replace(scene.surround, plate=None))


def _close_plate(rng: np.random.Generator, scene: Scene) -> ReferencePlate:
    face = scene.face
    needed = math.hypot(face.semi_u_mm, face.semi_v_mm) if face.shape is Shape.RECTANGLE else face.semi_major_mm
    return ReferencePlate(
        radius_mm=needed * rng.uniform(1.06, 1.3),
        u_mm=rng.uniform(-0.02, 0.02) * needed,
        v_mm=rng.uniform(-0.02, 0.02) * needed,
        level=rng.uniform(0.1, 0.9),
        rim_width_mm=rng.uniform(0.5, 3.0),
        rim_level=rng.uniform(0.3, 2.2),
    )


def _concentric(face: Face, rise_nm: float) -> surfaces.Surface:
    """Heights that grow with the square of the normalised radius, so that the bands run along the outline; on a rectangle round rings."""
    if face.shape is Shape.RECTANGLE:
        return surfaces.sphere(face, sag_nm=rise_nm)
    # The fourth orthonormal polynomial of a disc is sqrt(3) (2 r^2 - 1) (R. J. Noll, J. Opt. Soc. Am. 66, 207 (1976), table I).
    return surfaces.Surface(face=face, coefficients_nm=(0.0, 0.0, 0.0, rise_nm / (2.0 * math.sqrt(3.0))))
