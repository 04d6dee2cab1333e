"""The drawing that goes with an order."""

from __future__ import annotations

from straightband.plots.tube import TubeScene, tube_png
from straightband.plots.tube_sketch import tube_sketch
from straightband.quantities import MM_PER_UNIT
from straightband.workflows.order import TUBE_OVER_APERTURE, Order


def order_drawing(order: Order, *, units: str = "mm") -> bytes:
    """Tube, cone of light and diagonal to scale, as PNG; the diagonal as wide as the glass, bevel included."""
    telescope = order.request.telescope
    ratio = telescope.focal_length_mm / telescope.aperture_mm
    title = f"Diagonal of a {telescope.aperture_mm / MM_PER_UNIT[units]:.4g} {units} f/{ratio:.3g}"
    return tube_png(_scene(order, units=units), title=title)


def order_sketch(order: Order, *, units: str = "mm") -> str:
    """The same for the screen, as SVG text, without the close-up."""
    return tube_sketch(_scene(order, units=units))


def _scene(order: Order, *, units: str) -> TubeScene:
    request, telescope = order.request, order.request.telescope
    return TubeScene(
        telescope=telescope,
        minor_mm=order.glass_minor_mm,
        thickness_mm=order.support.thickness_mm,
        offset_mm=order.mirror.offset_mm,
        field_mm=telescope.full_field_mm or 0.0,
        tube_mm=request.tube_mm or TUBE_OVER_APERTURE * telescope.aperture_mm,
        tube_assumed=request.tube_mm is None,
        units=units,
    )
