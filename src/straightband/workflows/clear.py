"""Say how far a back has cleared, from photographs of a printed grid seen through the mirror, and how many minutes are left."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from straightband.errors import BadInput
from straightband.face.shapes import CLEAR_MARGIN, Face, Shape
from straightband.gauges.clearing_time import Forecast, Look, PastBack, forecast, pace_of_shop
from straightband.gauges.printed_grid.clearness import Clearness, clearness_of
from straightband.gauges.printed_grid.keystone import keystone_of, levelled, levelled_outline
from straightband.gauges.printed_grid.pattern import pitch_of
from straightband.gauges.printed_grid.rim import rim_over_grid
from straightband.gauges.printed_grid.zones import CLEAR_ENOUGH, Clearing, clearing_of
from straightband.gauges.roughness import Roughness, band_contrast, roughness_from_share
from straightband.photo.load import Photo, load_photo
from straightband.photo.outline import Outline
from straightband.photo.plane import Plane, light_plane
from straightband.provenance import Source, source_of
from straightband.workflows.copies import without_copies

WHITE_NM = 540.0  # the green channel is read, where a camera is sharpest and noise least
SHARE_DOUBT = (0.04, 0.1)  # 95 %, of the share passed: absolute and relative; five times the spread over rendered photographs
KEYSTONE_LEFT = 0.5  # of the keystone that a hand-held view may have, after the grid has told it: our trial on rendered photographs
TILT_RAD = 0.17  # 95 % of views are within 10 degrees of square-on: common practice, no source
ASSUMED_CAMERA_SEMI_MAJORS = 10.0  # distance of a hand-held camera that fills its frame with the mirror
FULL_FRAME_LONG_SIDE_MM = 36.0
VEIL = 0.3  # stray light over that of the paper, beyond which a reflection may be mistaken for grey
CLIPPED = 0.05  # of the face
COARSE_PX = 5.0  # pixels per pitch under which contrast is lost to the camera
RINGS = 8
RING_STANDARD = (0.02, 0.04)  # of a ring's mean clearness: absolute and relative, as SHARE_DOUBT
SEED = 1  # any number: the same photographs must give the same forecast


@dataclass(frozen=True, slots=True, kw_only=True)
class GridSetup:
    """What lies over the grid.

    Attributes
    ----------
    face
        Shape and size of the mirror.
    outlines
        One for all photographs or one for each, if told; found where None, or where there are none.
    mark_hour
        Clock hour of the pencil mark on the rim.
    margin
        Share of each semi-axis left to the bevel.
    camera_mm
        Distance of the camera from the mirror, if told.
    index, index_doubt
        Refractive index of the glass and its 95 % uncertainty.
    """

    face: Face
    outlines: tuple[Outline | None, ...] = ()
    mark_hour: float | None = None
    margin: float = CLEAR_MARGIN
    camera_mm: float | None = None
    index: float = 1.5
    index_doubt: float = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Back:
    """What one photograph says of a back.

    Attributes
    ----------
    source, outline
        The photograph, and where the mirror lies in it.
    clear, clearing
        The map of clearness, and what it comes to.
    roughness
        Of the least clear place, or of the whole if all is clear enough.
    bands
        Least contrast that bands will have through the least clear place.
    flags
        Short names of doubts.
    """

    source: Source
    outline: Outline
    clear: Clearness
    clearing: Clearing
    roughness: Roughness
    bands: float
    flags: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """A back over time.

    Attributes
    ----------
    setup
        What was told.
    backs
        One for each photograph, in the order taken.
    minutes
        Of polishing since the first photograph, one for each.
    forecast
        Minutes to go after the last, or None with one photograph.
    """

    setup: GridSetup
    backs: tuple[Back, ...]
    minutes: tuple[float, ...]
    forecast: Forecast | None

    @property
    def last(self) -> Back:
        """The back as it is now."""
        return self.backs[-1]


def look_at_back(
    photographs: Sequence[tuple[str, bytes]],
    *,
    minutes: tuple[float, ...],
    setup: GridSetup,
    past: tuple[PastBack, ...] = (),
    polished_min: float | None = None,
) -> Progress:
    """How clear the back is in each photograph (name, bytes), and from two on how many minutes are left.

    `minutes` of polishing since the first photograph, one for each; `polished_min` are those before it, where known. Raises a refusal
    where grid or mirror are not found, or a photograph is given twice.
    """
    if len(setup.outlines) not in (0, 1, len(photographs)):
        raise BadInput(
            found=f"{len(setup.outlines)} outlines were given for {len(photographs)} photographs",
            needed="one for all or one for each is needed",
            remedy="give --outline once, or once for each photograph in their order",
        )
    photographs = list(without_copies(photographs))
    outlines: list[Outline | None] = [None] * len(photographs)
    if setup.outlines:
        outlines = [*setup.outlines] * (len(photographs) if len(setup.outlines) == 1 else 1)
    backs = tuple(_back(name, data, setup=setup, outline=outline) for (name, data), outline in zip(photographs, outlines, strict=True))
    expected = None
    if len(backs) > 1:
        pace = pace_of_shop(past, semi_mm=min(setup.face.semi_u_mm, setup.face.semi_v_mm))
        looks = _looks(backs, minutes=minutes, marked=setup.mark_hour is not None or setup.face.shape is Shape.ROUND)
        expected = forecast(looks, enough=CLEAR_ENOUGH, pace=pace, rng=np.random.default_rng(SEED), before_min=polished_min)
    return Progress(setup=setup, backs=backs, minutes=minutes, forecast=expected)


def _back(name: str, data: bytes, *, setup: GridSetup, outline: Outline | None) -> Back:
    photo = load_photo(data, name=name)
    plane = light_plane(photo, wavelength_nm=WHITE_NM)
    pitch_px = pitch_of(plane.light, missing=plane.clipped)
    keystone = keystone_of(plane, pitch_px=pitch_px)
    level = levelled(plane, keystone)
    where = rim_over_grid(level, face=setup.face, pitch_px=pitch_px) if outline is None else levelled_outline(outline, keystone)
    clear = clearness_of(level, where, face=setup.face, pitch_px=pitch_px, margin=setup.margin, mark_hour=setup.mark_hour)
    left = KEYSTONE_LEFT * TILT_RAD * setup.face.semi_major_mm / _camera_mm(plane, where, setup=setup)
    doubt = math.hypot(2.0 * where.standard_px / where.semi_minor, left)
    clearing = clearing_of(clear, outline_doubt=doubt)
    passed = min((zone.passed for zone in clearing.zones), default=_least_passed(clear))
    share_doubt = math.hypot(SHARE_DOUBT[0], SHARE_DOUBT[1] * passed)
    rough = roughness_from_share(passed, share_doubt=share_doubt, index_step=setup.index - 1.0, index_doubt=setup.index_doubt)
    return Back(
        source=source_of(name, data),
        outline=outline or levelled_outline(where, keystone, back=True),
        clear=clear,
        clearing=clearing,
        roughness=rough,
        bands=band_contrast(passed),
        flags=_flags(photo, plane, outline=where, clear=clear, clearing=clearing, pitch_px=pitch_px, setup=setup),
    )


def _least_passed(clear: Clearness) -> float:
    return float(np.nanpercentile(clear.passed, 5.0))


def _camera_mm(plane: Plane, outline: Outline, *, setup: GridSetup) -> float:
    if setup.camera_mm is not None:
        return setup.camera_mm
    if math.isfinite(plane.focal_35mm):
        focal_px = plane.focal_35mm / FULL_FRAME_LONG_SIDE_MM * max(plane.size_px)
        return focal_px * setup.face.semi_major_mm / outline.semi_major
    return ASSUMED_CAMERA_SEMI_MAJORS * setup.face.semi_major_mm


def _flags(
    photo: Photo, plane: Plane, *, outline: Outline, clear: Clearness, clearing: Clearing, pitch_px: float, setup: GridSetup
) -> tuple[str, ...]:
    unclear = np.nan_to_num(clear.clearness, nan=1.0) < CLEAR_ENOUGH
    raised = {
        "dry-not-seen": True,
        "compared-with-clear-ring": not clear.beside,
        "stray-light": bool(unclear.any()) and float(np.median(clear.veil[unclear])) > VEIL,
        "paper-overexposed": clear.missing_share > CLIPPED,
        "grid-fine-for-photograph": pitch_px * plane.scale < COARSE_PX * photo.binning,
        "outline-told": outline.told,
        "half-turn-unknown": setup.mark_hour is None and setup.face.shape is not Shape.ROUND and bool(clearing.zones),
    }
    return tuple(name for name, is_so in raised.items() if is_so)


def _looks(backs: tuple[Back, ...], *, minutes: tuple[float, ...], marked: bool) -> tuple[Look, ...]:
    """The photographs as rings about the place that clears last; about the middle where that place may lie at either end."""
    zones = backs[-1].clearing.zones or backs[0].clearing.zones
    u_mm, v_mm = (zones[0].u_mm, zones[0].v_mm) if zones and marked else (0.0, 0.0)
    return tuple(_rings(back.clear, u_mm=u_mm, v_mm=v_mm, minutes=after) for back, after in zip(backs, minutes, strict=True))


def _rings(clear: Clearness, *, u_mm: float, v_mm: float, minutes: float) -> Look:
    away = np.hypot(clear.u_mm[None, :] - u_mm, clear.v_mm[:, None] - v_mm)
    on_face = np.isfinite(clear.clearness)
    share = away / away[on_face].max()
    ring = np.minimum((share * RINGS).astype(int), RINGS - 1)
    known = [number for number in range(RINGS) if np.any(on_face & (ring == number))]
    values = [clear.clearness[on_face & (ring == number)] for number in known]
    mean = np.array([value.mean() for value in values])
    return Look(
        minutes=minutes,
        radius=(np.array(known) + 0.5) / RINGS,
        clearness=mean,
        standard=np.sqrt(RING_STANDARD[0] ** 2 + (RING_STANDARD[1] * mean) ** 2 + _ring_scatter(values) ** 2),
    )


def _ring_scatter(values: list[NDArray]) -> NDArray:
    """Standard uncertainty of a ring's mean from its own unevenness, taken as some ten patches."""
    return np.array([value.std() for value in values]) / math.sqrt(10.0)
