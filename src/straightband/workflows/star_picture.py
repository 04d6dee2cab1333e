"""What stars look like behind a mirror that was judged, by their place in the field."""

from __future__ import annotations

import math
from typing import Any

from straightband.heightmap.map import HeightMap
from straightband.plots.stars import Star, stars_png
from straightband.plots.style import round_step
from straightband.shop.entries import ReadingEntry, VerdictEntry
from straightband.shop.folder import Shop
from straightband.telescope.telescope import Mounting, Telescope, WideEnd
from straightband.verdict.star import REACH, star_image
from straightband.workflows.shop_readings import reading_map

ARCSEC_PER_RAD = math.degrees(1.0) * 3600.0


def star_picture(height_map: HeightMap, found: dict[str, Any]) -> bytes:
    """The stars of a verdict in the record, each in the direction that was worst, as PNG; where either way round was judged, +v is shown."""
    told = found["telescope"]
    telescope = Telescope(
        aperture_mm=told["aperture_mm"],
        focal_length_mm=told["focal_length_mm"],
        intercept_mm=told["intercept_mm"],
        full_field_mm=told["full_field_mm"],
    )
    way = WideEnd.MINUS_V if told["wide_end"] == WideEnd.MINUS_V else WideEnd.PLUS_V
    mounting = Mounting(offset_mm=told["offset_mm"], wide_end=way)
    stars = []
    for at in found["strehl"]:
        image = star_image(
            height_map,
            telescope=telescope,
            mounting=mounting,
            wavelength_nm=found["light_judged_nm"],
            field_radius_mm=at["field_radius_mm"],
            azimuth_deg=at["azimuth_deg"],
        )
        label = f"{at['field_radius_mm']:.3g} mm from the middle"
        stars.append(Star(intensity=image.intensity, reach=REACH, label=label))
    # Wavelength x focal ratio in the image is wavelength over aperture in the sky.
    unit_arcsec = found["light_judged_nm"] * 1e-6 / telescope.aperture_mm * ARCSEC_PER_RAD
    step = round_step(REACH * unit_arcsec, most=2)
    return stars_png(tuple(stars), bar=step / unit_arcsec, bar_label=f"{step:g}″ in the sky")


def star_picture_of(shop: Shop, verdict: VerdictEntry) -> bytes:
    """That picture for a verdict of the record, kept for the next time it is looked at."""

    def drawn() -> bytes:
        with shop.record() as record:
            reading = record.get(ReadingEntry, verdict.reading_id)
        return star_picture(reading_map(shop, reading), verdict.found)

    return shop.view(f"stars-{verdict.id}.png", make=drawn)
