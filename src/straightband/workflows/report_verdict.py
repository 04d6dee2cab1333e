"""A verdict in names for programs and in sentences for people."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import asdict
from typing import Any

from straightband.heightmap.map import HeightMap
from straightband.report.wording import strehl_rows, verdict_sentence
from straightband.uncertainty import round_with_uncertainty
from straightband.verdict.decision import Decision, guard_band
from straightband.verdict.flags import MEANINGS
from straightband.verdict.iso10110 import NAMES as FORM_NAMES
from straightband.workflows import flags
from straightband.workflows.judge import BEAM_MISSES, BEAM_ON_THE_MARGIN, FieldStrehl, FormCheck, Verdict

IN_WORDS = {
    Decision.MEETS: "The mirror meets what was asked of it.",
    Decision.FAILS: "The mirror fails what was asked of it.",
    Decision.CANNOT_TELL: "It cannot be told yet whether the mirror is good enough.",
}
MOST_FLAGS, LONGEST_FLAG = 20, 60  # of a file that another hand may have written


def explain(flag: str) -> str:
    """The sentence for a flag of a verdict or of a reading."""
    return MEANINGS.get(flag) or flags.explain(flag)


def all_flags(verdict: Verdict, height_map: HeightMap) -> tuple[str, ...]:
    """The doubts of the verdict and those the map carries from its reading, each once."""
    carried = height_map.meta.get("flags")
    from_map = [flag[:LONGEST_FLAG] for flag in carried[:MOST_FLAGS] if isinstance(flag, str)] if isinstance(carried, list) else []
    return tuple(dict.fromkeys((*verdict.flags, *from_map)))


def verdict_facts(verdict: Verdict, height_map: HeightMap) -> dict[str, Any]:
    """The verdict under the names of the contract, as plain JSON values."""
    telescope = verdict.telescope
    return {
        "decision": str(verdict.decision),
        "strehl_wanted": verdict.strehl_wanted,
        "light_judged_nm": verdict.wavelength_nm,
        "strehl": [asdict(at) for at in verdict.strehl],
        "margin": verdict.margin,
        "margin_uncertainty": verdict.margin_uncertainty,
        "guard_band": guard_band(verdict.margin_uncertainty),
        "wavefront_rms_nm": verdict.wavefront_rms_nm,
        "wavefront_rms_uncertainty_nm": verdict.wavefront_rms_uncertainty_nm,
        "iso10110": verdict.iso10110,
        "iso10110_checks": [{**asdict(check), "decision": str(check.decision)} for check in verdict.form_checks],
        "form": {
            name: {"nm": getattr(verdict.form, field), "uncertainty_nm": getattr(verdict.form_uncertainty, field)}
            for field, name in FORM_NAMES.items()
        },
        "telescope": {
            "aperture_mm": telescope.aperture_mm,
            "focal_length_mm": telescope.focal_length_mm,
            "intercept_mm": telescope.intercept_mm,
            "full_field_mm": telescope.full_field_mm,
            "offset_mm": verdict.mounting.offset_mm,
            "wide_end": str(verdict.mounting.wide_end),
        },
        "flags": list(all_flags(verdict, height_map)),
        "budget": [{"term": term.name, "nm": term.nm, "origin": term.origin} for term in verdict.budget.terms],
    }


def verdict_lines(verdict: Verdict, height_map: HeightMap) -> tuple[str, ...]:
    """The verdict as a person at the bench wants it: the decision first."""
    telescope, mounting = verdict.telescope, verdict.mounting
    wave = round_with_uncertainty(verdict.wavefront_rms_nm, verdict.wavefront_rms_uncertainty_nm, unit="nm")
    return (
        f"{str(verdict.decision).upper()}. {IN_WORDS[verdict.decision]}",
        least_sentence(verdict),
        *beam_sentences(verdict.strehl, flags=verdict.flags),
        (
            f"Telescope {telescope.aperture_mm:g} mm, f/{telescope.focal_length_mm / telescope.aperture_mm:.3g}, intercept "
            f"{telescope.intercept_mm:g} mm, {field_words(verdict)}; mirror {mounting.offset_mm:.2f} mm off the axis."
        ),
        "Strehl ratio by distance from the middle of the field (95 %):",
        *(f"  {place:>10}  {strehl}" for place, strehl in strehl_rows(verdict.strehl)),
        f"Wavefront of the star on the axis, refocused: {wave} RMS",
        *(f"  doubt from the {term.name}: {_size(term.nm)} ({term.origin})" for term in verdict.budget.terms),
        f"Form: {verdict.iso10110}",
        *(_check_line(check) for check in verdict.form_checks),
        *(f"Note: {explain(flag)}" for flag in all_flags(verdict, height_map) if flag not in (BEAM_MISSES, BEAM_ON_THE_MARGIN)),
    )


def least_sentence(verdict: Verdict) -> str:
    """What was asked, what the worst star gets, and how the guard band decides."""
    least = min(verdict.strehl, key=lambda at: at.strehl)
    return verdict_sentence(least, strehl_wanted=verdict.strehl_wanted, wavelength_nm=verdict.wavelength_nm, decision=verdict.decision)


def beam_sentences(strehl: tuple[FieldStrehl, ...], *, flags: Iterable[str]) -> tuple[str, ...]:
    """Why a mirror that does not catch the whole beam of a star on the axis can't be said to meet anything; nothing where it does."""
    caught = f"The clear aperture catches {100.0 * strehl[0].lit_fraction:.3g} % of the light of a star on the axis"
    said = {
        BEAM_MISSES: f"{caught}, and part of it misses the mirror: it is too small for this telescope, or stands wrong. Check aperture, intercept and offset.",
        BEAM_ON_THE_MARGIN: f"{caught}; the rest falls on the margin left to the bevel, where no height is judged. Where the bevel is narrower, read the photograph again with its width.",
    }
    return tuple(said[flag] for flag in flags if flag in said)


def field_words(verdict: Verdict) -> str:
    """The field that was judged, and whether the mirror lights it."""
    edge = verdict.strehl[-1]
    if not edge.field_radius_mm:
        return "judged on the axis only"
    across = f"{2.0 * edge.field_radius_mm:.3g} mm across"
    if "vignetted" not in verdict.flags:
        return f"fully lit field {across}"
    return f"field {across}, not fully lit: {100.0 * edge.lit_fraction:.3g} % of the light of a star at its edge is caught"


def _size(nm: float) -> str:
    return f"{nm:.2g} nm" if math.isfinite(nm) else "not known"


def _check_line(check: FormCheck) -> str:
    value = round_with_uncertainty(check.value_nm, check.uncertainty_nm, unit="nm")
    return f"  {check.name}: {value}, {check.limit_nm:.3g} nm allowed: {check.decision}"
