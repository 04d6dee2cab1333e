"""Light of a bright bevel that blur carries over the rim: how much of it there is, and what it does to heights there.

A layer of light a pixel or two deep is narrower than what the light is fitted with, so the fit takes part of it for a shift of the bands.
How bright the layer is shows in the photograph itself: by how much the slivers along the rim outshine what the next few predict.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from straightband.fringes.budget import Cause, no_rows
from straightband.fringes.fields import distance_from_rim
from straightband.fringes.reading import PhaseReading
from straightband.photo.rectify import SquarePicture

REACH_PIXELS, COMPARED_PIXELS = 6, 16  # slivers that the bevel's light may reach, and those they are compared with up to here
AROUND, LAYER_AROUND = 3, 1  # harmonics round the rim in which the light and contrast of the face change, and the layer
# How much of the layer, in units of the modulation, the fit takes for radians: all of it where few bands cross the rim, less where many take
# turns. 95 % of the errors of PV and edge in drawn photographs of bevels that reach into the clear aperture. Common practice, no source.
MOST_TAKEN, TAKEN_BANDS = 3.5, 12.0


def rim_light(reading: PhaseReading, *, picture: SquarePicture, nm_per_rad: float) -> Cause:
    """Heights that the light found along the rim makes where the fit takes it for a shift of the bands."""
    points = reading.points
    clear = points.clear
    x, y = points.u_mm / clear.semi_u_mm, points.v_mm / clear.semi_v_mm
    pixel = (reading.u_mm[1] - reading.u_mm[0]) / min(clear.semi_u_mm, clear.semi_v_mm)
    depth = np.floor(distance_from_rim(x, y, clear=clear) / pixel)
    light, seen = _light_at_cells(reading, picture)
    cos, sin = (_at_cells(wave(reading.phase_rad), reading) for wave in (np.cos, np.sin))  # a band turns within a cell
    compared = seen & (depth >= REACH_PIXELS) & (depth < COMPARED_PIXELS)
    around = _harmonics(np.arctan2(y, x), AROUND)
    slope = depth * around[: 1 + 2 * LAYER_AROUND]  # the lamp's light, too, changes toward the rim
    columns = np.concatenate([around * cos, around, slope])
    if np.count_nonzero(compared) < 4 * len(columns):
        return _cause([], reading, share=0.0)
    fitted = np.linalg.lstsq(columns[:, compared].T, light[compared], rcond=None)[0]
    added, modulation = light - fitted @ columns, np.abs(fitted[: len(around)] @ around)
    typical = float(np.median(modulation))
    if typical == 0.0:
        return _cause([], reading, share=0.0)
    layer = np.zeros_like(light)
    for k in range(REACH_PIXELS):
        here = seen & (depth == k)
        layer[here] = _layer(added[here], np.stack([sin[here], cos[here]]), around=around[: 1 + 2 * LAYER_AROUND, here])
    share = np.clip(layer / np.maximum(modulation, 0.2 * typical), -1.0, 1.0)  # more than all the swing can't be taken for a shift
    taken = min(MOST_TAKEN, TAKEN_BANDS / reading.bands_across)
    return _cause([taken * nm_per_rad * share], reading, share=float(np.max(np.abs(share))))


def _cause(modes: list[NDArray], reading: PhaseReading, *, share: float) -> Cause:
    none = no_rows(reading.points)
    origin = f"beside the rim up to {100 * share:.1f} % of the bands' swing is light of something else"
    return Cause(name="light at the rim", origin=origin, modes_nm=np.stack(modes) if modes else none, draws_nm=none)


def _layer(added: NDArray, waves: NDArray, *, around: NDArray) -> NDArray:
    """The light added in a sliver; what a shift of the bands and their contrast add is no light."""
    columns = np.concatenate([around, waves])
    if added.size < 3 * len(columns):
        return np.zeros_like(added)
    return np.linalg.lstsq(columns.T, added, rcond=None)[0][: len(around)] @ around


def _harmonics(angle: NDArray, highest: int) -> NDArray:
    rows = [np.ones_like(angle)]
    for m in range(1, highest + 1):
        rows += [np.cos(m * angle), np.sin(m * angle)]
    return np.stack(rows)


def _light_at_cells(reading: PhaseReading, picture: SquarePicture) -> tuple[NDArray, NDArray]:
    """Mean light at the cells, and which of them are seen whole."""
    rows, columns = np.searchsorted(picture.v_mm, reading.v_mm), np.searchsorted(picture.u_mm, reading.u_mm)
    box = np.ix_(rows, columns)
    return _at_cells(picture.light[box], reading), _at_cells(picture.missing[box], reading) == 0.0


def _at_cells(values: NDArray, reading: PhaseReading) -> NDArray:
    """Mean over each cell."""
    inside = reading.label >= 0
    return np.bincount(reading.label[inside], values[inside], minlength=reading.points.area.size) / reading.points.area
