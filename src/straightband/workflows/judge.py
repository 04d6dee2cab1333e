"""Judge a map: whether a mirror is good enough for a telescope."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from straightband.errors import BadInput
from straightband.heightmap.map import HeightMap
from straightband.telescope.sizing import cut_of_cone, full_field_of
from straightband.telescope.telescope import Mounting, Telescope, WideEnd
from straightband.uncertainty import Budget, Term, budget_of
from straightband.verdict.alternatives import (
    Alternatives,
    expanded_spread,
    random_alternatives,
    smooth_alternatives,
)
from straightband.verdict.decision import Decision, all_of, decide_at_least
from straightband.verdict.field import PLACE_UNCERTAINTY_MM, FieldStrehl, axial_share_on, sight, strehl_at
from straightband.verdict.iso10110 import (
    FormCheck,
    FormQuantities,
    FormTolerance,
    compare,
    form_quantities,
    form_table,
    form_text,
    from_row,
    parse_tolerance,
)

__all__ = [
    "Decision",
    "FieldStrehl",
    "FormCheck",
    "FormQuantities",
    "Mounting",
    "Telescope",
    "Verdict",
    "WideEnd",
    "judge",
]  # The faces name these through the workflow.

BEAM_MISSES, BEAM_ON_THE_MARGIN = "beam-misses-the-face", "beam-on-the-margin"  # flags that decide
MOST_MISSING = 0.02  # share of a beam on unknown glass above which nothing is decided in the mirror's favour; our choice
_WORTH_A_WORD = 1e-3  # share of a beam below which light that misses the glass, or unknown glass, is not mentioned
_FEWEST_HEIGHTS = 100  # ten across: power and astigmatism and little else
_THINNED = 20_000  # points on which spreads of the form quantities are taken; values use every point


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What can be said of a mirror in a telescope.

    Attributes
    ----------
    decision
        On the Strehl at every field point and, when asked, on the ISO 10110-5 tolerance.
    strehl_wanted, wavelength_nm
        What was asked for, and in which light.
    strehl
        By field radius: on the axis, halfway and at the edge of the field.
    wavefront_rms_nm, wavefront_rms_uncertainty_nm
        Refocused wavefront of the star on the axis.
    margin, margin_uncertainty
        Least Strehl of the field less the Strehl wanted, and its expanded uncertainty (95 %).
    iso10110
        The measured form in one line, with its edition.
    form, form_uncertainty
        The quantities behind that line.
    form_checks
        Each quantity that a tolerance limits; empty when none was given.
    telescope, mounting
        As judged: with the field, the offset and the way round that were used.
    flags
        Short names of doubts, explained in `verdict.flags`.
    budget
        Behind `wavefront_rms_uncertainty_nm`.
    """

    decision: Decision
    strehl_wanted: float
    wavelength_nm: float
    strehl: tuple[FieldStrehl, ...]
    wavefront_rms_nm: float
    wavefront_rms_uncertainty_nm: float
    margin: float
    margin_uncertainty: float
    iso10110: str
    form: FormQuantities
    form_uncertainty: FormQuantities
    form_checks: tuple[FormCheck, ...]
    telescope: Telescope
    mounting: Mounting
    flags: tuple[str, ...]
    budget: Budget


def judge(
    height_map: HeightMap,
    *,
    telescope: Telescope,
    strehl_wanted: float = 0.95,
    iso: str | None = None,
    wavelength_nm: float = 550.0,
    mounting: Mounting | None = None,
    draws_nm: NDArray | None = None,
) -> Verdict:
    """Whether the mirror is good enough: Strehl over the field, wavefront, ISO 10110-5 and the decision.

    Parameters
    ----------
    height_map
        The mirror, looking at its face.
    telescope
        Where it is to work.
    strehl_wanted
        Least Strehl at every field point, 0 to 1.
    iso
        A tolerance such as `3/0.5(0.2)`, to be kept as well.
    wavelength_nm
        Of the light the Strehl is stated for.
    mounting
        Offset and which end goes toward the primary; left out: exact offset, and what the map's own mark (`meta["mark"]`) allows.
    draws_nm
        Random realisations [k, v, u] of the map, from which the uncertainties are taken; left out: the worst smooth figure of the
        size of the map's own uncertainty.
    """
    tolerance = None if iso is None else parse_tolerance(iso)
    _check(height_map, strehl_wanted=strehl_wanted, wavelength_nm=wavelength_nm)
    alternatives = smooth_alternatives(height_map) if draws_nm is None else random_alternatives(height_map, draws_nm=draws_nm)
    telescope, mounting = _settled(height_map, telescope=telescope, mounting=mounting or Mounting())
    seen = sight(height_map, alternatives=alternatives, telescope=telescope, mounting=mounting, wavelength_nm=wavelength_nm)
    strehl = tuple(strehl_at(seen, field_radius_mm=radius) for radius in _radii(telescope))
    form, form_uncertainty = _form(height_map, alternatives)
    checks = () if tolerance is None else compare(form, uncertainties=form_uncertainty, tolerance=tolerance)
    worst = min(strehl, key=lambda each: each.strehl)
    beam = _beam(strehl[0], on_face=axial_share_on(height_map.face, telescope=telescope, offset_mm=seen.offset_mm))
    return Verdict(
        decision=_decide(strehl, checks, strehl_wanted=strehl_wanted, beam=beam),
        strehl_wanted=strehl_wanted,
        wavelength_nm=wavelength_nm,
        strehl=strehl,
        wavefront_rms_nm=strehl[0].wavefront_rms_nm,
        wavefront_rms_uncertainty_nm=strehl[0].wavefront_rms_uncertainty_nm,
        margin=worst.strehl - strehl_wanted,
        margin_uncertainty=worst.uncertainty,
        iso10110=form_text(form, area=height_map.clear),
        form=form,
        form_uncertainty=form_uncertainty,
        form_checks=checks,
        telescope=telescope,
        mounting=mounting,
        flags=(*_flags(height_map, strehl, wide_end=mounting.wide_end, drawn=alternatives.drawn, tolerance=tolerance), *beam),
        budget=_budget(strehl[0], drawn=alternatives.drawn),
    )


def _check(height_map: HeightMap, *, strehl_wanted: float, wavelength_nm: float) -> None:
    if not 0.0 < strehl_wanted <= 1.0:
        raise BadInput(
            found=f"a Strehl of {strehl_wanted:.10g} is wanted",
            needed="a number above 0 and up to 1 is needed",
            remedy="write it like 0.95",
        )
    if not 200.0 <= wavelength_nm <= 20_000.0:
        raise BadInput(
            found=f"the Strehl is asked for at {wavelength_nm:g} nm",
            needed="a wavelength from 200 nm to 20000 nm is needed",
            remedy="use 550 nm, where the eye sees best",
        )
    if (count := np.count_nonzero(height_map.valid)) < _FEWEST_HEIGHTS:
        raise BadInput(
            found=f"the map has {count} heights inside the clear aperture",
            needed=f"at least {_FEWEST_HEIGHTS} are needed",
            remedy="read the photograph again on a finer grid",
        )


def _settled(height_map: HeightMap, *, telescope: Telescope, mounting: Mounting) -> tuple[Telescope, Mounting]:
    """The telescope and the mounting with what was left open decided by the mirror itself."""
    clear = height_map.clear
    field_mm = telescope.full_field_mm
    if field_mm is None:
        minor_mm = 2.0 * min(clear.semi_u_mm, clear.semi_v_mm / math.sqrt(2.0))
        field_mm = full_field_of(telescope, minor_axis_mm=minor_mm)
    offset_mm = mounting.offset_mm
    if offset_mm is None:
        offset_mm = cut_of_cone(telescope, full_field_mm=field_mm).offset_mm
    wide_end = mounting.wide_end or (WideEnd.EITHER if height_map.meta.get("mark") is None else WideEnd.PLUS_V)
    return replace(telescope, full_field_mm=field_mm), Mounting(offset_mm=offset_mm, wide_end=wide_end)


def _radii(telescope: Telescope) -> tuple[float, ...]:
    field_mm = telescope.full_field_mm or 0.0
    return (0.0, field_mm / 4.0, field_mm / 2.0) if field_mm > 0.0 else (0.0,)


def _form(height_map: HeightMap, alternatives: Alternatives) -> tuple[FormQuantities, FormQuantities]:
    """The form quantities, and their expanded uncertainties (95 %) on a thinned set of the same points."""
    u, v, h = height_map.points()
    rows, cols = np.nonzero(height_map.valid)
    step = 1 + h.size // _THINNED
    u_few, v_few, few = u[::step], v[::step], (rows[::step], cols[::step])
    measured = form_table(h[None, ::step], u_mm=u_few, v_mm=v_few, area=height_map.clear)[0]
    tried = form_table(alternatives.heights_nm[:, *few], u_mm=u_few, v_mm=v_few, area=height_map.clear)
    spread = expanded_spread(measured, tried, drawn=alternatives.drawn)
    return form_quantities(h, u_mm=u, v_mm=v, area=height_map.clear), from_row(spread)


def _beam(on_axis: FieldStrehl, *, on_face: float) -> tuple[str, ...]:
    """The doubt about a beam that the clear aperture does not catch whole, on the axis, where a mirror must; off it a little is usually lost."""
    if on_axis.lit_fraction >= 1.0 - _WORTH_A_WORD:
        return ()
    return (BEAM_ON_THE_MARGIN if on_face >= 1.0 - _WORTH_A_WORD else BEAM_MISSES,)


def _decide(strehl: tuple[FieldStrehl, ...], checks: tuple[FormCheck, ...], *, strehl_wanted: float, beam: tuple[str, ...]) -> Decision:
    decisions = [decide_at_least(each.strehl, limit=strehl_wanted, uncertainty=each.uncertainty) for each in strehl]
    decisions += [check.decision for check in checks]
    # A mirror that a good part of the light passes by is no good for that telescope, however flat it is; of its margin nobody knows.
    decisions += [Decision.FAILS if flag == BEAM_MISSES else Decision.CANNOT_TELL for flag in beam]
    if max(each.missing_fraction for each in strehl) > MOST_MISSING:
        decisions.append(Decision.CANNOT_TELL)
    return all_of(decisions)


def _flags(
    height_map: HeightMap,
    strehl: tuple[FieldStrehl, ...],
    *,
    wide_end: WideEnd | None,
    drawn: bool,
    tolerance: FormTolerance | None,
) -> tuple[str, ...]:
    raised = {
        "vignetted": min(each.lit_fraction for each in strehl) < 1.0 - _WORTH_A_WORD,
        "heights-missing": max(each.missing_fraction for each in strehl) > _WORTH_A_WORD,
        "sign-unknown": height_map.meta.get("sign") == "unknown",
        "either-way-round": wide_end is WideEnd.EITHER,
        "uncertainty-smooth": not drawn,
        "uncertainty-unknown": not all(math.isfinite(each.uncertainty) for each in strehl),
        "fringe-wavelength-assumed": tolerance is not None and tolerance.wavelength_assumed,
    }
    return tuple(name for name, is_so in raised.items() if is_so)


def _budget(on_axis: FieldStrehl, *, drawn: bool) -> Budget:
    origin = "random realisations of the map" if drawn else "the map's own uncertainty, all of it as one smooth figure"
    return budget_of(
        [
            Term(name="height map", nm=on_axis.map_uncertainty_nm, origin=origin),
            Term(
                name="place of the mirror",
                nm=on_axis.place_uncertainty_nm,
                origin=f"mirror {PLACE_UNCERTAINTY_MM:g} mm off its place along either axis, common practice",
            ),
        ]
    )
