"""A photograph in the light of three lamps of different colour, each of which fills its own channel of the camera: sign and gap without touching."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from straightband.errors import BadInput
from straightband.face.shapes import Face
from straightband.fringes.colours import Colour, gap_sense_from_colours
from straightband.fringes.reading import PhaseReading, read_phase
from straightband.fringes.sign import thicker_side
from straightband.light.lines import Lamp
from straightband.photo.load import Photo
from straightband.photo.outline import Outline, find_outline
from straightband.photo.plane import light_plane
from straightband.photo.rectify import SquarePicture, square_on

# Where the channels of common sensors part: common practice, no source.
RED_FROM_NM, GREEN_FROM_NM = 580.0, 500.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What the colours of a photograph tell.

    Attributes
    ----------
    photo
        The photograph in the first lamp's channel alone.
    outline
        The outline of the face in it.
    thicker
        Where the gap is thicker; None where the colours leave it open.
    least_gap_nm
        The smallest gap on the clear aperture; None likewise.
    """

    photo: Photo
    outline: Outline
    thicker: float | str | None
    least_gap_nm: float | None


def channel_of(lamp: Lamp) -> int:
    """The channel a lamp fills: 0 red, 1 green, 2 blue.

    Example
    -------
    >>> from straightband.light.lines import LAMPS
    >>> channel_of(LAMPS["green-led"])
    1
    """
    return 0 if lamp.wavelength_nm >= RED_FROM_NM else 1 if lamp.wavelength_nm >= GREEN_FROM_NM else 2


def check_channels(lamps: tuple[Lamp, ...]) -> None:
    """Raise BadInput unless there is one lamp, or three with a channel each."""
    if len(lamps) not in {1, 3}:
        raise BadInput(
            found=f"{len(lamps)} lamps were named",
            needed="one, or three of different colour, are needed: two leave hill and hole open too often",
            remedy="write them like red-led,green-led,blue-led, or give the one that was on",
        )
    if len({channel_of(lamp) for lamp in lamps}) < len(lamps):
        raise BadInput(
            found=f"the lamps {', '.join(lamp.name for lamp in lamps)} share a channel of the camera",
            needed="one red, one green and one blue are needed",
            remedy="write them like red-led,green-led,blue-led, or give the one that was on",
        )


def by_colours(
    photo: Photo, *, lamps: tuple[Lamp, ...], face: Face, clear: Face, outline: Outline | None, mark_hour: float | None, samples_across: int
) -> Told:
    """What lamps of several colours tell beside the bands of one.

    Raises BadInput for a photograph without colours, and whatever the outline or the bands of the first colour raise.
    """
    if photo.levels.shape[2] < 3:
        raise BadInput(
            found=f"{photo.name} has no colours",
            needed="a colour photograph is needed for lamps of several colours",
            remedy="name one lamp",
        )
    alone = [_only(photo, channel_of(lamp)) for lamp in lamps]
    planes = [light_plane(each, wavelength_nm=lamp.wavelength_nm) for each, lamp in zip(alone, lamps, strict=True)]
    placed = outline or find_outline(planes[0], face=face)
    pictures = [square_on(plane, placed, face=face, samples_across=samples_across, mark_hour=mark_hour) for plane in planes]
    phase = read_phase(pictures[0], clear=clear, coherent_bands=lamps[0].coherent_bands)
    lights = [
        Colour(light=_at_cells(picture, phase), wavelength_nm=lamp.wavelength_nm) for picture, lamp in zip(pictures, lamps, strict=True)
    ]
    found = gap_sense_from_colours(phase, lights[0], others=lights[1:])
    return Told(
        photo=alone[0],
        outline=placed,
        thicker=thicker_side(phase, pictures[0], sense=found.sense) if found.sense else None,
        least_gap_nm=1000.0 * found.gap_um[0] if found.sense else None,
    )


def _only(photo: Photo, channel: int) -> Photo:
    return replace(photo, levels=photo.levels[:, :, channel : channel + 1])


def _at_cells(picture: SquarePicture, phase: PhaseReading) -> NDArray:
    """Mean light of each cell, (c,)."""
    rows, columns = np.isin(picture.v_mm, phase.v_mm), np.isin(picture.u_mm, phase.u_mm)
    light, inside = picture.light[np.ix_(rows, columns)].astype(float), phase.label >= 0
    return np.bincount(phase.label[inside], light[inside], minlength=phase.points.area.size) / phase.points.area
