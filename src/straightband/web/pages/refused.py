"""What is shown where there is nothing to show."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from straightband.web.frame import Page


@dataclass(frozen=True, slots=True, kw_only=True)
class RefusedPage(Page):
    """A sentence and the way back.

    Attributes
    ----------
    sentence
        What was found, what is needed, what to do.
    """

    template: ClassVar[str] = "refused.html"
    sentence: str


def refused_page(sentence: str) -> RefusedPage:
    """The page for a refusal."""
    return RefusedPage(title="That did not work", sentence=sentence)
