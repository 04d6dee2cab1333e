"""Certify a piece: read its photographs, judge the map, and set the paper that goes with the mirror."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from straightband import provenance
from straightband.face.shapes import Face, Shape
from straightband.fringes.rest import HEAT, WEIGHT
from straightband.heightmap.figures import Figures
from straightband.heightmap.map import HeightMap
from straightband.light.bands import height_per_band_nm
from straightband.report.certificate import CAUTIONS, CertificateContent, certificate_pdf
from straightband.report.wording import number_rows, strehl_rows
from straightband.uncertainty import round_with_uncertainty
from straightband.workflows.doubts import draws_of
from straightband.workflows.films import is_film
from straightband.workflows.judge import BEAM_MISSES, BEAM_ON_THE_MARGIN, Verdict, judge
from straightband.workflows.minus import PAIR, UNFIT_SIDE
from straightband.workflows.pictures import budget_of_figure, map_picture, overlay_picture
from straightband.workflows.piece import Piece
from straightband.workflows.read import Reading, tell_nobody
from straightband.workflows.report_reading import reading_facts
from straightband.workflows.report_verdict import all_flags, beam_sentences, explain, field_words, least_sentence, verdict_facts
from straightband.workflows.requirement import Requirement
from straightband.workflows.together import first_shown, read_together

# Doubts that a line of "how it was measured", or the verdict, spells out already.
_SAID_ELSEWHERE = (
    "sign-unknown",
    UNFIT_SIDE,
    "half-turn-unknown",
    "turn-unknown",
    PAIR,
    BEAM_MISSES,
    BEAM_ON_THE_MARGIN,
)
MOST_LISTED = 8  # photographs that stand on the page one by one
_PAIR = "These are heights of the pair, piece and reference flat together: what the flat has of them is not told."


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificate:
    """A certificate with what it rests on.

    Attributes
    ----------
    pdf
        The page.
    reading, verdict
        Behind it.
    """

    pdf: bytes
    reading: Reading
    verdict: Verdict


def certify(
    piece: Piece,
    *,
    photographs: list[tuple[str, bytes]],
    reference: tuple[str, bytes, HeightMap] | None = None,
    workers: int = 1,
    stage: Callable[[str], None] = tell_nobody,
) -> Certificate:
    """The certificate of a piece; raises a StraightbandError where a photograph can't be read or the page can't be set.

    Parameters
    ----------
    piece
        What the piece file says.
    photographs
        Names without folder, and bytes, in the order of the file.
    reference
        Name, bytes and map of the reference flat, or None.
    workers, stage
        For a stack or a film: processes that read its frames, and whoever is told how far they have come.
    """
    reading = read_together(
        photographs,
        names=tuple(name for name, _ in photographs),
        stacked=piece.stacked,
        setup=piece.setup,
        reference=None if reference is None else reference[2],
        workers=workers,
        stage=stage,
    )
    verdict = verdict_on(reading, piece.requirement)
    source = None if reference is None else provenance.source_of(reference[0], reference[1])
    content = certificate_content(piece, reading=reading, verdict=verdict, photograph=first_shown(*photographs[0]), reference=source)
    return Certificate(pdf=certificate_pdf(content), reading=reading, verdict=verdict)


def verdict_on(reading: Reading, requirement: Requirement) -> Verdict:
    """The verdict on a map that has just been read: with draws of its errors, which a saved map no longer has."""
    return judge(
        reading.height_map,
        telescope=requirement.telescope,
        strehl_wanted=requirement.strehl_wanted,
        iso=requirement.iso,
        wavelength_nm=requirement.wavelength_nm,
        mounting=requirement.mounting,
        draws_nm=draws_of(reading),
    )


def certificate_facts(certificate: Certificate) -> dict[str, Any]:
    """What the certificate rests on and says, as plain JSON values; its path is the caller's to add."""
    reading, verdict = reading_facts(certificate.reading), verdict_facts(certificate.verdict, certificate.reading.height_map)
    taken = ("surface", "uncertainty", "bands_across", "sign", "budget")
    return {
        "sha256": [{"name": source.name, "sha256": source.sha256} for source in certificate.reading.sources],
        **{key: value for key, value in verdict.items() if key != "budget"},
        **{key: reading[key] for key in taken},
        "program": provenance.program(),
    }


def certificate_content(
    piece: Piece, *, reading: Reading, verdict: Verdict, photograph: tuple[str, bytes], reference: provenance.Source | None
) -> CertificateContent:
    """Everything on the page, in words."""
    known = reading.sign == "known"
    beam = "".join(f" {each}" for each in beam_sentences(verdict.strehl, flags=verdict.flags))
    pair = "" if reference is not None else f" {_PAIR}"
    return CertificateContent(
        shop=piece.shop,
        piece=piece.name,
        fields=_fields(piece, verdict),
        decision=str(verdict.decision),
        verdict=least_sentence(verdict) + _tolerance_words(piece, verdict) + beam + pair,
        photo=overlay_picture(reading, photograph[1], name=photograph[0]),
        photo_caption=_photo_caption(reading),
        map_picture=map_picture(reading.height_map),
        map_caption="Height map, as seen looking at the face" + ("" if known else "; hill or hole: not known"),
        numbers=number_rows(reading.figures, uncertainty=_uncertainty_of(reading), sign_known=known),
        strehl=strehl_rows(verdict.strehl),
        budget_title="Behind the uncertainty of peak to valley",
        budget=_budget_rows(reading),
        method=_method(piece, reading=reading, verdict=verdict, reference=reference),
        photographs=_sources_listed(reading.sources),
        program=provenance.program(),
        cautions=CAUTIONS,
        signed_by=piece.signed_by,
        date=piece.date,
    )


def _tolerance_words(piece: Piece, verdict: Verdict) -> str:
    if not verdict.form_checks:
        return ""
    checks = (
        f"{check.name} {round_with_uncertainty(check.value_nm, check.uncertainty_nm, unit='nm')} of {check.limit_nm:.3g} nm allowed, {check.decision}"
        for check in verdict.form_checks
    )
    return f" ISO 10110-5 {piece.requirement.iso}: {'; '.join(checks)}."


def _fields(piece: Piece, verdict: Verdict) -> tuple[tuple[str, str], ...]:
    telescope, offset = verdict.telescope, verdict.mounting.offset_mm or 0.0
    told = [(key.capitalize(), value) for key, value in piece.told.items()]
    ratio = telescope.focal_length_mm / telescope.aperture_mm
    return (
        *told,
        ("Face", face_in_words(piece.setup.face)),
        ("Telescope", f"{telescope.aperture_mm:.4g} mm, f/{ratio:.3g}, diagonal {telescope.intercept_mm:.4g} mm before the focus"),
        ("Field, offset", f"{field_words(verdict)}; mirror {offset:.2f} mm off the axis"),
    )


def face_in_words(face: Face) -> str:
    """Shape and size of a face."""
    u, v = 2.0 * face.semi_u_mm, 2.0 * face.semi_v_mm
    return f"round, {u:.1f} mm" if face.shape is Shape.ROUND else f"{face.shape.value}, {u:.1f} × {v:.1f} mm"


def _photo_caption(reading: Reading) -> str:
    count, frames = len(reading.sources), reading.height_map.meta.get("frames")
    which = "The photograph" if count == 1 else f"The first of {count} photographs"
    if frames is not None:
        which = f"The first of {frames['read']} frames"
    return f"{which}, with the outline and the dark bands as read"


def _uncertainty_of(reading: Reading) -> Figures:
    """Uncertainties under the names of the figures; that of the axis is not in the budget."""
    return Figures(**reading.budget.expanded_nm, astigmatism_axis_deg=float("nan"), edge_zone_mm=0.0)


def _budget_rows(reading: Reading) -> tuple[tuple[str, str], ...]:
    """Cause and size, largest first, the total last; a cause of unknown size says that instead of a number."""
    budget = budget_of_figure(reading)
    rows = []
    for term in sorted(budget.terms, key=lambda term: term.nm, reverse=True):
        name, unknown, size = term.name.partition(": ")
        rows.append((name[:1].upper() + name[1:], size if unknown else f"{term.nm:.2g} nm"))
    return (*rows, ("Together", f"{budget.total_nm:.2g} nm"))


def _method(piece: Piece, *, reading: Reading, verdict: Verdict, reference: provenance.Source | None) -> tuple[tuple[str, str], ...]:
    lamp = piece.setup.lamp
    band_nm = height_per_band_nm(wavelength_nm=lamp.wavelength_nm)
    light = f"{lamp.name}, {lamp.wavelength_nm:.1f} nm" if not lamp.name[:1].isdigit() else f"{lamp.wavelength_nm:.1f} nm"
    if piece.setup.more_lamps:
        light += f" (read; {' and '.join(other.name for other in piece.setup.more_lamps)} were on as well)"
    doubts = [explain(flag) for flag in all_flags(verdict, reading.height_map) if flag not in _SAID_ELSEWHERE]
    margin = f"{100.0 * reading.height_map.clear_margin:.2g} %"
    return (
        ("Bands", f"Light {light}; one band is {band_nm:.1f} nm of height. {reading.bands_across:.1f} bands across, {_rests_on(reading)}."),
        ("Area", f"The clear aperture: the face less {margin} of each semi-axis for the bevel. Piston and tilt are taken off."),
        ("Reference flat", _reference_words(reference)),
        ("Hill or hole", _sign_words(piece, reading)),
        ("Way round", _way_words(piece)),
        *((("Weight and heat", _rest_words(reading)),) if piece.setup.rest is not None else ()),
        ("ISO 10110-5", verdict.iso10110),
        *((("Doubts", _sentence("; ".join(doubts))),) if doubts else ()),
    )  # fmt: skip


def _rests_on(reading: Reading) -> str:
    """How many photographs or frames stand behind the map."""
    count, frames = len(reading.sources), reading.height_map.meta.get("frames")
    if frames is not None:
        return f"mean of {frames['averaged']} of {frames['read']} frames{' of a film' if is_film(reading.sources[0].name) else ''}"
    return "one photograph" if count == 1 else f"mean of {count} photographs"


def _sources_listed(sources: tuple[provenance.Source, ...]) -> tuple[provenance.Source, ...]:
    """What the page has room for: each photograph, or of many one hash over the list of theirs, a line for each in its order."""
    if len(sources) <= MOST_LISTED:
        return sources
    listed = "".join(f"{source.sha256}\n" for source in sources)
    words = f"{len(sources)} files, {sources[0].name} to {sources[-1].name}: hash of the list of their hashes, a line for each"
    return (provenance.source_of(words, listed.encode("ascii")),)


def _reference_words(reference: provenance.Source | None) -> str:
    if reference is None:
        return f"Not told. {_PAIR}"
    return f"Its map, {reference.name} (SHA-256 {reference.sha256}), is taken off."


def _sign_words(piece: Piece, reading: Reading) -> str:
    thicker = piece.setup.thicker
    if reading.sign == "known" and thicker is None:
        return f"Known: {_told_by(piece)}."
    if reading.sign != "known" or thicker is None:
        why = "where the gap is thicker was not given" if thicker is None else "the thicker side that was given does not fit the bands"
        return f"Not known: {why}. The Strehl ratio is the same for both."
    sides = thicker if isinstance(thicker, tuple) else (thicker,)
    where = " and ".join(_side(side) for side in sides)
    return f"Known: the gap is thicker {where}{', in the order of the photographs' if len(sides) > 1 else ''}."


def _told_by(piece: Piece) -> str:
    """What told hill from hole where nobody told the thicker side."""
    setup = piece.setup
    if setup.pressed_hour is not None:
        return (
            f"the rim was pressed at {setup.pressed_hour:g} o'clock in the upright photograph between the first photograph and the others"
        )
    return "the bands of lamps of several colours agree on one gap only"


def _rest_words(reading: Reading) -> str:
    """How the piece lay and what that costs."""
    lines = [effect for effect in reading.budget.effects if effect.name in {WEIGHT, HEAT}]
    told = "; ".join(f"{effect.origin}: {effect.expanded_nm['pv_nm']:.2g} nm of peak to valley" for effect in lines)
    return _sentence(told)


def _side(side: float | str | None) -> str:
    if side is None:
        return "on a side that was not told"
    if isinstance(side, str):
        return "at the rim" if side == "out" else "in the middle"
    return f"toward {side:g} o'clock in the upright photograph"


def _way_words(piece: Piece) -> str:
    setup = piece.setup
    times = (
        ("not reversed", "reversed once", "reversed twice")[setup.reversals] if setup.reversals < 3 else f"reversed {setup.reversals} times"
    )
    taken = "was taken as not reversed, since nobody said" if setup.mirrored is None else f"was {times}"
    seen = f"Maps are as seen looking at the face; the photograph {taken}."
    if setup.mark_hour is not None:
        return f"{seen} +v points toward the mark, at {setup.mark_hour:g} o'clock in the upright photograph."
    if setup.face.shape is Shape.ROUND:
        return f"{seen} Without a mark the map is tied to the photograph's upright only."
    return f"{seen} Without a mark the map may be turned by half a turn; the worse way round is judged."


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}."
