"""Doubts that a verdict can carry, each with what it means to the person at the bench."""

from __future__ import annotations

MEANINGS = {
    "vignetted": "part of the light misses the clear aperture, on the axis or at the edge of the field",
    "beam-misses-the-face": "the mirror is too small for the telescope, or stands wrong: part of the light of a star on the axis misses it",
    "beam-on-the-margin": "part of the light of a star on the axis falls on the margin left to the bevel, where no height is judged",
    "heights-missing": "part of the beam falls on glass that the map does not know",
    "sign-unknown": "hill or hole is not known; the Strehl is the same for both",
    "either-way-round": "without a mark it is not known which end goes toward the primary; the worse way round is stated",
    "uncertainty-smooth": "how errors of the map go together is not saved with it; all of them were taken as one smooth figure, the worst case, where certify, which reads the photographs, may decide",
    "uncertainty-unknown": "the map does not say how uncertain it is, so nothing can be decided",
    "fringe-wavelength-assumed": "the tolerance is in fringes without a wavelength; 546.07 nm was taken",
}
