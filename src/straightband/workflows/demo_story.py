"""The demonstration in words."""

from __future__ import annotations

import math
from dataclasses import dataclass

from straightband.heightmap.figures import Figures
from straightband.telescope.sizing import Cut
from straightband.uncertainty import round_with_uncertainty
from straightband.workflows.demo_rings import LABEL_RADIUS_M, Rings
from straightband.workflows.demo_scene import FLAT_UNCERTAINTY_NM
from straightband.workflows.judge import Verdict
from straightband.workflows.read import Reading
from straightband.workflows.report_reading import LABELS
from straightband.workflows.report_verdict import IN_WORDS, least_sentence

_COMPARED = ("pv_nm", "rms_nm", "power_nm", "astigmatism_nm", "irregularity_rms_nm", "edge_nm")


@dataclass(frozen=True, slots=True, kw_only=True)
class Chapter:
    """One photograph of the piece.

    Attributes
    ----------
    stem
        "before" or "after", as its files are called.
    reading, verdict
        What came of it.
    truth
        Figures of the surface it was rendered from.
    """

    stem: str
    reading: Reading
    verdict: Verdict
    truth: Figures


def story(
    chapters: list[Chapter], *, minor_mm: float, cut: Cut, between: tuple[tuple[str, ...], ...], rings: tuple[Rings, ...]
) -> tuple[str, ...]:
    """The lines of the story; `between` are those of the blanks, the back and the lap."""
    before, after = chapters
    blanks, back, lap = between
    return (
        *_order(before.verdict, minor_mm=minor_mm, cut=cut),
        "",
        *blanks,
        "",
        *back,
        "",
        "4  Before figuring (before.jpg, before-bands.png, before-map.png)",
        *_measured(before),
        "",
        *lap,
        "",
        "6  After figuring (after.jpg, after-bands.png, after-map.png, certificate.pdf)",
        *_measured(after),
        "",
        *_real(rings),
    )


def _order(verdict: Verdict, *, minor_mm: float, cut: Cut) -> tuple[str, ...]:
    telescope = verdict.telescope
    return (
        "An invented shop and order. The photographs of the mirror are rendered, so its true shape is known; those of rings are real.",
        "",
        "1  The order",
        (
            f"   A {telescope.aperture_mm:g} mm f/{telescope.focal_length_mm / telescope.aperture_mm:g} reflecting telescope, its diagonal "
            f"{telescope.intercept_mm:g} mm before the focus, {telescope.full_field_mm:g} mm of field fully lit, Strehl ratio at least "
            f"{verdict.strehl_wanted:g}."
        ),
        (
            f"   The cone of light cuts an ellipse of {cut.cut_minor_mm:.2f} × {cut.cut_major_mm:.2f} mm, {cut.offset_mm:.2f} mm off the axis. "
            f"With its bevel the mirror gets a minor axis of {minor_mm:g} mm."
        ),
    )


def _measured(chapter: Chapter) -> tuple[str, ...]:
    reading = chapter.reading
    return (
        f"   {reading.bands_across:.1f} bands across; the shop's flat (known to {FLAT_UNCERTAINTY_NM:g} nm) is taken off.",
        f"   {'':<17} {'read, 95 %':>18} {'truth':>10}",
        *(_row(chapter, name) for name in _COMPARED),
        f"   {str(chapter.verdict.decision).upper()}. {IN_WORDS[chapter.verdict.decision]}",
        f"   {least_sentence(chapter.verdict)}",
    )


def _row(chapter: Chapter, name: str) -> str:
    value, doubt = getattr(chapter.reading.figures, name), chapter.reading.budget.expanded_nm[name]
    return f"   {LABELS[name]:<17} {round_with_uncertainty(value, doubt, unit='nm'):>18} {getattr(chapter.truth, name):>7.1f} nm"


def _real(rings: tuple[Rings, ...]) -> tuple[str, ...]:
    bands = [one.bands for one in rings]
    apart = 100.0 * abs(bands[0] - bands[1]) / bands[0]
    return (
        "7  Two real photographs of rings (rings-1-bands.png, rings-2-bands.png, rings-1-map.png)",
        "   A lens on a flat through a measuring microscope, sodium light, cross-hair and dust left in; found and read unaided.",
        *(
            f"   {one.name}: {round_with_uncertainty(one.bands, one.bands_uncertainty, unit='bands')} from the middle to the rim of the clear aperture"
            for one in rings
        ),
        (
            f"   It is the same lens twice: the two agree within {math.ceil(apart)} %. There is no scale in the pictures; if the lens has the {LABEL_RADIUS_M:g} m radius "
            f"of its label, the clear aperture is {2.0 * rings[0].field_radius_mm:.2f} mm across."
        ),
    )
