"""Numbers of the record as a person reads them, in millimetres or inches: rounded here, nothing on the page."""

from __future__ import annotations

import math
import re
from typing import Any

from straightband.heightmap.figures import Figures
from straightband.quantities import MM_PER_UNIT
from straightband.report.wording import number_rows, strehl_rows, verdict_sentence
from straightband.uncertainty import round_with_uncertainty
from straightband.verdict.decision import Decision
from straightband.verdict.field import FieldStrehl
from straightband.workflows import report_verdict
from straightband.workflows.flags import explain
from straightband.workflows.report_verdict import IN_WORDS, beam_sentences

DECIMALS = {"mm": 2, "in": 3}
# Where a sentence sends people to an option that no page has.
_ON_PAGES = {
    "; put the shop's own in with --prices": "",
    "give its distance with --camera": "give the distance of the camera",
    "; give the reference flat's map with --minus to have the piece alone": "; choose a flat with a map to have the piece alone",
    "say where the gap is thicker with --thicker, or leave --minus out": "say where the gap is thicker, or choose a flat without a map",
    "or leave --minus out": "or choose a flat without a map",
    "; give --reference-sag and --reference-doubt if known": "; give both if known",
    "; call again with --with-companion to plan with it": "; plan again with it",
    "; gauge the blanks and write sag_um": "; gauge the blanks and plan again",
    "; give it with --measured": "",
    "and give it with --outline if it lies wrong": "and correct it if it lies wrong",
    ", and --outline settles it": ", and correcting the outline settles it",
}
SMALLEST_NM = 1e-3
UNIT_NAMES = {"mm": "millimetres", "in": "inches"}


def length_shown(length_mm: float, units: str) -> str:
    """A length, as `53.50 mm` or `2.106 in`."""
    return f"{length_mm / MM_PER_UNIT[units]:.{DECIMALS[units]}f} {units}"


def axes_shown(minor_mm: float, major_mm: float, *, units: str) -> str:
    """Two axes, as `53.50 × 75.66 mm`."""
    first, second = length_shown(minor_mm, units).split(" ")[0], length_shown(major_mm, units)
    return f"{first} × {second}"


def nm_shown(value: float, uncertainty: float) -> str:
    """A height with its uncertainty (95 %)."""
    return round_with_uncertainty(value, uncertainty, unit="nm")


def worth_showing(nm: float) -> float:
    """A height without what the rounding of a computer leaves: an atom has a fifth of a nanometre."""
    return nm if abs(nm) >= SMALLEST_NM else 0.0


def figure_rows(found: dict[str, Any]) -> tuple[tuple[str, str, str], ...]:
    """Name, value with its uncertainty (95 %) and remark for each figure of a reading."""
    uncertainty = Figures(**found["uncertainty"], astigmatism_axis_deg=math.nan, edge_zone_mm=0.0)
    return number_rows(Figures(**found["surface"]), uncertainty=uncertainty, sign_known=found["sign"] == "known")


def sign_sentence(found: dict[str, Any]) -> str:
    """Whether hills are known from holes, and what the face is."""
    if found["sign"] != "known":
        return "Hill or hole: not known. Say where the gap is thicker and read again."
    power, doubt = found["surface"]["power_nm"], found["uncertainty"]["power_nm"]
    if not abs(power) > doubt:
        return "Power is smaller than its uncertainty."
    return "The face is convex, a hill." if power > 0.0 else "The face is concave, a hollow."


def doubts(found: dict[str, Any]) -> tuple[str, ...]:
    """The doubts of a reading as sentences."""
    return tuple(_sentence(explain(flag)) for flag in found["flags"])


def verdict_doubts(found: dict[str, Any]) -> tuple[str, ...]:
    """The doubts of a verdict and of the reading under it as sentences."""
    return tuple(_sentence(report_verdict.explain(flag)) for flag in found["flags"])


def _sentence(words: str) -> str:
    return f"{sentence_shown(words)}."


def sentence_shown(words: str) -> str:
    """A sentence of the command line as a page says it: options by the names of the fields, the first letter large."""
    said = words
    for on_command_line, on_page in _ON_PAGES.items():
        said = said.replace(on_command_line, on_page)
    said = re.sub(r"--([a-z]+(?:-[a-z]+)*)", lambda found: f"'{found[1].replace('-', ' ')}'", said)
    return f"{said[:1].upper()}{said[1:]}"


def strehl_of(found: dict[str, Any]) -> tuple[FieldStrehl, ...]:
    """The Strehl ratios of a verdict by field radius."""
    return tuple(FieldStrehl(**{key: math.nan if value is None else value for key, value in each.items()}) for each in found["strehl"])


def strehl_shown(found: dict[str, Any], units: str) -> tuple[tuple[str, str], ...]:
    """Distance from the middle of the field, and Strehl ratio with its uncertainty (95 %)."""
    strehl = strehl_of(found)
    return tuple((length_shown(at.field_radius_mm, units), row[1]) for at, row in zip(strehl, strehl_rows(strehl), strict=True))


def verdict_shown(found: dict[str, Any], units: str) -> tuple[str, str]:
    """The decision in a sentence, and the sentence with limit and guard band."""
    decision = Decision(found["decision"])
    strehl = strehl_of(found)
    least = min(strehl, key=lambda at: at.strehl)
    wanted, light = found["strehl_wanted"], found["light_judged_nm"]
    away = length_shown(least.field_radius_mm, units)
    said = verdict_sentence(least, strehl_wanted=wanted, wavelength_nm=light, decision=decision, away=away)
    return IN_WORDS[decision], " ".join((said, *beam_sentences(strehl, flags=found["flags"])))


def margin_shown(found: dict[str, Any]) -> str:
    """Least Strehl ratio of the field less the one wanted, with its uncertainty (95 %)."""
    doubt = found["margin_uncertainty"]
    return " ".join(round_with_uncertainty(found["margin"], math.nan if doubt is None else doubt, unit="").split())


def budget_shown(found: dict[str, Any], figure: str = "pv_nm") -> tuple[tuple[str, str, str, str], ...]:
    """Cause, size, origin, and length of its bar in per cent of the largest, the largest first; the whole last."""
    terms = [(each["term"], each["by_figure"][figure], each["origin"]) for each in found["budget"]]
    terms.sort(key=lambda term: -term[1])
    total = found["uncertainty"][figure]
    rows = [(*term, total) for term in terms] + [("together", total, "root of the sum of squares", total)]
    return tuple(
        (name[:1].upper() + name[1:], f"{worth_showing(nm):.2g} nm", origin, f"{100.0 * nm / whole if whole else 0.0:.1f}%")
        for name, nm, origin, whole in rows
    )


def bands_shown(found: dict[str, Any]) -> str:
    """How many bands a reading rests on, and how plain they are."""
    frames = found.get("frames")
    stacked = "" if frames is None else f"; mean of {frames['averaged']} of {frames['read']} frames"
    return f"{found['bands_across']:.1f} bands across, contrast {100.0 * found['contrast']:.0f} %{stacked}"


def grain_shown(grain_um: float) -> str:
    """The size of an abrasive's grain."""
    return f"{grain_um:g} um"


def abrasives_shown(grains_um: tuple[float, ...]) -> str:
    """Sizes of abrasives, coarse to fine, as they are typed."""
    return ",".join(f"{grain:g}um" for grain in sorted(set(grains_um), reverse=True))
