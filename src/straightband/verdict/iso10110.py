"""Surface form in the terms of ISO 10110-5: what a flat measures, what a drawing asks for, and whether it is kept.

Order of the operations: the best plane is taken off (sagitta error, rms RMSt); the least-squares sphere is fitted (A, its PV over the area)
and taken off (irregularity: B, its PV; rms RMSi); the best rotationally symmetric part of that is fitted (C, its PV) and taken off (rms
RMSa). Each fit is over the actual area, the clear aperture; on an ellipse the steps are not orthogonal, so the area goes with the numbers.

Sources
-------
ISO 10110-5:2015 (nanometres; fringe spacings with their wavelength) and :2007 (fringe spacings of 546.07 nm, a spacing being half a
wavelength of height), ISO 14999-4 for the quantities: from public summaries, the texts were not seen. Editions of 2026 exist and were
not seen.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from straightband.errors import BadInput
from straightband.face.shapes import Face, Shape
from straightband.verdict.decision import Decision, decide_at_most

EDITION = "ISO 10110-5:2015"
FRINGE_WAVELENGTH_NM = 546.07  # base wavelength of the 2007 edition, used when a tolerance in fringes names none
_RADIAL_TERMS = 9  # even powers of the radius up to the 16th: follows a turned edge of a tenth of the radius
_LONGEST_TEXT = 160


@dataclass(frozen=True, slots=True, kw_only=True)
class FormQuantities:
    """The six quantities of one surface, or their uncertainties.

    Attributes
    ----------
    a_nm, b_nm, c_nm
        PV of the least-squares sphere, of the irregularity, of its rotationally symmetric part.
    rms_t_nm, rms_i_nm, rms_a_nm
        Rms of the sagitta error, of the irregularity, of the rest when the symmetric part is gone too.
    """

    a_nm: float
    b_nm: float
    c_nm: float
    rms_t_nm: float
    rms_i_nm: float
    rms_a_nm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FormTolerance:
    """What a drawing asks for; infinity where it asks for nothing.

    Attributes
    ----------
    limits
        The six limits, in nm.
    wavelength_nm
        Wavelength of the fringe spacings.
    wavelength_assumed
        True when fringes were given and the wavelength was not.
    """

    limits: FormQuantities
    wavelength_nm: float
    wavelength_assumed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class FormCheck:
    """One quantity against its limit.

    Attributes
    ----------
    name
        A, B, C, RMSt, RMSi or RMSa.
    value_nm, limit_nm, uncertainty_nm
        Measured, allowed, and the expanded uncertainty (95 %) of the measured one.
    margin_nm
        Limit less value; negative when passed.
    decision
        Guard-banded.
    """

    name: str
    value_nm: float
    limit_nm: float
    uncertainty_nm: float
    margin_nm: float
    decision: Decision


NAMES = {"a_nm": "A", "b_nm": "B", "c_nm": "C", "rms_t_nm": "RMSt", "rms_i_nm": "RMSi", "rms_a_nm": "RMSa"}


def form_table(heights_nm: NDArray, *, u_mm: NDArray, v_mm: NDArray, area: Face) -> NDArray:
    """The six quantities (k, 6), in the order of `FormQuantities`, of k surfaces (k, n) at evenly spread points (n,) of `area`."""
    a = area.semi_major_mm
    x, y = u_mm / a, v_mm / a
    rho2, far2 = x * x + y * y, _far_radius_squared(area)
    h = heights_nm.T
    flat = h - _projected([np.ones_like(x), x, y], h)[0]
    fitted, coefficients = _projected([np.ones_like(x), x, y, rho2], flat)
    irregular = flat - fitted
    radial = np.polynomial.legendre.legvander(2.0 * rho2 / far2 - 1.0, _RADIAL_TERMS - 1)
    symmetric, shares = _projected(list(radial.T), irregular)
    along_radius = np.polynomial.legendre.legvander(np.linspace(-1.0, 1.0, 2001), _RADIAL_TERMS - 1) @ shares
    return np.stack(
        [
            np.abs(coefficients[3]) * far2,
            np.ptp(irregular, axis=0),
            np.ptp(along_radius, axis=0),
            *(np.sqrt(np.mean(rest**2, axis=0)) for rest in (flat, irregular, irregular - symmetric)),
        ],
        axis=1,
    )


def form_quantities(heights_nm: NDArray, *, u_mm: NDArray, v_mm: NDArray, area: Face) -> FormQuantities:
    """The six quantities of heights (n,) at evenly spread points (n,) of `area`."""
    return from_row(form_table(heights_nm[None, :], u_mm=u_mm, v_mm=v_mm, area=area)[0])


def from_row(row: NDArray) -> FormQuantities:
    """Quantities from six numbers in their order."""
    return FormQuantities(**{field.name: float(value) for field, value in zip(fields(FormQuantities), row, strict=True)})


def _far_radius_squared(area: Face) -> float:
    """Square of the largest distance from the centre, in semi-major axes."""
    if area.shape is Shape.RECTANGLE:
        return (area.semi_u_mm**2 + area.semi_v_mm**2) / area.semi_major_mm**2
    return 1.0


def _projected(columns: list[NDArray], h: NDArray) -> tuple[NDArray, NDArray]:
    """Least-squares fit (n, k) of columns to h (n, k), and its coefficients."""
    basis = np.stack(columns)
    c = np.linalg.solve(basis @ basis.T, basis @ h)
    return basis.T @ c, c


def form_text(quantities: FormQuantities, *, area: Face) -> str:
    """The measured form in one line, with the edition, the unit and the area it stands for."""
    q = quantities
    size = f"{2 * area.semi_u_mm:.1f} x {2 * area.semi_v_mm:.1f} mm"
    return (
        f"3/{q.a_nm:.0f} nm ({q.b_nm:.0f} nm/{q.c_nm:.0f} nm); RMSt {q.rms_t_nm:.1f} nm; RMSi {q.rms_i_nm:.1f} nm; "
        f"RMSa {q.rms_a_nm:.1f} nm; {EDITION}, heights of the surface over the {area.shape} {size}, fits over that area"
    )


_ITEM = r"(?:(?P<{0}_none>[-−–—])|(?P<{0}>\d{{1,6}}(?:[.,]\d{{1,25}})?)\s*(?P<{0}_nm>nm)?)"
_INDICATION = re.compile(
    r"^\s*3\s*/\s*" + _ITEM.format("a") + r"\s*(?:\(\s*" + _ITEM.format("b")
    + r"\s*(?:/\s*" + _ITEM.format("c") + r"\s*)?\))?\s*(?P<all_nm>nm)?\s*[;,]?(?P<rest>.*)$"
)  # fmt: skip
_RMS = re.compile(r"RMS(?P<which>[tia])\s*(?:<|≤|<=|=)?\s*(?P<value>\d{1,6}(?:[.,]\d{1,25})?)\s*(?P<nm>nm)?", re.IGNORECASE)
_WAVELENGTH = re.compile(r"(?:λ|lambda)\s*=\s*(?P<value>\d{3,4}(?:[.,]\d{1,25})?)\s*nm", re.IGNORECASE)


def parse_tolerance(text: str) -> FormTolerance:
    """Limits from an indication such as `3/0.5(0.2)`, `3/-(1); RMSa < 0.1; lambda = 546 nm` or `3/140 nm(55 nm/27 nm)`.

    Numbers without `nm` are fringe spacings: half of the wavelength named, or of 546.07 nm when none is. Raises BadInput.

    Example
    -------
    >>> round(parse_tolerance("3/0.5(0.2)").limits.b_nm, 3)
    54.607
    """
    match = _INDICATION.match(text) if len(text) <= _LONGEST_TEXT else None
    if match is None:
        raise _not_understood(text)
    rest = match["rest"]
    wavelength = _WAVELENGTH.search(rest)
    wavelength_nm = _number(wavelength["value"]) if wavelength else FRINGE_WAVELENGTH_NM
    rms = list(_RMS.finditer(rest))
    if _RMS.sub("", _WAVELENGTH.sub("", rest)).strip(" ;,"):
        raise _not_understood(text)
    given = [(f"{name}_nm", match[name], match[f"{name}_nm"] or match["all_nm"]) for name in ("a", "b", "c")]
    given += [(f"rms_{found['which'].lower()}_nm", found["value"], found["nm"]) for found in rms]
    limits = dict.fromkeys(NAMES, math.inf)
    limits |= {name: _number(value) * (1.0 if nm else wavelength_nm / 2.0) for name, value, nm in given if value}
    if all(math.isinf(limit) for limit in limits.values()):
        raise _not_understood(text)
    return FormTolerance(
        limits=FormQuantities(**limits),
        wavelength_nm=wavelength_nm,
        wavelength_assumed=wavelength is None and any(value and not nm for _, value, nm in given),
    )


def _number(text: str) -> float:
    return float(text.replace(",", "."))


def _not_understood(text: str) -> BadInput:
    shown = text if len(text) <= _LONGEST_TEXT else text[:40] + "..."
    return BadInput(
        found=f"the ISO 10110-5 tolerance was given as '{shown}'",
        needed="an indication 3/A(B/C) with at least one limit is needed",
        remedy="write it like 3/0.5(0.2) or 3/140nm(55nm); RMSi < 15nm",
    )


def compare(quantities: FormQuantities, *, uncertainties: FormQuantities, tolerance: FormTolerance) -> tuple[FormCheck, ...]:
    """Each quantity that the tolerance limits, against its limit."""
    return tuple(
        FormCheck(
            name=name,
            value_nm=(value := getattr(quantities, key)),
            limit_nm=limit,
            uncertainty_nm=(doubt := getattr(uncertainties, key)),
            margin_nm=limit - value,
            decision=decide_at_most(value, limit=limit, uncertainty=doubt),
        )
        for key, name in NAMES.items()
        if math.isfinite(limit := getattr(tolerance.limits, key))
    )
