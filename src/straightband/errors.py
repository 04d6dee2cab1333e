"""Every way Straightband declines to answer, as one sentence a person at the bench can act on.

Which class to raise: `BadInput` for what a person typed, `PhotoUnreadable` for a file that is no usable photograph, `OutlineNotFound`
when the face can't be located, `BandsUnreadable` when the bands can't be turned into heights,
`GridNotFound` when no printed grid shows, `RecordUnreadable` for a map or record file.
"""

from __future__ import annotations

LONGEST_FOUND = 500


class StraightbandError(Exception):
    """What was found, what is needed and what to do, in one sentence.

    Parameters
    ----------
    found, needed, remedy
        Three parts without closing full stop; `str(error)` joins them.
    """

    def __init__(self, *, found: str, needed: str, remedy: str) -> None:
        self.found = _bounded(found)
        self.needed = needed
        self.remedy = remedy
        super().__init__(f"{self.found}; {needed}; {remedy}.")


def _bounded(found: str) -> str:
    """What was found, with what a person typed in it: on one line, without signs that a terminal obeys, and never longer than can be read."""
    shown = found if len(found) <= LONGEST_FOUND else f"{found[:LONGEST_FOUND]}..."
    return shown if shown.isprintable() else "".join(letter if letter.isprintable() else " " for letter in shown)


class BadInput(StraightbandError):
    """A length, option or table that a person gave can't be used."""


class PhotoUnreadable(StraightbandError):
    """A file is no photograph that can be decoded safely and whole."""


class OutlineNotFound(StraightbandError):
    """The face can't be found in the photograph, or does not fit what was said of it."""


class BandsUnreadable(StraightbandError):
    """There are no bands on the face, or they allow no trustworthy reading."""


class GridNotFound(StraightbandError):
    """No printed grid shows in the photograph, or none that can be compared with."""


class RecordUnreadable(StraightbandError):
    """A stored map or record can't be read."""
