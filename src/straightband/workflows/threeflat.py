"""Flats by themselves from maps of their pairs: solve, say what stays undetermined, and make a reference map of each."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from straightband import provenance
from straightband.combine.detail import Grid, all_samples, detail_of, grid_of
from straightband.combine.flats import FIRST, ORDER, Covariances, Samples, Solution, covariances, solve
from straightband.combine.pairs import Flat, Pair
from straightband.combine.unseen import Unseen, all_one_sided, unseen_terms
from straightband.errors import BadInput
from straightband.face.polynomials import face_polynomials
from straightband.fringes.budget import Cause, ReadingBudget, no_rows, sum_up
from straightband.heightmap.figures import Figures, Points, figures, without_tilt
from straightband.heightmap.map import HeightMap

DRAWS = 300
SEED = 3  # any number: the same maps must give the same answer each time
POWER_UNSEEN = 0.02  # share of a flat's power that no pair fixes, above which the pairs close no odd cycle; rounding leaves 1e-9
DISAGREEMENT = 2.0  # misfit over what the maps state, above which something changed between them; our choice
RECHECK_MONTHS = 12.0  # common practice, no source
BEYOND_CLEAR = 1.6  # grid steps past the clear aperture that are filled, so that a piece of the same size finds a height up to its rim


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatsRequest:
    """What the person gave.

    Attributes
    ----------
    pairs
        Maps of pairs.
    sources
        Their files.
    order
        Of the polynomials.
    measured
        The day, or None.
    recheck_months
        After how many months the flats are to be measured again.
    """

    pairs: tuple[Pair, ...]
    sources: tuple[provenance.Source, ...]
    order: int = ORDER
    measured: date | None = None
    recheck_months: float = RECHECK_MONTHS


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownFlat:
    """One flat by itself.

    Attributes
    ----------
    name
        Of the flat.
    height_map
        Its heights looking at its own face, fit to be taken off a reading.
    figures, budget
        What they come to, and how sure.
    unseen
        Terms that the pairs do not fix.
    """

    name: str
    height_map: HeightMap
    figures: Figures
    budget: ReadingBudget
    unseen: tuple[Unseen, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownFlats:
    """All flats of a request.

    Attributes
    ----------
    flats
        One by one.
    unknowns, rank
        How many terms were sought, and how many combinations of them the pairs determine.
    one_sided
        Whether all that is not determined is odd in u.
    misfit_nm
        Rms that the flats leave of each pair, with the pair's label.
    flags
        Short names of doubts.
    request
        What was asked.
    """

    flats: tuple[KnownFlat, ...]
    unknowns: int
    rank: int
    one_sided: bool
    misfit_nm: tuple[tuple[str, float], ...]
    flags: tuple[str, ...]
    request: FlatsRequest


def know_flats(request: FlatsRequest) -> KnownFlats:
    """Every flat by itself; raises BadInput where the pairs cannot tell them apart."""
    check_pairs(request.pairs)
    solution = solve(request.pairs, order=request.order)
    terms = unseen_terms(solution)
    _check_cycle(terms)
    samples = all_samples(request.pairs, flats=solution.flats)
    left = [each.heights_nm - _pair_heights(solution, pair, each) for pair, each in zip(request.pairs, samples, strict=True)]
    left = [_less_plane(each, at.u_mm, at.v_mm) for each, at in zip(left, samples, strict=True)]
    detail = detail_of(request.pairs, flats=solution.flats, left=left, samples=samples)
    doubt = covariances(solution)
    flags = _flags(request, solution)
    flats = tuple(
        _known(k, solution=solution, doubt=doubt, heights=heights, missing=missing, terms=terms, flags=flags, request=request)
        for k, (heights, missing) in enumerate(zip(detail.heights_nm, detail.missing, strict=True))
    )
    return KnownFlats(
        flats=flats,
        unknowns=solution.terms_nm.size,
        rank=solution.rank,
        one_sided=all_one_sided(solution),
        misfit_nm=tuple((pair.label, float(np.sqrt(np.mean(each**2)))) for pair, each in zip(request.pairs, solution.left_nm, strict=True)),
        flags=flags,
        request=request,
    )


def check_pairs(pairs: tuple[Pair, ...]) -> None:
    """Raise BadInput where pairs can't tell flats apart, whatever their heights."""
    for pair in pairs:
        if pair.piece == pair.other:
            raise BadInput(
                found=f"a map is said to be of {pair.piece} on itself",
                needed="two flats make a pair",
                remedy="name both, like --pair MAP.npz=A,B",
            )
        if pair.height_map.meta.get("sign") == "unknown":
            raise BadInput(
                found=f"the map of {pair.label} does not know hills from holes",
                needed="the sign of every pair is needed",
                remedy="read its photograph again with --thicker",
            )
        if pair.height_map.meta.get("minus"):
            raise BadInput(
                found=f"a reference was taken off the map of {pair.label}",
                needed="the heights of the pair itself are needed",
                remedy="read its photograph again without --minus",
            )
    if len({name for pair in pairs for name in (pair.piece, pair.other)}) < 3:
        raise BadInput(
            found=f"{len(pairs)} {'map shows' if len(pairs) == 1 else 'maps show'} fewer than three flats",
            needed="three flats, each on each of the others, are needed",
            remedy="give the maps of A on B, B on C and C on A",
        )


def _check_cycle(terms: dict[str, tuple[Unseen, ...]]) -> None:
    lost = [name for name, each in terms.items() if any(t.name == "power" and t.share > POWER_UNSEEN for t in each)]
    if lost:
        raise BadInput(
            found=f"the pairs do not fix the power of {', '.join(lost)}",
            needed="pairs that close a ring of three (or another odd number of) flats are needed",
            remedy="measure the pair that is missing, like C on A",
        )


def _pair_heights(solution: Solution, pair: Pair, at: Samples) -> NDArray:
    total = np.zeros_like(at.u_mm)
    for name, u, v in ((pair.piece, at.u_mm, at.v_mm), (pair.other, at.other_u_mm, at.other_v_mm)):
        total = total + _polynomial_heights(solution, name, u=u, v=v)
    return total


def _polynomial_heights(solution: Solution, name: str, *, u: NDArray, v: NDArray) -> NDArray:
    flat = next(each for each in solution.flats if each.name == name)
    basis = face_polynomials(u, v, face=flat.clear, order=solution.order)[FIRST:]
    return np.tensordot(solution.terms_nm[solution.rows(name)], basis, axes=1)


def _less_plane(values: NDArray, u: NDArray, v: NDArray) -> NDArray:
    terms = np.stack([np.ones_like(u), u, v], axis=1)
    return values - terms @ np.linalg.lstsq(terms, values, rcond=None)[0]


def _flags(request: FlatsRequest, solution: Solution) -> tuple[str, ...]:
    found = []
    if solution.rank < solution.terms_nm.size:
        found.append("part-undetermined")
    if _misfit_share(solution) > DISAGREEMENT:
        found.append("pairs-disagree")
    if any(float(np.max(each.standard_nm)) <= 0.0 for each in solution.samples):
        found.append("pair-uncertainty-not-stated")
    said = {flag for pair in request.pairs for flag in pair.height_map.meta.get("flags", [])}
    if said & {"turn-unknown", "half-turn-unknown"}:
        found.append("pair-without-mark")
    if request.measured is None:
        found.append("day-not-told")
    return tuple(found)


def _misfit_share(solution: Solution) -> float:
    """Smooth misfit of the pairs over the standard uncertainty they state, the worst of them; 0 where none is stated."""
    worst = 0.0
    for left, at in zip(solution.left_nm, solution.samples, strict=True):
        stated = float(np.sqrt(np.mean(at.standard_nm**2)))
        basis = np.stack([np.ones_like(at.u_mm), at.u_mm, at.v_mm, at.u_mm**2, at.u_mm * at.v_mm, at.v_mm**2], axis=1)
        smooth = basis @ np.linalg.lstsq(basis, left, rcond=None)[0]
        worst = max(worst, float(np.sqrt(np.mean(smooth**2))) / stated if stated else 0.0)
    return worst


def _known(
    k: int,
    *,
    solution: Solution,
    doubt: Covariances,
    heights: NDArray,
    missing: float,
    terms: dict[str, tuple[Unseen, ...]],
    flags: tuple[str, ...],
    request: FlatsRequest,
) -> KnownFlat:
    flat = solution.flats[k]
    grid = grid_of(flat)
    uu, vv = np.meshgrid(grid.u_mm, grid.v_mm)
    whole = _polynomial_heights(solution, flat.name, u=uu, v=vv) + heights
    points = Points(u_mm=uu[grid.inside], v_mm=vv[grid.inside], area=np.ones(int(grid.inside.sum())), clear=flat.clear)
    found = _causes(solution, flat=flat, doubt=doubt, points=points, detail=heights[grid.inside], missing=missing)
    budget = sum_up(found, points=points, heights_nm=whole[grid.inside])
    uncertainty = np.full(whole.shape, np.nan)
    uncertainty[grid.inside] = budget.cells_nm
    height_map = without_tilt(
        HeightMap(
            heights_nm=np.where(_filled(flat, grid), whole, np.nan),
            u_mm=grid.u_mm,
            v_mm=grid.v_mm,
            uncertainty_nm=_spread(uncertainty, grid),
            face=flat.face,
            clear_margin=flat.clear_margin,
            meta=_meta(flat, unseen=terms[flat.name], flags=flags, request=request),
        )
    )
    return KnownFlat(name=flat.name, height_map=height_map, figures=figures(height_map), budget=budget, unseen=terms[flat.name])


def _filled(flat: Flat, grid: Grid) -> NDArray:
    """The clear aperture and a grid step beyond it, as far as the face goes."""
    clear, pitch = flat.clear, grid.u_mm[1] - grid.u_mm[0]
    radius = clear.normalised_radius(grid.u_mm[None, :], grid.v_mm[:, None])
    near = radius <= 1.0 + BEYOND_CLEAR * math.sqrt(2.0) * pitch / min(clear.semi_u_mm, clear.semi_v_mm)
    return grid.inside | (near & flat.face.contains(grid.u_mm[None, :], grid.v_mm[:, None]))


def _spread(values: NDArray, grid: Grid) -> NDArray:
    """Values taken on from the nearest point of the clear aperture."""
    rows, columns = ndimage.distance_transform_edt(~grid.inside, return_distances=False, return_indices=True)
    return values[rows, columns]


def _causes(solution: Solution, *, flat: Flat, doubt: Covariances, points: Points, detail: NDArray, missing: float) -> list[Cause]:
    rows = solution.rows(flat.name)
    basis = face_polynomials(points.u_mm, points.v_mm, face=flat.clear, order=solution.order)[FIRST:]
    # Whether the maps err alike or each by itself is not known: the worse of the two stands.
    maps = max((doubt.independent[rows, rows], doubt.common[rows, rows]), key=np.trace)
    rng = np.random.default_rng(SEED)
    unseen = _drawn(doubt.unseen[rows, rows], rng=rng) @ basis
    finer = float(np.sqrt(np.mean(detail**2) / max(1.0 - missing, 0.05) * missing))
    return [
        _cause(
            "pair maps",
            "stated with the maps; taken as all alike or all by themselves, whichever is worse",
            _drawn(maps, rng=rng) @ basis,
            points,
        ),
        _cause("undetermined", "what the pairs can't show, taken as large as what they show of the same order", unseen, points),
        _cause(
            "detail",
            f"{100 * missing:.0f} % of detail finer than order {solution.order} is not shown",
            finer * rng.standard_normal((DRAWS, 1)) * _grain(points),
            points,
        ),
    ]


def _grain(points: Points) -> NDArray:
    """One pattern of unit rms and no symmetry that stands for detail; a wave across the face."""
    across = np.cos(9.0 * np.pi * points.u_mm / points.clear.semi_u_mm + 1.0) * np.cos(
        7.0 * np.pi * points.v_mm / points.clear.semi_v_mm + 2.0
    )
    return 2.0 * across


def _drawn(covariance: NDArray, *, rng: np.random.Generator) -> NDArray:
    values, vectors = np.linalg.eigh(covariance)
    # The symmetric root: vectors of like values may be turned among each other by rounding, and other draws would come of the same maps.
    return rng.standard_normal((DRAWS, values.size)) @ ((vectors * np.sqrt(np.clip(values, 0.0, None))) @ vectors.T)


def _cause(name: str, origin: str, draws: NDArray, points: Points) -> Cause:
    return Cause(name=name, origin=origin, modes_nm=no_rows(points), draws_nm=draws)


def _meta(flat: Flat, *, unseen: tuple[Unseen, ...], flags: tuple[str, ...], request: FlatsRequest) -> dict[str, object]:
    lights = {pair.height_map.meta.get("light_nm") for pair in request.pairs}
    due = None if request.measured is None else months_after(request.measured, request.recheck_months)
    return {
        "program": provenance.program(),
        "sign": "known",
        **({"light_nm": lights.pop()} if len(lights) == 1 and None not in lights else {}),
        "flags": list(flags),
        "reference": {
            "flat": flat.name,
            "measured": None if request.measured is None else request.measured.isoformat(),
            "recheck_due": None if due is None else due.isoformat(),
            "handled": [],
            "undetermined": [term.name for term in unseen],
            "pairs": [pair.label for pair in request.pairs],
        },
        "maps": [{"name": source.name, "sha256": source.sha256} for source in request.sources],
    }


def months_after(day: date, months: float) -> date:
    """The day that many months later, counted as twelfths of 365.25 days."""
    return date.fromordinal(day.toordinal() + round(months * 365.25 / 12.0))


def mean_uncertainty_nm(flat: KnownFlat) -> float:
    """Expanded uncertainty of a height of the flat, rms over its clear aperture."""
    return float(np.sqrt(np.mean(flat.budget.cells_nm**2)))
