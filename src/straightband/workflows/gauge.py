"""Gauge a face with a spherometer: its sag, how sure, and which plate goes on top next."""

from __future__ import annotations

import math
from dataclasses import dataclass

from straightband.errors import BadInput
from straightband.face.shapes import Face
from straightband.gauges.sag import Readings, Sag, sag_from
from straightband.gauges.spherometer import Feet, Spherometer, sphere_radius_mm, stands_on, whole_face_factor
from straightband.gauges.trend import Trend, trend_of
from straightband.light.bands import height_per_band_nm
from straightband.light.lines import Lamp
from straightband.workflows.gauge_text import Earlier

DEEPEST_SHARE = 0.1  # of the circle's radius: a sphere of five times that radius, which nobody grinds toward a flat

MANY_STEPS = 5.0  # of the dial, beyond which the doubt from scatter is worth a word; our choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Gauging:
    """What a spherometer says of a face.

    Attributes
    ----------
    gauge, face, lamp
        With what, on what, and in whose bands it is told.
    sag
        Within the feet.
    circle_mm
        Radius of the circle that the face touched.
    form
        `convex`, `concave` or `flat within uncertainty`.
    radius_mm, radius_at_least_mm
        Of the sphere, and what it is at least when the uncertainty adds to the sag; infinite for none.
    edge_sag_um, edge_uncertainty_um
        Over the whole face, from its middle to the end of its longer half axis, were it a sphere all the way.
    bands, bands_uncertainty
        The same in bands.
    next_on
        `top`, `bottom` or `either`: the plate on top goes concave, the one below convex.
    trend
        Since the last of the earlier sags, or None.
    earlier
        Sags after earlier abrasives.
    flags
        Short names of doubts.
    """

    gauge: Spherometer
    face: Face
    lamp: Lamp
    sag: Sag
    circle_mm: float
    form: str
    radius_mm: float
    radius_at_least_mm: float
    edge_sag_um: float
    edge_uncertainty_um: float
    bands: float
    bands_uncertainty: float
    next_on: str
    trend: Trend | None
    earlier: tuple[Earlier, ...]
    flags: tuple[str, ...]


def gauge_face(readings: Readings, *, gauge: Spherometer, face: Face, lamp: Lamp, earlier: tuple[Earlier, ...] = ()) -> Gauging:
    """The sag of the face with its uncertainty; raises BadInput where gauge, face and readings cannot belong together."""
    _check_room(gauge, face)
    sag = sag_from(readings)
    convex = sag.sag_um > 0.0
    circle = gauge.circle_mm(convex=convex)
    _check_depth(sag, circle_mm=circle)
    factor = whole_face_factor(circle_mm=circle, semi_mm=face.semi_major_mm)
    band_um = height_per_band_nm(wavelength_nm=lamp.wavelength_nm) / 1000.0
    told = abs(sag.sag_um) > sag.uncertainty_um
    most_mm = math.copysign((abs(sag.sag_um) + sag.uncertainty_um) / 1000.0, sag.sag_um)
    trend = trend_of(earlier[-1].sag_um, sag.sag_um, uncertainty_um=sag.uncertainty_um) if earlier else None
    return Gauging(
        gauge=gauge,
        face=face,
        lamp=lamp,
        sag=sag,
        circle_mm=circle,
        form="flat within uncertainty" if not told else "convex" if convex else "concave",
        radius_mm=sphere_radius_mm(sag.sag_um / 1000.0, circle_mm=circle, ball_mm=gauge.ball_mm),
        radius_at_least_mm=sphere_radius_mm(most_mm, circle_mm=circle, ball_mm=gauge.ball_mm),
        edge_sag_um=factor * sag.sag_um,
        edge_uncertainty_um=factor * sag.uncertainty_um,
        bands=factor * sag.sag_um / band_um,
        bands_uncertainty=factor * sag.uncertainty_um / band_um,
        next_on="either" if not told else "top" if convex else "bottom",
        trend=trend,
        earlier=earlier,
        flags=_flags(gauge, sag, readings=readings, told=told, trend=trend),
    )


def _check_room(gauge: Spherometer, face: Face) -> None:
    if not stands_on(gauge, face):
        raise BadInput(
            found=f"the feet stand on a circle {2.0 * gauge.outer_mm:.4g} mm across",
            needed=f"it must find room on a face of {2.0 * face.semi_u_mm:.4g} mm x {2.0 * face.semi_v_mm:.4g} mm",
            remedy="check both sizes with their units, or take a smaller gauge",
        )


def _check_depth(sag: Sag, *, circle_mm: float) -> None:
    if abs(sag.sag_um) > 1000.0 * DEEPEST_SHARE * circle_mm:
        raise BadInput(
            found=f"reading and zero are {abs(sag.sag_um) / 1000.0:.4g} mm apart within feet {2.0 * circle_mm:.4g} mm across",
            needed=f"less than {DEEPEST_SHARE * circle_mm:.2g} mm is what a face on its way to flat has",
            remedy="check the units of reading and zero",
        )


def _flags(gauge: Spherometer, sag: Sag, *, readings: Readings, told: bool, trend: Trend | None) -> tuple[str, ...]:
    three = gauge.feet is Feet.THREE
    raised = {
        "gauge-ends-here": not told,
        "astigmatism-not-seen": three,
        "ring-rides-on-high-places": not three,
        "three-lobed": bool(readings.turned_um) and abs(sag.three_lobed_um) > sag.three_lobed_uncertainty_um,
        "zero-drifted": abs(sag.drift_um) > sag.drift_uncertainty_um,
        "not-repeated": not sag.repeated,
        "readings-scatter": sag.repeated and sag.repeat_um > MANY_STEPS * readings.step_um,
        "reference-taken-as-flat": readings.reference_uncertainty_um <= 0.0,
        "away-from-flat": trend is Trend.AWAY,
    }
    return tuple(name for name, is_so in raised.items() if is_so)
