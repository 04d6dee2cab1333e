"""Whether stated uncertainties hold the truth as often as they claim, one cause of error at a time.

For each term of the budget, photographs are made in which only that error is drawn, from the distribution the budget claims for it (a 95 %
limit is taken as 1.96 standard deviations of a normal distribution), and read. Counted is how often a reported figure lies within a stated
expanded uncertainty: `change`, the difference from the reading of the same scene without the error (for noise, from its phase computed), against
the term's own value; `alone`, the difference from the truth, against the term's own value; `total`, the difference from the truth, against the
whole budget.

Noise is drawn in photographs that are rendered and fitted. All other errors have their phase from the geometry (`benchmarks.exact`), unless
photographs are asked for, which takes an hour a term on a small computer and gives the same but for the noise that photographs cannot be without.

Last, `whole` draws everything at once: photographs as they come from a bench, read from their bytes with nothing told but what a person knows.
"""

from __future__ import annotations

import functools
import json
import math
import multiprocessing
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchmarks.drawn_setups import uneven_lighting
from benchmarks.exact import exact_reading
from benchmarks.photographs import PATTERNS, photograph, seen_mark_hour, setup_of, true_outline
from benchmarks.run import Options
from benchmarks.tables import Row, write_table
from straightband.errors import StraightbandError
from straightband.face.polynomials import face_polynomials
from straightband.face.shapes import Face, Shape, ellipse, round_face
from straightband.heightmap.figures import NAMES, figures
from straightband.heightmap.map import HeightMap
from straightband.light.lines import Lamp
from straightband.photo.foreshortening import foreshortening
from straightband.synthetic.bands import smallest_gap_nm
from straightband.synthetic.campaign import Difficulty
from straightband.synthetic.render import render
from straightband.synthetic.scene import BandLight, Scene, Sensor, Surround, View
from straightband.synthetic.surfaces import Surface, added, coefficients_of, random_surface, saddle, sphere
from straightband.synthetic.truth import Truth, thicker_hour, truth_map, truth_of
from straightband.uncertainty import COVERAGE_95
from straightband.workflows.read import Reading, Setup, read_photo
from straightband.workflows.several import joint_reading

REFERENCE_SHAPES = (3, 4, 5, 6, 7, 10)  # power, both astigmatisms, both comas, spherical error, counted from piston = 0
WAVELENGTH_NM = 632.8
WIDTH_PX, HEIGHT_PX = 960, 720
FAR_MM = 1e9
PLACED_PX = 0.02  # an outline known as well as that shifts nothing worth mentioning
LEAST_GAP_NM = 500.0
LOWEST, HIGHEST = 0.92, 0.98  # what a 95 % interval may hold over 500 seeds
NEGLIGIBLE_NM = 0.01  # below every digit shown: rounding of the grids, not an error
WHOLE_MEGAPIXELS = 1.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """A photograph to be: its scene, what is said of it, and how it is kept.

    Attributes
    ----------
    scene
        What is photographed.
    standard_px
        Standard uncertainty said of the outline; `outline_error_px` of centre x, y and semi-axes is what it is off by.
    lamp_uncertainty_nm, camera_mm, distortion_share
        As said in the set-up.
    reference_nm
        Stated uncertainty of the reference, 0 for none told.
    jpeg
        Kept as JPEG instead of TIFF.
    """

    scene: Scene
    standard_px: float = PLACED_PX
    outline_error_px: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    lamp_uncertainty_nm: float = 1e-6
    camera_mm: float = FAR_MM
    distortion_share: float = 1e-9
    reference_nm: float = 0.0
    jpeg: bool = False


def base_scene(seed: int) -> Scene:
    """A clean photograph of a smooth surface, seen square-on from far away through a perfect lens."""
    rng = np.random.default_rng([seed, 0])
    size = rng.uniform(40.0, 120.0)
    face = ellipse(minor_mm=size) if rng.random() < 0.7 else round_face(diameter_mm=size)
    reach = face.semi_major_mm
    scale = 0.36 * HEIGHT_PX / reach
    bands, direction = rng.uniform(4.0, 12.0), rng.uniform(-math.pi, math.pi)
    scene = Scene(
        surface=random_surface(face, rng, pv_nm=math.exp(rng.uniform(math.log(40.0), math.log(400.0))), order=5),
        bands_u=bands * math.cos(direction),
        bands_v=bands * math.sin(direction),
        light=BandLight(wavelength_nm=WAVELENGTH_NM, fwhm_nm=0.0, contrast=rng.uniform(0.5, 0.9)),
        view=View(
            width_px=WIDTH_PX,
            height_px=HEIGHT_PX,
            scale_px_per_mm=scale,
            centre_x_px=WIDTH_PX / 2 + rng.uniform(-0.1, 0.1) * WIDTH_PX,
            centre_y_px=HEIGHT_PX / 2 + rng.uniform(-0.05, 0.05) * HEIGHT_PX,
            rotation_deg=rng.uniform(-180.0, 180.0),
            mirrored=int(rng.integers(0, 2)),
        ),
        surround=Surround(level=0.05),
        sensor=Sensor(exposure=0.4, read_noise=0.002, full_well=1e5),
    )
    return with_least_gap(scene, least_nm=LEAST_GAP_NM)


def with_least_gap(scene: Scene, *, least_nm: float) -> Scene:
    """The scene with its plates so far apart where they are nearest."""
    return replace(scene, gap_nm=least_nm - smallest_gap_nm(replace(scene, gap_nm=0.0)))


def _nothing(scene: Scene, rng: np.random.Generator) -> list[Shot]:
    del rng
    return [Shot(scene=scene)]


def _noise(scene: Scene, rng: np.random.Generator) -> list[Shot]:
    """What no view changes: noise, a JPEG's steps, uneven light, stray light, a blurred rim, and anything from one and a half bands up."""
    bands, direction = math.exp(rng.uniform(math.log(1.5), math.log(30.0))), rng.uniform(-math.pi, math.pi)
    lit = rng.uniform(0.3, 0.8)
    lighting = uneven_lighting(rng, lit=lit)
    sensor = Sensor(
        exposure=rng.uniform(0.2, 0.45),
        read_noise=rng.uniform(0.001, 0.005),
        full_well=math.exp(rng.uniform(math.log(3000.0), math.log(20_000.0))),
        grain_px=0.0 if rng.random() < 0.5 else rng.uniform(0.4, 0.9),
        ambient=rng.uniform(0.0, 0.03),
        jpeg_quality=int(rng.integers(80, 97)),
    )
    surround = replace(scene.surround, bevel_width_mm=rng.uniform(0.0, 0.02) * scene.face.semi_u_mm, bevel_level=rng.uniform(0.1, 2.2))
    drawn = replace(
        scene,
        bands_u=bands * math.cos(direction),
        bands_v=bands * math.sin(direction),
        light=replace(scene.light, second_harmonic=rng.uniform(0.0, 0.042)),
        view=replace(scene.view, blur_px=rng.uniform(0.5, 1.3), halo=rng.uniform(0.0, 0.05), halo_px=rng.uniform(0.02, 0.1) * WIDTH_PX),
        lighting=lighting,
        sensor=sensor,
        surround=surround,
    )
    return [Shot(scene=with_least_gap(drawn, least_nm=LEAST_GAP_NM), jpeg=True)]


def _outline(scene: Scene, rng: np.random.Generator) -> list[Shot]:
    standard_px = 1.0
    x, y, major, minor = (standard_px * rng.standard_normal(4)).tolist()
    return [Shot(scene=scene, standard_px=standard_px, outline_error_px=(x, y, major, minor))]


def _distortion(scene: Scene, rng: np.random.Generator) -> list[Shot]:
    share = 0.01
    drawn = share / COVERAGE_95 * rng.standard_normal()
    return [Shot(scene=replace(scene, view=replace(scene.view, distortion_percent=100.0 * drawn)), distortion_share=share)]


def _tilted(scene: Scene, rng: np.random.Generator) -> Scene:
    view = replace(scene.view, tilt_deg=rng.uniform(0.0, 15.0), tilt_azimuth_deg=rng.uniform(-180.0, 180.0))
    return replace(scene, view=view)


def _obliquity(scene: Scene, rng: np.random.Generator) -> list[Shot]:
    return [Shot(scene=_tilted(scene, rng))]


def _keystone(scene: Scene, rng: np.random.Generator) -> list[Shot]:
    """The views of `_obliquity` from nearby; a camera off normal is near as well, so the two are counted together."""
    tilted = _tilted(scene, rng)
    (shot,) = _near_camera(tilted, rng)
    return [shot]


def _near_camera(scene: Scene, rng: np.random.Generator) -> list[Shot]:
    distance = rng.uniform(5.0, 12.0) * 2.0 * scene.face.semi_major_mm
    least_nm = 3000.0 / COVERAGE_95 * abs(rng.standard_normal())  # the budget's limit for the least gap is 3 um
    placed = with_least_gap(scene, least_nm=least_nm)
    return [Shot(scene=replace(placed, view=replace(placed.view, camera_distance_mm=distance)), camera_mm=distance)]


def _wavelength(scene: Scene, rng: np.random.Generator) -> list[Shot]:
    limit_nm = 10.0
    light = replace(scene.light, wavelength_nm=WAVELENGTH_NM + limit_nm / COVERAGE_95 * rng.standard_normal())
    return [Shot(scene=replace(scene, light=light), lamp_uncertainty_nm=limit_nm)]


def _reference(scene: Scene, rng: np.random.Generator) -> list[Shot]:
    """A reference off by power, astigmatism, coma and spherical error, each drawn by itself; together they are normal to the stated size."""
    limit_nm = 15.0
    size = limit_nm / COVERAGE_95 / math.sqrt(len(REFERENCE_SHAPES))
    coefficients = np.zeros(max(REFERENCE_SHAPES) + 1)
    # Orthonormal coefficients over the clear aperture, which the statement is for.
    coefficients[list(REFERENCE_SHAPES)] = size * rng.standard_normal(len(REFERENCE_SHAPES))
    clear = scene.face.clear_aperture()

    def height(u_mm: NDArray, v_mm: NDArray) -> NDArray:
        return np.tensordot(coefficients, face_polynomials(u_mm, v_mm, face=clear, order=4)[: coefficients.size], axes=1)

    error = Surface(face=scene.face, coefficients_nm=coefficients_of(scene.face, height, order=4))
    return [Shot(scene=replace(scene, reference=error), reference_nm=limit_nm)]


def _repeat(scene: Scene, rng: np.random.Generator) -> list[Shot]:
    """Four photographs between which the glass bends by a hand's warmth or the way it rests, and the wedge is set anew."""
    shots = []
    for _ in range(4):
        bend = sphere(scene.face, sag_nm=10.0 * rng.standard_normal())
        for axis_deg in (0.0, 45.0):
            bend = added(bend, saddle(scene.face, rise_nm=4.0 * rng.standard_normal(), axis_deg=axis_deg))
        bands, direction = rng.uniform(4.0, 12.0), rng.uniform(-math.pi, math.pi)
        moved = replace(scene, surface=added(scene.surface, bend), bands_u=bands * math.cos(direction), bands_v=bands * math.sin(direction))
        shots.append(Shot(scene=with_least_gap(moved, least_nm=LEAST_GAP_NM)))
    return shots


@dataclass(frozen=True, slots=True, kw_only=True)
class Term:
    """An error to draw.

    Attributes
    ----------
    draw
        Photographs in which it alone is drawn; None for whole photographs, in which everything is.
    effects
        Names of the budget's effects that are to cover it.
    beside
        Name of the term whose reading has everything but this error, or None where there is none.
    stream
        Number of its random stream; terms that share one draw the same view.
    moves_outline
        True where the error also changes the proportions of the outline. What those say of the height of a band belongs to the obliquity,
        so the change is counted at the same height of a band on both sides; all figures are proportional to it.
    """

    draw: Callable[[Scene, np.random.Generator], list[Shot]] | None
    effects: tuple[str, ...]
    beside: str | None
    stream: int
    moves_outline: bool = False

    @property
    def is_noise(self) -> bool:
        """Whether only a photograph shows it."""
        return self.draw is None or self.effects == NOISE


NOISE = ("fit noise", "light taken for height", "light at the rim")
TERMS = {
    "nothing": Term(draw=_nothing, effects=(), beside=None, stream=1),
    "noise": Term(draw=_noise, effects=NOISE, beside=None, stream=2),
    "outline": Term(draw=_outline, effects=("outline and scale",), beside="nothing", stream=3, moves_outline=True),
    "distortion": Term(draw=_distortion, effects=("lens distortion x bands",), beside="nothing", stream=4, moves_outline=True),
    "obliquity": Term(draw=_obliquity, effects=("obliquity", "outline and scale"), beside="nothing", stream=5),
    "keystone": Term(draw=_keystone, effects=("keystone x bands", "near camera"), beside="obliquity", stream=5, moves_outline=True),
    "near-camera": Term(draw=_near_camera, effects=("near camera",), beside="nothing", stream=6, moves_outline=True),
    "wavelength": Term(draw=_wavelength, effects=("wavelength and lamp",), beside="nothing", stream=7),
    "reference": Term(draw=_reference, effects=("reference flat",), beside="nothing", stream=8),
    "repeat": Term(draw=_repeat, effects=("repeat",), beside="nothing", stream=10),
    "whole": Term(draw=None, effects=(), beside=None, stream=0),
}


def run(options: Options) -> None:
    """Read what has not been read yet, then count and print."""
    count = options.count or 500
    wanted = [name for name in TERMS if not options.only or name in options.only]
    for name in dict.fromkeys([TERMS[name].beside or name for name in wanted] + wanted):
        _read_missing(name, seeds=range(options.seed, options.seed + count), options=options)
    records = _records(options)
    rows = [row for name in wanted for row in counted(name, records=records, count=count)]
    if not rows:
        print("nothing could be read")
        return
    print(write_table(rows, stem=options.out / "coverage"))
    for name in wanted:
        print(_verdict(name, rows=rows))


def _verdict(name: str, *, rows: list[Row]) -> str:
    """Whether every figure is held as often as it should; a figure that the error hardly moves is held always and says nothing."""
    term = TERMS[name]
    column = "total" if term.draw is None else "change"
    judged = [row for row in rows if row["drawn"] == name and row["face"] == "all" and (term.effects or term.draw is None)]
    moved = [row for row in judged if not row["95 % of changes below, nm"] < NEGLIGIBLE_NM]
    told = ", ".join(f"{row['figure']} {100 * row[column]:.1f} %" for row in moved if not LOWEST <= row[column] <= HIGHEST)
    return f"TARGET coverage of {name}: {'MISSED: ' + told if told else 'met' if moved else 'not counted'}"


def _exact(name: str, *, options: Options) -> bool:
    return not (TERMS[name].is_noise or options.photographs)


def _spot(name: str, *, options: Options) -> Path:
    return options.out / f"coverage-{name}{'-exact' if _exact(name, options=options) else ''}.jsonl"


def _records(options: Options) -> dict[str, dict[int, Row]]:
    found: dict[str, dict[int, Row]] = {}
    for name in TERMS:
        spot = _spot(name, options=options)
        lines = spot.read_text(encoding="utf-8").splitlines() if spot.exists() else []
        found[name] = {row["seed"]: row for row in map(json.loads, lines)}
    return found


def _read_missing(name: str, *, seeds: range, options: Options) -> None:
    """Read the seeds that the folder has no record of, so that a long run can be taken up again."""
    done = _records(options)[name]
    missing = [seed for seed in seeds if seed not in done]
    one = functools.partial(record, name=name, exact=_exact(name, options=options))
    with _spot(name, options=options).open("a", encoding="utf-8") as stream:
        if options.workers > 1 and len(missing) > 1:
            with multiprocessing.get_context("spawn").Pool(options.workers) as pool:
                _keep(pool.imap_unordered(one, missing), stream=stream, name=name, count=len(missing))
        else:
            _keep(map(one, missing), stream=stream, name=name, count=len(missing))


def _keep(rows: Any, *, stream: Any, name: str, count: int) -> None:
    for k, row in enumerate(rows, start=1):
        stream.write(json.dumps(row) + "\n")
        stream.flush()
        if k % 50 == 0 or k == count:
            print(f"{name}: {k} of {count}", flush=True)


def record(seed: int, *, name: str, exact: bool) -> Row:
    """Figures reported and true of one seed, with every expanded uncertainty stated."""
    draw = TERMS[name].draw
    try:
        if draw is None:
            return {"seed": seed} | _whole(seed)
        scene = base_scene(seed)
        rng = np.random.default_rng([seed, TERMS[name].stream])
        shots = draw(scene, rng)
        readings = [_read_exactly(shot) if exact else _read(shot, rng=rng) for shot in shots]
    except StraightbandError as error:
        return {"seed": seed, "refused": str(error)}
    row = {"seed": seed} | _row(readings[0] if len(readings) == 1 else joint_reading(readings), scene=scene)
    if TERMS[name].is_noise:
        row["without"] = _figures(_read_exactly(shots[0]))
    return row


def _whole(seed: int) -> Row:
    """A photograph of the seed's difficulty and pattern; where the sign is not known, the better one counts."""
    difficulty, pattern = list(Difficulty)[seed % 3], PATTERNS[seed // 3 % len(PATTERNS)]
    shot = photograph(seed, difficulty=difficulty, pattern=pattern, megapixels=WHOLE_MEGAPIXELS)
    reading = read_photo(shot.rendered.encode(), name="coverage", setup=setup_of(shot, outline=None))
    row = _row(reading, scene=shot.scene)
    for figure in ("power_nm", "edge_nm") if reading.sign == "unknown" else ():
        row["read"][figure] = min(row["read"][figure], -row["read"][figure], key=lambda value: abs(value - row["true"][figure]))
    return row | {"difficulty": difficulty.value, "pattern": pattern.value}


def _figures(reading: Reading) -> dict[str, float]:
    read = asdict(reading.figures)
    return {name: read[name] for name in NAMES}


def _row(reading: Reading, *, scene: Scene) -> Row:
    found = reading.height_map
    true = asdict(figures(truth_map(scene, u_mm=found.u_mm, v_mm=found.v_mm, clear_margin=found.clear_margin)))
    return {
        "shape": scene.face.shape.value,
        "bands": reading.bands_across,
        "height_scale": foreshortening(reading.outline, scene.face).height_scale,
        "read": _figures(reading),
        "true": {name: true[name] for name in NAMES},
        "expanded": {effect.name: {name: effect.expanded_nm[name] for name in NAMES} for effect in reading.budget.effects},
        "total": {name: reading.budget.expanded_nm[name] for name in NAMES},
    }


def _read(shot: Shot, *, rng: np.random.Generator) -> Reading:
    rendered = render(shot.scene, rng=rng)
    data = rendered.encode("jpeg" if shot.jpeg else "tiff")
    return read_photo(data, name="coverage", setup=_setup(shot, truth=rendered.truth), reference=_reference_map(shot))


def _read_exactly(shot: Shot) -> Reading:
    return exact_reading(shot.scene, setup=_setup(shot, truth=truth_of(shot.scene)), reference=_reference_map(shot))


def _setup(shot: Shot, *, truth: Truth) -> Setup:
    outline = true_outline(truth, standard_px=shot.standard_px)
    x, y, major, minor = shot.outline_error_px
    outline = replace(
        outline,
        cx=outline.cx + x,
        cy=outline.cy + y,
        semi_major=outline.semi_major + major,
        semi_minor=outline.semi_minor + minor,
    )
    return Setup(
        face=shot.scene.face,
        lamp=Lamp(name="line", wavelength_nm=WAVELENGTH_NM, wavelength_uncertainty_nm=shot.lamp_uncertainty_nm, fwhm_nm=0.01),
        outline=outline,
        mark_hour=seen_mark_hour(truth),
        thicker=thicker_hour(shot.scene),
        mirrored=shot.scene.view.mirrored,
        camera_mm=shot.camera_mm,
        distortion_share=shot.distortion_share,
    )


def _reference_map(shot: Shot) -> HeightMap | None:
    return _flat_reference(shot.scene.face, expanded_nm=shot.reference_nm) if shot.reference_nm else None


def _flat_reference(face: Face, *, expanded_nm: float) -> HeightMap:
    """A reference said to be flat to `expanded_nm` everywhere."""
    reach = 1.2 * face.semi_major_mm
    axis = np.linspace(-reach, reach, 65)
    zeros = np.zeros((axis.size, axis.size))
    round_plate = Face(shape=Shape.ROUND, semi_u_mm=2.0 * reach, semi_v_mm=2.0 * reach)
    return HeightMap(heights_nm=zeros, u_mm=axis, v_mm=axis, uncertainty_nm=np.full_like(zeros, expanded_nm), face=round_plate)


def counted(name: str, *, records: dict[str, dict[int, Row]], count: int) -> list[Row]:
    """A row for each figure and kind of face; shares of seeds whose error lies within what was stated."""
    term = TERMS[name]
    rows = list(records[name].values())[:count]
    read = [row for row in rows if "refused" not in row]
    found: list[Row] = []
    if not read:
        return found
    for shape in ("all", *sorted({row["shape"] for row in read})):
        part = [row for row in read if shape in ("all", row["shape"])]
        found += [_counted_figure(figure, name=name, term=term, part=part, records=records) | {"face": shape} for figure in NAMES]
    for row in found:
        row["refused"] = len(rows) - len(read)
    return found


def _counted_figure(figure: str, *, name: str, term: Term, part: list[Row], records: dict[str, dict[int, Row]]) -> Row:
    own = np.array([math.hypot(*(row["expanded"][effect][figure] for effect in term.effects)) for row in part])
    total = np.array([row["total"][figure] for row in part])
    error = np.array([row["read"][figure] - row["true"][figure] for row in part])
    change = _changes(figure, term=term, part=part, records=records)
    known = np.isfinite(change)
    return {
        "drawn": name,
        "face": "",
        "figure": figure.removesuffix("_nm"),
        "photographs": len(part),
        "rms change, nm": float(np.sqrt(np.nanmean(change**2))) if known.any() else math.nan,
        "mean change, nm": float(np.nanmean(change)) if known.any() else math.nan,
        "95 % of changes below, nm": float(np.quantile(np.abs(change[known]), 0.95)) if known.any() else math.nan,
        "median of term, nm": float(np.median(own)),
        "median of total, nm": float(np.median(total)),
        "change": float(np.mean(_held(change[known], own[known]))) if known.any() else math.nan,
        "alone": float(np.mean(_held(error, own))),
        "total": float(np.mean(_held(error, total))),
    }


def _held(error: NDArray, stated: NDArray) -> NDArray:
    return np.abs(error) <= np.maximum(stated, NEGLIGIBLE_NM)


def _changes(figure: str, *, term: Term, part: list[Row], records: dict[str, dict[int, Row]]) -> NDArray:
    """What the error changed in the figure as read: from the exact reading of the same scene, or of that beside it; NaN where that is missing."""
    if term.is_noise:
        missing = dict.fromkeys(NAMES, math.nan)
        return np.array([row["read"][figure] - row.get("without", missing)[figure] for row in part])
    if term.beside is None:
        return np.full(len(part), math.nan)
    found = []
    for row in part:
        without = records[term.beside].get(row["seed"])
        if without is None or "refused" in without:
            found.append(math.nan)
            continue
        scale = without["height_scale"] / row["height_scale"] if term.moves_outline else 1.0
        # Scene and truth are the same on both sides, the grid is not quite: figures are compared less their own truths.
        found.append(scale * row["read"][figure] - row["true"][figure] - (without["read"][figure] - without["true"][figure]))
    return np.array(found)
