"""Flats by themselves, in names for programs and in sentences for people."""

from __future__ import annotations

from typing import Any

from straightband.uncertainty import round_with_uncertainty
from straightband.workflows.report_reading import LABELS
from straightband.workflows.threeflat import KnownFlat, KnownFlats, mean_uncertainty_nm

SENTENCES = {
    "part-undetermined": "part of the figures stays undetermined and counts in the uncertainty; one more map of A on B with B turned by 54 deg fixes most of it",
    "pairs-disagree": "the maps do not fit each other within their stated uncertainty: heat, a wrong mark, or a wrong thicker side; measure again",
    "pair-uncertainty-not-stated": "a map states no uncertainty, so that of the flats holds nothing from it",
    "pair-without-mark": "a pair was read without its mark, so how the flats lay to each other is not sure",
    "day-not-told": "the day of measuring was not told, so nobody can see when the flats are due again; give it with --measured",
}
_TERMS_SHOWN = 4


def explain(flag: str) -> str:
    """The sentence for a flag."""
    return SENTENCES[flag]


def flats_facts(known: KnownFlats) -> dict[str, Any]:
    """The flats under the names of the contract, as plain JSON values."""
    return {
        "flats": [_flat_facts(flat) for flat in known.flats],
        "unknowns": known.unknowns,
        "rank": known.rank,
        "order": known.request.order,
        "undetermined": _undetermined_sentence(known),
        "pairs": [
            {"map": source.name, "piece": pair.piece, "other": pair.other, "label": pair.label, "misfit_rms_nm": misfit}
            for source, pair, (_, misfit) in zip(known.request.sources, known.request.pairs, known.misfit_nm, strict=True)
        ],
        "flags": list(known.flags),
    }


def _flat_facts(flat: KnownFlat) -> dict[str, Any]:
    return {
        "name": flat.name,
        **{name: getattr(flat.figures, name) for name in LABELS},
        "uncertainty_nm": mean_uncertainty_nm(flat),
        "uncertainty": {name: flat.budget.expanded_nm[name] for name in LABELS},
        "undetermined": [{"term": term.name, "order": term.order, "lobes": term.lobes, "share": term.share} for term in flat.unseen],
        "budget": [
            {"term": effect.name, "nm": effect.expanded_nm["pv_nm"], "by_figure": effect.expanded_nm, "origin": effect.origin}
            for effect in flat.budget.effects
        ],
        "reference": flat.height_map.meta["reference"],
    }


def flats_lines(known: KnownFlats) -> tuple[str, ...]:
    """The flats as a person at the bench wants them."""
    lines = [f"{len(known.request.pairs)} pairs of {len(known.flats)} flats, terms to order {known.request.order} and detail on the grid."]
    for flat in known.flats:
        lines.append(f"{flat.name}: heights sure to {mean_uncertainty_nm(flat):.2g} nm (95 %)")
        lines += [
            f"  {label:<17} {round_with_uncertainty(getattr(flat.figures, name), flat.budget.expanded_nm[name], unit='nm'):>18}"
            for name, label in LABELS.items()
        ]
    lines.append(_undetermined_sentence(known))
    lines += [f"  {label}: {misfit:.2g} nm rms not explained" for label, misfit in known.misfit_nm]
    lines += [f"Note: {explain(flag)}." for flag in known.flags]
    return tuple(lines)


def _undetermined_sentence(known: KnownFlats) -> str:
    free = known.unknowns - known.rank
    if not free:
        return f"These maps determine all {known.unknowns} terms."
    names = list(dict.fromkeys(term.name for flat in known.flats for term in flat.unseen))
    shown = ", ".join(names[:_TERMS_SHOWN]) + (f" and {len(names) - _TERMS_SHOWN} more" if len(names) > _TERMS_SHOWN else "")
    sided = ", all of them with opposite heights left and right of the mark's axis" if known.one_sided else ""
    return f"These maps leave {free} of {known.unknowns} combinations undetermined{sided}: {shown}."
