"""Every component on one page, for whoever changes the look."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from straightband.plots.trend_sketch import Mark, trend_sketch
from straightband.web.desk import Ask
from straightband.web.forms import Field, FormView, form
from straightband.web.frame import Page
from straightband.workflows.cautions import DEFER, GRINDING
from straightband.workflows.shop_today import InHand, Step, clock_of

EXAMPLES = (
    Field(name="length", label="A length", hint="like 53.5mm or 2 1/8 in", needed=True),
    Field(name="choice", label="A choice", kind="choice", choices=(("a", "the first"), ("b", "the second"))),
    Field(name="seldom", label="Seldom said", more=True),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PatternsPage(Page):
    """The components.

    Attributes
    ----------
    form, refused
        A form, and one that was refused.
    hand
        A piece in hand with a timer.
    rows
        A table of names and values.
    budget
        Bars.
    sketch
        A drawing over time.
    marks
        Signs of decisions.
    cautions, defer
        A caution.
    """

    template: ClassVar[str] = "patterns.html"
    tab: ClassVar[str] = ""
    form: FormView
    refused: FormView
    hand: InHand
    rows: tuple[tuple[str, str], ...]
    budget: tuple[tuple[str, str, str, str], ...]
    sketch: str
    marks: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]
    defer: str


def patterns_page(ask: Ask) -> PatternsPage:
    """All of them with invented contents."""
    refused = Ask(
        desk=ask.desk, error="The length was given as '53.5' without a unit; one is needed; write it like 53.5mm.", texts={"length": "53.5"}
    )
    clock = clock_of(1, work="grinding", begun=ask.desk.now(), minutes=12.0)
    step = Step(words="Next run: this face on top.", link="/patterns", link_words="Open")
    marks = (Mark(label="1", value=226.0, uncertainty=11.0), Mark(label="2", value=29.0, uncertainty=13.0))
    return PatternsPage(
        title="Patterns",
        form=form(ask, "/patterns", submit="The main button", fields=EXAMPLES),
        refused=form(refused, "/patterns", submit="A quiet button", fields=EXAMPLES, quiet=True),
        hand=InHand(number=1, name="D-0", size="ellipse, 53.50 × 75.66 mm", state="Convex, sag 1.4 um.", step=step, clock=clock),
        rows=(("Glass", "53.50 × 75.66 mm"), ("Thickness", "11.00 mm")),
        budget=(("Reference flat", "8.2 nm", "its own map", "80.0%"), ("Together", "10 nm", "root of the sum of squares", "100.0%")),
        sketch=trend_sketch(marks, unit="nm", words="An example of two readings", from_zero=True),
        marks=(("✓", "meets"), ("✗", "fails"), ("?", "cannot tell yet")),
        cautions=GRINDING,
        defer=DEFER,
    )
