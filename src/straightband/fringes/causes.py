"""What can make a height map wrong, each as a departure of the whole map at its 95 % limit.

Sources
-------
Keystone and lens distortion move every point of the
photograph by a known law; what they do to a height is that shift times the slope of the gap, wedge included, so they grow with the bands.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from straightband.face.polynomials import face_polynomials
from straightband.face.shapes import Face, Shape
from straightband.fringes.budget import Cause, no_rows
from straightband.fringes.near import Camera, rms_nearness
from straightband.fringes.reading import PhaseReading
from straightband.heightmap.figures import Points
from straightband.light.lines import Lamp
from straightband.photo.foreshortening import Foreshortening
from straightband.photo.rectify import SquarePicture
from straightband.uncertainty import COVERAGE_95

REFERENCE = "reference flat"  # name of the cause
RIM_POINTS = 60
MANY_BANDS_FACTOR, FEW_BANDS = 1.2, 4.5  # errors over the fit noise where many bands show; bands below which they grow fast
CONVERGING = 6  # the first of the two motions of a rectangle's corners in which the view converges
EDGE_STANDARD_PX = 0.2  # by which blur and a bevel of a few pixels shift an edge alike all round; rms over our drawn photographs
# A bevel as dark as what lies beside it, or as bright as the face, or only a pixel or two wide, hides one of its two edges, and the one seen may be the inner.
# 1.96 times the rms by which outlines were off in 240 drawn photographs of half to one megapixel with bevels of 1 to 3 px (1 px), and in 36 of 1.2
# megapixels (0.2 % of the shorter half axis). Common practice, no source.
MELTED_PX, HIDDEN_SHARE = 2.0, 0.004


@dataclass(frozen=True, slots=True, kw_only=True)
class Slopes:
    """Slopes at the cells, nm per mm: of the gap with its wedge, and of the heights without."""

    gap_u: NDArray
    gap_v: NDArray
    height_u: NDArray
    height_v: NDArray


def slopes_of(reading: PhaseReading, heights_nm: NDArray, *, nm_per_rad: float) -> Slopes:
    """Slopes from the grids of phase and heights [v, u], read at the cells."""
    gap_v, gap_u = _slopes(reading.phase_rad * nm_per_rad, reading)
    height_v, height_u = _slopes(heights_nm, reading)
    return Slopes(gap_u=gap_u, gap_v=gap_v, height_u=height_u, height_v=height_v)


def _slopes(values: NDArray, reading: PhaseReading) -> list[NDArray]:
    """Slopes along v and u at the cells by central differences; on the outermost pixels, which lack a neighbour, that of the nearest with both."""
    slopes = np.gradient(values, reading.v_mm, reading.u_mm)
    unknown = np.isnan(slopes[0]) | np.isnan(slopes[1])
    rows, columns = ndimage.distance_transform_edt(unknown, return_distances=False, return_indices=True)
    return [_at_cells(slope[rows, columns], reading) for slope in slopes]


def _at_cells(values: NDArray, reading: PhaseReading) -> NDArray:
    """Mean over each cell."""
    inside = reading.label >= 0
    return np.bincount(reading.label[inside], values[inside], minlength=reading.points.area.size) / reading.points.area


def fit_noise(reading: PhaseReading, *, nm_per_rad: float) -> Cause:
    """Noise of the photograph through the fit, its correlation counted."""
    draws = reading.draws_rad * nm_per_rad
    return Cause(name="fit noise", origin="scatter the fit left, with its correlation", modes_nm=no_rows(reading.points), draws_nm=draws)


def light_or_height(reading: PhaseReading, *, nm_per_rad: float) -> Cause:
    """What noise does not hide and a fit can't tell from height: uneven light and contrast where few bands show, steps of the file's grey levels.

    It lies where the fit is weak anyway, so it is a multiple of the fit's noise. The law was found on drawn photographs (`benchmarks.coverage`,
    term `noise`, seeds 0 to 499) by hand: 93 to 98 % of the errors stay within it, by figure. Common practice, no source.
    """
    factor = MANY_BANDS_FACTOR + (FEW_BANDS / reading.bands_across) ** 1.5
    # From the other end, so that whoever pairs the draws of all causes pairs independent ones; half of them will do.
    draws = math.sqrt(factor**2 - 1.0) * reading.draws_rad[::-2] * nm_per_rad
    origin = f"{reading.bands_across:.1f} bands across: errors of {factor:.1f} times the fit noise in all"
    return Cause(name="light taken for height", origin=origin, modes_nm=no_rows(reading.points), draws_nm=draws)


def _cause(name: str, origin: str, modes: list[NDArray], points: Points) -> Cause:
    rows = np.stack(modes) if modes else no_rows(points)
    return Cause(name=name, origin=origin, modes_nm=rows, draws_nm=no_rows(points))


def outline_and_scale(
    reading: PhaseReading, slopes: Slopes, *, standard_mm: float, view: Foreshortening, picture: SquarePicture, nm_per_rad: float
) -> Cause:
    """The outline a little off: the map shifted, stretched and turned under its heights.

    The four corners of a rectangle are off one by one. That makes a view converge that does not, and moves the wedge as well; what it does to the height
    of a band takes the most of that back (see `keystone`).
    """
    points, face, limit = reading.points, picture.face, COVERAGE_95 * standard_mm
    origin = f"outline placed to {standard_mm:.3f} mm (standard)"
    if face.shape is Shape.RECTANGLE:
        shifts, converging = _corner_shifts(points, face=face)
        gap = reading.cell_phase_rad * nm_per_rad * float(picture.shows_depth)
        modes = [limit * (slopes.gap_u * du + slopes.gap_v * dv - gap * s) for (du, dv), s in zip(shifts, converging, strict=True)]
        return _cause("outline and scale", origin, modes, points)
    a, b = points.clear.semi_u_mm, points.clear.semi_v_mm
    turn = COVERAGE_95 * view.turn_standard_rad
    modes = [
        limit * slopes.height_u,
        limit * slopes.height_v,
        limit * points.u_mm / a * slopes.height_u,
        limit * points.v_mm / b * slopes.height_v,
        turn * (points.v_mm * a / b * slopes.height_u - points.u_mm * b / a * slopes.height_v),
    ]
    return _cause("outline and scale", origin, modes, points)


def _corner_shifts(points: Points, *, face: Face) -> tuple[NDArray, NDArray]:
    """Shifts (8, 2, n) of the points for a unit shift of each corner of a rectangle along u and along v, to first order, and how the view seems to converge (8, n)."""
    motions = _motions(*_rim(face), shape=face.shape)
    amounts = np.linalg.inv(motions.reshape(len(motions), -1).T)  # (motion, corner's coordinate)
    return np.einsum("mk,min->kin", amounts, _motions(points.u_mm, points.v_mm, shape=face.shape)), _convergence(amounts, points)


def _convergence(amounts: NDArray, points: Points) -> NDArray:
    """By what share the points (..., n) seem nearer, where a rectangle's corners have followed motions (motion, ...) by these amounts."""
    return np.multiply.outer(amounts[CONVERGING], points.u_mm) + np.multiply.outer(amounts[CONVERGING + 1], points.v_mm)


def unseen_bevel(reading: PhaseReading, slopes: Slopes, *, face: Face, pixel_mm: float, told: bool) -> Cause:
    """The outline found may be the inner edge of a bevel whose outer edge can't be seen: the map is stretched by the bevel's width all round.

    Of a bevel no wider than a few pixels of `pixel_mm` the edges melt into one; one that is as dark as what lies beside it hides at any size.
    """
    points = reading.points
    if told:
        return _cause("bevel", "outline as told", [], points)
    width = math.hypot(MELTED_PX * pixel_mm, HIDDEN_SHARE * min(face.semi_u_mm, face.semi_v_mm))
    mode = width * (points.u_mm / face.semi_u_mm * slopes.height_u + points.v_mm / face.semi_v_mm * slopes.height_v)
    return _cause("bevel", f"the outline found may be the inner edge of a bevel of up to {width:.2g} mm", [mode], points)


def lens_distortion(reading: PhaseReading, slopes: Slopes, *, picture: SquarePicture, camera: Camera, nm_per_rad: float) -> Cause:
    """Radial distortion of the lens times the bands: points shifted by share (r / corner)^2 of their radius.

    The outline is shifted with the face, so what moves and stretches it has been taken up with it and is left out. The corners of a rectangle that were
    shifted show a view that converges otherwise.
    """
    points = reading.points
    rim_u, rim_v = _rim(picture.face)
    taken_up = _taken_up(rim_u, rim_v, shift=_distorted_by(rim_u, rim_v, picture=picture, camera=camera), face=picture.face)
    shift = _distorted_by(points.u_mm, points.v_mm, picture=picture, camera=camera)
    du, dv = shift - np.tensordot(taken_up, _motions(points.u_mm, points.v_mm, shape=picture.face.shape), axes=1)
    mode = slopes.gap_u * du + slopes.gap_v * dv
    if picture.shows_depth:
        mode += reading.cell_phase_rad * nm_per_rad * _convergence(taken_up, points)
    return _cause("lens distortion x bands", f"up to {100 * camera.distortion_share:.2g} % at the corner of the frame", [mode], points)


def _rim(face: Face) -> tuple[NDArray, NDArray]:
    """Points that place the outline: the four corners of a rectangle, else points all along it."""
    if face.shape is Shape.RECTANGLE:
        return face.semi_u_mm * np.array([-1.0, 1.0, 1.0, -1.0]), face.semi_v_mm * np.array([-1.0, -1.0, 1.0, 1.0])
    angle = np.linspace(0.0, 2.0 * np.pi, RIM_POINTS, endpoint=False)
    return face.semi_u_mm * np.cos(angle), face.semi_v_mm * np.sin(angle)


def _motions(u: NDArray, v: NDArray, *, shape: Shape) -> NDArray:
    """Shifts (k, 2, n) that an outline of this shape can follow, as the face is laid into it: an ellipse turns, a circle shears, corners do anything."""
    one, none = np.ones_like(u), np.zeros_like(u)
    common = [[one, none], [none, one], [u, none], [none, v]]
    if shape is Shape.RECTANGLE:
        return np.array([*common, [v, none], [none, u], [u * u, u * v], [u * v, v * v]])
    return np.array([*common, [v, u] if shape is Shape.ROUND else [-v, u]])


def _taken_up(rim_u: NDArray, rim_v: NDArray, *, shift: NDArray, face: Face) -> NDArray:
    """Amounts (k,) of the motions by which an outline follows a shift (2, n) of its points; along the outline a shift does not show."""
    motions = _motions(rim_u, rim_v, shape=face.shape)
    if face.shape is Shape.RECTANGLE:
        return np.linalg.solve(motions.reshape(len(motions), -1).T, shift.ravel())
    normal = np.stack([rim_u / face.semi_u_mm**2, rim_v / face.semi_v_mm**2])
    normal /= np.hypot(*normal)
    return np.linalg.lstsq(np.sum(motions * normal, axis=1).T, np.sum(shift * normal, axis=0), rcond=None)[0]


def _distorted_by(u_mm: NDArray, v_mm: NDArray, *, picture: SquarePicture, camera: Camera) -> NDArray:
    """Shift (2, n) in mm on the face of points (n,), at the limit of the distortion."""
    x, y = picture.pixel_positions(u_mm, v_mm)
    dx, dy = x - (camera.size_px[0] - 1) / 2.0, y - (camera.size_px[1] - 1) / 2.0
    share = camera.distortion_share * (dx * dx + dy * dy) / (0.25 * (camera.size_px[0] ** 2 + camera.size_px[1] ** 2))
    linear = picture.face_to_pixels[:2, :2] / picture.face_to_pixels[2, 2] / np.array([picture.face.semi_u_mm, picture.face.semi_v_mm])
    return np.linalg.solve(linear, np.stack([share * dx, share * dy]))


def keystone(
    reading: PhaseReading, slopes: Slopes, *, camera: Camera, view: Foreshortening, nm_per_rad: float, picture: SquarePicture
) -> Cause:
    """Perspective of an oblique view times the bands.

    With s = sin(tilt) / L a point p is seen at p (1 + s x), and under an incidence whose cosine is larger by s x. The outline of half axis a, seen so,
    is an ellipse with its middle s a^2 off, into which the face is laid. Together a gap t reads t + s (x t - x p . grad t + a^2 t'): a plane wedge
    gives only tilt, for the first two cancel. A rectangle's corners show s, and both have been taken back.
    """
    points, face = reading.points, picture.face
    if picture.shows_depth:
        return _cause("keystone x bands", "taken out by the four corners", [], points)
    gap = reading.cell_phase_rad * nm_per_rad
    converging = COVERAGE_95 / math.sqrt(2.0) * math.sin(view.tilt_rad) * rms_nearness(camera)
    stretched = slopes.gap_u * points.u_mm + slopes.gap_v * points.v_mm
    # The middle moved along the wedge is a plain offset of the whole map and left out.
    moved_u, moved_v = (
        semi**2 * (slope - np.mean(slope)) for semi, slope in ((face.semi_u_mm, slopes.gap_u), (face.semi_v_mm, slopes.gap_v))
    )
    modes = [
        converging * (points.u_mm * (gap - stretched) + moved_u),
        converging * (points.v_mm * (gap - stretched) + moved_v),
    ]
    return _cause(
        "keystone x bands", f"view off normal by {math.degrees(view.tilt_rad):.1f} deg, camera {camera.distance_origin}", modes, points
    )


def unseen_extremes(reading: PhaseReading, heights_nm: NDArray) -> Cause:
    """Heights (c,) higher or lower than all that was seen, where the bands were set aside: they are the fit's guess, the tip of a hidden corner above all."""
    points, seen = reading.points, reading.cell_seen
    share = float(np.sum(points.area[~seen]) / np.sum(points.area))
    origin = f"{100 * share:.1f} % of the clear aperture set aside"
    if seen.all() or not seen.any():
        return _cause("extremes not seen", origin, [], points)
    within = np.clip(heights_nm, np.min(heights_nm[seen]), np.max(heights_nm[seen]))
    return _cause("extremes not seen", origin, [within - heights_nm], points)


def wavelength(reading: PhaseReading, heights_nm: NDArray, *, lamp: Lamp) -> Cause:
    """Wrong wavelength: every height off by the same share."""
    share = lamp.wavelength_uncertainty_nm / lamp.wavelength_nm
    return _cause(
        "wavelength and lamp",
        f"{lamp.wavelength_nm:.1f} nm known to {lamp.wavelength_uncertainty_nm:.2g} nm",
        [share * heights_nm],
        reading.points,
    )


def obliquity(reading: PhaseReading, heights_nm: NDArray, *, view: Foreshortening) -> Cause:
    """View off normal by an angle the outline only partly shows: every height off by the same share."""
    share = COVERAGE_95 * view.height_scale_standard / view.height_scale
    return _cause(
        "obliquity",
        f"height per band taken {100 * (view.height_scale - 1):.1f} % larger than square-on",
        [share * heights_nm],
        reading.points,
    )


def reference_flat(reading: PhaseReading, expanded_nm: NDArray | None) -> Cause:
    """The flat tested against: its stated uncertainty (c,) as power, astigmatism, coma and spherical error, or nothing where it is not told.

    Which shape its error has is not stated with it; these six share it so that the uncertainty of a point adds up to what is stated.
    """
    points = reading.points
    if expanded_nm is None:
        return _cause(REFERENCE, "not told: heights are those of the pair", [], points)
    shapes = face_polynomials(points.u_mm, points.v_mm, face=points.clear, order=4)
    chosen = (3, 4, 5, 6, 7, 10) if points.clear.shape is not Shape.RECTANGLE else (3, 4, 5, 6, 9, 12)
    modes = [expanded_nm / math.sqrt(len(chosen)) * shapes[j] for j in chosen]
    return _cause(REFERENCE, "stated with the reference", modes, points)


def no_repeat(reading: PhaseReading) -> Cause:
    """One photograph says nothing of repeatability; the line stands in the budget to say so."""
    return _cause("repeat", "one photograph: not known", [], reading.points)
