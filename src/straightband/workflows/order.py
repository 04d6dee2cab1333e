"""Take an order: from a telescope's dimensions to the size, place, thickness, tolerance and price of its diagonal."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from straightband.errors import BadInput
from straightband.glass import edge_carried_sag_nm, three_point_rms_nm
from straightband.light.bands import height_per_band_nm
from straightband.telescope.lit import Lit, lit_by_counting
from straightband.telescope.sizing import (
    Cut,
    classical_minor_mm,
    classical_offset_mm,
    cut_of_cone,
    full_field_of,
    illumination,
    loss_mag,
    obstruction_of,
)
from straightband.telescope.telescope import Telescope, with_rim_as_stop
from straightband.workflows.order_quote import Quote, quote
from straightband.workflows.order_request import OrderRequest, order_from_text
from straightband.workflows.order_tolerance import FaceTolerance, face_tolerance

__all__ = ["Order", "OrderRequest", "order_from_text", "take_order"]  # The faces name these through the workflow.

GLASS_STEP_MM = 0.5  # blanks are sawn and edged to half a millimetre; common practice, no source
THICKNESS_SHARE = 1.0 / 7.0  # of the major axis; common practice, no source
SAG_SHARE = 0.25  # of the irregularity allowed, that the mirror's own weight may take on three points: 6 % of its square; our choice
WIDE_SHADOW = 0.3  # of the aperture: a tenth of a magnitude, and contrast suffers; common practice, no source
TUBE_OVER_APERTURE = 1.15  # inner diameter of a tube that is not told; common practice, no source
FIELD_RADIUS_MM = 22.0  # to which illumination is told at least: the corner of a 24 x 36 mm picture
MOST_RADII = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Mirror:
    """One size of diagonal in the telescope.

    Attributes
    ----------
    minor_mm, major_mm
        Axes of a 1 : sqrt(2) face.
    offset_mm
        Of its centre off the axis, each of: away from the focuser, toward the primary.
    full_field_mm
        Diameter of the field it lights fully; 0 where it does not even light the axis.
    full_field_inside_bevel_mm
        The same for the face less its bevel.
    obstruction
        Its width over the aperture.
    edge_loss_mag
        Lost at the edge of the field asked for, in the worst direction.
    """

    minor_mm: float
    major_mm: float
    offset_mm: float
    full_field_mm: float
    full_field_inside_bevel_mm: float
    obstruction: float
    edge_loss_mag: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """What stars at one distance from the middle of the field get.

    Attributes
    ----------
    field_radius_mm
        That distance.
    lit
        By counting rays.
    paraxial
        Share by the area two circles share.
    """

    field_radius_mm: float
    lit: Lit
    paraxial: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Support:
    """Thickness of the mirror and how far it sags when it lies level, as a round plate as wide as its major axis would.

    Attributes
    ----------
    thickness_mm
        Asked for or suggested.
    edge_sag_nm
        Of the middle, carried all round the rim as in a test box.
    three_points_rms_nm
        On three points at 0.645 of its radius.
    """

    thickness_mm: float
    edge_sag_nm: float
    three_points_rms_nm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """Everything told of an order.

    Attributes
    ----------
    request
        As asked, its telescope with the field that was used.
    cut
        The ellipse in which the diagonal cuts the light of that field.
    rim_minor_mm
        Minor axis needed when the rim of the primary, which stands above its middle, is taken for the stop.
    classical_minor_mm, classical_offset_mm
        By the handbook.
    mirror
        What obstruction and illumination are told of: the size asked for, the one chosen from those at hand, or exactly the size needed.
    choice
        `asked`, `at hand` or `to make`.
    sizes
        Each size at hand that the telescope can use at all.
    glass_minor_mm
        Of the piece of glass, bevel included.
    illumination
        By field radius.
    tolerance, band_nm
        Of the face over its clear aperture; height of a band of the test's lamp.
    support
        Thickness and sag.
    quote
        Its price.
    flags
        Short names of doubts.
    """

    request: OrderRequest
    cut: Cut
    rim_minor_mm: float
    classical_minor_mm: float
    classical_offset_mm: float
    mirror: Mirror
    choice: str
    sizes: tuple[Mirror, ...]
    glass_minor_mm: float
    illumination: tuple[Light, ...]
    tolerance: FaceTolerance
    band_nm: float
    support: Support
    quote: Quote
    flags: tuple[str, ...]


def take_order(request: OrderRequest) -> Order:
    """Size, place, tolerance, thickness and price of the diagonal; raises BadInput where no diagonal can do it."""
    telescope, field_asked = _with_field(request), request.telescope.full_field_mm is not None
    request = replace(request, telescope=telescope)
    field_mm = telescope.full_field_mm or 0.0
    cut = cut_of_cone(telescope, full_field_mm=field_mm)
    _check_possible(telescope, cut)
    rim_minor = cut_of_cone(with_rim_as_stop(telescope), full_field_mm=field_mm).minor_axis_mm
    sizes = tuple(_mirror(request, minor) for minor in request.have_mm if minor < _widest_mm(telescope))
    choice, mirror = _choose(request, sizes, needed_mm=cut.minor_axis_mm, rim_mm=rim_minor)
    glass_minor = mirror.minor_mm if choice != "to make" else _stepped_up(rim_minor / (1.0 - request.margin))
    tolerance = face_tolerance(
        telescope,
        clear_semi_major_mm=glass_minor / math.sqrt(2.0) * (1.0 - request.margin),
        offset_mm=mirror.offset_mm,
        strehl_wanted=request.strehl_wanted,
        wavelength_nm=request.wavelength_nm,
    )
    support = _support(request, major_mm=glass_minor * math.sqrt(2.0), tolerance=tolerance)
    return Order(
        request=request,
        cut=cut,
        rim_minor_mm=rim_minor,
        classical_minor_mm=classical_minor_mm(telescope, full_field_mm=field_mm),
        classical_offset_mm=classical_offset_mm(telescope, full_field_mm=field_mm),
        mirror=mirror,
        choice=choice,
        sizes=sizes,
        glass_minor_mm=glass_minor,
        illumination=tuple(_light(telescope, mirror, radius) for radius in _radii(field_mm)),
        tolerance=tolerance,
        band_nm=height_per_band_nm(wavelength_nm=request.lamp.wavelength_nm),
        support=support,
        quote=quote(request.prices, minor_mm=glass_minor, thickness_mm=support.thickness_mm, glass=request.glass),
        flags=_flags(request, mirror, choice=choice, rim_mm=rim_minor if field_asked else 0.0),
    )


def _with_field(request: OrderRequest) -> Telescope:
    """The telescope with the field asked for, or with what the mirror asked for lights."""
    telescope = request.telescope
    if telescope.full_field_mm is not None or request.minor_mm is None:
        return telescope
    return replace(telescope, full_field_mm=full_field_of(telescope, minor_axis_mm=request.minor_mm))


def _check_possible(telescope: Telescope, cut: Cut) -> None:
    if cut.minor_axis_mm >= _widest_mm(telescope):
        raise BadInput(
            found=f"the diagonal would have to be {cut.minor_axis_mm:.4g} mm wide",
            needed=f"it must be narrower than the aperture ({telescope.aperture_mm:g} mm) and than twice the intercept ({telescope.intercept_mm:g} mm)",
            remedy="check the intercept and the full field, with their units",
        )


def _widest_mm(telescope: Telescope) -> float:
    """Minor axis at which a diagonal shades the whole aperture or reaches to the focus."""
    return min(telescope.aperture_mm, 2.0 * telescope.intercept_mm)


def _mirror(request: OrderRequest, minor_mm: float) -> Mirror:
    telescope = request.telescope
    lit_mm = full_field_of(telescope, minor_axis_mm=minor_mm)
    offset = cut_of_cone(telescope, full_field_mm=lit_mm).offset_mm
    edge = lit_by_counting(telescope, minor_axis_mm=minor_mm, offset_mm=offset, field_radius_mm=(telescope.full_field_mm or 0.0) / 2.0)
    return Mirror(
        minor_mm=minor_mm,
        major_mm=minor_mm * math.sqrt(2.0),
        offset_mm=offset,
        full_field_mm=lit_mm,
        full_field_inside_bevel_mm=full_field_of(telescope, minor_axis_mm=minor_mm * (1.0 - request.margin)),
        obstruction=obstruction_of(telescope, minor_axis_mm=minor_mm),
        edge_loss_mag=max(0.0, loss_mag(edge.least)),
    )


def _choose(request: OrderRequest, sizes: tuple[Mirror, ...], *, needed_mm: float, rim_mm: float) -> tuple[str, Mirror]:
    """The smallest that covers the light inside its bevel, else the smallest that covers it at all, else one to make."""
    if request.minor_mm is not None:
        return "asked", _mirror(request, request.minor_mm)
    for least_mm in (rim_mm / (1.0 - request.margin), needed_mm):
        for size in sizes:
            if size.minor_mm >= least_mm:
                return "at hand", size
    return "to make", _mirror(request, needed_mm)


def _stepped_up(length_mm: float) -> float:
    return math.ceil(length_mm / GLASS_STEP_MM - 1e-9) * GLASS_STEP_MM


def _radii(field_mm: float) -> tuple[float, ...]:
    """Distances from the middle: every millimetre, or every second, fifth, ..., and the edge of the field."""
    reach = max(FIELD_RADIUS_MM, 1.5 * field_mm / 2.0)
    step = next(step for step in (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0) if reach / step <= MOST_RADII)
    return tuple(sorted({*(step * n for n in range(math.ceil(reach / step) + 1)), field_mm / 2.0}))


def _light(telescope: Telescope, mirror: Mirror, radius_mm: float) -> Light:
    return Light(
        field_radius_mm=radius_mm,
        lit=lit_by_counting(telescope, minor_axis_mm=mirror.minor_mm, offset_mm=mirror.offset_mm, field_radius_mm=radius_mm),
        paraxial=illumination(telescope, minor_axis_mm=mirror.minor_mm, field_radius_mm=radius_mm),
    )


def _support(request: OrderRequest, *, major_mm: float, tolerance: FaceTolerance) -> Support:
    """The thickness asked for, or the usual share of the major axis, thicker where the mirror would sag too much on three points."""
    thickness = request.thickness_mm
    if thickness is None:
        thickness = float(math.ceil(THICKNESS_SHARE * major_mm))
        sag = three_point_rms_nm(request.glass, diameter_mm=major_mm, thickness_mm=thickness)
        allowed = SAG_SHARE * tolerance.irregularity_rms_nm
        if sag > allowed:
            thickness = float(math.ceil(thickness * math.sqrt(sag / allowed)))  # sag goes as one over the thickness squared
    size = dict(diameter_mm=major_mm, thickness_mm=thickness)
    return Support(
        thickness_mm=thickness,
        edge_sag_nm=edge_carried_sag_nm(request.glass, **size),
        three_points_rms_nm=three_point_rms_nm(request.glass, **size),
    )


def _flags(request: OrderRequest, mirror: Mirror, *, choice: str, rim_mm: float) -> tuple[str, ...]:
    telescope = request.telescope
    field_mm = telescope.full_field_mm or 0.0
    tube_mm = request.tube_mm or telescope.aperture_mm
    axis = lit_by_counting(telescope, minor_axis_mm=mirror.minor_mm, offset_mm=mirror.offset_mm, field_radius_mm=0.0)
    clear_mm = mirror.minor_mm * (1.0 - request.margin)
    raised = {
        "axis-not-fully-lit": axis.least < 1.0 - 1e-6,
        "field-not-fully-lit": mirror.full_field_mm < field_mm - 1e-6,
        # Nothing to say (rim_mm 0) where the field is simply what the glass lights.
        "bevel-in-the-light": choice != "to make" and mirror.full_field_mm >= field_mm - 1e-6 and clear_mm < rim_mm - 1e-6,
        "none-at-hand-is-enough": choice == "to make" and bool(request.have_mm),
        "focus-inside-the-tube": telescope.intercept_mm <= tube_mm / 2.0,
        "wide-shadow": mirror.obstruction > WIDE_SHADOW,
        "prices-are-not-the-shops-own": len(request.prices.own) < len(request.prices.values),
    }
    return tuple(name for name, is_so in raised.items() if is_so)
