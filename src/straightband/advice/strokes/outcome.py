"""How right a run was foretold, once the face has been measured again."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from straightband.uncertainty import COVERAGE_95


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """A run as foretold beside the run as measured, without piston and tilt.

    Attributes
    ----------
    change_rms_nm, foretold_rms_nm
        Of the change of the face, and of what was foretold.
    foretold_share, foretold_share_uncertainty
        Share of the measured change that the foretold change accounts for: 1 for all of it, 0 for none, negative where it misled.
    factor, factor_uncertainty
        By which the foretold change would have to be multiplied to fit best.
    off_rms_nm, off_rms_uncertainty_nm
        Of the difference between the face as measured and as foretold.
    noise_rms_nm
        What the errors of the two maps alone would make of it.
    """

    change_rms_nm: float
    foretold_rms_nm: float
    foretold_share: float
    foretold_share_uncertainty: float
    factor: float
    factor_uncertainty: float
    off_rms_nm: float
    off_rms_uncertainty_nm: float
    noise_rms_nm: float


def outcome_of(change_nm: NDArray, *, foretold_nm: NDArray, drawn_nm: NDArray) -> Outcome:
    """From the measured fall of heights (n,), the foretold one (n,), and random errors (d, n) of the first; all without piston and tilt.

    The uncertainties (95 %) are those that the errors of the maps give.
    """
    drawn = change_nm + drawn_nm
    factors = drawn @ foretold_nm / max(float(foretold_nm @ foretold_nm), 1e-12)
    shares = _share(drawn, foretold_nm)
    off = np.std(drawn - foretold_nm, axis=1)
    return Outcome(
        change_rms_nm=float(np.std(change_nm)),
        foretold_rms_nm=float(np.std(foretold_nm)),
        foretold_share=float(_share(change_nm[None], foretold_nm)[0]),
        foretold_share_uncertainty=COVERAGE_95 * float(np.std(shares, ddof=1)),
        factor=float(change_nm @ foretold_nm / max(float(foretold_nm @ foretold_nm), 1e-12)),
        factor_uncertainty=COVERAGE_95 * float(np.std(factors, ddof=1)),
        off_rms_nm=float(np.std(change_nm - foretold_nm)),
        off_rms_uncertainty_nm=COVERAGE_95 * float(np.std(off, ddof=1)),
        noise_rms_nm=float(np.sqrt(np.mean(drawn_nm**2))),
    )


def _share(changes_nm: NDArray, foretold_nm: NDArray) -> NDArray:
    return 1.0 - np.mean((changes_nm - foretold_nm) ** 2, axis=1) / np.maximum(np.mean(changes_nm**2, axis=1), 1e-12)
