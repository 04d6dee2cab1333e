"""Read the bands: from the bytes of a photograph to a height map with its uncertainty, sign and doubts."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from straightband import provenance
from straightband.errors import StraightbandError
from straightband.face.shapes import CLEAR_MARGIN, Face, Shape
from straightband.fringes import causes, near
from straightband.fringes.budget import Cause, ReadingBudget, sum_up
from straightband.fringes.reading import PhaseReading, read_phase
from straightband.fringes.rest import Rest, rest_causes, rest_facts, rest_state
from straightband.fringes.rim_light import rim_light
from straightband.fringes.sign import gap_sense_from_clock, gap_sense_from_rings
from straightband.heightmap.figures import Figures, figures, without_tilt
from straightband.heightmap.map import HeightMap
from straightband.light.bands import height_per_band_nm
from straightband.light.lines import Lamp
from straightband.photo.foreshortening import Foreshortening, foreshortening
from straightband.photo.load import Photo, load_photo
from straightband.photo.outline import Outline, find_outline
from straightband.photo.plane import Plane, light_planes
from straightband.photo.rectify import SquarePicture, square_on
from straightband.workflows.colours import by_colours
from straightband.workflows.minus import PAIR, UNFIT_SIDE, Lying, Shown, alone

SAMPLES_ACROSS = 256  # over the shorter extent: a third of a millimetre on a 90 mm diagonal
DISTORTION_SHARE = 0.01  # 95 % limit at the corner of the frame for a telephone that corrects its lens; common practice, no source
FULL_FRAME_LONG_SIDE_MM = 36.0
EDGE_BLUR_PX = 1.5
WIDEST_MARGIN = 0.12  # of a semi-axis: wider bevels are told, not seen


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """What the person says of a photograph.

    Attributes
    ----------
    face
        Shape and size of the face, bevel included.
    lamp
        The light.
    outline
        The outline if told, else None to find it.
    mark_hour
        Clock hour of the pencil mark on the rim, or None.
    thicker
        Clock hour, "in" or "out" where the gap is thicker; one for each of several photographs; or None.
    mirrored
        How often the view is reversed left-right, or None where nobody said; it is then taken as not reversed.
    camera_mm
        Distance of the camera, or None.
    distortion_share
        95 % limit of the lens distortion at the corner of the frame.
    clear_margin
        Share of each semi-axis left to the bevel.
    margin_told
        Whether that was told; else it is widened where the bands are seen to end farther inside.
    today
        The day, by which a reference flat may be due again, or None.
    more_lamps
        Further lamps of other colours that were on.
    pressed_hour
        Clock hour of the rim that was pressed between the first photograph and the others, or None.
    least_gap_nm
        The smallest gap on the clear aperture where the colours of a photograph tell it; nobody else can.
    rest
        Glass, thickness, support and handling of the piece, or None where they were not told.
    """

    face: Face
    lamp: Lamp
    outline: Outline | None = None
    mark_hour: float | None = None
    thicker: float | str | tuple[float | str | None, ...] | None = None
    mirrored: int | None = None
    camera_mm: float | None = None
    distortion_share: float = DISTORTION_SHARE
    clear_margin: float = CLEAR_MARGIN
    margin_told: bool = False
    today: date | None = None
    rest: Rest | None = None
    more_lamps: tuple[Lamp, ...] = ()
    pressed_hour: float | None = None
    least_gap_nm: float | None = None

    @property
    def reversals(self) -> int:
        """How often the view is taken to be reversed."""
        return self.mirrored or 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What the bands say.

    Attributes
    ----------
    height_map
        Heights with their uncertainty.
    figures
        PV, RMS and the rest.
    budget
        Behind their uncertainty.
    bands_across
        Bands between the highest and the lowest point of the gap.
    contrast, explained
        Mean contrast of the bands, and share of their variance that the map explains.
    outline
        Where the face was found.
    picture
        The face square-on.
    phase
        The phase of the bands.
    sign
        "known" or "unknown".
    flags
        Short names of doubts.
    sources
        The photographs.
    flat
        The heights in the photograph's own frame, before reversals are undone.
    causes
        What the budget was summed from.
    sense
        +1 if the phase was taken to grow with the gap, -1 if to fall.
    distortion_share
        95 % limit of the lens distortion that the budget holds.
    """

    height_map: HeightMap
    figures: Figures
    budget: ReadingBudget
    bands_across: float
    contrast: float
    explained: float
    outline: Outline
    picture: SquarePicture
    phase: PhaseReading
    sign: str
    flags: tuple[str, ...]
    sources: tuple[provenance.Source, ...]
    flat: HeightMap
    causes: tuple[Cause, ...]
    sense: int
    distortion_share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What was seen in a photograph, before anything is made of it.

    Attributes
    ----------
    photo, plane
        The file, and its light.
    setup
        What the person said, with what the colours added.
    outline, picture, phase
        Where the face is, what it shows square-on, and the phase of its bands.
    """

    photo: Photo
    plane: Plane
    setup: Setup
    outline: Outline
    picture: SquarePicture
    phase: PhaseReading


@dataclass(frozen=True, slots=True, kw_only=True)
class Heights:
    """Heights without their uncertainty, with what it will be made of.

    Attributes
    ----------
    flat
        The heights of the pair in the photograph's own frame.
    sense
        +1 if the phase grows with the gap, -1 if it falls, 0 if that is not known.
    flags
        Short names of doubts.
    view, camera, nm_per_rad
        How far off normal, from where, and how much gap a radian is.
    """

    flat: HeightMap
    sense: int
    flags: tuple[str, ...]
    view: Foreshortening
    camera: near.Camera
    nm_per_rad: float


def tell_nobody(_: str) -> None:
    """What listens to the stages of a reading where nobody does."""


def read_photo(
    data: bytes, *, name: str, setup: Setup, reference: HeightMap | None = None, stage: Callable[[str], None] = tell_nobody
) -> Reading:
    """The reading of one photograph; raises a StraightbandError that says why where it can't be read.

    Parameters
    ----------
    data, name
        The file's bytes and its name without folder.
    setup
        What the person says of it.
    reference
        Map of the flat tested against, looking at its own face, or None.
    stage
        Told in words what is being done, as it is begun.
    """
    with threadpool_limits(limits=1, user_api="blas"):
        return _read(data, name=name, setup=setup, reference=reference, stage=stage)


def read_heights(data: bytes, *, name: str, setup: Setup) -> Heights:
    """The heights of one pair without their uncertainty, for one of many frames; raises what `read_photo` raises."""
    with threadpool_limits(limits=1, user_api="blas"):
        return _heights(_see(data, name=name, setup=setup, stage=tell_nobody))


def lying(setup: Setup, *, reference: HeightMap | None) -> Lying | None:
    """How the reference lay under the piece of a set-up; None without one."""
    if reference is None:
        return None
    return Lying(reference=reference, marked=setup.mark_hour is not None, mirrored=setup.mirrored, today=setup.today)


def _read(data: bytes, *, name: str, setup: Setup, reference: HeightMap | None, stage: Callable[[str], None]) -> Reading:
    seen = _see(data, name=name, setup=setup, stage=stage)
    stage("weighing the doubts")
    return _assemble(seen, reference=reference)


def _see(data: bytes, *, name: str, setup: Setup, stage: Callable[[str], None]) -> Seen:
    stage("opening the photograph")
    photo = load_photo(data, name=name)
    outline = setup.outline
    if setup.more_lamps:
        photo, setup, outline = _in_colours(photo, setup)
    tries: list[Seen] = []
    refusals: list[StraightbandError] = []
    for plane in light_planes(photo, wavelength_nm=setup.lamp.wavelength_nm):
        try:
            tries.append(_seen_in(plane, photo=photo, setup=setup, outline=outline, stage=stage))
        except StraightbandError as refusal:
            refusals.append(refusal)
    if not tries:
        raise refusals[0]
    # of an overexposed lamp's channel and another one the bands themselves say which leaves less in doubt
    return min(tries, key=lambda seen: float(np.mean(np.square(seen.phase.draws_rad))))


def _seen_in(plane: Plane, *, photo: Photo, setup: Setup, outline: Outline | None, stage: Callable[[str], None]) -> Seen:
    stage("looking for the face")
    outline = outline or find_outline(plane, face=setup.face)
    setup, outline = _within_bevel(setup, outline, pixel_px=plane.scale)
    stage("reading the bands")
    picture = square_on(plane, outline, face=setup.face, samples_across=SAMPLES_ACROSS, mark_hour=setup.mark_hour)
    phase = read_phase(picture, clear=setup.face.clear_aperture(setup.clear_margin), coherent_bands=setup.lamp.coherent_bands)
    return Seen(photo=photo, plane=plane, setup=setup, outline=outline, picture=picture, phase=phase)


def _within_bevel(setup: Setup, outline: Outline, *, pixel_px: float) -> tuple[Setup, Outline]:
    """The set-up with a clear aperture that ends where the bands do, and the outline with a word on it, where the bevel is seen to be wider than the margin."""
    # the edge is blurred, and a pixel of the square-on picture that it crosses shows something of both
    wanted = outline.bevel_share + EDGE_BLUR_PX * pixel_px / outline.semi_minor + 1.0 / SAMPLES_ACROSS
    if outline.bevel_share <= setup.clear_margin or wanted > WIDEST_MARGIN:
        return setup, outline
    told = replace(outline, flags=(*outline.flags, "bevel-wider-than-the-margin"))
    return (setup if setup.margin_told else replace(setup, clear_margin=wanted)), told


def _in_colours(photo: Photo, setup: Setup) -> tuple[Photo, Setup, Outline]:
    """The first lamp's channel alone, the outline in it, and the thicker side and the least gap as the colours tell them where nobody told the side."""
    told = by_colours(
        photo,
        lamps=(setup.lamp, *setup.more_lamps),
        face=setup.face,
        clear=setup.face.clear_aperture(setup.clear_margin),
        outline=setup.outline,
        mark_hour=setup.mark_hour,
        samples_across=SAMPLES_ACROSS,
    )
    if setup.thicker is None:
        setup = replace(setup, thicker=told.thicker, least_gap_nm=told.least_gap_nm)
    return told.photo, setup, told.outline


def _heights(seen: Seen) -> Heights:
    setup, phase, plane = seen.setup, seen.phase, seen.plane
    view = foreshortening(seen.outline, setup.face)
    nm_per_rad = height_per_band_nm(wavelength_nm=setup.lamp.wavelength_nm) * view.height_scale / (2.0 * math.pi)
    sense = _gap_sense(phase, seen.picture, setup)
    camera = _camera(setup, plane=plane, outline=seen.outline)
    uu, vv = np.meshgrid(phase.u_mm, phase.v_mm)
    # A hill makes the gap smaller, so heights run against it.
    depth = seen.picture.relative_depth(uu, vv)
    heights = -near.gap_nm(phase.phase_rad, u_mm=uu, v_mm=vv, depth=depth, camera=camera, nm_per_rad=nm_per_rad, sense=sense)
    assumed = () if camera.distance_known else ("camera-distance-not-told",)
    flags = plane.flags + seen.outline.flags + phase.flags + _setup_flags(setup, sense=sense) + assumed
    pair = HeightMap(
        heights_nm=heights,
        u_mm=phase.u_mm,
        v_mm=phase.v_mm,
        uncertainty_nm=np.zeros_like(heights),
        face=setup.face,
        clear_margin=setup.clear_margin,
        meta=_meta(setup, photo=seen.photo, sense=sense, phase=phase),
    )
    return Heights(flat=without_tilt(pair), sense=sense, flags=flags, view=view, camera=camera, nm_per_rad=nm_per_rad)


def _assemble(seen: Seen, *, reference: HeightMap | None) -> Reading:
    phase, found = seen.phase, _heights(seen)
    pair = Shown(flat=found.flat, causes=tuple(_causes(seen, found)), flags=found.flags)
    shown = alone(pair, lying(seen.setup, reference=reference), phase=phase, known=found.sense != 0)
    return Reading(
        bands_across=phase.bands_across,
        contrast=phase.contrast,
        explained=phase.explained,
        outline=seen.outline,
        picture=seen.picture,
        phase=phase,
        sources=(provenance.Source(name=seen.photo.name, sha256=seen.photo.sha256),),
        sense=found.sense or 1,
        distortion_share=seen.setup.distortion_share,
        **_following(shown, phase=phase),
    )


def rebuilt(reading: Reading, shown: Shown) -> Reading:
    """A reading with other heights, causes and doubts, and all that follows from them."""
    return replace(reading, **_following(shown, phase=reading.phase))


def _following(shown: Shown, *, phase: PhaseReading) -> dict[str, Any]:
    """What follows from heights, causes and doubts, by its name in a reading."""
    budget = sum_up(shown.causes, points=phase.points, heights_nm=cell_means(shown.flat.heights_nm, phase))
    flat = replace(shown.flat, meta=shown.flat.meta | {"flags": list(shown.flags)})
    height_map = _with_uncertainty(flat, phase=phase, budget=budget)
    return {
        "height_map": height_map,
        "figures": figures(height_map),
        "budget": budget,
        "sign": flat.meta["sign"],
        "flags": shown.flags,
        "flat": flat,
        "causes": shown.causes,
    }


def _gap_sense(phase: PhaseReading, picture: SquarePicture, setup: Setup) -> int:
    if setup.thicker is None or isinstance(setup.thicker, tuple):
        return 0
    if isinstance(setup.thicker, str):
        return gap_sense_from_rings(phase, thicker_outside=setup.thicker == "out")
    return gap_sense_from_clock(phase, picture, hour=setup.thicker)


def _setup_flags(setup: Setup, *, sense: int) -> tuple[str, ...]:
    found = []
    if setup.thicker is None:
        found.append("sign-unknown")
    elif sense == 0:
        found.append(UNFIT_SIDE)
    if setup.mark_hour is None and setup.face.shape is not Shape.ROUND:
        found.append("half-turn-unknown")
    if setup.mark_hour is None and setup.face.shape is Shape.ROUND:
        found.append("turn-unknown")
    found.append(PAIR)
    if setup.more_lamps:
        found.append("several-lamps-on")
    return (*found, *(() if setup.rest is None else rest_state(setup.rest, face=setup.face).flags))


def _meta(setup: Setup, *, photo: Photo, sense: int, phase: PhaseReading) -> dict[str, object]:
    return {
        "program": provenance.program(),
        "sign": "known" if sense else "unknown",
        "light_nm": setup.lamp.wavelength_nm,
        "light": ",".join(lamp.name for lamp in (setup.lamp, *setup.more_lamps)),
        "mirrored": setup.reversals,
        "mark": setup.mark_hour,
        "bands_across": round(phase.bands_across, 3),
        "photographs": [{"name": photo.name, "sha256": photo.sha256}],
        **({} if setup.rest is None else {"rest": rest_facts(setup.rest, face=setup.face)}),
    }


def _camera(setup: Setup, *, plane: Plane, outline: Outline) -> near.Camera:
    if setup.camera_mm is not None:
        distance, origin = setup.camera_mm, f"at {setup.camera_mm:.0f} mm as told"
    elif math.isfinite(plane.focal_35mm):
        focal_px = plane.focal_35mm / FULL_FRAME_LONG_SIDE_MM * max(plane.size_px)
        distance = focal_px * setup.face.semi_major_mm / outline.semi_major
        origin = f"at {distance:.0f} mm by the photograph's focal length"
    else:
        distance = near.NEAREST_CAMERA_DIAMETERS * 2.0 * setup.face.semi_major_mm
        origin = f"assumed no nearer than {distance:.0f} mm"
    return near.Camera(
        distance_mm=distance,
        distance_origin=origin,
        distance_known=setup.camera_mm is not None or math.isfinite(plane.focal_35mm),
        distortion_share=setup.distortion_share,
        size_px=plane.size_px,
        least_gap_nm=setup.least_gap_nm,
    )


def _causes(seen: Seen, found: Heights) -> list[Cause]:
    phase, setup, outline, nm_per_rad = seen.phase, seen.setup, seen.outline, found.nm_per_rad
    slopes = causes.slopes_of(phase, found.flat.heights_nm, nm_per_rad=nm_per_rad)
    heights = cell_means(found.flat.heights_nm, phase)
    placed_px = outline.standard_px if setup.outline else math.hypot(outline.standard_px, causes.EDGE_STANDARD_PX)
    pixel_mm = setup.face.semi_major_mm / outline.semi_major
    standard_mm = placed_px * pixel_mm
    return [
        causes.fit_noise(phase, nm_per_rad=nm_per_rad),
        causes.light_or_height(phase, nm_per_rad=nm_per_rad),
        rim_light(phase, picture=seen.picture, nm_per_rad=nm_per_rad),
        causes.outline_and_scale(phase, slopes, standard_mm=standard_mm, view=found.view, picture=seen.picture, nm_per_rad=nm_per_rad),
        causes.unseen_bevel(phase, slopes, face=setup.face, pixel_mm=pixel_mm * seen.plane.scale, told=setup.outline is not None),
        causes.lens_distortion(phase, slopes, picture=seen.picture, camera=found.camera, nm_per_rad=nm_per_rad),
        causes.keystone(phase, slopes, camera=found.camera, view=found.view, nm_per_rad=nm_per_rad, picture=seen.picture),
        causes.unseen_extremes(phase, heights),
        causes.wavelength(phase, heights, lamp=setup.lamp),
        causes.obliquity(phase, heights, view=found.view),
        near.near_camera(phase, camera=found.camera, nm_per_rad=nm_per_rad, sense=found.sense),
        causes.reference_flat(phase, None),
        *rest_causes(setup.rest, face=setup.face, points=phase.points),
        causes.no_repeat(phase),
    ]


def cell_means(values: NDArray, phase: PhaseReading) -> NDArray:
    """Mean of a grid [v, u] over each cell of the face, (c,)."""
    label = phase.label
    inside = label >= 0
    return np.bincount(label[inside], values[inside], minlength=phase.points.area.size) / phase.points.area


def _with_uncertainty(flat: HeightMap, *, phase: PhaseReading, budget: ReadingBudget) -> HeightMap:
    """The map with its uncertainty, as seen looking at the face: an odd number of reversals is undone."""
    uncertainty = np.where(phase.label >= 0, budget.cells_nm[phase.label], np.nan)
    hand = slice(None, None, -1 if flat.meta["mirrored"] % 2 else 1)
    return HeightMap(
        heights_nm=flat.heights_nm[:, hand].copy(),
        u_mm=flat.u_mm,
        v_mm=flat.v_mm,
        uncertainty_nm=uncertainty[:, hand].copy(),
        face=flat.face,
        clear_margin=flat.clear_margin,
        meta=flat.meta,
    )
